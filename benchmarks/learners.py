"""Simulated players who learn and forget, for measuring a plan; all seeded.

Conventions: skill runs from 0 (untaught) to 1 (as good as it gets); cents, + sharp. Landings are independent draws, as
with sound (Chen and others 2013, nine cellists). Timing is not judged: one shift alone has no beat.

Learning is a two-state model: an attempt adds to a fast state that decays with every other attempt and is gone by the
next day, and to a slow state that stays (Smith, Ghazizadeh and Shadmehr 2006; one fast state crowded out by other tasks
after Lee and Schweighofer 2009). Both learn from the error that is left, so that a massed repetition, whose error the
fast state has taken up, teaches the slow state little: this is what favours mixed practice. Rates, ranges and the
spreads are ours, not measured. Every stage of a drill teaches alike, and no exercise fits one fault better than
another, so nothing is gained here by choosing the right stage. Assumptions are varied by changing the rates.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import erf, sqrt

import numpy as np

TOLERANCE_CENTS = 20.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Learning:
    """How fast a player learns and forgets."""

    slow_gain: float = 0.035
    fast_gain: float = 0.25
    fast_stays: float = 0.80
    """Part of the fast state left after an attempt at another shift (and after one of its own)."""
    run_bonus: float = 0.0
    """Each straight repetition of one shift, up to four, adds this part of the slow gain: favours blocked practice."""
    overnight: float = 0.985
    """Part of the slow state left after a day."""
    steadying: float = 0.0
    """Each day on which a shift was played lessens its overnight loss: loss / (1 + steadying × days)."""
    unlike: float = 1.0
    """Shifts differ in how fast they are learned, by up to this factor either way."""
    bias_cents: float = 22.0
    """Bias at skill 0, with a side per shift."""
    worst_spread_cents: float = 24.0
    best_spread_cents: float = 7.5
    corrects: float = 0.05
    """Part of the landings that are moved although within the tolerance."""
    first_skill: tuple[float, float] = (0.0, 0.6)
    """Range of the skill that shifts begin with."""


@dataclass(slots=True)
class Learner:
    """One player with a set of shifts, as they stand."""

    rng: np.random.Generator
    learning: Learning
    slow: list[float]
    fast: list[float]
    side: list[float]
    gain: list[float]
    """Each shift's own part of the gains."""
    played_days: list[int]
    attempts: int = 0
    touched: set[int] = field(default_factory=set)
    last: int = -1
    run: int = 0

    @classmethod
    def make(cls, seed: int, shifts: int, learning: Learning) -> Learner:
        """A player with ``shifts`` shifts, some nearly learned, some new."""
        rng = np.random.default_rng(seed)
        slow = rng.uniform(*learning.first_skill, shifts)
        side = rng.choice([-1.0, 1.0], shifts) * rng.uniform(0.5, 1.0, shifts)
        gain = learning.unlike ** rng.uniform(-1.0, 1.0, shifts)
        return cls(
            rng=rng, learning=learning, slow=slow.tolist(), fast=[0.0] * shifts, side=side.tolist(), gain=gain.tolist(),
            played_days=[0] * shifts,
        )  # fmt: skip

    def attempt(self, shift: int) -> tuple[bool, bool]:
        """One attempt and what it teaches: (is it cold, is it true)."""
        true = bool(self.rng.random() < self.share(shift, self.slow[shift] + self.fast[shift]))
        cold = shift not in self.touched
        self.touched.add(shift)
        self.run = self.run + 1 if shift == self.last else 0
        self.last = shift
        learning = self.learning
        error = max(0.0, 1.0 - self.slow[shift] - self.fast[shift])
        self.fast = [state * learning.fast_stays for state in self.fast]
        self.fast[shift] += learning.fast_gain * error
        bonus = 1.0 + learning.run_bonus * min(self.run, 4)
        self.slow[shift] = min(1.0, self.slow[shift] + learning.slow_gain * self.gain[shift] * bonus * error)
        self.attempts += 1
        return cold, true

    def sleep(self) -> None:
        """Until the next day."""
        for shift in self.touched:
            self.played_days[shift] += 1
        self.slow = [state * self._kept(shift) for shift, state in enumerate(self.slow)]
        self.fast = [0.0] * len(self.fast)
        self.touched.clear()
        self.last = -1

    def _kept(self, shift: int) -> float:
        return 1.0 - (1.0 - self.learning.overnight) / (1.0 + self.learning.steadying * self.played_days[shift])

    def share(self, shift: int, skill: float) -> float:
        """The chance of a true landing at a skill: normal landings within the tolerance that are not moved."""
        left, learning = 1.0 - min(1.0, skill), self.learning
        spread = learning.best_spread_cents + (learning.worst_spread_cents - learning.best_spread_cents) * left
        bias = learning.bias_cents * self.side[shift] * left
        reach = spread * sqrt(2.0)
        inside = 0.5 * (erf((TOLERANCE_CENTS - bias) / reach) + erf((TOLERANCE_CENTS + bias) / reach))
        return inside * (1.0 - learning.corrects)

    def rested_shares(self, days: int) -> list[float]:
        """The chance of a true cold landing at each shift after ``days`` without practice."""
        skills = [state * self._kept(shift) ** days for shift, state in enumerate(self.slow)]
        return [self.share(shift, skill) for shift, skill in enumerate(skills)]
