"""Simulated players for the benchmarks: landings with bias and spread, habits, learning and forgetting; all seeded.

Conventions: cents, + sharp; seconds, + late; skill runs from 0 (untaught) to 1 (as good as it gets). With sound,
successive landings are independent draws; without sound they drift (Chen and others 2013, nine cellists).

Learning is a two-state model: each attempt adds to a fast state that decays with every other attempt and is gone by the
next day, and to a slow state that stays (Smith, Ghazizadeh and Shadmehr 2006; one fast state crowded out by other tasks
after Lee and Schweighofer 2009; rates are ours). Both learn from the error that is left, so that a massed repetition,
whose error the fast state has taken up, teaches the slow state little. Setting the fast state's gain to 0 takes the
advantage of mixing away. Every stage of a drill teaches alike, and no exercise fits one fault better than another.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from truestop.domain.attempt import Verdict
from truestop.domain.fingerboard import cents_to_mm
from truestop.domain.record import Outcome, ShiftCard

TOLERANCE_CENTS = 20.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Habits:
    """How a player's attempts at one shift come out; the defaults are a sound player's."""

    start_cents: float = 0.0
    distance_cents: float = 0.0
    spacing_cents: float = 0.0
    """The arrival finger beside its place in the frame; the guide note does not show it."""
    spread_cents: float = 7.0
    departure_spread_cents: float = 4.0
    corrects: float = 0.03
    """Part of the landings that are moved although within the tolerance; beyond it three times as many."""
    late_s: float = 0.0
    timing_spread_s: float = 0.03
    slow_s: float = 0.0
    """Longer slide than usual; makes the arrival late by the same."""
    passage_spread_cents: float | None = None
    """Spread in the passage, None for the same."""
    drift: float = 0.0
    """Part of the last landing's error that stays: playing without sound."""


def play(
    rng: np.random.Generator, card: ShiftCard, habits: Habits, *, attempts: int = 20, stage: str = "plain", day: int = 1
) -> list[Outcome]:
    """Attempts at a shift, as the record would hold them."""
    found: list[Outcome] = []
    error = 0.0
    for number in range(attempts):
        spread = habits.spread_cents
        if stage == "in the passage" and habits.passage_spread_cents is not None:
            spread = habits.passage_spread_cents
        error = habits.drift * error + rng.normal(0.0, spread * (1.0 - habits.drift**2) ** 0.5)
        departure = habits.start_cents + rng.normal(0.0, habits.departure_spread_cents)
        carried = habits.start_cents + habits.distance_cents
        landing = carried + habits.spacing_cents + error
        slide = 0.004 * abs(card.travel_mm) + habits.slow_s + abs(rng.normal(0.0, 0.02))
        timing = habits.late_s + habits.slow_s + rng.normal(0.0, habits.timing_spread_s)
        corrected = rng.random() < habits.corrects * (3.0 if abs(landing) > TOLERANCE_CENTS else 1.0)
        found.append(
            Outcome(
                shift=card.key, stage=stage, at_s=86400.0 * day + 15.0 * number, day=day, cold=number == 0,
                verdict=_verdict(landing, timing, corrected), landing_cents=landing, landing_se_cents=0.6,
                landing_mm=cents_to_mm(landing, card.place, card.length_mm), departure_cents=departure,
                interval_error_cents=landing - departure, correction_cents=-landing if corrected else 0.0,
                guide_landing_cents=carried + error + rng.normal(0.0, 2.0), slide_s=slide, timing_s=timing,
                tolerance_cents=TOLERANCE_CENTS,
            )
        )  # fmt: skip
    return found


def _verdict(landing: float, timing: float, corrected: bool) -> Verdict:
    if abs(landing) > 70.0:
        return Verdict.WRONG_NOTE
    if corrected:
        return Verdict.CORRECTED
    if abs(landing) > TOLERANCE_CENTS:
        return Verdict.HIGH if landing > 0 else Verdict.LOW
    if timing > 0.06:
        return Verdict.LATE
    return Verdict.EARLY if timing < -0.06 else Verdict.TRUE


@dataclass(frozen=True, slots=True, kw_only=True)
class Learning:
    """How fast a player learns and forgets."""

    slow_gain: float = 0.035
    fast_gain: float = 0.25
    fast_stays: float = 0.80
    """Part of the fast state left after an attempt at another shift (and after one of its own)."""
    overnight: float = 0.985
    """Part of the slow state left after a day."""
    bias_cents: float = 22.0
    """Bias at skill 0, with a side per shift."""
    worst_spread_cents: float = 24.0
    best_spread_cents: float = 7.5
    corrects: float = 0.05
    first_skill: tuple[float, float] = (0.0, 0.6)
    """Range of the skill that shifts begin with."""


@dataclass(slots=True)
class Learner:
    """One player with a set of shifts, as they stand."""

    rng: np.random.Generator
    learning: Learning
    slow: np.ndarray
    fast: np.ndarray
    side: np.ndarray
    day: int = 0
    attempts: int = 0
    touched: set[int] = field(default_factory=set)

    @classmethod
    def make(cls, seed: int, shifts: int, learning: Learning) -> Learner:
        """A player with ``shifts`` shifts, some nearly learned, some new."""
        rng = np.random.default_rng(seed)
        slow = rng.uniform(*learning.first_skill, shifts)
        side = rng.choice([-1.0, 1.0], shifts) * rng.uniform(0.5, 1.0, shifts)
        return cls(rng=rng, learning=learning, slow=slow, fast=np.zeros(shifts), side=side)

    def habits(self, shift: int, *, cold: bool = False) -> Habits:
        """Today's habits at one shift; ``cold`` leaves the fast state out."""
        skill = min(1.0, float(self.slow[shift] + (0.0 if cold else self.fast[shift])))
        left, learning = 1.0 - skill, self.learning
        spread = learning.best_spread_cents + (learning.worst_spread_cents - learning.best_spread_cents) * left
        bias = learning.bias_cents * float(self.side[shift]) * left
        return replace(Habits(corrects=learning.corrects), distance_cents=bias, spread_cents=spread)

    def attempt(self, shift: int, card: ShiftCard, stage: str) -> Outcome:
        """One attempt, and what it teaches."""
        (outcome,) = play(self.rng, card, self.habits(shift), attempts=1, stage=stage, day=self.day)
        outcome.at_s = 86400.0 * self.day + 36000.0 + 15.0 * self.attempts / 10.0
        outcome.cold = shift not in self.touched and stage in ("plain", "cold")
        self.touched.add(shift)
        error = max(0.0, 1.0 - float(self.slow[shift] + self.fast[shift]))
        self.fast *= self.learning.fast_stays
        self.fast[shift] += self.learning.fast_gain * error
        self.slow[shift] += self.learning.slow_gain * error
        self.attempts += 1
        return outcome

    def sleep(self) -> None:
        """Until the next day."""
        self.fast[:] = 0.0
        self.slow *= self.learning.overnight
        self.day += 1
        self.touched.clear()

    def share_cold(self, shift: int, draws: int = 400) -> float:
        """The true chance of a true landing, cold, today."""
        rng = np.random.default_rng(1)
        habits = self.habits(shift, cold=True)
        landing = habits.distance_cents + rng.normal(0.0, habits.spread_cents, draws)
        inside = np.abs(landing) <= TOLERANCE_CENTS
        return float(np.mean(np.where(inside, 1.0 - habits.corrects, 0.0)))
