"""The measure: from a pitch contour to where the finger came to rest, and what it did before and after.

Conventions: the contour counts cents above the arrival's target on a 1 ms grid; NaN where nothing is heard. + is sharp.
All indices are milliseconds from the contour's start. The definitions, with their reasons, are in docs/measures.md;
the numbers here are its defaults.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from math import ceil, hypot

import numpy as np

from truestop.listening.contour import BRIDGED_MS, Cents, band_edge, find_turns, median, voiced_runs
from truestop.listening.departing import ARRIVED_CENTS, departure_before
from truestop.listening.resting import (
    HORIZON_MS,
    SETTLE_MS,
    TURN_CENTS,
    Place,
    Sound,
    Travel,
    find_place,
    half_way,
    prepare,
    slope_limit_of,
)
from truestop.listening.settling import correction_of, settled_after
from truestop.listening.vibrato import Sway, vibrato_told

SHORT_MS, SHORT_CENTS = 150, 4.0
UNSTEADY_CENTS, UNSTEADY_IN_VIBRATO_CENTS = 4.0, 6.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Landing:
    """All numbers of one arrival; None where unknown. Times in ms from the contour's start, cents from the target."""

    reason: str | None = None
    """Why there is no sound landing: 'no travel', 'no landing', 'too short', 'unsteady', 'gap'."""
    half: int | None = None
    rest: int | None = None
    window: tuple[int, int] | None = None
    arrival: float | None = None
    leaving: float | None = None
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
    vibrato: Sway | None = None
    judged: int | None = None
    """t_h: nothing later is judged."""
    known: int | None = None
    """When the landing was final by the live rule, tracker look-ahead not counted."""


def measure_landing(contour_cents: Cents, travel: Travel) -> Landing:
    """Measure one arrival. ``contour_cents`` runs from the departure note to the end of the arrival note.

    A contour that is still growing may give 'no landing' where later there is one; a landing that is given stays as it
    is once ``known`` has passed. Nothing later than HORIZON_MS after the rest is looked at.
    """
    sound = prepare(contour_cents, travel)
    half = half_way(sound, travel)
    if half is None:
        return Landing(reason="no travel")
    slope_limit = slope_limit_of(sound, travel, half)
    guide, place = find_place(sound, travel, half, slope_limit)
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
    sound = prepare(contour_cents, travel)
    half = half_way(sound, travel)
    if half is None:
        return None
    _, place = find_place(sound, travel, half, slope_limit_of(sound, travel, half))
    return None if place is None else Sighting(rest=place.rest, known=place.known)


def _complete(sound: Sound, travel: Travel, plain: Landing, place: Place, slope_limit: float) -> Landing:
    """Everything that follows from where the landing is."""
    assert plain.half is not None
    half = plain.half
    tracker_se = travel.tracker_se(*place.window)
    heard_from = _from_bow(sound, half, place) if travel.new_bow else half
    reason = _unsound(sound, heard_from, place, hypot(place.se, tracker_se))
    se = hypot(place.se, tracker_se)
    judged = min(place.rest + SETTLE_MS, sound.end)
    settled, settled_se = settled_after(sound, place, judged)
    correction, toward = correction_of(place.cents, se, settled, hypot(settled_se, tracker_se))
    band = ARRIVED_CENTS + (place.swing.extent_cents if place.in_vibrato and place.swing else 0.0)
    arrival = _arrival(sound, place, band)
    departure, departure_se, leaving = departure_before(sound, travel, half, slope_limit)
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
        vibrato=vibrato_told(place.swing, sound.cents[place.rest : sound.end], travel.smoothing_ms),
        judged=judged,
        known=place.known,
    )


def steadiness(landing: Landing) -> str | None:
    """The reason of a plain landing that was read another time: 'unsteady' goes by the error of what is told, and one
    that was unsteady at first must be twice as sure."""
    if landing.reason not in (None, "unsteady"):
        return landing.reason
    limit = UNSTEADY_CENTS / (2.0 if landing.reason else 1.0)
    return "unsteady" if (landing.landing_se_cents or 0.0) > limit else None


def _from_bow(sound: Sound, half: int, place: Place) -> int:
    """Where the arrival's own bow begins: after the last silence between half-way and the rest."""
    missing = np.flatnonzero(~np.isfinite(sound.cents[half : place.rest]))
    return half + int(missing[-1]) + 1 if len(missing) else half


def _unsound(sound: Sound, start: int, place: Place, se: float) -> str | None:
    if _broken(sound, start, place.window[1]):
        return "gap"
    part = sound.light[place.window[0] : place.window[1]]
    if (
        not place.in_vibrato
        and sound.end - place.rest < SHORT_MS
        and float(np.abs(part - median(part)).max()) > SHORT_CENTS
    ):
        return "too short"
    unsteady = se > UNSTEADY_CENTS if not place.in_vibrato else se > UNSTEADY_IN_VIBRATO_CENTS
    return "unsteady" if unsteady else None


def _broken(sound: Sound, start: int, end: int) -> bool:
    """Whether sound is missing for longer than can be bridged."""
    return any(b - a > BRIDGED_MS for a, b in voiced_runs(~np.isfinite(sound.cents[start:end])))


def _overshoot(sound: Sound, travel: Travel, half: int, place: Place) -> float | None:
    if place.in_vibrato:
        return None
    part = travel.sign * (sound.cents[half : place.rest + 20] - place.cents)
    return max(0.0, float(np.nanmax(part))) if np.isfinite(part).any() else None


def _arrival(sound: Sound, place: Place, band: float) -> float:
    off = np.abs(sound.whole[: place.rest + 40] - place.cents)
    with np.errstate(invalid="ignore"):
        runs = voiced_runs(off <= band)
    return band_edge(off, runs[-1][0], runs[-1][0] - 1, band) if runs else float(place.rest)


def _smoothness(
    sound: Sound, travel: Travel, left: float | None, arrived: float, slope_limit: float
) -> tuple[int, int]:
    """Stretches at rest in the slide, and turns against the travel."""
    if left is None or arrived - left < 40:
        return 0, 0
    leaving, arrival = int(left), ceil(arrived)
    part = sound.cents[leaving:arrival]
    time = np.arange(40) - 19.5
    slope = np.convolve(part, time[::-1] / (time @ time) * 1000.0, mode="valid")
    with np.errstate(invalid="ignore"):
        still = np.abs(slope) <= slope_limit
    turns = find_turns(travel.sign * sound.heavy, leaving, arrival, TURN_CENTS)
    backward = sum(1 for a, b in pairwise(turns) if b.cents < a.cents)
    return len(voiced_runs(still)), backward
