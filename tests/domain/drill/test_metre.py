"""Exercises in the passage's metre: which are, how their bars are filled, and where the arrival falls.

What a metre counts and where its weights lie: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

import music21
import pytest

from oracles.foreign_readers import music21_differences
from oracles.score_schema import schema_errors
from truestop.adapters.score.musicxml_reading import read_musicxml
from truestop.adapters.score.musicxml_writing import write_musicxml
from truestop.domain.drill import Drill, Exercise, Stage, make_drill
from truestop.domain.drill.metre import COMMON, Metre, metre_of
from truestop.domain.drill.sequence import join_exercises
from truestop.domain.drill.specimens import Specimen, kinds_of, make_specimen
from truestop.domain.passage import Measure

WITHOUT_PULSE = (Stage.NAME, Stage.HEAR, Stage.SETTLE, Stage.GUIDE, Stage.LAND)
WITH_PULSE = (Stage.PLAIN, Stage.IN_TIME)
METRES = ((2, 4), (3, 4), (4, 4), (2, 2), (3, 2), (3, 8), (6, 8), (9, 8), (12, 8), (6, 4), (4, 8), (6, 16))
#: Quarter notes a beat, beats a bar.
COUNTED = {
    (2, 4): (Fraction(1), 2), (3, 4): (Fraction(1), 3), (4, 4): (Fraction(1), 4), (2, 2): (Fraction(2), 2),
    (3, 2): (Fraction(2), 3), (3, 8): (Fraction(1, 2), 3), (6, 8): (Fraction(3, 2), 2), (9, 8): (Fraction(3, 2), 3),
    (12, 8): (Fraction(3, 2), 4), (6, 4): (Fraction(3), 2), (4, 8): (Fraction(1, 2), 4), (6, 16): (Fraction(3, 4), 2),
}  # fmt: skip
KINDS = ("same-up-one-string", "to-higher-up-across", "to-lower-down-one-string-over-open",
         "to-higher-up-one-string-over-rest", "from-open-up-one-string", "to-open-down-across")  # fmt: skip


def drilled(family: str, name: str, signature: tuple[int, int]) -> tuple[Specimen, Drill]:
    kind = next(kind for kind in kinds_of(family) if kind.name == name)
    specimen = make_specimen(family, kind, metre=Metre(beats=signature[0], beat_type=signature[1]))
    return specimen, make_drill(specimen.fingered, specimen.shift)


def exercises(signature: tuple[int, int]) -> Iterator[Exercise]:
    for family in ("violin", "bass"):
        for name in KINDS:
            yield from drilled(family, name, signature)[1].exercises


@pytest.mark.parametrize("signature", METRES)
def test_exercises_with_a_pulse_are_in_the_passages_metre_the_others_show_none(signature: tuple[int, int]) -> None:
    for exercise in exercises(signature):
        for measure in exercise.passage.measures:
            if exercise.stage in WITHOUT_PULSE:
                assert not measure.metre_shown, exercise.key
            else:
                assert (measure.beats, measure.beat_type) == signature, exercise.key
                assert measure.metre_shown


@pytest.mark.parametrize("signature", METRES)
def test_every_arrival_falls_on_a_strong_beat(signature: tuple[int, int]) -> None:
    """The downbeat, or the third beat of four; there and back turns on every beat."""
    beat, beats = COUNTED[signature]
    found = 0
    for exercise in exercises(signature):
        if exercise.stage not in WITH_PULSE:
            continue
        for travel in exercise.travels:
            onset = exercise.passage.note(travel.arrival[0].note_id).onset
            assert onset % beat == 0, exercise.key
            found += 1
            if exercise.variant != "return":
                assert onset / beat % beats == (2 if beats == 4 else 0), exercise.key
    assert found > 50


@pytest.mark.parametrize("signature", METRES)
def test_every_bar_is_filled_and_no_note_crosses_a_bar_line(signature: tuple[int, int]) -> None:
    for exercise in exercises(signature):
        for measure in exercise.passage.measures:
            end = measure.onset + measure.duration
            assert measure.duration == Fraction(4 * measure.beats, measure.beat_type), exercise.key
            inside = [note for note in exercise.passage.notes if measure.onset <= note.onset < end]
            assert all(note.end <= end for note in inside), exercise.key
            assert all(note.measure_index == exercise.passage.measures.index(measure) for note in inside)


def test_the_three_rhythms_leave_ever_later_and_arrive_on_the_same_beat() -> None:
    """In 6/8: two dotted quarters, then a dotted quarter with quarter and eighth, then the eighth alone."""
    _, drill = drilled("cello", "same-up-one-string", (6, 8))
    (rhythms,) = [each for each in drill.exercises if each.variant == "rhythms"]
    by_bar = [
        [(note.onset - measure.onset, note.duration) for note in rhythms.passage.notes if note.measure_index == index]
        for index, measure in enumerate(rhythms.passage.measures)
    ]
    dotted, quarter, eighth, arrival = Fraction(3, 2), Fraction(1), Fraction(1, 2), [(Fraction(0), Fraction(3, 2))]
    assert by_bar == [
        [(Fraction(0), dotted), (dotted, dotted)], arrival,
        [(Fraction(0), dotted), (dotted, quarter), (Fraction(5, 2), eighth)], arrival,
        [(Fraction(5, 2), eighth)], arrival,
    ]  # fmt: skip
    assert "dotted quarter note = 72" in rhythms.instruction


@pytest.mark.parametrize(("beats", "beat_type"), [(5, 4), (7, 8), (1, 4), (4, 1), (6, 32)])
def test_where_rounds_do_not_fit_the_metre_they_are_in_common_time(beats: int, beat_type: int) -> None:
    measure = Measure(number="1", onset=Fraction(0), duration=Fraction(4), beats=beats, beat_type=beat_type)
    assert metre_of(measure) == COMMON


@pytest.mark.parametrize("signature", [(6, 8), (9, 8), (3, 4), (2, 2)])
def test_music21_finds_every_bar_full_and_the_metre_hidden_without_a_pulse(signature: tuple[int, int]) -> None:
    specimen, drill = drilled("viola", "to-higher-up-across", signature)
    passage = join_exercises(drill.exercises, title=specimen.name)
    written = write_musicxml(passage)
    assert schema_errors(written) == []
    assert read_musicxml(written, name="drill.musicxml").passages[0] == passage
    assert music21_differences(passage, written) == []
    (part,) = music21.converter.parseData(written, format="musicxml").parts
    shown = []
    for measure in part.getElementsByClass(music21.stream.Measure):
        assert measure.highestTime == pytest.approx(measure.barDuration.quarterLength), measure.number
        shown += [(sign.ratioString, not sign.style.hideObjectOnPrint) for sign in measure[music21.meter.TimeSignature]]
    assert shown == [("4/4", False), (f"{signature[0]}/{signature[1]}", True)]
