"""The stages' exercises in the room: every one has its words, and what it expects is what it asks for."""

from __future__ import annotations

from fractions import Fraction

import pytest

from truestop.adapters.score.reading import read_score
from truestop.adapters.score.typed_entry import read_typed
from truestop.app.demo import STUDY, study_bytes
from truestop.app.mainjob import InHand, Setup, take_in_hand
from truestop.app.room_rules import STAGE_ORDER, STAGE_RULES, STAND_CUES, STAND_LINES
from truestop.domain.drill.making import MAKERS
from truestop.web.exercises import (
    arrival_ids,
    beats_of,
    exercise_of,
    expect_back,
    expect_exercise,
    other_pitches_hz,
    steps_played,
    ways_of,
    ways_of_stages,
)

LONGEST_LINE = 50


@pytest.fixture(scope="module")
def study() -> InHand:
    return take_in_hand(read_score(study_bytes(), name=STUDY, family="violin"), Setup(family="violin"))


def typed(text: str, family: str = "violin") -> InHand:
    return take_in_hand(read_typed(text, family=family), Setup(family=family))


def test_every_exercise_of_the_drill_has_a_short_line_for_the_stand() -> None:
    every = {(stage.value, way) for stage, makers in MAKERS.items() for way, _ in makers}
    assert set(STAND_LINES) == every
    assert set(STAND_CUES) <= every
    assert all(len(line) <= LONGEST_LINE and line.endswith(".") for line in STAND_LINES.values())
    assert {stage for stage, _ in every} == set(STAGE_ORDER) == set(STAGE_RULES)


def test_the_first_way_of_in_time_is_one_bow(study: InHand) -> None:
    shift = study.shift(2)
    names = [each.variant for each in ways_of(study, shift, "in time")]
    assert names[0] == "one bow"
    assert set(names) == {"one bow", "rhythms", "old bow", "new bow", "return"}
    assert exercise_of(study, shift, "in time").variant == "one bow"
    assert exercise_of(study, shift, "in time", "new bow").variant == "new bow"
    assert exercise_of(study, shift, "in time", "nothing such").variant == "one bow"


def test_bars_are_cut_to_one_round_but_rhythms_stay_whole(study: InHand) -> None:
    shift = study.shift(2)
    assert len(exercise_of(study, shift, "in time", "one bow").passage.measures) == 1
    rhythms = exercise_of(study, shift, "in time", "rhythms")
    assert len(rhythms.travels) == 3
    assert beats_of(rhythms) == {"arrivals": [2.0, 6.0, 10.0], "length": 16, "bar": 4}


@pytest.mark.parametrize(
    ("metre", "way", "beats"),
    [
        ("6/8", "one bow", {"arrivals": [2.0], "length": 8, "bar": 2}),
        ("3/4", "one bow", {"arrivals": [3.0], "length": 9, "bar": 3}),
        ("9/8", "rhythms", {"arrivals": [3.0, 9.0, 15.0], "length": 21, "bar": 3}),
        ("2/2", "return", {"arrivals": [1.0, 2.0, 3.0, 4.0], "length": 10, "bar": 2}),
    ],
)
def test_the_click_goes_by_the_beats_of_the_metre(metre: str, way: str, beats: dict[str, object]) -> None:
    tune = f"X:1\nM:{metre}\nL:1/8\nK:D\n!1!E2!1!F2!3!A2|\n".encode()
    in_hand = take_in_hand(read_score(tune, name="t.abc", family="violin"), Setup(family="violin"))
    shift = next(each for each in in_hand.way.shifts if not each.silent)
    assert beats_of(exercise_of(in_hand, shift, "in time", way)) == beats


def test_there_and_back_is_two_shifts_with_beats_of_their_own(study: InHand) -> None:
    shift = study.shift(2)
    exercise = exercise_of(study, shift, "in time", "return")
    assert len(exercise.travels) == 4
    assert beats_of(exercise)["arrivals"] == [1.0, 2.0, 3.0, 4.0]
    beats_s = (11.0, 12.0, 13.0, 14.0, 23.0, 24.0)
    there = expect_exercise(study, shift, exercise, beats_s=beats_s)
    back = expect_back(study, shift, exercise, beats_s=beats_s)
    assert back is not None
    assert (there.beats_s, back.beats_s) == ((11.0, 13.0, 23.0), (12.0, 14.0, 24.0))
    assert (back.departure, back.arrival) == (there.arrival, there.departure)
    assert expect_back(study, shift, exercise_of(study, shift, "in time", "one bow"), beats_s=beats_s) is None


def test_the_way_back_of_a_double_stop_keeps_which_of_its_notes_is_open() -> None:
    tune = b"X:1\nM:4/4\nL:1/2\nK:G\n[!1!E!3!d][!1!G!3!f]|\n"
    in_hand = take_in_hand(read_score(tune, name="two.abc", family="violin"), Setup(family="violin"))
    shift = in_hand.shift(1)
    exercise = exercise_of(in_hand, shift, "in time", "return")
    there, back = expect_exercise(in_hand, shift, exercise), expect_back(in_hand, shift, exercise)
    assert back is not None
    assert there.upper_departure is not None
    assert (back.upper_departure, back.upper_arrival) == (there.upper_arrival, there.upper_departure)
    assert (there.departure_open, there.arrival_open) == (back.arrival_open, back.departure_open)
    assert not back.upper_arrival_open


def test_a_small_note_that_is_played_is_announced_to_the_judge(study: InHand) -> None:
    """From D5 with 1 to A5 with 3: on the old bow the first finger is heard on its new place before the third falls."""
    shift = study.shift(2)
    plain = expect_exercise(study, shift, exercise_of(study, shift, "in time", "one bow"))
    old = expect_exercise(study, shift, exercise_of(study, shift, "in time", "old bow"))
    assert plain.guide is None
    assert old.guide is not None
    assert old.guide.pitch.midi == shift.guide[0].to_pitch.midi
    assert (old.departure, old.arrival) == (plain.departure, plain.arrival)


def test_the_guides_slide_back_is_no_way_back_that_counts(study: InHand) -> None:
    shift = study.shift(2)
    slow = exercise_of(study, shift, "guide", "slow")
    assert len({tuple(stop.place for stop in travel.arrival) for travel in slow.travels}) == 2
    assert expect_back(study, shift, slow) is None
    assert expect_back(study, shift, exercise_of(study, shift, "in time", "return")) is not None


def test_a_way_without_the_bow_is_a_silent_travel(study: InHand) -> None:
    shift = study.shift(2)
    slow = expect_exercise(study, shift, exercise_of(study, shift, "guide", "slow"))
    check = expect_exercise(study, shift, exercise_of(study, shift, "guide", "check"))
    assert not slow.silent
    assert check.silent
    assert (check.departure, check.arrival) == (slow.departure, slow.arrival)


@pytest.mark.parametrize(
    ("text", "family"),
    [("II 1 B4 > II 3 F#5", "violin"), ("I 1 B3 > I 1 E4", "cello"), ("I 1 A2 > I 4 D3", "bass"),
     ("III 1 E4 > I 3 E6", "violin")],
)  # fmt: skip
def test_every_way_of_any_shift_can_be_expected(text: str, family: str) -> None:
    in_hand = typed(text, family)
    shift = in_hand.shift(1)
    found = ways_of_stages(in_hand, shift)
    assert {"name", "hear", "plain"} <= set(found)
    for stage, ways in found.items():
        for way in ways:
            expected = expect_exercise(in_hand, shift, way)
            assert expected.stage == stage
            assert (stage, way.variant) in STAND_LINES


def test_the_departure_and_the_frame_are_no_attempts_at_the_arrival(study: InHand) -> None:
    shift = study.shift(2)
    frame = exercise_of(study, shift, "settle")
    arrival = expect_exercise(study, shift, frame).arrival
    others = other_pitches_hz(study, shift, frame, arrival)
    assert len(others) >= 3
    assert all(abs(hz / arrival.hz - 1) > 0.03 for hz in others)


def test_the_bars_around_a_shift_name_every_arrival_in_them(study: InHand) -> None:
    shift = study.shift(4)
    bars = exercise_of(study, shift, "in the passage")
    played = steps_played(study, bars)
    onsets = [study.fingered.steps[index].onset for index in played]
    assert max(onsets) - min(onsets) < 16
    assert Fraction(0) <= min(onsets)
    notes = arrival_ids(bars, study.way.shifts)
    assert shift.number in notes
    assert len(notes) >= 2
    ids = {note.id for note in bars.passage.notes}
    assert all(set(names) <= ids for names in notes.values())
