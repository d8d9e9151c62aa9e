"""A pitch contour on the 1 ms grid, and the plain operations that every measure is made of.

Conventions: ``cents`` count above the target, one value a millisecond, NaN where nothing is heard. Indices are
milliseconds; windows are half open, [a, b). Definitions: docs/measures.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import isnan

import numpy as np
from numpy.typing import NDArray

from truestop.listening.frames import overlapping

Cents = NDArray[np.float64]

BRIDGED_MS = 20
"""Gaps up to this long are bridged by a straight line."""

LEAST_SIGMA_MS = 0.4
"""A narrower smoothing than this does nothing on a 1 ms grid."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Turn:
    """A turning point of the smoothed contour: where, how high, and when the reversal that proves it was complete."""

    at: int
    cents: float
    known: int


def voiced_runs(heard: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """The stretches [a, b) in which ``heard`` is true."""
    among = np.zeros(len(heard) + 2, np.bool_)
    among[1:-1] = heard
    edges = (among[1:] != among[:-1]).nonzero()[0].tolist()
    return list(zip(edges[::2], edges[1::2], strict=True))


def bridge(cents: Cents, longest_ms: int = BRIDGED_MS) -> Cents:
    """``cents`` with inner gaps of at most ``longest_ms`` filled by straight lines."""
    heard = np.isfinite(cents)
    if heard.all() or not heard.any():
        return cents
    filled = cents.copy()
    for a, b in voiced_runs(~heard):
        if a > 0 and b < len(cents) and b - a <= longest_ms:
            filled[a:b] = np.interp(np.arange(a, b), (a - 1, b), (cents[a - 1], cents[b]))
    return filled


def median(values: Cents) -> float:
    """The middle of some values, NaN where one of them is, or none is there. numpy's own asks so much beforehand that
    it is felt."""
    if not len(values):
        return float("nan")
    ordered = np.sort(values)  # NaN comes last
    middle = 0.5 * (ordered[(len(ordered) - 1) // 2] + ordered[len(ordered) // 2])
    return float("nan") if isnan(ordered[-1]) else float(middle)


@lru_cache(maxsize=8)
def gaussian(sigma_ms: float) -> Cents:
    """A Gaussian cut at three sigma, of unit sum."""
    half = int(3 * sigma_ms)
    kernel = np.exp(-0.5 * (np.arange(-half, half + 1) / sigma_ms) ** 2)
    return np.asarray(kernel / kernel.sum())


def smooth(cents: Cents, sigma_ms: float) -> Cents:
    """``cents`` smoothed by a Gaussian, every heard stretch by itself with its edges repeated."""
    if sigma_ms < LEAST_SIGMA_MS:
        return cents
    kernel = gaussian(sigma_ms)
    half = len(kernel) // 2
    smoothed = np.full(len(cents), np.nan)
    for a, b in voiced_runs(np.isfinite(cents)):
        part = cents[a:b]
        padded = np.concatenate((np.full(half, part[0]), part, np.full(half, part[-1])))
        smoothed[a:b] = np.convolve(padded, kernel, mode="valid")
    return smoothed


def slopes(cents: Cents, window_ms: int) -> Cents:
    """Least-squares slope in cents/s over [t, t + window) for every t that has a whole window."""
    if len(cents) < window_ms:
        return np.empty(0)
    centred = np.arange(window_ms) - (window_ms - 1) / 2
    return np.convolve(cents, centred[::-1], mode="valid") * (1000.0 / float(centred @ centred))


def first_rest(
    cents: Cents, light: Cents, start: int, end: int, *, window_ms: int, slope_limit: float, band_cents: float
) -> int | None:
    """First t ≥ ``start`` at rest: over [t, t + window), within ``end``, the slope of ``cents`` is at most
    ``slope_limit`` (cents/s) and ``light``, the same lightly smoothed, stays within ``band_cents`` of its median."""
    start = max(start, 0)
    slope = np.abs(slopes(cents[start:end], window_ms))
    with np.errstate(invalid="ignore"):
        likely = np.flatnonzero(slope <= slope_limit)
    if not len(likely):
        return None
    windows, lights = (overlapping(np.ascontiguousarray(values[start:end]), window_ms) for values in (cents, light))
    at, some = 0, 8
    while at < len(likely):
        group = likely[at : at + some]
        ordered = np.sort(windows[group], axis=1)
        middle = 0.5 * (ordered[:, (window_ms - 1) // 2] + ordered[:, window_ms // 2])
        still = np.abs(lights[group] - middle[:, None]).max(axis=1) <= band_cents
        if still.any():
            return start + int(group[int(still.argmax())])
        at, some = at + some, min(4 * some, 128)
    return None


def find_turns(smoothed: Cents, start: int, end: int, reversal_cents: float) -> list[Turn]:
    """Turning points of ``smoothed`` in [start, end): extremes after which it reversed by ``reversal_cents``."""
    values = smoothed[start:end]
    if len(values) < 3 or not np.isfinite(values).all():
        finite = voiced_runs(np.isfinite(values))
        if not finite or finite[0][1] - finite[0][0] < 3:
            return []
        start, values = start + finite[0][0], values[finite[0][0] : finite[0][1]]
    steps = np.sign(values[1:] - values[:-1])
    corners = np.concatenate(([0], np.flatnonzero(steps[1:] != steps[:-1]) + 1, [len(values) - 1]))
    turns: list[Turn] = []
    top = bottom = values[0]
    top_at = bottom_at = 0
    rising = 0
    previous = 0
    for at in corners.tolist():
        value = values[at]
        if rising >= 0 and top - value >= reversal_cents:
            if rising > 0 or top_at > 0:
                turns.append(_turn(values, start, top_at, previous, at, -reversal_cents))
            rising, bottom, bottom_at = -1, value, at
        elif rising <= 0 and value - bottom >= reversal_cents:
            if rising < 0 or bottom_at > 0:
                turns.append(_turn(values, start, bottom_at, previous, at, reversal_cents))
            rising, top, top_at = 1, value, at
        if value > top:
            top, top_at = value, at
        if value < bottom:
            bottom, bottom_at = value, at
        previous = at
    return turns


def _turn(values: Cents, start: int, at: int, before: int, proven: int, reversal_cents: float) -> Turn:
    """The turn at ``at``; it was known where the contour first passed the reversal, between two corners."""
    first = max(before, at)
    moved = (values[first : proven + 1] - values[at]) * np.sign(reversal_cents) >= abs(reversal_cents)
    return Turn(at=start + at, cents=float(values[at]), known=start + first + int(moved.argmax()))


def band_edge(off: Cents, inside: int, outside: int, band: float) -> float:
    """Where the line from grid point ``inside`` to its neighbour ``outside`` leaves the band ``off`` ≤ ``band``.

    ``inside`` itself where the neighbour is not outside: past an end of the contour, not heard, or in the band too.
    """
    if not 0 <= outside < len(off) or not off[outside] > band:
        return float(inside)
    return float(inside + (outside - inside) * (band - off[inside]) / (off[outside] - off[inside]))


def mean_between(cents: Cents, start: float, end: float) -> float:
    """Mean of the contour, taken as a line between grid points, over [start, end] in ms."""
    first = int(start)
    part = cents[first : int(np.ceil(end)) + 1]
    whole = np.concatenate(([0.0], np.cumsum(0.5 * (part[1:] + part[:-1]))))
    low, high = np.interp((start - first, end - first), np.arange(len(part)), whole)
    return float((high - low) / (end - start))
