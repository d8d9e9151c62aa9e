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
        self._next = 0
        self._held: list[PitchTrack] = []

    def feed(self, track: PitchTrack, *, last: bool = False) -> Stretch:
        """The milliseconds up to three frames before the end of ``track``; all of them where it is the ``last``."""
        if not len(track) and not last:
            return self._nothing()
        frames = PitchTrack.joined([*self._held, track]) if self._held else track
        times_ms = frames.times_s * 1000.0
        end = self._complete(times_ms, last=last)
        if end <= self._next:
            self._held = [frames]
            return self._nothing()
        at = np.arange(self._next, end)
        stretch = self._piece(at, frames, times_ms)
        self._next = end
        keep = max(int(np.searchsorted(times_ms, end, side="right")) - 6, 0)
        self._held = [_from(frames, keep)]
        return stretch

    def _complete(self, times_ms: Cents, *, last: bool) -> int:
        if last:
            return int(times_ms[-1]) + 1 if len(times_ms) else self._next
        return ceil(float(times_ms[-4])) if len(times_ms) >= 4 else self._next

    def _nothing(self) -> Stretch:
        nothing = np.empty(0)
        return Stretch(self._next, nothing, nothing, nothing, nothing, np.empty(0, np.bool_))

    def _piece(self, at: NDArray[np.int_], frames: PitchTrack, times_ms: Cents) -> Stretch:
        with np.errstate(invalid="ignore"):
            steady = _without_slips(1200.0 * np.log2(frames.f0_hz / self._target_hz))
        near = np.searchsorted(0.5 * (times_ms[1:] + times_ms[:-1]), at)
        calm, read = _between(at.astype(float), times_ms, np.stack((_calmed(steady, times_ms), steady)), steady)
        return Stretch(
            int(at[0]),
            calm,
            read,
            frames.se_cents[near],
            frames.level_db[near],
            frames.clipped[near],
        )


def _from(frames: PitchTrack, keep: int) -> PitchTrack:
    return PitchTrack(
        times_s=frames.times_s[keep:],
        f0_hz=frames.f0_hz[keep:],
        se_cents=frames.se_cents[keep:],
        share=frames.share[keep:],
        level_db=frames.level_db[keep:],
        clipped=frames.clipped[keep:],
    )


def _without_slips(cents: Cents) -> Cents:
    if len(cents) < 3:
        return cents
    before, middle, after = cents[:-2], cents[1:-1], cents[2:]
    with np.errstate(invalid="ignore"):
        agree = np.abs(before - after) < STRAY_CENTS
        slip = agree & (np.abs(middle - 0.5 * (before + after)) > STRAY_CENTS)
    clean = cents.copy()
    clean[1:-1][slip] = 0.5 * (before + after)[slip]
    return clean


def _calmed(cents: Cents, times_ms: Cents) -> Cents:
    """Smoothed by 5 8 9 8 5 where the pitch moves slowly, as it is where it glides or is not heard all round."""
    if len(cents) < 5:
        return cents
    calm = cents.copy()
    one, two, three, four, five = (cents[i : len(cents) - 4 + i] for i in range(5))
    with np.errstate(invalid="ignore"):
        even = (one + 4.0 * two + 6.0 * three + 4.0 * four + five) / 16.0
        still = (5.0 * one + 8.0 * two + 9.0 * three + 8.0 * four + 5.0 * five) / 35.0
        speed = np.abs(five - one) / ((times_ms[4:] - times_ms[:-4]) / 1000.0)
        share = 1.0 / (1.0 + (speed / CALM_CENTS_PER_S) ** 4)
        even += (still - even) / (1.0 + (speed / STILL_CENTS_PER_S) ** 4)
    calm[2:-2] = np.where(np.isfinite(even), three + share * (even - three), three)
    return calm


def _between(at: Cents, times_ms: Cents, cents: Cents, beside: Cents) -> Cents:
    """Catmull-Rom through the frames, with ``beside`` for the outer ones; the nearer frame across a leap.

    ``cents`` has one row a contour.
    """
    count = len(times_ms)
    if count < 2:
        return np.repeat(cents, len(at), axis=1)
    i = np.minimum(np.maximum(np.searchsorted(times_ms, at, side="right") - 1, 0), count - 2)
    wide = times_ms[i + 1] - times_ms[i]
    x = np.minimum(np.maximum((at - times_ms[i]) / wide, 0.0), 1.0)
    left, right = cents[:, i], cents[:, i + 1]
    outer_left, outer_right = beside[np.maximum(i - 1, 0)], beside[np.minimum(i + 2, count - 1)]
    with np.errstate(invalid="ignore"):
        joined_left = (i > 0) & (np.abs(left - outer_left) < LEAP_CENTS)
        joined_right = (i + 2 < count) & (np.abs(outer_right - right) < LEAP_CENTS)
        into = _tangent(right - outer_left, right - left, joined_left)
        out = _tangent(outer_right - left, right - left, joined_right)
        drawn = _hermite(x, left, right, into, out)
        leap = np.abs(right - left) >= LEAP_CENTS
    nearer = np.where(x < 0.5, left, right)
    broken = leap | ~np.isfinite(left) | ~np.isfinite(right)
    return np.asarray(np.where(broken, nearer, drawn))


def _tangent(two_sided: Cents, one_sided: Cents, whole: NDArray[np.bool_]) -> Cents:
    return np.asarray(np.where(whole & np.isfinite(two_sided), 0.5 * two_sided, one_sided))


def _hermite(x: Cents, left: Cents, right: Cents, into: Cents, out: Cents) -> Cents:
    square, cube = x * x, x * x * x
    blend = 3 * square - 2 * cube
    return np.asarray(left + (right - left) * blend + (cube - 2 * square + x) * into + (cube - square) * out)
