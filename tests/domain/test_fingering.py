"""Completing: printed marks are kept or refused by name; empty and odd passages do not crash."""

from __future__ import annotations

import re
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from examples import examples
from fingered_text import parse_fingered
from truestop.adapters.score.reading import read_score
from truestop.domain.errors import FingeringError
from truestop.domain.fingering import STYLES, USUAL, Pin, finger_passage, search
from truestop.domain.fingering.alternatives import different_ways
from truestop.domain.fingering.complete import pose
from truestop.domain.fingering.proposals import cost_parts
from truestop.domain.instrument import make_instrument
from truestop.domain.passage import Finger, Harmonic, Marks, Passage
from truestop.domain.pitch import Interval, Pitch, spell
from truestop.domain.stop import FingeredPassage
from truestop.domain.way import find_way

VIOLIN = make_instrument("violin")


def hand(text: str, instrument: str = "violin", **options: object) -> FingeredPassage:
    """A text passage fingered with its marks."""
    return finger_passage(parse_fingered(text).marked(), make_instrument(instrument), **options)  # type: ignore[arg-type]


def fingers(fingered: FingeredPassage) -> str:
    """'II3 I0 …': string and finger of every stop."""
    roman = ("", "I", "II", "III", "IV", "V")
    return " ".join("+".join(f"{roman[s.string]}{s.finger}" for s in step.stops) for step in fingered.steps)


@pytest.mark.parametrize(
    ("text", "instrument", "message"),
    [
        ("A4 | B3:I1", "violin", r"bar 2, B3: string I \(E5\) cannot sound it; the note lies below it"),
        ("G3:1", "violin", "bar 1, G3: finger 1 cannot stop it on any string"),
        ("F3", "violin", "bar 1, F3: the note lies below the violin's lowest string"),
        ("C9", "violin", "bar 1, C9: the note lies above the end of the violin's fingerboard"),
        ("B4:T", "violin", "bar 1, B4: the violin has no thumb position"),
        ("A4:V1", "violin", "bar 1, A4: the violin has no string V"),
        ("Bb4:0", "violin", "bar 1, B♭4: 0 asks for an open string or natural harmonic"),
        ("D4:III2", "violin", "bar 1, D4: finger 2 and string III do not go together"),
    ],
)
def test_marks_that_cannot_be_played_are_named(text: str, instrument: str, message: str) -> None:
    with pytest.raises(FingeringError, match=message) as caught:
        hand(text, instrument)
    assert caught.value.hint


@pytest.mark.parametrize(
    ("text", "instrument", "remedy"),
    [
        ("E3", "violin", "Name strings that go so low, like 'E5 A4 D4 G3 C3', or choose the instrument .*viola, cello"),
        ("B0", "bass", "Name strings that go so low, like 'G2 D2 A1 E1 B0', or transpose"),
        ("C1", "cello", "Transpose the passage"),
    ],
)
def test_a_note_below_the_strings_tells_what_goes_so_low(text: str, instrument: str, remedy: str) -> None:
    """Five-string violins and basses: common practice, no source."""
    with pytest.raises(FingeringError) as caught:
        hand(text, instrument)
    assert re.match(remedy, caught.value.hint or "")


def test_an_empty_passage_is_refused() -> None:
    with pytest.raises(FingeringError, match="holds no notes"):
        finger_passage(Passage(title="", notes=(), measures=()), VIOLIN)


def test_a_pin_on_an_unknown_note_is_refused() -> None:
    with pytest.raises(FingeringError, match="No note is called 'x'"):
        hand("A4", pins={"x": Pin(string=1)})


def test_pins_go_before_printed_marks() -> None:
    fingered = hand("D5:II3 E5 F#5", pins={"n1": Pin(finger=Finger.FIRST), "n2": Pin(string=2)})
    assert fingers(fingered).startswith("II1 II2")


@pytest.mark.parametrize("style", STYLES)
def test_every_style_fingers_high_and_low_notes(style: str) -> None:
    fingered = hand("G3 A4 E7 G3+D4+B4+G5 C4", style=STYLES[style])
    assert len(fingered.steps) == 5


def test_a_substitution_is_two_steps_on_one_note() -> None:
    fingered = hand("C5:II2 D5:II3-1 F5:II3")
    assert [(step.stops[0].note_id, str(step.stops[0].finger)) for step in fingered.steps] == [
        ("n1", "2"), ("n2", "3"), ("n2", "1"), ("n3", "3"),
    ]  # fmt: skip
    assert [step.position for step in fingered.steps] == ["1st", "1st", "3rd", "3rd"]


def with_marks(text: str, note: str, **marks: object) -> Passage:
    """A text passage in which one note has these marks."""
    passage = parse_fingered(text).marked()
    return replace(
        passage,
        notes=tuple(replace(one, marks=Marks(**marks)) if one.id == note else one for one in passage.notes),  # type: ignore[arg-type]
    )


def test_a_finger_offered_beside_the_printed_one_is_an_option_and_no_substitution() -> None:
    """The printed finger where nothing speaks against it; the offered one where the hand lies there already."""
    offered = {"fingers": (Finger.THIRD,), "alternates": (Finger.FIRST,)}
    low = finger_passage(with_marks("C5:II2 D5 C5:II2", "n2", **offered), VIOLIN)
    high = finger_passage(with_marks("F5:II3 D5 F5:II3", "n2", **offered), VIOLIN)
    assert (fingers(low), fingers(high)) == ("II2 II3 II2", "II3 II1 II3")
    assert all(step.stops[0].given for step in (*low.steps, *high.steps))


def test_fingers_offered_alone_leave_the_choice_among_them_and_a_pin_goes_before_them() -> None:
    offered = with_marks("F5:II3 D5 F5:II3", "n2", alternates=(Finger.FIRST, Finger.SECOND))
    assert fingers(finger_passage(offered, VIOLIN)) == "II3 II1 II3"
    assert fingers(finger_passage(offered, VIOLIN, pins={"n2": Pin(finger=Finger.FOURTH)})) == "II3 II4 II3"
    with pytest.raises(FingeringError, match="D5"):
        finger_passage(with_marks("D5", "n1", string=1, alternates=(Finger.FIRST,)), VIOLIN)


def test_tie_continuations_make_no_step() -> None:
    passage = parse_fingered("D5 | D5 E5").passage
    first, second, third = passage.notes
    tied = replace(passage, notes=(replace(first, tied_to_next=True), replace(second, tied_from_before=True), third))
    steps = finger_passage(tied, VIOLIN).steps
    assert [step.stops[0].note_id for step in steps] == ["n1", "n3"]
    assert steps[0].duration == 1


def test_a_held_note_keeps_its_finger_under_a_moving_voice() -> None:
    passage = parse_fingered("d=2 D4+D5 d=1/2 C5 B4 C5").passage
    long = replace(passage.notes[1], duration=passage.notes[1].duration * 2)
    notes = (passage.notes[0], replace(long, voice="2"), *passage.notes[2:])
    fingered = finger_passage(
        replace(passage, notes=tuple(sorted(notes, key=lambda n: (n.onset, n.pitch.midi)))), VIOLIN
    )
    assert len(fingered.steps) == 4


def test_notes_no_hand_holds_together_are_taken_one_after_another() -> None:
    fingered = hand("C4+C#4 G3+G3 A3+B3+C4+D4+E4 D5")
    assert [len(step.stops) for step in fingered.steps] == [2, 2, 5, 1]
    assert len(fingered.remarks) == 3
    assert fingered.remarks[0].startswith("bar 1: no hand holds C4 and C♯4 together")


def test_natural_and_artificial_harmonics_lie_where_they_are_touched() -> None:
    passage = parse_fingered("D6:III0 E6 G5").marked()
    artificial = Marks(harmonic=Harmonic.ARTIFICIAL, base=Pitch.parse("E4"))
    notes = (passage.notes[0], replace(passage.notes[1], marks=artificial), passage.notes[2])
    steps = finger_passage(replace(passage, notes=notes), VIOLIN).steps
    assert (steps[0].stops[0].place, steps[0].stops[0].harmonic) in {(24, True), (5, True)}
    assert (steps[1].stops[0].string, steps[1].stops[0].place, str(steps[1].stops[0].finger)) == (3, 2, "1")


LETTERS = st.sampled_from("CDEFGAB")
PITCHES = st.builds(Pitch, LETTERS, st.sampled_from([-1, 0, 0, 1]), st.sampled_from([4, 5]))


@examples(25)
@given(st.lists(PITCHES, min_size=2, max_size=12), st.sampled_from(["-M2", "+M2", "-P4"]))
def test_transposing_passage_and_strings_together_changes_nothing(pitches: list[Pitch], by: str) -> None:
    step = {"-M2": Interval(-1, -2), "+M2": Interval(1, 2), "-P4": Interval(-3, -5)}[by]
    passage = parse_fingered(" ".join(pitch.name for pitch in pitches)).passage
    moved = replace(
        passage,
        notes=tuple(
            replace(n, pitch=n.pitch.transposed(step), written=n.written.transposed(step)) for n in passage.notes
        ),
    )
    low = VIOLIN.retuned(tuple(pitch.transposed(step) for pitch in VIOLIN.strings))
    here, there = finger_passage(passage, VIOLIN), finger_passage(moved, low)
    assert fingers(here) == fingers(there)
    assert [step.position for step in here.steps] == [step.position for step in there.steps]
    ways = [find_way(fingered) for fingered in (here, there)]
    named = [[(s.direction, s.relation, s.from_position, s.to_position) for s in way.shifts] for way in ways]
    assert named[0] == named[1]


MARKED = st.tuples(
    st.integers(0, 28), st.sampled_from([None, "0", "1", "2", "3", "4", "T"]), st.sampled_from([None, 1, 2, 3, 4, 5])
)


@examples(40)
@given(st.sampled_from(["violin", "viola", "cello", "bass"]), st.lists(MARKED, min_size=1, max_size=10))
def test_every_printed_mark_is_honoured_or_refused(
    family: str, notes: list[tuple[int, str | None, int | None]]
) -> None:
    instrument = make_instrument(family)
    passage = parse_fingered(" ".join(spell(instrument.lowest_midi + up).name for up, _, _ in notes)).passage
    marked = tuple(
        replace(note, marks=Marks(fingers=(Finger(finger),) if finger else (), string=string))
        for note, (_, finger, string) in zip(passage.notes, notes, strict=True)
    )
    try:
        fingered = finger_passage(replace(passage, notes=marked), instrument)
    except FingeringError as error:
        refused = error.where.split(", ")[1]
        assert refused in [note.written.pretty for note in marked if note.marks.fingers or note.marks.string]
        return
    for note, step in zip(marked, fingered.steps, strict=True):
        stop = step.stops[0]
        assert note.marks.string in (None, stop.string)
        assert not note.marks.fingers or stop.finger is note.marks.fingers[0] or stop.harmonic


def test_passages_fingered_side_by_side_come_out_as_one_by_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """Several threads share what is kept of one instrument, even while it is emptied for lack of room."""
    for name in ("MOST_CHOICES_KEPT", "MOST_MOVEMENTS_KEPT", "MOST_WEIGHED_KEPT"):
        monkeypatch.setattr(search, name, 8)
    melodies = ["G4 A4 B4 C5 D5 E5 F#5 G5", "A4 C#5 E5 A5 C#6 E6 A6", "Bb4 D5 F5 Bb5 D6 F6", "E5 D5 C5 B4 A4 G4"] * 4
    alone = [fingers(hand(melody)) for melody in melodies[:4]] * 4
    with ThreadPoolExecutor(6) as pool:
        together = list(pool.map(lambda melody: fingers(hand(melody)), melodies))
    assert together == alone


@pytest.mark.parametrize(("upper", "taken"), [("4", "II3"), ("2", "II1"), (None, "II3")])
def test_a_trill_leaves_room_for_the_finger_printed_over_its_upper_note(upper: str | None, taken: str) -> None:
    """D5 with a trill on E5: played 3-4 in first position, 1-2 only from third. Common practice, no source."""
    passage = parse_fingered("tempo: 100\nd=1 C5 D5 C5").passage
    marks = Marks(trill_finger=Finger(upper) if upper else None)
    notes = [replace(note, trill=True, marks=marks) if note.pitch.midi == 74 else note for note in passage.notes]
    fingered = finger_passage(replace(passage, notes=tuple(notes)), VIOLIN)
    assert fingers(fingered).split()[1] == taken


def test_a_densely_marked_edition_may_print_a_finger_that_reaches() -> None:
    """The fourth finger reaches C6 from first position; common practice, no source."""
    fingered = hand("A5:3 B5:4 C6:4 B5:4 A5:3 G5:2 F#5:1")
    assert {step.position for step in fingered.steps} == {"1st"}


@pytest.mark.parametrize(("printed", "again"), [("0", "II0"), ("4", "III4")])
def test_a_pitch_printed_open_or_stopped_is_so_again(printed: str, again: str) -> None:
    """Half notes and eighths in first position; common practice, no source."""
    text = f"d=2 A4:{printed} d=1 C5 D5 E5 D5 B4 G4 d=2 A4 d=1 F#4 G4 B4 A4"
    taken = fingers(hand(text)).split()
    assert [taken[0], taken[7], taken[11]] == [again] * 3


def test_the_parts_of_a_ways_cost_add_up_to_what_the_search_pays() -> None:
    passage = parse_fingered("d=1 A4 ( E5 D5 ) A5:2 | ( B5 A5 G5 E5 ) | d=1/4 D5:1 E5 F5 G5 A5 B5 C6 A4").marked()
    problem = pose(passage, VIOLIN, STYLES["usual"], {})
    for path in different_ways(problem, 3):
        paid = sum(float(search.local_cost(problem, index)[row]) for index, row in enumerate(path))
        paid += sum(
            float(search.step_cost(problem, index)[path[index - 1], path[index]]) for index in range(1, len(path))
        )
        assert sum(cost_parts(problem, path, {}).values()) == pytest.approx(paid, abs=1e-3)


def test_a_bass_note_is_named_as_written_and_as_it_sounds() -> None:
    """Written F3 sounds F2: a string's pitch is told as it sounds, so the note's must be told beside it."""
    score = 'X:1\nM:4/4\nL:1/4\nK:C bass\n"^I"F,4|\n'
    passage = read_score(score.encode(), name="x.abc", family="bass")
    with pytest.raises(FingeringError, match=r"bar 1, F3 \(sounding F2\): string I \(G2\) cannot sound it") as caught:
        finger_passage(passage, make_instrument("bass"))
    assert caught.value.hint == "Mark string II, III or IV instead, or remove the string mark."


def test_a_singing_phrase_stays_in_third_position() -> None:
    """Up to D6 and down to D5: no way home in the middle of it. Common practice, no source."""
    text = "tempo: 60\nd=1 ( A5 F#5 D5 ) | ( B5 A5 G5 ) | ( F#5 E5 D5 ) | ( D6 C#6 B5 ) | ( A5 F#5 D5 )"
    fingered = finger_passage(parse_fingered(text).passage, VIOLIN)
    assert {step.position for step in fingered.steps} == {"3rd"}


def test_music_that_lies_in_first_position_begins_there() -> None:
    """Third position would serve as well, on lower strings. Common practice, no source."""
    text = "tempo: 96\nkey: -2\nd=1 Bb4 C5 d=1/2 D5 F5 Eb5 D5 | d=1 C5 Bb4 A4 | Bb4 C5 A4 Bb4"
    fingered = finger_passage(parse_fingered(text).passage, VIOLIN)
    assert {step.position for step in fingered.steps if step.fingered} == {"1st"}
    away = replace(USUAL, weights=replace(USUAL.weights, begin_away=-3.0))
    there = finger_passage(parse_fingered(text).passage, VIOLIN, style=away)
    assert there.steps[0].position != "1st"


def test_the_hand_goes_up_with_the_chord_and_stays_for_the_scale_down() -> None:
    """D6 needs third position: the chord below it is taken there and the scale begins there; behind a rest it is not.
    Common practice, no source.
    """
    chord, scale = "D5 F#5 A5 D6", "C#6 B5 A5 G5 F#5 E5 D5 C#5 B4 A4"
    text = f"tempo: 100\nkey: 2\nd=1/4 A4 C#5 E5 C#5 {chord} {scale}"
    up = finger_passage(parse_fingered(text).passage, VIOLIN)
    assert " II1 II3 I1 I4 I3 I2 I1 II4 II3 " in fingers(up)
    assert fingers(up).endswith("II2 II1 II0")
    alone = finger_passage(parse_fingered("tempo: 100\nkey: 2\nd=1/4 A4 C#5 E5 A5 F#5 D5 r d=1 D6").passage, VIOLIN)
    assert fingers(alone).startswith("II0 II2 I0 I3 I1 II3")
    low = replace(USUAL, weights=replace(USUAL.weights, low_under_high=0.0))
    assert fingers(finger_passage(parse_fingered(text).passage, VIOLIN, style=low)) != fingers(up)


def test_quick_notes_on_the_lower_strings_are_taken_at_home() -> None:
    """After the top in third position the run goes home behind the open A. Common practice, no source."""
    text = "tempo: 126\nkey: -1\nd=1/4 A5 D6 C6 A5 F5 D5 F5 D5 A4 G4 F4 E4 A4 G4 F4 E4 D4"
    run = finger_passage(parse_fingered(text).passage, VIOLIN)
    assert fingers(run).endswith("II0 III3 III2 III1 II0 III3 III2 III1 III0")
    deep = replace(USUAL, weights=replace(USUAL.weights, low_string_deep=0.0))
    assert fingers(finger_passage(parse_fingered(text).passage, VIOLIN, style=deep)) != fingers(run)


def test_a_beginner_begins_in_first_position_and_goes_to_third_for_its_notes() -> None:
    """Up to D6; common practice, no source."""
    text = "tempo: 96\nkey: 2\nd=1/4 D5 E5 F#5 G5 A5 G5 F#5 E5 | D5 F#5 A5 D6 C#6 B5 A5 G5 | F#5 E5 D5 C#5 d=1 D5"
    fingered = finger_passage(parse_fingered(text).passage, VIOLIN, style=STYLES["beginner"])
    positions = [step.position for step in fingered.steps if step.fingered]
    assert (positions[0], positions[-1]) == ("1st", "1st")
    assert set(positions) == {"1st", "3rd"}


def test_a_brilliant_cello_sings_a_middle_line_without_the_thumb() -> None:
    """From G3 to G4 in one hand or another of the neck; common practice, no source."""
    text = "instrument: cello\ntempo: 56\nkey: 1\nd=1 ( G3 B3 D4 ) | d=2 E4 d=1 D4 | ( C4 B3 A3 ) | d=3 B3"
    fingered = finger_passage(parse_fingered(text).passage, make_instrument("cello"), style=STYLES["brilliant"])
    assert not any(stop.shape == "thumb" for step in fingered.steps for stop in step.stops)
