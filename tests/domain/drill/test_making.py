"""Choosing exercises, their words, clefs, excerpts and joined sheets."""

from __future__ import annotations

import string
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import pytest

from oracles.drill_matrix import FAMILIES, matrix, one
from truestop.domain.drill import ALL_STAGES, Stage, make_drill
from truestop.domain.drill.clef import choose_clef, is_at_ease
from truestop.domain.drill.excerpt import take_excerpt
from truestop.domain.drill.line import Setting, note_value, play, rest, write_line
from truestop.domain.drill.making import MAKERS
from truestop.domain.drill.naming import shift_kind, shift_sentences, shift_title
from truestop.domain.drill.sequence import join_exercises
from truestop.domain.drill.specimens import Specimen, kinds_of, make_specimen
from truestop.domain.errors import DrillError
from truestop.domain.passage import Finger, Tempo
from truestop.domain.pitch import Interval, Pitch
from truestop.domain.stop import FingeredPassage, Stop
from truestop.domain.wording import ENGLISH, ENGLISH_TEXTS


def specimen(family: str, name: str) -> Specimen:
    return make_specimen(family, next(kind for kind in kinds_of(family) if kind.name == name))


@pytest.fixture(scope="module")
def rising() -> Specimen:
    return specimen("violin", "to-higher-up-one-string")


def test_only_chosen_stages_are_made_in_their_own_order(rising: Specimen) -> None:
    drill = make_drill(rising.fingered, rising.shift, stages=(Stage.PLAIN, Stage.GUIDE))
    assert [exercise.stage for exercise in drill.exercises] == [Stage.GUIDE, Stage.GUIDE, Stage.PLAIN]
    assert drill.of_stage(Stage.COLD) == ()


def test_every_stage_has_an_exercise_for_a_shift_that_is_heard(rising: Specimen) -> None:
    drill = make_drill(rising.fingered, rising.shift)
    assert {exercise.stage for exercise in drill.exercises} == set(ALL_STAGES)


def test_stages_from_plain_on_count_for_the_record(rising: Specimen) -> None:
    counting = [stage for stage in Stage if stage.counts]
    assert counting == [Stage.PLAIN, Stage.IN_TIME, Stage.IN_THE_PASSAGE, Stage.COLD]


def test_every_exercise_has_its_words() -> None:
    for stage, makers in MAKERS.items():
        for variant, _ in makers:
            assert ENGLISH_TEXTS[f"{stage}.{variant}.heading"]
            instruction = ENGLISH_TEXTS[f"{stage}.{variant}.instruction"]
            assert len(instruction) <= 130


def test_no_text_is_printed_with_an_empty_field() -> None:
    for family, name in (("violin", "to-higher-up-across"), ("cello", "through-thumb-down-one-string")):
        found = specimen(family, name)
        words = [text for exercise in one(family, name).exercises for text in (exercise.heading, exercise.instruction)]
        words += [shift_title(found.shift, wording=ENGLISH), shift_kind(found.shift, wording=ENGLISH)]
        words += shift_sentences(found.shift, wording=ENGLISH)
        for text in words:
            assert text.strip()
            assert "{" not in text
            assert "None" not in text
            assert "  " not in text


def test_texts_use_real_fields() -> None:
    for key, text in ENGLISH_TEXTS.items():
        for _, field, _, _ in string.Formatter().parse(text):
            assert field is None or field.isidentifier(), key


def test_a_shift_is_named_with_strings_fingers_interval_and_guide(rising: Specimen) -> None:
    first, second = shift_sentences(rising.shift, wording=ENGLISH)
    assert first == "From E4 (finger 1 on III, 1st position) to B4 (finger 3 on III, 3rd position), perfect fifth up."
    assert second == "Guide: finger 1 on III from E4 to G4, 46 mm towards the bridge."
    assert shift_kind(rising.shift, wording=ENGLISH) == "bar 2 · up · to a higher-numbered finger"


def test_a_guide_that_lies_there_already_is_not_said_to_travel(rising: Specimen) -> None:
    """It had reached out before, and the hand comes after it."""
    (guide,) = rising.shift.guide
    lies_there = replace(guide, to_place=guide.from_place, to_pitch=guide.from_pitch, travel_mm=0.0)
    said = shift_sentences(replace(rising.shift, guide=(lies_there,)), wording=ENGLISH)[-1]
    assert said == "Guide: finger 1 on III stays on E4, the hand comes after it."


def test_a_double_stop_is_named_with_the_intervals_of_both_its_notes() -> None:
    found = specimen("violin", "same-up-one-string-double-stop")
    assert "minor third up and major third up." in shift_sentences(found.shift, wording=ENGLISH)[0]


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [("C4", "G4", "perfect fifth up"), ("A4", "F#4", "minor third down"), ("C4", "C#4", "augmented unison up"),
     ("D4", "D4", "the same pitch"), ("G3", "B5", "major seventeenth up")],
)  # fmt: skip
def test_intervals_in_words(low: str, high: str, words: str) -> None:
    assert ENGLISH.interval(Interval.between(Pitch.parse(low), Pitch.parse(high))) == words


@pytest.mark.parametrize(
    ("family", "pitches", "clef"),
    [
        ("violin", ("G3", "E7"), "treble"),
        ("viola", ("C3", "A5"), "alto"),
        ("viola", ("A5", "E6"), "treble"),
        ("cello", ("C2", "E4"), "bass"),
        ("cello", ("A3", "B4"), "tenor"),
        ("cello", ("E3", "F4"), "tenor"),
        ("cello", ("A4", "D5"), "tenor"),
        ("cello", ("E4", "E5"), "treble"),
        ("bass", ("E2", "G4"), "bass"),
        ("bass", ("D4", "D5"), "tenor"),
    ],
)
def test_clefs_by_range(family: str, pitches: tuple[str, ...], clef: str) -> None:
    """Written pitches; common practice, no source."""
    written = [Pitch.parse(name) for name in pitches]
    assert choose_clef(family, written) == clef
    assert is_at_ease(family, clef, written)


def stop(name: str, string_number: int, finger: str, place: int) -> Stop:
    return Stop(
        note_id="", pitch=Pitch.parse(name), string=string_number, finger=Finger(finger), place=place, placement=2
    )


BASS = Setting(
    key_fifths=0, mode="major", family="bass", octave_shift=-1, strings=None, quarter_bpm=60.0, harmonics={}
)  # fmt: skip


def test_the_double_bass_is_written_an_octave_up() -> None:
    passage, _ = write_line([play((stop("E2", 2, "1", 2),), 4)], key="k", title="", setting=BASS)
    assert passage.notes[0].written == Pitch.parse("E3")
    assert passage.measures[0].clef == "bass"


def test_a_line_that_does_not_fill_its_bars_is_refused() -> None:
    with pytest.raises(DrillError, match="do not fill"):
        write_line([play((stop("E2", 2, "1", 2),), 3), rest(2)], key="k", title="", setting=BASS)


def test_lengths_that_no_note_shows_are_refused() -> None:
    with pytest.raises(DrillError, match="No single note"):
        note_value(Fraction(5, 4))


def test_excerpts_keep_only_whole_slurs_and_ties(rising: Specimen) -> None:
    notes = list(rising.fingered.passage.notes)
    index = next(i for i, note in enumerate(notes) if note.measure_index == 1)
    notes[index - 1] = replace(notes[index - 1], slur_starts=(1,), tied_to_next=True)
    notes[index] = replace(notes[index], slur_stops=(1,), slur_starts=(2,))
    notes[index + 1] = replace(notes[index + 1], slur_stops=(2,))
    fingered = replace(rising.fingered, passage=replace(rising.fingered.passage, notes=tuple(notes)))
    excerpt, stops = take_excerpt(fingered, first=1, last=9, key="x", marked=())
    assert excerpt.notes[0].slur_stops == ()
    assert excerpt.notes[0].slur_starts == (2,)
    assert not excerpt.notes[0].tied_from_before
    assert excerpt.notes[0].onset == 0
    assert excerpt.measures[0].number == "2"
    assert {found.note_id for found in stops} == {note.id for note in excerpt.notes}


def test_context_prints_the_fingers_of_both_ends(rising: Specimen) -> None:
    exercise = next(each for each in one("violin", "to-higher-up-across").exercises if each.variant == "bars")
    (travel,) = exercise.travels
    for end in (*travel.departure, *travel.arrival):
        assert exercise.passage.note(end.note_id).marks.fingers == (end.finger,)
    assert exercise.passage.note(travel.arrival[0].note_id).marks.string == travel.arrival[0].string
    assert "↗" in [direction.text for direction in exercise.passage.directions]


def test_joined_exercises_follow_each_other_under_their_headings() -> None:
    exercises = one("viola", "same-up-one-string").exercises
    passage = join_exercises(exercises, title="All")
    assert [measure.number for measure in passage.measures] == [str(i + 1) for i in range(len(passage.measures))]
    assert sum(measure.new_system for measure in passage.measures) == len(exercises) - 1
    headings = [direction.text for direction in passage.directions if direction.kind == "tempo"]
    assert headings == [f"{number}. {each.heading}" for number, each in enumerate(exercises, start=1)]
    with pytest.raises(DrillError, match="No exercise"):
        join_exercises([], title="All")


def test_the_same_shift_gives_the_same_drill(rising: Specimen) -> None:
    assert make_drill(rising.fingered, rising.shift) == make_drill(rising.fingered, rising.shift)


def test_nothing_is_heard_beforehand_by_a_stretch_that_few_hands_make() -> None:
    """On the cello's neck closed and extended frames span three and four semitones; common practice, no source."""
    found = 0
    for specimen, drill in matrix("cello"):
        anchor = next((each for each in specimen.shift.departure if each.placement is not None), None)
        for exercise in drill.of_stage(Stage.HEAR):
            for each in exercise.stops:
                if anchor is None or anchor.shape == "thumb" or each.finger is not Finger.FOURTH:
                    continue
                if each.placement == anchor.placement:
                    found += 1
                    assert each.place - each.placement <= 4, (specimen.name, exercise.key)
    assert found > 20


@pytest.mark.parametrize(
    ("name", "stage", "variant", "says", "never"),
    [
        ("to-higher-up-one-string", Stage.NAME, "name", "guide", None),
        ("to-higher-up-one-string-over-rest", Stage.NAME, "name", "interval", "guide"),
        ("to-open-down-one-string", Stage.IN_TIME, "return", "way back", "as true as D3"),
        ("from-open-up-one-string", Stage.GUIDE, "set", "then play A3 and check it", "again"),
        ("to-higher-up-one-string-over-rest", Stage.GUIDE, "set", "then play B3", None),
    ],
)
def test_instructions_fit_the_shift(name: str, stage: Stage, variant: str, says: str, never: str | None) -> None:
    exercise = next(each for each in one("cello", name).of_stage(stage) if each.variant == variant)
    assert says in exercise.instruction
    assert never is None or never not in exercise.instruction


def test_the_way_back_to_the_same_note_compares_fingers() -> None:
    changing = specimen("viola", "to-lower-up-one-string")
    assert changing.shift.departure[0].pitch == changing.shift.arrival[0].pitch
    (back,) = (e for e in make_drill(changing.fingered, changing.shift).exercises if e.variant == "return")
    assert back.instruction.endswith("G4 must be as true with either finger.")


@pytest.mark.parametrize("family", FAMILIES)
def test_plain_speaks_of_a_guide_note_only_where_one_was_practised(family: str) -> None:
    for found, drill in matrix(family):
        (plain,) = drill.of_stage(Stage.PLAIN)
        practised = any(exercise.variant == "guide" for exercise in drill.of_stage(Stage.LAND))
        assert ("without the guide note" in plain.instruction) == practised, found.name
        assert ("first rest" in plain.instruction) == (found.shift.cover == "rest"), found.name


@pytest.mark.parametrize("family", FAMILIES)
def test_a_hand_set_in_silence_sounds_no_note_twice_running(family: str) -> None:
    for found, drill in matrix(family):
        for exercise in (each for each in drill.of_stage(Stage.GUIDE) if each.variant == "set"):
            stops = [(stop.string, stop.place, stop.finger) for stop in exercise.stops]
            assert all(before != after for before, after in pairwise(stops)), found.name
            assert "again" not in exercise.instruction


def in_metre(at: Specimen, beats: int, beat_type: int, *, quarter_bpm: float | None) -> FingeredPassage:
    """The specimen as if its score had this metre, and this tempo or none."""
    passage = at.fingered.passage
    measures = tuple(replace(measure, beats=beats, beat_type=beat_type) for measure in passage.measures)
    tempos = () if quarter_bpm is None else (Tempo(onset=Fraction(0), quarter_bpm=quarter_bpm),)
    return replace(at.fingered, passage=replace(passage, measures=measures, tempos=tempos))


@pytest.mark.parametrize(
    ("metre", "quarter_bpm", "words"),
    [
        ((4, 4), 60.0, "At quarter note = 60."),
        ((6, 8), 90.0, "At dotted quarter note = 60."),
        ((9, 8), 90.0, "At dotted quarter note = 60."),
        ((2, 2), 120.0, "At half note = 60."),
        ((6, 4), 180.0, "At dotted half note = 60."),
        ((3, 8), 60.0, "At eighth note = 120."),
        ((4, 4), None, "At quarter note = about 72."),
        ((6, 8), None, "At dotted quarter note = about 48."),
    ],
)
def test_the_pulse_is_told_as_the_metre_counts_it_and_ours_as_ours(
    rising: Specimen, metre: tuple[int, int], quarter_bpm: float | None, words: str
) -> None:
    """What compound metres count: common practice, no source."""
    drill = make_drill(in_metre(rising, *metre, quarter_bpm=quarter_bpm), rising.shift, stages=(Stage.IN_THE_PASSAGE,))
    assert drill.exercises[0].instruction.startswith(words)


def test_a_pulse_that_the_player_chose_is_no_guess(rising: Specimen) -> None:
    fingered = in_metre(rising, 4, 4, quarter_bpm=None)
    drill = make_drill(fingered, rising.shift, stages=(Stage.IN_TIME,), quarter_bpm=80.0)
    assert "at quarter note = 80:" in drill.exercises[0].instruction
