"""A whole performance of the built-in study, played by the synthesiser with known landings, tempo and accidents."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from runs import RATE_HZ, play_run, steps_of
from truestop import bootstrap
from truestop.app.mainjob import HeldSound, InHand, Setup, expect, take_in_hand
from truestop.app.performance import Performed, cut_stretches, judge_performance
from truestop.domain.attempt import Verdict
from truestop.listening.frames import Samples
from truestop.sounding.bowed import bow_envelope, sound_string
from truestop.sounding.takes import PlayedAttempt, render_take

MUSIC = Path(__file__).parents[2] / "benchmarks" / "music"


@pytest.fixture(scope="module")
def study() -> InHand:
    return take_in_hand(bootstrap.read_study(), Setup())


def _held(samples: np.ndarray) -> HeldSound:
    return HeldSound(samples=samples, sample_rate_hz=RATE_HZ)


def _by_number(performed: tuple[Performed, ...]) -> dict[int, list[Performed]]:
    found: dict[int, list[Performed]] = {}
    for one in performed:
        found.setdefault(one.shift.number, []).append(one)
    return found


def test_every_shift_is_met_once_and_measured(study: InHand) -> None:
    order = list(steps_of(study, 1, 9))
    shifts = [s for s in study.way.shifts if s.departure_step in order and s.arrival_step in order]
    wrong = {shifts[1].arrival_step: 33.0, shifts[3].arrival_step: -27.0}
    found = _by_number(judge_performance(study, play_run(study, order, off_cents=wrong)))
    assert sorted(found) == [shift.number for shift in shifts]
    for shift in shifts:
        (one,) = found[shift.number]
        expected = wrong.get(shift.arrival_step, 0.0)
        word = Verdict.HIGH if expected > 20 else Verdict.LOW if expected < -20 else Verdict.TRUE
        assert one.attempt.verdict is word
        assert one.attempt.landing_cents == pytest.approx(expected, abs=1.5)
        assert one.attempt.stage == "in the passage"


@pytest.mark.parametrize("silent_s", [0.06, 0.1, 0.2])
def test_a_bow_for_every_note_is_judged_like_a_slur(study: InHand, silent_s: float) -> None:
    order = list(steps_of(study, 1, 6))
    shifts = [s for s in study.way.shifts if s.departure_step in order and s.arrival_step in order]
    wrong = {shifts[1].arrival_step: 33.0, shifts[3].arrival_step: -27.0}
    found = _by_number(judge_performance(study, play_run(study, order, off_cents=wrong, silent_s=silent_s)))
    assert sorted(found) == [shift.number for shift in shifts]
    for shift in shifts:
        (one,) = found[shift.number]
        expected = wrong.get(shift.arrival_step, 0.0)
        assert one.attempt.verdict is (
            Verdict.HIGH if expected > 20 else Verdict.LOW if expected < -20 else Verdict.TRUE
        )
        assert one.attempt.landing_cents == pytest.approx(expected, abs=1.5)
        assert not {"early", "late"} & set(one.attempt.faults)


def test_sound_that_drops_out_at_an_arrival_tells_no_time(study: InHand) -> None:
    """The finger may have come at any moment of it; the landing is heard after it."""
    shift = next(one for one in study.way.shifts if one.measure == "4")
    take = play_run(study, list(steps_of(study, 2, 5)))
    (on_time,) = (one for one in judge_performance(study, take) if one.shift == shift)
    assert on_time.attempt.arrival_s is not None
    for from_s, lost_s in ((-0.06, 0.1), (0.03, 0.1), (-0.15, 0.2)):
        samples = take.samples.copy()
        first = round((on_time.attempt.arrival_s + from_s) * RATE_HZ)
        samples[first : first + round(lost_s * RATE_HZ)] = 0.0
        found = judge_performance(study, _held(samples))
        assert {one.attempt.verdict for one in found} == {Verdict.TRUE}
        (one,) = (one for one in found if one.shift == shift)
        assert one.attempt.landing_cents == pytest.approx(0.0, abs=1.5)


@pytest.mark.parametrize("family", ["cello", "bass"])
def test_detached_bows_on_other_instruments_are_in_time(family: str) -> None:
    melody = take_in_hand(bootstrap.open_passage(str(MUSIC / f"{family}.abc"), family=family), Setup(family=family))
    order = list(steps_of(melody, 1, 3))
    found = judge_performance(melody, play_run(melody, order, silent_s=0.1))
    assert len(found) >= 2
    assert not {word for one in found for word in one.attempt.faults}
    assert sum(one.attempt.verdict is Verdict.TRUE for one in found) >= len(found) - 1


def test_a_late_arrival_shows_against_the_players_own_pulse(study: InHand) -> None:
    order = list(steps_of(study, 1, 6))
    shift = next(s for s in study.way.shifts if s.measure == "4")
    found = _by_number(judge_performance(study, play_run(study, order, late_s={shift.arrival_step: 0.16})))
    (one,) = found[shift.number]
    assert one.attempt.verdict is Verdict.LATE
    assert one.attempt.timing_s == pytest.approx(0.16, abs=0.04)
    others = [p for number, group in found.items() if number != shift.number for p in group]
    assert all(p.attempt.verdict is Verdict.TRUE for p in others)


def test_another_tempo_changes_nothing(study: InHand) -> None:
    order = list(steps_of(study, 1, 6))
    slow = judge_performance(study, play_run(study, order, quarter_s=1.1))
    assert {p.attempt.verdict for p in slow} == {Verdict.TRUE}
    assert all(p.attempt.timing_s is None or abs(p.attempt.timing_s) < 0.04 for p in slow)


def test_a_stumble_a_repeat_and_a_skip_are_followed(study: InHand) -> None:
    order = [*steps_of(study, 1, 5), *steps_of(study, 3, 6), *steps_of(study, 10, 12)]
    found = _by_number(judge_performance(study, play_run(study, order)))
    by_bar = {shift.measure: len(found.get(shift.number, [])) for shift in study.way.shifts}
    assert by_bar["2"] == 1
    assert by_bar["4"] == 2
    assert by_bar["5"] == 2
    assert by_bar["6"] == 1
    assert by_bar["7"] == by_bar["8"] == 0
    assert by_bar["11"] == by_bar["12"] == 1
    assert all(p.attempt.verdict is Verdict.TRUE for group in found.values() for p in group)


@pytest.mark.parametrize("bars", [(2, 2), (2, 3), (4, 5), (9, 10), (18, 18)])
@pytest.mark.parametrize("in_context", [False, True], ids=["alone", "in context"])
def test_every_one_of_immediate_repeats_is_heard(study: InHand, bars: tuple[int, int], in_context: bool) -> None:
    """The bars' own pitches occur elsewhere in the study too, in part; two are of two notes only."""
    order = steps_of(study, *bars)
    before = [*steps_of(study, bars[0] - 2, bars[0] - 1)] if in_context else []
    found = _by_number(judge_performance(study, play_run(study, [*before, *([*order] * 6)])))
    for shift in study.way.shifts:
        within = shift.departure_step in order and shift.arrival_step in order
        led_in = shift.departure_step in before and shift.arrival_step in [*before, order[0]]
        assert len(found.get(shift.number, [])) == 6 * within + led_in, shift.number


def test_a_shift_practised_with_breaths_between_is_heard_each_time(study: InHand) -> None:
    expected = expect(study, study.shift(2))
    take = render_take(
        [PlayedAttempt(landing_cents=cents) for cents in (-31.0, 4.0, 28.0, -6.0, 2.0)],
        departure_hz=expected.departure.hz,
        arrival_hz=expected.arrival.hz,
        rng=np.random.default_rng(1),
        family="violin",
    )
    performed = judge_performance(study, HeldSound(samples=take.samples, sample_rate_hz=take.sample_rate_hz))
    assert [(one.shift.number, one.attempt.verdict) for one in performed] == [
        (2, Verdict.LOW), (2, Verdict.TRUE), (2, Verdict.HIGH), (2, Verdict.TRUE), (2, Verdict.TRUE)
    ]  # fmt: skip


def test_another_piece_gives_nothing(study: InHand) -> None:
    rng = np.random.default_rng(3)
    hz = 440.0 * 2 ** (rng.uniform(-2, 2, 40).repeat(RATE_HZ // 3) / 1.0 / 3.0)
    noise = _held(sound_string(hz, sample_rate_hz=RATE_HZ, family="violin", level=np.ones(len(hz)), rng=rng))
    performed = judge_performance(study, noise)
    assert all(p.attempt.verdict is not Verdict.TRUE for p in performed)


TWINS = """X:1
T:Twin Bars
M:4/4
L:1/4
Q:1/4=80
K:D
D E F G | A !1!B !3!f e | d c B A | F G A B | BAR | B A G F | E2 D2 |]
"""


@pytest.mark.parametrize(("bar", "alike"), [("A !1!B !3!f e", True), ("A !1!B !1!f e", False)])
def test_bars_that_are_alike_are_told_and_not_guessed(tmp_path: Path, bar: str, alike: bool) -> None:
    """Played by itself, bar 2 may be bar 5: the same movement is judged for either, another one not at all."""
    (tmp_path / "twins.abc").write_text(TWINS.replace("BAR", bar))
    twins = take_in_hand(bootstrap.open_passage(str(tmp_path / "twins.abc"), family="violin"), Setup(family="violin"))
    (shift,) = (one for one in twins.way.shifts if one.measure == "2")
    alone, whole = (
        [one.attempt for one in judge_performance(twins, play_run(twins, order)) if one.shift == shift]
        for order in (2 * [*steps_of(twins, 2, 2)], [*steps_of(twins, 1, 7)])
    )
    assert len(alone) == 2
    assert {one.verdict for one in whole} == {Verdict.TRUE}
    assert not any(one.faults for one in whole)
    for one in alone:
        assert one.landing_cents == pytest.approx(0.0, abs=1.5)
        if alike:
            assert (one.verdict, one.faults) == (Verdict.TRUE, ("bar 2 or 5",))
        else:
            assert (one.verdict, one.faults) == (Verdict.UNJUDGED, ())
            assert "Bar 2 has the same notes as 5" in (one.reason or "")


def test_silence_gives_nothing(study: InHand) -> None:
    assert judge_performance(study, _held(np.zeros(3 * RATE_HZ, np.float32))) == ()


@pytest.mark.parametrize("family", ["violin", "cello"])
def test_another_piece_is_not_judged_as_this_one(study: InHand, family: str) -> None:
    """A melody of our own in another mode and, on the cello, two octaves down: no shift of the study is found in it."""
    steps = (0, 3, 5, 6, 10, 9, 5, 2, 3, -2, 1, 6, 8, 13, 11, 8, 4, 6, 3, 0)
    low = 24 if family == "cello" else 0
    hz = np.repeat([277.18 * 2 ** ((step - low) / 12) for step in steps], int(0.45 * RATE_HZ))
    level = np.tile(bow_envelope(int(0.45 * RATE_HZ), sample_rate_hz=RATE_HZ), len(steps))
    sound = sound_string(hz, sample_rate_hz=RATE_HZ, family=family, level=level, rng=np.random.default_rng(5))
    found = judge_performance(study, _held(sound))
    assert found == ()


@dataclass(frozen=True)
class InBlocks(HeldSound):
    """A take that comes in blocks of ``size`` samples."""

    size: int = 1

    def blocks(self) -> Iterator[Samples]:
        for start in range(0, len(self.samples), self.size):
            yield self.samples[start : start + self.size]


def test_a_run_in_blocks_of_any_size_is_judged_alike(study: InHand) -> None:
    order = list(steps_of(study, 1, 3))
    take = play_run(study, order, off_cents={order[3]: 27.0}, silent_s=0.15)
    whole = judge_performance(study, take)
    assert whole
    for size in (101, 4096):
        assert judge_performance(study, InBlocks(samples=take.samples, sample_rate_hz=RATE_HZ, size=size)) == whole


def test_stretches_of_a_take_in_blocks_are_those_of_the_whole() -> None:
    whole = np.arange(1000, dtype=np.float32)
    frames = [(0, 30), (10, 250), (10, 20), (400, 400), (700, 730), (705, 710), (990, 1200), (1100, 1300)]
    for size in (1, 7, 64, 1000, 5000):
        blocks = (whole[a : a + size] for a in range(0, 1000, size))
        cut = list(cut_stretches(blocks, frames))
        assert all(np.array_equal(one, whole[a:b]) for one, (a, b) in zip(cut, frames, strict=True))
