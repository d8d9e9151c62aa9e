"""There and back: both landings are found by the measure, paired into rounds, and the worse decides.

What was played is the outside truth. The rule (both true or a miss) is common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from there_and_back import play_there_and_back
from truestop.adapters.score.reading import read_score
from truestop.app.demo import STUDY, study_bytes
from truestop.app.mainjob import InHand, Setup, expect, take_in_hand
from truestop.domain.attempt import Attempt, Expectation, Target, Verdict
from truestop.domain.pitch import Pitch
from truestop.listening.judging import LandingFinal, VerdictFinal, judge_take
from truestop.listening.returning import Leg, Round, Rounds, TwoWays

RATE_HZ = 22050
PLAYED = [(3.0, -4.0), (2.0, 28.0), (-31.0, 1.0), (26.0, 35.0)]
TARGET = Target(pitch=Pitch("A", 0, 4), hz=440.0, system="equal", reference="A4 = 440 Hz", string=2, place=7)


@pytest.fixture(scope="module")
def study() -> InHand:
    return take_in_hand(read_score(study_bytes(), name=STUDY, family="violin"), Setup(family="violin"))


@pytest.fixture(scope="module")
def legs(study: InHand) -> tuple[Expectation, Expectation]:
    shift = study.shift(2)
    return (expect(study, shift, stage="in time"), expect(study, study.way_back(shift), stage="in time"))


def hear(legs: tuple[Expectation, Expectation], sound: np.ndarray, block: int) -> list[Round]:
    ways, rounds, found = TwoWays(*legs, RATE_HZ, level_every_ms=20), Rounds(), []
    events = [each for start in range(0, sound.size, block) for each in ways.feed(sound[start : start + block])]
    for leg, event in [*events, *ways.finish()]:
        if isinstance(event, VerdictFinal):
            found += rounds.add(leg, event.attempt, event.at_s)
    return [*found, *rounds.finish()]


def test_the_way_back_is_a_shift_of_its_own(study: InHand, legs: tuple[Expectation, Expectation]) -> None:
    there, back = legs
    assert (back.departure, back.arrival) == (there.arrival, there.departure)
    assert back.shift != there.shift
    shift = study.shift(2)
    assert study.way_back(shift).direction == "down"
    assert study.way_back(study.way_back(shift)).arrival == shift.arrival
    assert study.key(study.way_back(study.way_back(shift))) == there.shift


@pytest.mark.parametrize("block", [512, 4096])
def test_both_landings_of_every_round_are_what_was_played(legs: tuple[Expectation, Expectation], block: int) -> None:
    sound = play_there_and_back(legs[0], PLAYED, rate_hz=RATE_HZ)
    found = hear(legs, sound, block)
    assert len(found) == len(PLAYED)
    for each, (there, back) in zip(found, PLAYED, strict=True):
        assert each.there is not None
        assert each.back is not None
        assert each.there.landing_cents == pytest.approx(there, abs=1.0)
        assert each.back.landing_cents == pytest.approx(back, abs=1.0)
    words = [(one.decides[0].value, one.decides[1].verdict.value) for one in found if one.decides[1]]
    assert words[1:] == [("back", "high"), ("there", "low"), ("back", "high")]
    assert words[0][1] == "true"


def test_the_same_take_as_a_file_gives_the_same_landings(legs: tuple[Expectation, Expectation]) -> None:
    sound = play_there_and_back(legs[0], PLAYED, rate_hz=RATE_HZ)
    live = [one for each in hear(legs, sound, 1024) for one in each.attempts]
    again = sorted([one for leg in legs for one in judge_take(sound, RATE_HZ, leg)], key=lambda one: one.start_s)
    assert [(one.shift, one.verdict) for one in live] == [(one.shift, one.verdict) for one in again]
    for one, other in zip(live, again, strict=True):
        assert one.landing_cents == pytest.approx(other.landing_cents, abs=1.0)


def test_landings_come_in_the_order_of_the_take(legs: tuple[Expectation, Expectation]) -> None:
    ways = TwoWays(*legs, RATE_HZ, level_every_ms=20)
    events = [*ways.feed(play_there_and_back(legs[0], PLAYED[:2], rate_hz=RATE_HZ)), *ways.finish()]
    assert [leg for leg, event in events if isinstance(event, LandingFinal)] == [Leg.THERE, Leg.BACK] * 2


def attempt(verdict: Verdict, cents: float = 0.0, *, start_s: float = 0.0) -> Attempt:
    return Attempt(
        shift="s", stage="in time", start_s=start_s, end_s=start_s + 1.0, departure_s=None, arrival_s=None,
        target=TARGET, verdict=verdict, landing_cents=cents,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("there", "back", "leg", "word"),
    [
        (Verdict.TRUE, Verdict.TRUE, None, Verdict.TRUE),
        (Verdict.TRUE, Verdict.LOW, Leg.BACK, Verdict.LOW),
        (Verdict.LATE, Verdict.TRUE, Leg.THERE, Verdict.LATE),
        (Verdict.LATE, Verdict.CORRECTED, Leg.BACK, Verdict.CORRECTED),
        (Verdict.WRONG_NOTE, Verdict.CORRECTED, Leg.THERE, Verdict.WRONG_NOTE),
        (Verdict.UNJUDGED, Verdict.LOW, Leg.BACK, Verdict.LOW),
        (Verdict.TRUE, Verdict.UNJUDGED, Leg.BACK, Verdict.UNJUDGED),
    ],
)
def test_the_worse_landing_decides(there: Verdict, back: Verdict, leg: Leg | None, word: Verdict) -> None:
    decided, one = Round(there=attempt(there), back=attempt(back)).decides
    assert one is not None
    assert one.verdict is word
    assert leg is None or decided is leg


def test_of_two_misses_alike_the_one_further_off_decides() -> None:
    one = Round(there=attempt(Verdict.HIGH, 24.0), back=attempt(Verdict.LOW, -40.0))
    assert one.decides[0] is Leg.BACK


def test_a_way_back_that_never_comes_makes_no_true_round() -> None:
    rounds = Rounds()
    assert rounds.add(Leg.THERE, attempt(Verdict.TRUE), 1.0) == []
    assert rounds.wait(4.9) == []
    (alone,) = rounds.wait(5.1)
    assert alone.decides == (Leg.BACK, None)
    rounds.add(Leg.THERE, attempt(Verdict.HIGH, 30.0, start_s=6.0), 7.0)
    (missed,) = rounds.add(Leg.THERE, attempt(Verdict.TRUE, start_s=8.0), 9.0)
    assert missed.decides[0] is Leg.THERE
    (last,) = rounds.finish()
    assert last.decides == (Leg.BACK, None)


def test_a_slow_click_is_waited_for() -> None:
    rounds = Rounds(beats_s=(10.0, 17.5, 25.0))
    rounds.add(Leg.THERE, attempt(Verdict.TRUE), 1.0)
    assert rounds.wait(15.0) == []


def test_a_way_back_from_elsewhere_is_no_part_of_the_round() -> None:
    rounds = Rounds()
    rounds.add(Leg.THERE, attempt(Verdict.TRUE), 1.0)
    first, second = rounds.add(Leg.BACK, replace(attempt(Verdict.TRUE), start_s=2.5, end_s=3.5), 3.5)
    assert (first.back, second.there) == (None, None)
