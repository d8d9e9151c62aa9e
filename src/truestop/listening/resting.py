"""Where and how the pitch comes to rest: the first rest, or the vibrato that comes before one.

Conventions: the contour counts cents above the arrival's target on a 1 ms grid; NaN where nothing is heard. + is sharp.
All indices are milliseconds from the contour's start. Definitions: docs/measures.md; the numbers here are its defaults.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from truestop.listening.contour import (
    Cents,
    Turn,
    bridge,
    find_turns,
    first_rest,
    mean_between,
    median,
    smooth,
)
from truestop.listening.vibrato import Swing, find_vibrato

LIGHT_MS, HEAVY_MS = 3.0, 8.0
"""Sigmas of the two smoothings."""
REST_MS = 80
REST_BAND_CENTS = 5.0
REST_SLOPE = (0.06, 30.0, 120.0)
"""Share of the slide's speed, and its limits in cents/s."""
LEAST_SE_CENTS = 0.5
"""No plain landing is known better."""
RELEASE_MS = 30
"""Left out before the last sound."""
WINDOW_MS = (20, 100)
"""The landing's window after the rest begins."""
TURN_CENTS = 8.0
QUIET_MS = 155
"""Without a new turn for this long, there is no vibrato."""
LATE_VIBRATO_MS = 160
"""A vibrato whose first turn is proven later leaves the landing plain: a landing that was told is never withdrawn."""
PROVEN_MS = 16
"""What the turns' smoothing needs beyond the moment it speaks about; the rest weighs next to nothing. So much of the
contour beyond LATE_VIBRATO_MS is known when a landing is told."""
SETTLE_MS = 600
HORIZON_MS = SETTLE_MS + 120
"""How far after the rest the contour is looked at, at most: the settling and the reversal that proves its last turn."""
NEW_FINGER_CENTS = 70.0
GUIDE_CENTS = 40.0
GUIDE_LEFT_CENTS = 25.0
NEW_FINGER_STEP_MS = 30
LOWEST_PLAIN_HZ = 50.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Travel:
    """What the written shift says about the contour: the signed interval, the guide note, how much may be read."""

    interval_cents: float
    """From departure to arrival, signed."""
    guide_cents: float | None = None
    """The announced guide note, from the target."""
    silent: bool = False
    new_bow: bool = False
    """Silence before the rest is a bow's, not a fault."""
    lowest_hz: float = 440.0
    smoothing_ms: float = 3.0
    """Sigma of the tracker's own smoothing."""
    line_cents: Cents | None = None
    """The contour freed of all smoothing, for times; None where only the smoothed one is known."""
    tracker_se_cents: Cents | None = None
    """The tracker's own standard error along the contour; None where it is nought."""

    def tracker_se(self, a: int, b: int) -> float:
        """Its median over [a, b). What the harmonics disagree about in a room does not average out over a window."""
        if self.tracker_se_cents is None or not len(self.tracker_se_cents[a:b]):
            return 0.0
        return median(self.tracker_se_cents[a:b])

    @property
    def sign(self) -> int:
        """+1 where the pitch rises."""
        return -1 if self.interval_cents < 0 else 1

    @property
    def rest_ms(self) -> int:
        """Window that makes a rest: 80 ms, and four periods of a very low note."""
        return REST_MS if self.lowest_hz >= LOWEST_PLAIN_HZ else max(REST_MS, round(4000.0 / self.lowest_hz))


@dataclass(frozen=True, slots=True)
class Sound:
    """A contour with its two smoothings and the last moment that is judged."""

    cents: Cents
    light: Cents
    heavy: Cents
    end: int
    whole: Cents
    """Smoothed by 8 ms in all, what the tracker itself has smoothed counted: where times are read."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where and how the pitch came to rest: a plain rest or a vibrato."""

    rest: int
    window: tuple[int, int]
    cents: float
    se: float
    swing: Swing | None
    known: int

    @property
    def in_vibrato(self) -> bool:
        """Whether the landing was read under a vibrato."""
        return self.swing is not None and self.rest == self.swing.start


def prepare(contour_cents: Cents, travel: Travel) -> Sound:
    """A contour made ready: gaps bridged, smoothed, the release left out."""
    cents = bridge(np.asarray(contour_cents, dtype=np.float64))
    heard = np.flatnonzero(np.isfinite(cents))
    end = int(heard[-1]) + 1 - RELEASE_MS if len(heard) else 0
    return Sound(cents, smooth(cents, LIGHT_MS), smooth(cents, HEAVY_MS), end, _for_times(cents, travel))


def _for_times(cents: Cents, travel: Travel) -> Cents:
    """The contour smoothed by HEAVY_MS in all; how much calming adds changes with the speed, so the line that is freed
    of it is used where it is known."""
    if travel.line_cents is None:
        return smooth(cents, max(HEAVY_MS**2 - travel.smoothing_ms**2, 0.0) ** 0.5)
    return smooth(bridge(travel.line_cents[: len(cents)]), HEAVY_MS)


def half_way(sound: Sound, travel: Travel) -> int | None:
    """First moment beyond half the interval, None where it is never passed."""
    with np.errstate(invalid="ignore"):
        beyond = travel.sign * sound.light > -0.5 * abs(travel.interval_cents)
    return int(beyond.argmax()) if beyond.any() else None


def slope_limit_of(sound: Sound, travel: Travel, half: int) -> float:
    """S of the rest rule: a share of the slide's speed, within limits."""
    up, wide = travel.sign * sound.light, abs(travel.interval_cents)
    with np.errstate(invalid="ignore"):
        before = np.flatnonzero(up[: half + 1] < -0.75 * wide)
        after = np.flatnonzero(up[half:] > -0.25 * wide)
    share, least, most = REST_SLOPE
    if not len(before) or not len(after):
        return least
    took_s = max(half + int(after[0]) - int(before[-1]), 1) / 1000.0
    return float(np.clip(share * 0.5 * wide / took_s, least, most))


def find_place(sound: Sound, travel: Travel, half: int, slope_limit: float) -> tuple[float | None, Place | None]:
    """Error of the announced guide note and the place of the landing, each None where there is none."""
    guide, start = _announced_guide(sound, travel, half, slope_limit)
    return guide, _first_place(sound, travel, max(half, start), slope_limit)


def _announced_guide(sound: Sound, travel: Travel, half: int, slope_limit: float) -> tuple[float | None, int]:
    """Error of the announced guide note where the travel rests on it, and where to search on."""
    guide = travel.guide_cents
    if guide is None or abs(guide) <= NEW_FINGER_CENTS:
        return None, half
    up, wide = travel.sign * sound.light, abs(travel.interval_cents)
    with np.errstate(invalid="ignore"):
        before = np.flatnonzero(up[: half + 1] < -0.75 * wide)
    search = int(before[-1]) if len(before) else half
    while True:
        rest = rest_from(sound, travel, search, slope_limit)
        if rest is None:
            return None, half
        window, middle, _ = _plain_window(sound, rest, travel.rest_ms)
        if abs(middle - guide) <= GUIDE_CENTS:
            return middle - guide, _left(sound, middle, window[1])
        if rest >= half:
            return None, half
        search = _left(sound, middle, rest + travel.rest_ms)


def _left(sound: Sound, cents: float, start: int) -> int:
    """Where the smoothed contour leaves ``cents`` for good by the guide note's margin."""
    with np.errstate(invalid="ignore"):
        away = np.abs(sound.heavy[start:] - cents) > GUIDE_LEFT_CENTS
    return start + int(away.argmax()) if away.any() else len(sound.cents)


def rest_from(sound: Sound, travel: Travel, start: int, slope_limit: float) -> int | None:
    """First rest from ``start`` on."""
    return first_rest(
        sound.cents,
        sound.light,
        start,
        sound.end,
        window_ms=travel.rest_ms,
        slope_limit=slope_limit,
        band_cents=REST_BAND_CENTS,
    )


def _first_place(sound: Sound, travel: Travel, start: int, slope_limit: float) -> Place | None:
    """The landing: the first rest, or the vibrato that comes before one; a rest of an old finger is passed over."""
    while True:
        rest = rest_from(sound, travel, start, slope_limit)
        last = len(sound.cents) if rest is None else min(rest + HORIZON_MS, len(sound.cents))
        turns = find_turns(sound.heavy, start, last, TURN_CENTS)
        swing = find_vibrato(turns, travel.smoothing_ms)
        if swing is not None and (rest is None or swing.first_known < rest + LATE_VIBRATO_MS):
            return vibrato_place(sound, swing, last)
        if rest is None:
            return None
        place = _plain_place(sound, travel, rest, swing, turns)
        onward = _new_finger(sound, travel, place, slope_limit)
        if onward is None:
            return place
        start = onward


def _plain_place(sound: Sound, travel: Travel, rest: int, swing: Swing | None, turns: list[Turn]) -> Place:
    window, middle, se = _plain_window(sound, rest, travel.rest_ms)
    return Place(rest, window, middle, se, swing, _plain_known(rest, turns))


def _plain_known(rest: int, turns: list[Turn]) -> int:
    """When a plain landing cannot become a vibrato any more: 155 ms after the last of the turns that began before."""
    known = rest + LATE_VIBRATO_MS
    for turn in turns:
        if turn.known >= known:
            break
        known = max(known, turn.at + QUIET_MS)
    return known


def _plain_window(sound: Sound, rest: int, rest_ms: int) -> tuple[tuple[int, int], float, float]:
    """The landing's window after ``rest``, its median, and the median's standard error."""
    a, b = rest + WINDOW_MS[0], min(rest + max(WINDOW_MS[1], rest_ms + 20), sound.end)
    still = median(sound.cents[rest : rest + rest_ms])
    tail = sound.heavy[rest + rest_ms : b]
    with np.errstate(invalid="ignore"):
        moved = ~(np.abs(tail - still) <= REST_BAND_CENTS)
    if moved.any():
        b = rest + rest_ms + int(moved.argmax())
    part = sound.cents[a:b]
    middle = median(part)
    spread = 1.4826 * median(np.abs(part - middle))
    return (a, b), middle, max(LEAST_SE_CENTS, 1.8 * spread * (80.0 / len(part)) ** 0.5)


def vibrato_place(sound: Sound, swing: Swing, last: int) -> Place | None:
    cycle, start = swing.cycle_ms, swing.start
    if start + 1.5 * cycle > min(sound.end, last):
        return None
    if not np.isfinite(sound.cents[start : int(start + 1.5 * cycle) + 2]).all():
        return None
    rise = np.arange(0.0, 0.5 * cycle + 0.5, 1.0) if cycle >= 2 else np.zeros(1)
    means = [mean_between(sound.cents, start + q, start + q + cycle) for q in rise.tolist()]
    window = (start, int(start + 1.5 * cycle) + 1)
    known = max(swing.known, window[1])
    return Place(start, window, float(np.mean(means)), max(1.0, 0.06 * swing.extent_cents), swing, known)


def _new_finger(sound: Sound, travel: Travel, place: Place, slope_limit: float) -> int | None:
    """Where to search on when ``place`` is a wrong rest, left by a step (a new finger) for a rest near the target."""
    if travel.guide_cents is not None or abs(place.cents) <= NEW_FINGER_CENTS:
        return None
    left = _left(sound, place.cents, place.window[1])
    if left >= place.rest + SETTLE_MS:
        return None
    last = min(sound.end, place.rest + HORIZON_MS - RELEASE_MS)
    rest = rest_from(replace(sound, end=last), travel, left, slope_limit)
    if rest is None:
        return None
    after = median(sound.cents[rest : rest + travel.rest_ms])
    if abs(after) > NEW_FINGER_CENTS:
        return None
    with np.errstate(invalid="ignore"):
        share = (sound.light[place.window[1] : rest + 1] - place.cents) / (after - place.cents)
        low, high = np.flatnonzero(share < 0.1), np.flatnonzero(share > 0.9)
    if not len(high):
        return None
    tenth = int(low[low < high[0]][-1]) if len(low[low < high[0]]) else 0
    return left if int(high[0]) - tenth <= NEW_FINGER_STEP_MS else None
