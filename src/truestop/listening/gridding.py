"""From tracker frames to the 1 ms contour that the measure reads.

Conventions: cents above the target; index j is the moment j ms from the start of the take; NaN where nothing is heard.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

import numpy as np
from numpy.typing import NDArray

from truestop.listening.contour import Cents
from truestop.listening.tracking import PitchTrack

LEAP_CENTS = 120.0
"""Between two frames: more is no glide but another note, and nothing is drawn between."""
CALM_CENTS_PER_S = 1500.0
"""Slower than this, noise is smoothed away; a wide vibrato passes 1300."""
STILL_CENTS_PER_S = 400.0
"""Slower than this it is smoothed more: what is left of noise there is mostly the difference of neighbouring frames."""
STRAY_CENTS = 90.0
"""A single frame this far from two neighbours that agree is a slip."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """A piece of the contour that begins at ms ``start``, with what the tracker knew beside the pitch."""

    start: int
    cents: Cents
    read_cents: Cents
    """The same as it was read, nothing of it calmed: a glide is smoothed by the tracker's window alone."""
    se_cents: Cents
    level_db: Cents
    clipped: NDArray[np.bool_]


class Grid:
    """Feed tracks, get the milliseconds that are complete: cubic (Catmull-Rom) between frames."""

    def __init__(self, target_hz: float) -> None:
        self._target_hz = target_hz
        self._next, self._nothing = 0, _no_stretch(0)
        self._held = np.empty((len(_ROWS), 0))
        """The last frames, a row each for what ``_ROWS`` says."""

    def feed(self, track: PitchTrack, *, last: bool = False) -> Stretch:
        """The milliseconds up to three frames before the end of ``track``; all of them where it is the ``last``."""
        if len(track):
            self._held = np.concatenate((self._held, self._rows(track)), axis=1)
        elif not last:
            return self._nothing
        times_ms = self._held[0]
        end = self._complete(times_ms, last=last)
        if end <= self._next:
            return self._nothing
        stretch = _drawn(self._next, end, self._held)
        self._next, self._nothing = end, _no_stretch(end)
        self._held = self._held[:, max(int(times_ms.searchsorted(end, side="right")) - 6, 0) :]
        return stretch

    def _rows(self, track: PitchTrack) -> Cents:
        cents = 1200.0 * np.log2(track.f0_hz / self._target_hz)
        return np.array((track.times_s * 1000.0, cents, track.se_cents, track.level_db, track.clipped), np.float64)

    def _complete(self, times_ms: Cents, *, last: bool) -> int:
        if last:
            return int(times_ms[-1]) + 1 if len(times_ms) else self._next
        return ceil(float(times_ms[-4])) if len(times_ms) >= 4 else self._next


def _no_stretch(start: int) -> Stretch:
    nothing = np.empty(0)
    return Stretch(start, nothing, nothing, nothing, nothing, np.empty(0, np.bool_))


_ROWS = ("times_ms", "cents", "se_cents", "level_db", "clipped")


def _drawn(start: int, end: int, frames: Cents) -> Stretch:
    """The milliseconds from ``start`` to before ``end``: a curve through the frames, and what the nearest one knew."""
    times_ms, steady = frames[0], _without_slips(frames[1])
    at = np.arange(start, end, dtype=np.float64)
    before = np.minimum(np.maximum(times_ms.searchsorted(at, side="right") - 1, 0), max(len(times_ms) - 2, 0))
    after = np.minimum(before + 1, len(times_ms) - 1)
    left, right = times_ms[before], times_ms[after]
    nearest = np.where(at > 0.5 * (left + right), after, before)
    se_cents, level_db, clipped = frames[2:, nearest]
    if len(times_ms) < 2:
        return Stretch(start, steady[nearest], steady[nearest], se_cents, level_db, clipped > 0.0)
    x = np.minimum(np.maximum((at - left) / (right - left), 0.0), 1.0)
    calm, read = _between(before, x, np.array((_calmed(steady, times_ms), steady)))
    return Stretch(start, calm, read, se_cents, level_db, clipped > 0.0)


def _without_slips(cents: Cents) -> Cents:
    if len(cents) < 3:
        return cents
    before, middle, after = cents[:-2], cents[1:-1], cents[2:]
    half_way = 0.5 * (before + after)
    slip = (np.abs(before - after) < STRAY_CENTS) & (np.abs(middle - half_way) > STRAY_CENTS)
    clean = cents.copy()
    clean[1:-1] = np.where(slip, half_way, middle)
    return clean


def _calmed(cents: Cents, times_ms: Cents) -> Cents:
    """Smoothed by 5 8 9 8 5 where the pitch moves slowly, as it is where it glides or is not heard all round."""
    if len(cents) < 5:
        return cents
    calm = cents.copy()
    first, three, last = cents[:-4], cents[2:-2], cents[4:]
    outer, inner = first + last, cents[1:-3] + cents[3:-1]
    even = (outer + 4.0 * inner + 6.0 * three) / 16.0
    still = (5.0 * outer + 8.0 * inner + 9.0 * three) / 35.0
    speed = np.square(np.square((last - first) * (1000.0 / (times_ms[4:] - times_ms[:-4]))))
    even += (still - even) / (1.0 + speed * STILL_CENTS_PER_S**-4)
    smooth = three + (even - three) / (1.0 + speed * CALM_CENTS_PER_S**-4)
    calm[2:-2] = np.where(np.isfinite(even), smooth, three)
    return calm


def _between(before: NDArray[np.intp], x: Cents, cents: Cents) -> Cents:
    """Catmull-Rom through the frames, ``x`` of the way from those ``before`` to the next; the nearer frame across a
    leap. ``cents`` has one row a contour, the last one of which says what lies further out."""
    left, right = cents[:, :-1], cents[:, 1:]
    outer = np.concatenate((_UNHEARD, cents[-1], _UNHEARD))
    outer_left, outer_right = outer[:-3], outer[3:]
    rise = right - left
    into = np.where(np.abs(left - outer_left) < LEAP_CENTS, 0.5 * (right - outer_left), rise)
    out = np.where(np.abs(outer_right - right) < LEAP_CENTS, 0.5 * (outer_right - left), rise)
    steps = np.array((left, right, into, 3.0 * rise - 2.0 * into - out, into + out - 2.0 * rise))[:, :, before]
    start, end, first, second, third = steps
    near = np.where(x < 0.5, start, end)
    return np.asarray(np.where(np.abs(end - start) < LEAP_CENTS, start + x * (first + x * (second + x * third)), near))


_UNHEARD = np.array([np.nan])
