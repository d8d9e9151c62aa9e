"""Where the pitch goes after a landing, and whether that is a correction.

Conventions: the contour counts cents above the arrival's target on a 1 ms grid; NaN where nothing is heard. + is sharp.
All indices are milliseconds from the contour's start. Definitions: docs/measures.md; the numbers here are its defaults.
"""

from __future__ import annotations

from math import hypot

import numpy as np

from truestop.listening.contour import Turn, find_turns, mean_between, median
from truestop.listening.resting import HORIZON_MS, TURN_CENTS, Place, Sound

CORRECTION_CENTS = 6.0


def settled_after(sound: Sound, place: Place, judged: int) -> tuple[float | None, float]:
    """Where the pitch went within the horizon, and its standard error."""
    last = min(len(sound.cents), place.rest + HORIZON_MS)
    turns = find_turns(sound.heavy, place.rest if place.in_vibrato else place.window[0], last, TURN_CENTS)
    after = sum(place.window) // 2 if place.in_vibrato else place.window[1]
    late = [turn for turn in turns if turn.at < judged]
    three = late[-3:]
    if len(three) == 3 and three[0].at >= after and judged - three[-1].at <= 150:
        return _cycle(sound, three)
    if not place.in_vibrato and judged >= place.window[1] + 50:
        part = sound.cents[max(judged - 100, place.window[1]) : judged]
        if np.isfinite(part).all():
            middle = median(part)
            spread = 1.4826 * median(np.abs(part - middle))
            return middle, max(0.5, 1.8 * spread * (80.0 / len(part)) ** 0.5)
    following = [turn for turn in turns if turn.at >= after][:3]
    return _cycle(sound, following) if len(following) == 3 else (None, 0.0)


def _cycle(sound: Sound, turns: list[Turn]) -> tuple[float, float]:
    extent = 0.25 * (abs(turns[1].cents - turns[0].cents) + abs(turns[2].cents - turns[1].cents))
    return mean_between(sound.cents, turns[0].at, turns[-1].at), max(1.0, 0.06 * extent)


def correction_of(landing: float, se: float, settled: float | None, settled_se: float) -> tuple[float | None, bool]:
    """How far the pitch was moved after the landing, 0 where it stayed, and whether towards the target."""
    if settled is None:
        return None, False
    moved = settled - landing
    if abs(moved) < max(CORRECTION_CENTS, 1.5 * hypot(se, settled_se)):
        return 0.0, False
    return moved, moved * landing < 0 and abs(settled) < abs(landing)
