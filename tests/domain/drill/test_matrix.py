"""Every kind of shift × direction × crossing × cover × instrument: what must hold of each drill."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

import pytest

from oracles.drill_matrix import FAMILIES, document, golden, joined, matrix
from oracles.score_schema import schema_errors
from truestop.adapters.score.musicxml_reading import read_musicxml
from truestop.domain.drill import Drill, Exercise, Stage
from truestop.domain.drill.clef import READ_IN, ledger_lines
from truestop.domain.drill.specimens import FINGERED, Kind, Specimen, kinds_of
from truestop.domain.passage import Finger
from truestop.domain.pitch import Interval
from truestop.domain.shift import Cover, Relation

pytestmark = pytest.mark.parametrize("family", FAMILIES)
GENERATED = tuple(stage for stage in Stage if stage not in (Stage.IN_THE_PASSAGE, Stage.COLD))


def exercises(family: str) -> Iterator[tuple[Specimen, Drill, Exercise]]:
    for specimen, drill in matrix(family):
        for exercise in drill.exercises:
            yield specimen, drill, exercise


def test_the_matrix_is_full(family: str) -> None:
    kinds = kinds_of(family)
    for relation in FINGERED:
        for direction in ("up", "down"):
            for crossing in (False, True):
                for cover in Cover:
                    wanted = Kind(relation=relation, direction=direction, crossing=crossing, cover=cover)
                    assert wanted in kinds
    assert {kind.relation for kind in kinds} >= {Relation.FROM_OPEN, Relation.TO_OPEN}
    assert (Relation.THROUGH_THUMB in {kind.relation for kind in kinds}) == (family in ("cello", "bass"))


def test_written_files_are_valid_and_read_again_as_the_same_music(family: str) -> None:
    """All are validated; every third is read again here, others at random in test_generated."""
    for index, (specimen, drill) in enumerate(matrix(family)):
        written = document(family, index)
        assert schema_errors(written) == [], specimen.name
        if index % 3 == 0:
            assert read_musicxml(written, name="drill.musicxml").passages[0] == joined(specimen, drill), specimen.name


def test_the_music_is_that_of_the_golden_files(family: str) -> None:
    kept = golden(family)
    assert set(kept) == {specimen.name for specimen, _ in matrix(family)}
    for index, (specimen, drill) in enumerate(matrix(family)):
        if document(family, index) == kept[specimen.name]:
            continue
        now = joined(specimen, drill)
        then = read_musicxml(kept[specimen.name], name="golden.musicxml").passages[0]
        assert [d.text for d in now.directions] == [d.text for d in then.directions], specimen.name
        changed = [(new, old) for new, old in zip(now.notes, then.notes, strict=False) if new != old]
        assert changed == [], specimen.name
        assert now == then, specimen.name


def test_notes_and_rests_fill_every_bar(family: str) -> None:
    for _, _, exercise in exercises(family):
        for measure in exercise.passage.measures:
            end = measure.onset + measure.duration
            inside = [note for note in exercise.passage.notes if measure.onset <= note.onset < end]
            assert measure.duration == Fraction(4 * measure.beats, measure.beat_type), exercise.key
            assert all(note.end <= end for note in inside), exercise.key


def test_every_note_has_its_stop_and_its_place_sounds_it(family: str) -> None:
    for specimen, _, exercise in exercises(family):
        stops = {stop.note_id: stop for stop in exercise.stops}
        assert set(stops) == {note.id for note in exercise.passage.notes}, exercise.key
        for note in exercise.passage.notes:
            stop = stops[note.id]
            open_midi = specimen.fingered.instrument.open_pitch(stop.string).midi
            assert stop.pitch == note.pitch, exercise.key
            assert stop.harmonic or open_midi + stop.place == note.pitch.midi, (exercise.key, note.id)
            octaves = -specimen.fingered.passage.octave_shift
            if not stop.harmonic:
                assert note.written == note.pitch.transposed(Interval(7 * octaves, 12 * octaves))


def test_ids_are_unique_over_the_sheet_and_fit_for_xml(family: str) -> None:
    for specimen, drill in matrix(family):
        ids = [note.id for exercise in drill.exercises for note in exercise.passage.notes]
        assert len(ids) == len(set(ids)), specimen.name
        assert all(name[0].isalpha() and " " not in name for name in ids)


def test_travels_lead_from_departure_to_arrival_by_way_of_the_guide(family: str) -> None:
    for specimen, _, exercise in exercises(family):
        order = [note.id for note in exercise.passage.notes]
        for travel in exercise.travels:
            leave, reach = order.index(travel.departure[0].note_id), order.index(travel.arrival[0].note_id)
            assert leave < reach, exercise.key
            for stop in travel.guide:
                assert leave < order.index(stop.note_id) < reach, exercise.key
        if exercise.counts and exercise.variant != "return":
            ends = {(t.departure[-1].place, t.arrival[-1].place) for t in exercise.travels}
            shift = specimen.shift
            upper = (
                max(shift.departure, key=lambda stop: stop.pitch.midi),
                max(shift.arrival, key=lambda stop: stop.pitch.midi),
            )
            assert ends == {(upper[0].place, upper[1].place)}, exercise.key


def test_the_guide_exercise_holds_the_guide_finger_alone_slurred_and_slid_both_ways(family: str) -> None:
    found = 0
    for specimen, drill in matrix(family):
        for exercise in drill.of_stage(Stage.GUIDE):
            if exercise.variant != "slow":
                continue
            found += 1
            ways = {(guide.string, guide.finger): {guide.from_place, guide.to_place} for guide in specimen.shift.guide}
            for stop in exercise.stops:
                assert stop.place in ways[stop.string, stop.finger]
            moves = {t.arrival[0].place - t.departure[0].place > 0 for t in exercise.travels}
            assert moves == {True, False}
            slid = [note for note in exercise.passage.notes if note.marks.slide]
            assert slid
            assert all(note.bow_continues for note in slid)
    assert found >= 12


def test_shifts_nobody_hears_get_no_slide_and_no_announced_guide(family: str) -> None:
    for specimen, drill in matrix(family):
        if specimen.shift.guide:
            continue
        variants = {exercise.variant for exercise in drill.exercises}
        assert "slow" not in variants
        assert not any(note.marks.slide for exercise in drill.exercises for note in exercise.passage.notes), (
            specimen.name
        )


def test_small_notes_are_the_notes_that_are_hidden_later(family: str) -> None:
    for specimen, drill in matrix(family):
        for exercise in drill.exercises:
            small = [note for note in exercise.passage.notes if note.small]
            announcing = (Stage.LAND, Stage.IN_TIME)
            assert not small or exercise.stage in announcing, exercise.key
            if exercise.variant == "guide" and exercise.stage is Stage.LAND:
                guides = {pitch for guide in specimen.shift.guide for pitch in (guide.from_pitch, guide.to_pitch)}
                assert small
                assert {note.pitch for note in small} <= guides


def test_strings_are_named_at_the_start_and_where_they_change_alone(family: str) -> None:
    for _, drill in matrix(family):
        for stage in GENERATED:
            for exercise in drill.of_stage(stage):
                stops = {stop.note_id: stop for stop in exercise.stops}
                before: set[int] = set()
                column: set[int] = set()
                onset = Fraction(-1)
                for note in exercise.passage.notes:
                    if note.onset != onset:
                        before, column, onset = column, set(), note.onset
                    stop = stops[note.id]
                    expected = stop.string not in before and not stop.is_open
                    if not stop.harmonic:
                        assert (note.marks.string is not None) == expected, (exercise.key, note.id)
                    column.add(stop.string)


def test_the_frame_is_settled_from_the_lowest_finger_up_and_back(family: str) -> None:
    for specimen, drill in matrix(family):
        for exercise in drill.of_stage(Stage.SETTLE):
            if exercise.variant != "frame":
                continue
            walk = [stop for stop in exercise.stops if stop.finger is not Finger.OPEN]
            top = max(range(len(walk)), key=lambda index: walk[index].place)
            rising = [stop.place for stop in walk[: top + 1]]
            assert rising == sorted(set(rising)), specimen.name
            assert [stop.finger.rank for stop in walk[: top + 1]] == sorted(s.finger.rank for s in walk[: top + 1])


def test_clefs_are_the_instruments_own_and_easy_to_read(family: str) -> None:
    for _, _, exercise in exercises(family):
        for measure in exercise.passage.measures:
            assert measure.clef in dict(READ_IN[family])
        clef = exercise.passage.measures[0].clef
        worst = max(sum(ledger_lines(note.written, clef)) for note in exercise.passage.notes)
        assert worst <= (5 if family in ("violin", "viola") else 4), (exercise.key, clef, worst)


def test_what_is_heard_in_the_old_position_is_not_found_by_sliding_the_finger_that_lies(family: str) -> None:
    found = 0
    for _, drill in matrix(family):
        for exercise in drill.of_stage(Stage.HEAR):
            if exercise.variant not in ("across", "octave"):
                continue
            found += 1
            leave, heard = exercise.stops[:2]
            slid = (heard.string, heard.finger) == (leave.string, leave.finger) and heard.place != leave.place
            assert not slid or heard.is_open, exercise.key
    assert found >= 20


def test_the_way_back_to_an_open_string_is_no_shift(family: str) -> None:
    for specimen, drill in matrix(family):
        returns = [exercise for exercise in drill.exercises if exercise.variant == "return"]
        assert bool(returns) == (not specimen.shift.silent and specimen.shift.relation is not Relation.FROM_OPEN)
