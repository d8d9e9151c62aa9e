"""Vibrato: turning points that swing to and fro like a hand, told apart from a slide and from a correction.

Conventions: turning points come from ``contour.find_turns``; indices are milliseconds. Definitions: docs/measures.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import exp, hypot, pi

import numpy as np

from truestop.listening.contour import Turn

TURN_MS = (55, 135)
FIRST_TURN_MS = (25, 135)
SWING_RATIO = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Swing:
    """A vibrato: its first turn, its cycle in ms, rate and half swing."""

    start: int
    cycle_ms: float
    rate_hz: float
    extent_cents: float
    first_known: int
    """When the first turn was proven."""
    known: int
    """When the fourth turn was proven."""


def find_vibrato(turns: list[Turn], smoothing_ms: float = 3.0) -> Swing | None:
    """The first run of at least four turning points that swing like a vibrato, or None."""
    for first in range(len(turns) - 3):
        run = _swinging(turns[first:])
        if len(run) >= 4:
            return _swing(run, smoothing_ms)
    return None


def _swinging(turns: list[Turn]) -> list[Turn]:
    """The longest start of ``turns`` whose spacing and swings fit; a turn that belongs to the slide is dropped."""
    run = [turns[0]]
    for before, turn in pairwise(turns):
        shortest, longest = FIRST_TURN_MS if len(run) == 1 else TURN_MS
        if not shortest <= turn.at - before.at <= longest:
            break
        if len(run) >= 2 and not _alike(run[-2], run[-1], turn, first=len(run) == 2):
            break
        run.append(turn)
    if len(run) >= 3 and abs(run[1].cents - run[0].cents) > 2 * abs(run[2].cents - run[1].cents):
        run = run[1:]
    return run


def _alike(one: Turn, two: Turn, three: Turn, *, first: bool) -> bool:
    """Whether the second swing is within the factor of the first; the first of all may belong to the slide."""
    before, after = abs(two.cents - one.cents), abs(three.cents - two.cents)
    return first or before / SWING_RATIO <= after <= before * SWING_RATIO


def _swing(run: list[Turn], smoothing_ms: float) -> Swing:
    points = run[1:] if len(run) > 4 else run
    rate = (len(points) - 1) / (2.0 * (points[-1].at - points[0].at) / 1000.0)
    inner = run[1:]
    swings = [abs(b.cents - a.cents) for a, b in pairwise(inner)]
    sigma_s = hypot(8.0, smoothing_ms) / 1000.0
    extent = 0.5 * float(np.mean(swings)) * exp(0.5 * (2 * pi * rate * sigma_s) ** 2)
    cycle = float(run[3].at - run[1].at)
    return Swing(
        start=run[0].at, cycle_ms=cycle, rate_hz=rate, extent_cents=extent, first_known=run[0].known, known=run[3].known
    )
