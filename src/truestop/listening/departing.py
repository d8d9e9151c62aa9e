"""The pitch that the travel leaves, and when it is left.

Conventions: the contour counts cents above the arrival's target on a 1 ms grid; NaN where nothing is heard. + is sharp.
All indices are milliseconds from the contour's start. Definitions: docs/measures.md; the numbers here are its defaults.
"""

from __future__ import annotations

import numpy as np

from truestop.listening.contour import Cents, band_edge, find_turns, mean_between, median
from truestop.listening.resting import LATE_VIBRATO_MS, TURN_CENTS, Sound, Travel, rest_from, vibrato_place
from truestop.listening.vibrato import Swing, find_vibrato

ARRIVED_CENTS = 10.0
"""Within this of a note's pitch it is reached, or not yet left."""
DEPARTURE_MS = 3000
"""How far back from half-way the departure note is looked for."""
DRIFT_CENTS_PER_S = 15.0


def departure_before(
    sound: Sound, travel: Travel, half: int, slope_limit: float
) -> tuple[float | None, float | None, float | None]:
    """Pitch of the departure note as the travel leaves it, its standard error, and when it is left."""
    near = slice(max(half - DEPARTURE_MS, 0), half)
    cents, light, heavy, whole = (part[near][::-1] for part in (sound.cents, sound.light, sound.heavy, sound.whole))
    flipped = Sound(cents, light, heavy, len(cents), whole)
    rest = rest_from(flipped, travel, 0, slope_limit)
    swing = find_vibrato(find_turns(flipped.heavy, 0, flipped.end, TURN_CENTS), travel.smoothing_ms)
    if swing is not None and (rest is None or swing.first_known < rest + LATE_VIBRATO_MS):
        return _swinging_departure(sound, flipped, half, swing)
    if rest is None:
        return None, None, None
    middle = median(flipped.cents[rest : rest + travel.rest_ms])
    leaving = _leaving(sound, half, middle, ARRIVED_CENTS)
    if leaving is None:
        return None, None, None
    return *_plain_departure(sound, leaving, middle), leaving


def _leaving(sound: Sound, half: int, cents: float, band: float) -> float | None:
    off = np.abs(sound.whole - cents)
    with np.errstate(invalid="ignore"):
        there = np.flatnonzero(off[: half + 1] <= band)
    return band_edge(off, int(there[-1]), int(there[-1]) + 1, band) if len(there) else None


def _plain_departure(sound: Sound, left: float, middle: float) -> tuple[float, float]:
    leaving = int(left)
    part = sound.cents[max(leaving - 220, 0) : max(leaving - 20, 0)]
    gaps = np.flatnonzero(~np.isfinite(part))
    if len(gaps):
        part = part[gaps[-1] + 1 :]
    part = part[_last_still(part) :]
    if len(part) < 40:
        return middle, 1.0
    time = np.arange(len(part)) - (len(part) - 1) / 2.0
    slope = float(time @ part / (time @ time))
    spread = 1.4826 * median(np.abs(part - median(part)))
    if abs(slope) * 1000.0 > DRIFT_CENTS_PER_S:
        rest = part - part.mean() - slope * time
        spread = float(rest.std())
        value = float(part.mean() + slope * (len(part) / 2.0 + 20.0))
    else:
        value = median(part[-150:])
    return value, max(0.5, 1.8 * spread * (80.0 / len(part)) ** 0.5)


def _last_still(part: Cents) -> int:
    """Start of the last stretch within a quarter-tone of the end: the note's attack is left out."""
    if not len(part):
        return 0
    strays = np.flatnonzero(np.abs(part - median(part[-40:])) > 50.0)
    return int(strays[-1]) + 1 if len(strays) else 0


def _swinging_departure(
    sound: Sound, flipped: Sound, half: int, swing: Swing
) -> tuple[float | None, float | None, float | None]:
    place = vibrato_place(flipped, swing, flipped.end)
    if place is None:
        return None, None, None
    leaving = _leaving(sound, half, place.cents, ARRIVED_CENTS + swing.extent_cents)
    if leaving is None:
        return None, None, None
    cycle, end, last = swing.cycle_ms, leaving - 5.0, int(leaving)
    if end - cycle < 0 or not np.isfinite(sound.cents[int(end - cycle) : last]).all():
        return place.cents, place.se, leaving
    value = mean_between(sound.cents, end - cycle, end)
    if end - 2 * cycle >= 0 and np.isfinite(sound.cents[int(end - 2 * cycle) : last]).all():
        drift = (value - mean_between(sound.cents, end - 2 * cycle, end - cycle)) / cycle
        if abs(drift) * 1000.0 > DRIFT_CENTS_PER_S:
            value += drift * (cycle / 2.0 + 5.0)
    return value, place.se, leaving
