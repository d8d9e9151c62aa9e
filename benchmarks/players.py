"""Simulated players for the benchmarks: landings with bias and spread, and habits; all seeded.

Conventions: cents, + sharp; seconds, + late. With sound, successive landings are independent draws; without sound
they drift (Chen and others 2013, nine cellists).
"""

from __future__ import annotations

from dataclasses import dataclass

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
