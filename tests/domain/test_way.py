"""Shifts, guides and other movements on hand-worked cases.

Every case was worked out by hand from the rules of the trade (common practice, no source): finger relation × direction
× one string or across × what covers the travel, on the four instruments.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from examples import examples
from fingered_text import parse_fingered
from truestop.domain.fingerboard import travel_mm
from truestop.domain.fingering import finger_passage
from truestop.domain.guide import is_thumb
from truestop.domain.instrument import make_instrument
from truestop.domain.passage import Harmonic, Marks
from truestop.domain.pitch import Pitch, spell
from truestop.domain.shift import Cover, GuideRule, Relation, Way
from truestop.domain.stop import Step
from truestop.domain.way import find_way

LOWER, DEPARTURE, ARRIVAL = GuideRule.LOWER, GuideRule.DEPARTURE, GuideRule.ARRIVAL


def way_of(text: str, instrument: str, rule: GuideRule = LOWER, **options: object) -> Way:
    """The way of a fully marked passage."""
    fingered = finger_passage(parse_fingered(text).marked(), make_instrument(instrument))
    return find_way(fingered, guide_rule=rule, **options)  # type: ignore[arg-type]


@dataclass(frozen=True)
class Case:
    """A passage with one shift and what a teacher would say of it. Guides: 'finger string from to' by school."""

    instrument: str
    text: str
    relation: str
    direction: str
    crossing: bool
    cover: str
    positions: tuple[str, str]
    lower: str
    departure: str
    arrival: str


def case(
    instrument: str, text: str, what: str, positions: str, lower: str, departure: str = "", arrival: str = ""
) -> Case:
    """``what``: relation, direction, 'one' string or 'across', cover. Empty schools agree with the first."""
    relation, direction, strings, cover = what.split(", ")
    start, end = positions.split(" → ")
    return Case(
        instrument, text, relation, direction, strings == "across", cover, (start, end), lower, departure or lower,
        arrival or lower,
    )  # fmt: skip


CASES = [
    # violin, one string
    case("violin", "B4:II1 D5:II1", "same, up, one, none", "1st → 3rd", "1 II B4 D5"),
    case("violin", "F#5:II3 D5:II3", "same, down, one, none", "3rd → 1st", "3 II F#5 D5"),
    case("violin", "C5:II2 D5:II1", "to lower, up, one, none", "1st → 3rd", "1 II B4 D5", "2 II C5 E5", "1 II B4 D5"),
    case("violin", "D5:II1 C5:II2", "to higher, down, one, none",
         "3rd → 1st", "1 II D5 B4", "1 II D5 B4", "2 II E5 C5"),
    case("violin", "B4:II1 F5:II3", "to higher, up, one, none",
         "1st → 3rd", "1 II B4 D5", "1 II B4 D5", "3 II D5 F5"),
    case("violin", "F5:II3 B4:II1", "to lower, down, one, none",
         "3rd → 1st", "1 II D5 B4", "3 II F5 D5", "1 II D5 B4"),
    case("violin", "D5:II3 E5:II1", "to lower, up, one, none", "1st → 4th", "1 II B4 E5", "3 II D5 G5", "1 II B4 E5"),
    case("violin", "G5:I2 D6:I4", "to higher, up, one, none", "1st → 3rd", "2 I G5 B5", "2 I G5 B5", "4 I B5 D6"),
    # violin, across strings: a departure finger travels on the old string, an arrival finger on the new one
    case("violin", "B4:II1 A5:I1", "same, up, across, none", "1st → 3rd", "1 II B4 D5"),
    case("violin", "D5:II3 A5:I1", "to lower, up, across, none", "1st → 3rd", "1 I F5 A5", "3 II D5 F5", "1 I F5 A5"),
    case("violin", "B4:II1 B5:I2", "to higher, up, across, none",
         "1st → 3rd", "1 II B4 D5", "1 II B4 D5", "2 I G5 B5"),
    case("violin", "A5:I1 D5:II3", "to higher, down, across, none",
         "3rd → 1st", "1 I A5 F5", "1 I A5 F5", "3 II F5 D5"),
    case("violin", "C6:I3 C5:II2", "to lower, down, across, none",
         "3rd → 1st", "2 II E5 C5", "3 I C6 A5", "2 II E5 C5"),
    # violin, direction is that of the placement: 4 on E5 to 1 on D5 goes up
    case("violin", "E5:II4 D5:II1", "to lower, up, one, none", "1st → 3rd", "1 II B4 D5", "4 II E5 G5", "1 II B4 D5"),
    # covers: silent, nothing guides
    case("violin", "D5:II3 E5:I0 A5:I1", "to lower, up, across, open", "1st → 3rd", "-"),
    case("violin", "D5:II3 r A5:I1", "to lower, up, across, rest", "1st → 3rd", "-"),
    case("violin", "B5:I2 E5:I0 D5:II3 ", "to higher, down, across, open", "3rd → 1st", "-"),
    # viola
    case("viola", "E4:II1 G4:II1", "same, up, one, none", "1st → 3rd", "1 II E4 G4"),
    case("viola", "F4:II2 G4:II1", "to lower, up, one, none", "1st → 3rd", "1 II E4 G4", "2 II F4 A4", "1 II E4 G4"),
    case("viola", "D5:I1 G4:II3", "to higher, down, across, none",
         "3rd → 1st", "1 I D5 B4", "1 I D5 B4", "3 II B4 G4"),
    # cello, neck: closed frame a semitone a finger
    case("cello", "B3:I1 E4:I1", "same, up, one, none", "1st → 4th", "1 I B3 E4"),
    case("cello", "D4:I4 E4:I1", "to lower, up, one, none", "1st → 4th", "1 I B3 E4", "4 I D4 G4", "1 I B3 E4"),
    case("cello", "E4:I1 D4:I4", "to higher, down, one, none", "4th → 1st", "1 I E4 B3", "1 I E4 B3", "4 I G4 D4"),
    case("cello", "C4:I2 G4:I4", "to higher, up, one, none", "1st → 4th", "2 I C4 F4", "2 I C4 F4", "4 I D4 G4"),
    case("cello", "E3:II1 E4:I1", "same, up, across, none", "1st → 4th", "1 II E3 A3"),
    case("cello", "G3:II4 E4:I1", "to lower, up, across, none", "1st → 4th", "1 I B3 E4", "4 II G3 C4", "1 I B3 E4"),
    case("cello", "C4:I2 C#4:I2", "same, up, one, none", "1st → lower 2nd", "2 I C4 C#4"),
    case("cello", "G3:II4 A3:I0 E4:I1", "to lower, up, across, open", "1st → 4th", "-"),
    # cello, through the thumb
    case("cello", "E4:I1 C#5:I2", "through thumb, up, one, none", "4th → thumb on A4", "1 I E4 B4"),
    case("cello", "C#5:I2 B4:I1 E4:I1", "through thumb, down, one, none", "thumb on A4 → 4th", "1 I B4 E4"),
    case("cello", "D5:I3 F4:I2", "through thumb, down, one, none", "thumb on A4 → 4th", "1 I B4 E4"),
    # into the thumb frame from the fourth finger: thumb frames hold T-1-2-3, so nothing guides
    case("cello", "G4:I4 A4:IT B4:I1", "through thumb, up, one, none", "4th → thumb on A4", "-"),
    case("bass", "D3:I4 G3:IT A3:I1", "through thumb, up, one, none", "III → thumb on G3", "-"),
    case("bass", "C3:I1 A3:I1 G3:IT", "through thumb, up, one, none", "III → thumb on G3", "1 I C3 A3"),
    case("cello", "A4:IT B4:I1 C5:IT", "to lower, up, one, none",
         "thumb on A4 → thumb on C5", "T I A4 C5", "1 I B4 D5", "T I A4 C5"),
    # double bass
    case("bass", "A2:I1 C3:I1", "same, up, one, none", "I → III", "1 I A2 C3"),
    case("bass", "B2:I4 C3:I1", "to lower, up, one, none", "I → III", "1 I A2 C3", "4 I B2 D3", "1 I A2 C3"),
    case("bass", "C3:I1 B2:I4", "to higher, down, one, none", "III → I", "1 I C3 A2", "1 I C3 A2", "4 I D3 B2"),
    case("bass", "E2:II1 D3:I4", "to higher, up, across, none", "I → III", "1 II E2 G2", "1 II E2 G2", "4 I B2 D3"),
    case("bass", "A2:I1 A#2:I1", "same, up, one, none", "I → II", "1 I A2 A#2"),
    case("bass", "B2:I4 r D3:I4", "same, up, one, rest", "I → III", "-"),
]  # fmt: skip


@pytest.mark.parametrize("rule", [LOWER, DEPARTURE, ARRIVAL])
@pytest.mark.parametrize("worked", CASES, ids=[f"{item.instrument}: {item.text}" for item in CASES])
def test_a_hand_worked_case(worked: Case, rule: GuideRule) -> None:
    shift = way_of(worked.text, worked.instrument, rule).shifts[-1]
    assert shift.relation is Relation(worked.relation)
    assert (shift.direction, shift.crossing) == (worked.direction, worked.crossing)
    assert shift.cover is Cover(worked.cover)
    assert (shift.from_position, shift.to_position) == worked.positions
    wanted = {LOWER: worked.lower, DEPARTURE: worked.departure, ARRIVAL: worked.arrival}[rule]
    roman = ("", "I", "II", "III", "IV")
    told = [f"{g.finger} {roman[g.string]} {g.from_pitch.name} {g.to_pitch.name}" for g in shift.guide]
    assert told == ([] if wanted == "-" else [wanted])


def test_each_case_has_one_shift_at_its_end() -> None:
    for worked in CASES:
        shifts = way_of(worked.text, worked.instrument).shifts
        assert [shift.number for shift in shifts] == list(range(1, len(shifts) + 1))


def test_travel_is_that_of_the_guide_finger_in_mm() -> None:
    guide = way_of("B4:II1 D5:II1", "violin").shifts[0].guide[0]
    assert guide.travel_semitones == 3
    assert guide.travel_mm == pytest.approx(travel_mm(2, 5, 328.0))


@pytest.mark.parametrize(
    ("instrument", "text", "kinds"),
    [
        ("violin", "B4:II1 C5:II2 F5:II4 C5:II2", ["extension"]),
        ("violin", "B4:II1 C5:II2 D5:II3 E5:II4", []),
        ("violin", "C5:II2 C#5:II2 D5:II3", ["chromatic slide"]),
        ("violin", "B4:II1 Bb4:II1 A4:II0", ["chromatic slide"]),
        ("cello", "B3:I1 C#4:I2 D#4:I4", ["extension", "extension"]),
        ("cello", "C4:I2 Bb3:I1 C4:I2 D4:I4", ["extension"]),
        ("cello", "B3:I1 C4:I2 C#4:I3 D4:I4", []),
    ],
)
def test_what_is_not_a_shift_is_listed_apart(instrument: str, text: str, kinds: list[str]) -> None:
    way = way_of(text, instrument)
    assert not way.shifts
    assert [motion.kind for motion in way.other] == kinds


def test_a_hand_that_reforms_around_its_stretched_fourth_finger_creeps() -> None:
    way = way_of("B4:II1 C5:II2 D5:II3 F5:II4 E5:II3 D5:II2 C5:II1", "violin")
    assert [motion.kind for motion in way.other] == ["creep"]
    assert not way.shifts


def test_a_substitution_is_a_shift_on_one_note() -> None:
    shift = way_of("C5:II2 D5:II3-1 E5:II2", "violin").shifts[0]
    assert shift.departure[0].note_id == shift.arrival[0].note_id == "n2"
    assert (shift.relation, shift.interval.name, shift.direction) == (Relation.TO_LOWER, "P1", "up")
    assert [(guide.from_pitch.name, guide.to_pitch.name) for guide in shift.guide] == [("B4", "D5")]


def test_a_double_stop_has_a_guide_on_each_string() -> None:
    shift = way_of("D5:II3+F#5:I1 F#5:II3+A5:I1", "violin").shifts[0]
    assert [(str(g.finger), g.string, g.from_pitch.name, g.to_pitch.name) for g in shift.guide] == [
        ("1", 1, "F#5", "A5"), ("3", 2, "D5", "F#5"),
    ]  # fmt: skip


def test_a_ringing_harmonic_covers_the_travel_away_from_it() -> None:
    passage = parse_fingered("B4:II1 A5:II4 D5:II3").marked()
    ringing = replace(
        passage.notes[1], marks=Marks(fingers=passage.notes[1].marks.fingers, string=2, harmonic=Harmonic.NATURAL)
    )
    fingered = finger_passage(
        replace(passage, notes=(passage.notes[0], ringing, passage.notes[2])), make_instrument("violin")
    )
    up, down = find_way(fingered).shifts
    assert (up.cover, up.direction) == (Cover.NONE, "up")
    assert (down.cover, down.direction) == (Cover.HARMONIC, "down")
    assert [str(guide.finger) for guide in down.guide] == ["4"]


def test_an_artificial_harmonic_travels_with_its_base_finger() -> None:
    passage = parse_fingered("B4:II1 F#7 D5:II3").marked()
    stopped = Marks(harmonic=Harmonic.ARTIFICIAL, base=Pitch.parse("F#5"), string=2)
    notes = (passage.notes[0], replace(passage.notes[1], marks=stopped), passage.notes[2])
    shift = find_way(finger_passage(replace(passage, notes=notes), make_instrument("violin"))).shifts[0]
    assert (shift.cover, str(shift.arrival[0].finger), shift.arrival[0].place) == (Cover.NONE, "1", 9)
    assert (shift.guide[0].from_pitch.name, shift.guide[0].to_pitch.name) == ("B4", "F#5")


def test_a_passage_that_begins_high_after_an_open_string_shifts_from_open() -> None:
    shift = way_of("E5:I0 D6:I3 E6:I4", "violin").shifts[0]
    assert (shift.relation, shift.from_position, shift.direction, shift.guide) == (Relation.FROM_OPEN, "open", "up", ())
    assert way_of("E5:I0 D5:II3", "violin").shifts == ()


def test_open_notes_count_when_the_player_drills_them() -> None:
    way = way_of("D6:I3 E5:I0", "violin", drill_open={"n2"})
    assert [(shift.relation, shift.to_position) for shift in way.shifts] == [(Relation.TO_OPEN, "open")]


def test_an_arrival_under_the_slur_is_on_the_old_bow() -> None:
    assert [s.on_old_bow for s in way_of("( B4:II1 D5:II1 ) B4:II1", "violin").shifts] == [True, False]


def test_the_guide_note_is_the_place_the_finger_takes_elsewhere() -> None:
    """First rule: D#5 with 1 in third position is heard later, so 1 travels to D#5, not to D5."""
    shift = way_of("B4:II1 F#5:II3 D#5:II1", "violin").shifts[0]
    assert (shift.guide[0].from_pitch.name, shift.guide[0].to_pitch.name) == ("B4", "D#5")


def test_a_place_under_another_key_signature_shows_nothing() -> None:
    """As before, with the D#5 in a bar of E major: in C major, where the shift is, 1 lies on D5 (third rule)."""
    text = parse_fingered("B4:II1 F#5:II3 | D#5:II1 F#5:II3")
    passage = text.marked()
    passage = replace(passage, measures=(passage.measures[0], replace(passage.measures[1], key_fifths=4)))
    shift = find_way(finger_passage(passage, make_instrument("violin")), guide_rule=LOWER).shifts[0]
    assert (shift.guide[0].from_pitch.name, shift.guide[0].to_pitch.name) == ("B4", "D5")


def test_the_guide_note_is_spelled_in_the_key() -> None:
    """Third rule: three letters below G sharp on string II is D, in E major D sharp."""
    shift = way_of("key: 4\nB4:II1 G#5:II4", "violin").shifts[0]
    assert (shift.from_position, shift.to_position) == ("1st", "3rd")
    assert (shift.guide[0].to_pitch.name, shift.guide[0].to_place) == ("D#5", 6)


def test_the_guide_note_follows_an_accidental_of_the_bar() -> None:
    """Third rule: a D sharp in the bar holds for the guide note on D too."""
    shift = way_of("D#5:II3 B4:II1 G#5:II4", "violin").shifts[0]
    assert shift.guide[0].to_pitch.name == "D#5"


def test_a_placement_that_needs_a_tone_between_first_and_second_finger_guides_so() -> None:
    """Second rule on the cello neck: the run is extended, so 2 comes to lie a tone above 1."""
    shift = way_of("C4:I2 G#4:I4 E4:I1", "cello", DEPARTURE).shifts[0]
    assert (shift.guide[0].from_pitch.name, shift.guide[0].to_pitch.name) == ("C4", "F#4")


def moves(family: str) -> st.SearchStrategy[str]:
    """Melodies of the family's range as text."""
    lowest = make_instrument(family).lowest_midi
    notes = st.lists(st.integers(lowest, lowest + 34), min_size=2, max_size=14)
    return notes.map(lambda midis: " ".join(spell(midi).name for midi in midis))


@examples(20)
@given(st.sampled_from(["violin", "viola", "cello", "bass"]), st.data(), st.sampled_from(list(GuideRule)))
def test_every_guide_travels_with_the_hand(family: str, data: st.DataObject, rule: GuideRule) -> None:
    instrument = make_instrument(family)
    fingered = finger_passage(parse_fingered(data.draw(moves(family))).passage, instrument)
    way = find_way(fingered, guide_rule=rule)
    for shift in way.shifts:
        old, new = fingered.steps[shift.departure_step], fingered.steps[shift.arrival_step]
        assert shift.departure_step < shift.arrival_step
        assert {stop.note_id for stop in shift.arrival} <= {stop.note_id for stop in new.stops}
        if shift.relation is Relation.FROM_OPEN:
            continue
        assert (old.placement, is_thumb(old.fingered[0])) != (new.placement, is_thumb(new.fingered[0]))
        assert bool(shift.guide) <= (shift.cover in (Cover.NONE, Cover.HARMONIC))
        for guide in shift.guide:
            open_midi = instrument.open_pitch(guide.string).midi
            assert (guide.from_pitch.midi, guide.to_pitch.midi) == (
                open_midi + guide.from_place, open_midi + guide.to_place,
            )  # fmt: skip
            assert guide.travel_mm == pytest.approx(travel_mm(guide.from_place, guide.to_place, instrument.length_mm))


@examples(15)
@given(st.sampled_from(["violin", "cello"]), st.data())
def test_where_the_placement_stays_nothing_shifts(family: str, data: st.DataObject) -> None:
    fingered = finger_passage(parse_fingered(data.draw(moves(family))).passage, make_instrument(family))
    way = find_way(fingered)
    stepped = [step for step in fingered.steps if step.fingered]
    changes = sum(
        (before.placement, is_thumb(before.fingered[0])) != (after.placement, is_thumb(after.fingered[0]))
        for before, after in pairwise(stepped)
    )
    from_open = sum(shift.relation is Relation.FROM_OPEN for shift in way.shifts)
    creeps = sum(motion.kind in ("creep", "chromatic slide") for motion in way.other)
    assert len(way.shifts) - from_open <= changes
    assert len(way.shifts) - from_open + creeps >= changes - _turns(stepped)


def _turns(steps: list[Step]) -> int:
    """Changes of a semitone inside one named position."""
    return sum(
        before.position == after.position and before.placement != after.placement for before, after in pairwise(steps)
    )


NATURALS = ["B4", "C5", "D5", "E5", "F5", "G5", "A5", "B5", "C6"]


@pytest.mark.parametrize("first", [1, 2, 3, 4])
def test_two_marked_notes_three_positions_apart_are_always_a_shift(first: int) -> None:
    """By letters: natural notes on the violin's string II, every pair of fingers; as when one shift is typed in."""
    tried = 0
    for start, end in [(0, 5), (1, 6), (2, 7), (3, 8), (5, 0), (6, 1), (8, 3)]:
        for second in (1, 2, 3, 4):
            positions = (start + 2 - first, end + 2 - second)
            if min(positions) < 1 or abs(positions[0] - positions[1]) < 3:
                continue
            way = way_of(f"{NATURALS[start]}:II{first} {NATURALS[end]}:II{second}", "violin")
            assert [shift.direction for shift in way.shifts] == ["up" if positions[1] > positions[0] else "down"]
            tried += 1
    assert tried >= 8
