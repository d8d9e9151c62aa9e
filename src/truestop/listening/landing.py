"""The measure: from a pitch contour to where the finger came to rest, and what it did before and after.

Conventions: the contour counts cents above the arrival's target on a 1 ms grid; NaN where nothing is heard. + is sharp.
All indices are milliseconds from the contour's start. The definitions, with their reasons, are in docs/measures.md;
the numbers here are its defaults.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from math import hypot

import numpy as np

from truestop.listening.contour import (
    BRIDGED_MS,
    Cents,
    Turn,
    bridge,
    find_turns,
    first_rest,
    mean_between,
    smooth,
    voiced_runs,
)
from truestop.listening.vibrato import Swing, find_vibrato

LIGHT_MS, HEAVY_MS = 3.0, 8.0
"""Sigmas of the two smoothings."""
REST_MS = 80
REST_BAND_CENTS = 5.0
REST_SLOPE = (0.12, 30.0, 120.0)
"""Share of the slide's speed, and its limits in cents/s."""
RELEASE_MS = 30
"""Left out before the last sound."""
WINDOW_MS = (20, 100)
"""The landing's window after the rest begins."""
TURN_CENTS = 8.0
QUIET_MS = 155
"""Without a new turn for this long, there is no vibrato."""
LATE_VIBRATO_MS = 160
"""A vibrato whose first turn is proven later leaves the landing plain: a landing that was told is never withdrawn."""
SETTLE_MS = 600
HORIZON_MS = SETTLE_MS + 120
"""How far after the rest the contour is looked at, at most: the settling and the reversal that proves its last turn."""
CORRECTION_CENTS = 6.0
ARRIVED_CENTS = 10.0
NEW_FINGER_CENTS = 70.0
GUIDE_CENTS = 40.0
GUIDE_LEFT_CENTS = 25.0
NEW_FINGER_STEP_MS = 30
DEPARTURE_MS = 3000
"""How far back from half-way the departure note is looked for."""
SHORT_MS, SHORT_CENTS = 150, 4.0
UNSTEADY_CENTS, UNSTEADY_IN_VIBRATO_CENTS = 4.0, 6.0
DRIFT_CENTS_PER_S = 15.0
LOWEST_PLAIN_HZ = 50.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Landing:
    """All numbers of one arrival; None where unknown. Times in ms from the contour's start, cents from the target."""

    reason: str | None = None
    """Why there is no sound landing: 'no travel', 'no landing', 'too short', 'unsteady', 'gap'."""
    half: int | None = None
    rest: int | None = None
    window: tuple[int, int] | None = None
    arrival: int | None = None
    leaving: int | None = None
    landing_cents: float | None = None
    landing_se_cents: float | None = None
    settled_cents: float | None = None
    settled_se_cents: float | None = None
    correction_cents: float | None = None
    toward: bool = False
    overshoot_cents: float | None = None
    guide_cents: float | None = None
    departure_cents: float | None = None
    """Error of the departure note against its own written pitch."""
    departure_se_cents: float | None = None
    stops: int = 0
    reversals: int = 0
    vibrato: Swing | None = None
    judged: int | None = None
    """t_h: nothing later is judged."""
    known: int | None = None
    """When the landing was final by the live rule, tracker look-ahead not counted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Travel:
    """What the written shift says about the contour: the signed interval, the guide note, how much may be read."""

    interval_cents: float
    """From departure to arrival, signed."""
    guide_cents: float | None = None
    """The announced guide note, from the target."""
    silent: bool = False
    lowest_hz: float = 440.0
    smoothing_ms: float = 3.0
    """Sigma of the tracker's own smoothing."""
    tracker_se_cents: Cents | None = None
    """The tracker's own standard error along the contour; None where it is nought."""

    def tracker_se(self, a: int, b: int) -> float:
        """Its median over [a, b). What the harmonics disagree about in a room does not average out over a window."""
        if self.tracker_se_cents is None or not len(self.tracker_se_cents[a:b]):
            return 0.0
        return float(np.median(self.tracker_se_cents[a:b]))

    @property
    def sign(self) -> int:
        """+1 where the pitch rises."""
        return -1 if self.interval_cents < 0 else 1

    @property
    def rest_ms(self) -> int:
        """Window that makes a rest: 80 ms, and four periods of a very low note."""
        return REST_MS if self.lowest_hz >= LOWEST_PLAIN_HZ else max(REST_MS, round(4000.0 / self.lowest_hz))


@dataclass(frozen=True, slots=True)
class _Sound:
    """A contour with its two smoothings and the last moment that is judged."""

    cents: Cents
    light: Cents
    heavy: Cents
    end: int
    whole: Cents
    """Smoothed by 8 ms in all, what the tracker itself has smoothed counted: where times are read."""


@dataclass(frozen=True, slots=True)
class _Place:
    """Where and how the pitch came to rest: a plain rest or a vibrato."""

    rest: int
    window: tuple[int, int]
    cents: float
    se: float
    swing: Swing | None
    known: int

    @property
    def in_vibrato(self) -> bool:
        return self.swing is not None and self.rest == self.swing.start


def measure_landing(contour_cents: Cents, travel: Travel) -> Landing:
    """Measure one arrival. ``contour_cents`` runs from the departure note to the end of the arrival note.

    A contour that is still growing may give 'no landing' where later there is one; a landing that is given stays as it
    is once ``known`` has passed. Nothing later than HORIZON_MS after the rest is looked at.
    """
    sound = _prepare(contour_cents, travel)
    half = _half_way(sound, travel)
    if half is None:
        return Landing(reason="no travel")
    slope_limit = _slope_limit(sound, travel, half)
    guide, place = _search(sound, travel, half, slope_limit)
    plain = Landing(half=half, guide_cents=guide)
    if place is None:
        return replace(plain, reason="gap" if _broken(sound, half, sound.end) else "no landing")
    if len(contour_cents) > place.rest + HORIZON_MS:
        return measure_landing(contour_cents[: place.rest + HORIZON_MS], travel)
    return _complete(sound, travel, plain, place, slope_limit)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sighting:
    """A landing as soon as there is one: where the rest began, and when its number is final by the live rule."""

    rest: int
    known: int


def sight_landing(contour_cents: Cents, travel: Travel) -> Sighting | None:
    """The landing of a contour that is still growing, without all that is measured about it; None where none is yet."""
    sound = _prepare(contour_cents, travel)
    half = _half_way(sound, travel)
    if half is None:
        return None
    _, place = _search(sound, travel, half, _slope_limit(sound, travel, half))
    return None if place is None else Sighting(rest=place.rest, known=place.known)


def _search(sound: _Sound, travel: Travel, half: int, slope_limit: float) -> tuple[float | None, _Place | None]:
    guide, start = _announced_guide(sound, travel, half, slope_limit)
    return guide, _find_place(sound, travel, max(half, start), slope_limit)


def _prepare(contour_cents: Cents, travel: Travel) -> _Sound:
    cents = bridge(np.asarray(contour_cents, dtype=np.float64))
    heard = np.flatnonzero(np.isfinite(cents))
    end = int(heard[-1]) + 1 - RELEASE_MS if len(heard) else 0
    left_ms = max(HEAVY_MS**2 - travel.smoothing_ms**2, 0.0) ** 0.5
    return _Sound(cents, smooth(cents, LIGHT_MS), smooth(cents, HEAVY_MS), end, smooth(cents, left_ms))


def _half_way(sound: _Sound, travel: Travel) -> int | None:
    with np.errstate(invalid="ignore"):
        beyond = travel.sign * sound.light > -0.5 * abs(travel.interval_cents)
    return int(beyond.argmax()) if beyond.any() else None


def _slope_limit(sound: _Sound, travel: Travel, half: int) -> float:
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


def _announced_guide(sound: _Sound, travel: Travel, half: int, slope_limit: float) -> tuple[float | None, int]:
    """Error of the announced guide note where the travel rests on it, and where to search on."""
    guide = travel.guide_cents
    if guide is None or abs(guide) <= NEW_FINGER_CENTS:
        return None, half
    up, wide = travel.sign * sound.light, abs(travel.interval_cents)
    with np.errstate(invalid="ignore"):
        before = np.flatnonzero(up[: half + 1] < -0.75 * wide)
    search = int(before[-1]) if len(before) else half
    while True:
        rest = _rest(sound, travel, search, slope_limit)
        if rest is None:
            return None, half
        window, middle, _ = _plain_window(sound, rest, travel.rest_ms)
        if abs(middle - guide) <= GUIDE_CENTS:
            return middle - guide, _left(sound, middle, window[1])
        if rest >= half:
            return None, half
        search = _left(sound, middle, rest + travel.rest_ms)


def _left(sound: _Sound, cents: float, start: int) -> int:
    """Where the smoothed contour leaves ``cents`` for good by the guide note's margin."""
    with np.errstate(invalid="ignore"):
        away = np.abs(sound.heavy[start:] - cents) > GUIDE_LEFT_CENTS
    return start + int(away.argmax()) if away.any() else len(sound.cents)


def _rest(sound: _Sound, travel: Travel, start: int, slope_limit: float) -> int | None:
    return first_rest(
        sound.cents,
        sound.light,
        start,
        sound.end,
        window_ms=travel.rest_ms,
        slope_limit=slope_limit,
        band_cents=REST_BAND_CENTS,
    )


def _find_place(sound: _Sound, travel: Travel, start: int, slope_limit: float) -> _Place | None:
    """The landing: the first rest, or the vibrato that comes before one; a rest of an old finger is passed over."""
    while True:
        rest = _rest(sound, travel, start, slope_limit)
        last = len(sound.cents) if rest is None else min(rest + HORIZON_MS, len(sound.cents))
        turns = find_turns(sound.heavy, start, last, TURN_CENTS)
        swing = find_vibrato(turns, travel.smoothing_ms)
        if swing is not None and (rest is None or swing.first_known < rest + LATE_VIBRATO_MS):
            return _vibrato_place(sound, swing, last)
        if rest is None:
            return None
        place = _plain_place(sound, travel, rest, swing, turns)
        onward = _new_finger(sound, travel, place, slope_limit)
        if onward is None:
            return place
        start = onward


def _plain_place(sound: _Sound, travel: Travel, rest: int, swing: Swing | None, turns: list[Turn]) -> _Place:
    window, middle, se = _plain_window(sound, rest, travel.rest_ms)
    return _Place(rest, window, middle, se, swing, _plain_known(rest, turns))


def _plain_known(rest: int, turns: list[Turn]) -> int:
    """When a plain landing cannot become a vibrato any more: 155 ms after the last of the turns that began before."""
    known = rest + LATE_VIBRATO_MS
    for turn in turns:
        if turn.known >= known:
            break
        known = max(known, turn.at + QUIET_MS)
    return known


def _plain_window(sound: _Sound, rest: int, rest_ms: int) -> tuple[tuple[int, int], float, float]:
    """The landing's window after ``rest``, its median, and the median's standard error."""
    a, b = rest + WINDOW_MS[0], min(rest + max(WINDOW_MS[1], rest_ms + 20), sound.end)
    still = float(np.median(sound.cents[rest : rest + rest_ms]))
    tail = sound.heavy[rest + rest_ms : b]
    with np.errstate(invalid="ignore"):
        moved = ~(np.abs(tail - still) <= REST_BAND_CENTS)
    if moved.any():
        b = rest + rest_ms + int(moved.argmax())
    part = sound.cents[a:b]
    middle = float(np.median(part))
    spread = 1.4826 * float(np.median(np.abs(part - middle)))
    return (a, b), middle, max(0.5, 1.8 * spread * (80.0 / len(part)) ** 0.5)


def _vibrato_place(sound: _Sound, swing: Swing, last: int) -> _Place | None:
    cycle, start = swing.cycle_ms, swing.start
    if start + 1.5 * cycle > min(sound.end, last):
        return None
    if not np.isfinite(sound.cents[start : int(start + 1.5 * cycle) + 2]).all():
        return None
    rise = np.arange(0.0, 0.5 * cycle + 0.5, 1.0) if cycle >= 2 else np.zeros(1)
    means = [mean_between(sound.cents, start + q, start + q + cycle) for q in rise.tolist()]
    window = (start, int(start + 1.5 * cycle) + 1)
    known = max(swing.known, window[1])
    return _Place(start, window, float(np.mean(means)), max(1.0, 0.06 * swing.extent_cents), swing, known)


def _new_finger(sound: _Sound, travel: Travel, place: _Place, slope_limit: float) -> int | None:
    """Where to search on when ``place`` is a wrong rest, left by a step (a new finger) for a rest near the target."""
    if travel.guide_cents is not None or abs(place.cents) <= NEW_FINGER_CENTS:
        return None
    left = _left(sound, place.cents, place.window[1])
    if left >= place.rest + SETTLE_MS:
        return None
    last = min(sound.end, place.rest + HORIZON_MS - RELEASE_MS)
    rest = _rest(replace(sound, end=last), travel, left, slope_limit)
    if rest is None:
        return None
    after = float(np.median(sound.cents[rest : rest + travel.rest_ms]))
    if abs(after) > NEW_FINGER_CENTS:
        return None
    with np.errstate(invalid="ignore"):
        share = (sound.light[place.window[1] : rest + 1] - place.cents) / (after - place.cents)
        low, high = np.flatnonzero(share < 0.1), np.flatnonzero(share > 0.9)
    if not len(high):
        return None
    tenth = int(low[low < high[0]][-1]) if len(low[low < high[0]]) else 0
    return left if int(high[0]) - tenth <= NEW_FINGER_STEP_MS else None


def _complete(sound: _Sound, travel: Travel, plain: Landing, place: _Place, slope_limit: float) -> Landing:
    """Everything that follows from where the landing is."""
    assert plain.half is not None
    half = plain.half
    reason = _unsound(sound, half, place, hypot(place.se, travel.tracker_se(*place.window)))
    tracker_se = travel.tracker_se(*place.window)
    se = hypot(place.se, tracker_se)
    judged = min(place.rest + SETTLE_MS, sound.end)
    settled, settled_se = _settled(sound, travel, place, judged)
    correction, toward = _correction(place.cents, se, settled, hypot(settled_se, tracker_se))
    band = ARRIVED_CENTS + (place.swing.extent_cents if place.in_vibrato and place.swing else 0.0)
    arrival = _arrival(sound, place, band)
    departure, departure_se, leaving = _departure(sound, travel, half, slope_limit)
    if travel.silent:
        departure = departure_se = leaving = None
    stops, reversals = _smoothness(sound, travel, leaving, arrival, slope_limit)
    return replace(
        plain,
        reason=reason,
        rest=place.rest,
        window=place.window,
        arrival=arrival,
        leaving=leaving,
        landing_cents=place.cents,
        landing_se_cents=se,
        settled_cents=settled,
        settled_se_cents=settled_se if settled is not None else None,
        correction_cents=correction,
        toward=toward,
        overshoot_cents=_overshoot(sound, travel, half, place),
        departure_cents=None if departure is None else departure + travel.interval_cents,
        departure_se_cents=departure_se,
        stops=stops,
        reversals=reversals,
        vibrato=place.swing,
        judged=judged,
        known=place.known,
    )


def _unsound(sound: _Sound, half: int, place: _Place, se: float) -> str | None:
    if _broken(sound, half, place.window[1]):
        return "gap"
    part = sound.light[place.window[0] : place.window[1]]
    if (
        not place.in_vibrato
        and sound.end - place.rest < SHORT_MS
        and float(np.abs(part - np.median(part)).max()) > SHORT_CENTS
    ):
        return "too short"
    unsteady = se > UNSTEADY_CENTS if not place.in_vibrato else se > UNSTEADY_IN_VIBRATO_CENTS
    return "unsteady" if unsteady else None


def _broken(sound: _Sound, start: int, end: int) -> bool:
    """Whether sound is missing for longer than can be bridged."""
    return any(b - a > BRIDGED_MS for a, b in voiced_runs(~np.isfinite(sound.cents[start:end])))


def _settled(sound: _Sound, travel: Travel, place: _Place, judged: int) -> tuple[float | None, float]:
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
            middle = float(np.median(part))
            spread = 1.4826 * float(np.median(np.abs(part - middle)))
            return middle, max(0.5, 1.8 * spread * (80.0 / len(part)) ** 0.5)
    following = [turn for turn in turns if turn.at >= after][:3]
    return _cycle(sound, following) if len(following) == 3 else (None, 0.0)


def _cycle(sound: _Sound, turns: list[Turn]) -> tuple[float, float]:
    extent = 0.25 * (abs(turns[1].cents - turns[0].cents) + abs(turns[2].cents - turns[1].cents))
    return mean_between(sound.cents, turns[0].at, turns[-1].at), max(1.0, 0.06 * extent)


def _correction(landing: float, se: float, settled: float | None, settled_se: float) -> tuple[float | None, bool]:
    if settled is None:
        return None, False
    moved = settled - landing
    if abs(moved) < max(CORRECTION_CENTS, 1.5 * hypot(se, settled_se)):
        return 0.0, False
    return moved, moved * landing < 0 and abs(settled) < abs(landing)


def _overshoot(sound: _Sound, travel: Travel, half: int, place: _Place) -> float | None:
    if place.in_vibrato:
        return None
    part = travel.sign * (sound.cents[half : place.rest + 20] - place.cents)
    return max(0.0, float(np.nanmax(part))) if np.isfinite(part).any() else None


def _arrival(sound: _Sound, place: _Place, band: float) -> int:
    with np.errstate(invalid="ignore"):
        inside = np.abs(sound.whole[: place.rest + 40] - place.cents) <= band
    runs = voiced_runs(inside)
    return runs[-1][0] if runs else place.rest


def _departure(
    sound: _Sound, travel: Travel, half: int, slope_limit: float
) -> tuple[float | None, float | None, int | None]:
    """Pitch of the departure note as the travel leaves it, its standard error, and when it is left."""
    near = slice(max(half - DEPARTURE_MS, 0), half)
    cents, light, heavy, whole = (part[near][::-1] for part in (sound.cents, sound.light, sound.heavy, sound.whole))
    flipped = _Sound(cents, light, heavy, len(cents), whole)
    rest = _rest(flipped, travel, 0, slope_limit)
    swing = find_vibrato(find_turns(flipped.heavy, 0, flipped.end, TURN_CENTS), travel.smoothing_ms)
    if swing is not None and (rest is None or swing.first_known < rest + LATE_VIBRATO_MS):
        return _swinging_departure(sound, flipped, half, swing)
    if rest is None:
        return None, None, None
    middle = float(np.median(flipped.cents[rest : rest + travel.rest_ms]))
    leaving = _leaving(sound, half, middle, ARRIVED_CENTS)
    if leaving is None:
        return None, None, None
    return *_plain_departure(sound, leaving, middle), leaving


def _leaving(sound: _Sound, half: int, cents: float, band: float) -> int | None:
    with np.errstate(invalid="ignore"):
        there = np.flatnonzero(np.abs(sound.whole[: half + 1] - cents) <= band)
    return int(there[-1]) if len(there) else None


def _plain_departure(sound: _Sound, leaving: int, middle: float) -> tuple[float, float]:
    part = sound.cents[max(leaving - 220, 0) : max(leaving - 20, 0)]
    gaps = np.flatnonzero(~np.isfinite(part))
    if len(gaps):
        part = part[gaps[-1] + 1 :]
    part = part[_last_still(part) :]
    if len(part) < 40:
        return middle, 1.0
    time = np.arange(len(part)) - (len(part) - 1) / 2.0
    slope = float(time @ part / (time @ time))
    spread = 1.4826 * float(np.median(np.abs(part - np.median(part))))
    if abs(slope) * 1000.0 > DRIFT_CENTS_PER_S:
        rest = part - part.mean() - slope * time
        spread = float(rest.std())
        value = float(part.mean() + slope * (len(part) / 2.0 + 20.0))
    else:
        value = float(np.median(part[-150:]))
    return value, max(0.5, 1.8 * spread * (80.0 / len(part)) ** 0.5)


def _last_still(part: Cents) -> int:
    """Start of the last stretch within a quarter-tone of the end: the note's attack is left out."""
    if not len(part):
        return 0
    strays = np.flatnonzero(np.abs(part - np.median(part[-40:])) > 50.0)
    return int(strays[-1]) + 1 if len(strays) else 0


def _swinging_departure(
    sound: _Sound, flipped: _Sound, half: int, swing: Swing
) -> tuple[float | None, float | None, int | None]:
    place = _vibrato_place(flipped, swing, flipped.end)
    if place is None:
        return None, None, None
    leaving = _leaving(sound, half, place.cents, ARRIVED_CENTS + swing.extent_cents)
    if leaving is None:
        return None, None, None
    cycle, end = swing.cycle_ms, leaving - 5.0
    if end - cycle < 0 or not np.isfinite(sound.cents[int(end - cycle) : leaving]).all():
        return place.cents, place.se, leaving
    value = mean_between(sound.cents, end - cycle, end)
    if end - 2 * cycle >= 0 and np.isfinite(sound.cents[int(end - 2 * cycle) : leaving]).all():
        drift = (value - mean_between(sound.cents, end - 2 * cycle, end - cycle)) / cycle
        if abs(drift) * 1000.0 > DRIFT_CENTS_PER_S:
            value += drift * (cycle / 2.0 + 5.0)
    return value, place.se, leaving


def _smoothness(
    sound: _Sound, travel: Travel, leaving: int | None, arrival: int, slope_limit: float
) -> tuple[int, int]:
    """Stretches at rest in the slide, and turns against the travel."""
    if leaving is None or arrival - leaving < 40:
        return 0, 0
    part = sound.cents[leaving:arrival]
    time = np.arange(40) - 19.5
    slope = np.convolve(part, time[::-1] / (time @ time) * 1000.0, mode="valid")
    with np.errstate(invalid="ignore"):
        still = np.abs(slope) <= slope_limit
    turns = find_turns(travel.sign * sound.heavy, leaving, arrival, TURN_CENTS)
    backward = sum(1 for a, b in pairwise(turns) if b.cents < a.cents)
    return len(voiced_runs(still)), backward
