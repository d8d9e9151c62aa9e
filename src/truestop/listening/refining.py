"""A slide in a room heard once more, as a whole, when the landing is known and before it is told.

The tracker reads one short window after the other and takes the mean of what sounds there, the room's tail with it.
Once the arrival has come, the stretch around it can be read better. Beginning with some likely glides (gliding.py), of
which the one that is followed best after the first round goes on, the sound is turned back along the path, harmonic by
harmonic, so that the direct sound stands nearly still; what is left is looked for over small offsets of pitch and slope
in longer windows: a local chirp transform (Mann & Haykin 1995, from memory). Direct sound that keeps its phase for a
window gives a peak at every harmonic at one and the same offset, the tail gives random ones. The most likely path
through the peaks (Viterbi 1967) is the next path. Three rounds, each with more harmonics, whose peaks are narrower in
cents, and smaller offsets.

Conventions: a path is Hz, one value a millisecond; see gliding.py.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from truestop.listening.contour import smooth
from truestop.listening.frames import Floats, overlapping
from truestop.listening.gliding import (
    HELD_MS,
    RESTED_MS,
    Sound,
    Steps,
    best_followed,
    finished,
    search_glides,
)
from truestop.listening.turning import Turning, turn_of, turned_by, weighed

FIRST_SIGMA_MS, SIGMA_MS = 4.0, 2.5
"""What is smoothed away of the first path, and of every better one."""
HOP_MS = 4.0
FASTEST_PER_S = 1600.0
"""Samples a second of a harmonic that stands still, at most."""
REACH = 2.5
FAINT = 0.1
"""Share of a harmonic's full power from which it counts."""
UNEVEN = 0.3
"""Price of a step of one resolution between two moments."""
SLOPES = (-2.0, -1.0, 0.0, 1.0, 2.0)


class Round(NamedTuple):
    """How many harmonics, how far off the path is looked, and the window's sigma: at least one period."""

    harmonics: int
    wide_cents: float
    sigma_ms: float


ROUNDS = (Round(6, 250.0, 8.0), Round(12, 80.0, 10.0), Round(24, 30.0, 12.0))
_CENT = float(np.log(2.0) / 1200.0)


def refine_path(path_hz: Floats, sound: Sound) -> tuple[int, Floats]:
    """The path without the room's tail, and where it begins: its ends, which no whole window reaches, are left out.

    ``path_hz`` holds the old note for HELD_MS and the new one for RESTED_MS at least; shorter ones come back empty.
    """
    return finished(refining(path_hz, sound))


def refining(path_hz: Floats, sound: Sound) -> Steps[tuple[int, Floats]]:
    """The same in steps of some milliseconds each, so that live nothing waits for all of it."""
    if len(path_hz) < HELD_MS + RESTED_MS:
        return 0, np.empty(0)
    path_hz = smooth(path_hz, FIRST_SIGMA_MS)
    begun = []
    for path in (yield from search_glides(path_hz, sound)):
        yield
        begun.append(_refined(path, sound, ROUNDS[0]))
    paths = np.array([path for path, _, last in begun if last])
    if not len(paths):
        return 0, np.empty(0)
    yield
    path, first, last = paths[best_followed(paths, path_hz, sound)], 0, 1
    for one in ROUNDS[1:]:
        yield
        path, first, last = _refined(path, sound, one) if last else (path, 0, 0)
    return first, path[first:last]


def _refined(path: Floats, sound: Sound, one: Round) -> tuple[Floats, int, int]:
    """The better path, and from where to where it was read; to 0 where the sound is too short for it."""
    moments, moved = _moved(path, sound, one)
    if len(moments) < 2:
        return path, 0, 0
    path = smooth(path + np.interp(np.arange(len(path)), moments, moved), SIGMA_MS)
    return path, max(int(np.ceil(moments[0])), 0), min(int(moments[-1]) + 1, len(path))


def _moved(path: Floats, sound: Sound, one: Round) -> tuple[Floats, Floats]:
    """By how much the fundamental lies off the path, in Hz, and the moments in ms at which that was read."""
    lowest, highest = float(path.min()), float(path.max())
    harmonics = sound.harmonics_of(highest, one.harmonics)
    voices, ms = standing(path, sound, harmonics, 0.9 * lowest)
    if len(ms) < 2:
        return np.empty(0), np.empty(0)
    every_ms = float(ms[1] - ms[0])
    sigma_ms = max(one.sigma_ms, 1000.0 / lowest)
    half, hop = int(REACH * sigma_ms / every_ms), max(1, round(HOP_MS / every_ms))
    if len(ms) <= 2 * half:
        return np.empty(0), np.empty(0)
    resolved_hz = 1000.0 / (2.0 * np.pi * sigma_ms * harmonics)
    wide_hz = one.wide_cents * _CENT * float(np.exp(np.log(path).mean()))
    steps = int(np.ceil(wide_hz / (0.7 * resolved_hz)))
    offsets = np.asarray(np.arange(-steps, steps + 1) * (wide_hz / steps), np.float64)
    slopes = np.asarray(np.array(SLOPES) * (1000.0 * resolved_hz / sigma_ms), np.float64)
    time_s = np.asarray(np.arange(-half, half + 1) * (every_ms / 1000.0), np.float64)
    score = _score(voices, time_s, hop, 1000.0 / sigma_ms, offsets, slopes)
    return ms[half : len(ms) - half : hop], _way_through(score, offsets, resolved_hz)


def standing(path: Floats, sound: Sound, harmonics: int, band_hz: float) -> tuple[Turning, Floats]:
    """Every harmonic turned back along the path and thinned, one a row, and the moments of its samples in ms."""
    turned, rate_hz, ms = turned_along(path, sound, harmonics)
    length = int(2.2 * rate_hz / band_hz) | 1
    every = max(1, int(rate_hz / min(3.0 * band_hz, FASTEST_PER_S)))
    if len(ms) < length + every:
        return np.empty((harmonics, 0), np.complex64), np.empty(0)
    bell = np.hanning(length + 2)[1:-1]
    bell /= bell.sum()
    return weighed(turned, bell, every), ms[length // 2 : len(ms) - length // 2 : every]


def turned_along(path: Floats, sound: Sound, harmonics: int) -> tuple[Turning, float, Floats]:
    """The sound turned back along the path, once for every harmonic, one a row; samples a second and their moments in
    ms."""
    samples, rate_hz, ms = sound.thinned(2.4 * (harmonics + 1.0) * float(path.max()))
    hz = np.interp(ms, np.arange(len(path)), path)
    return turned_by(samples, (0.5 * hz - np.cumsum(hz)) / rate_hz, harmonics), rate_hz, ms


def _score(voices: Turning, time_s: Floats, hop: int, per_sigma: float, offsets: Floats, slopes: Floats) -> Floats:
    """For every moment and offset how much of the harmonics stands still there, at the best slope."""
    bell = np.exp(-0.5 * np.square(time_s * per_sigma))
    turns = offsets[:, None, None] * time_s + 0.5 * slopes[None, :, None] * np.square(time_s)
    back = turn_of(-turns.reshape(-1, len(time_s)).T)
    kernel = np.repeat((bell / bell.sum())[:, None].astype(np.complex64), back.shape[1], axis=1)
    fulls = FAINT * np.percentile(np.square(np.abs(voices)), 90.0, axis=1) + 1e-12
    total: Floats | float = 0.0
    for voice, full in zip(voices, fulls.tolist(), strict=True):
        kernel = kernel * back
        sums = overlapping(voice, len(time_s), hop) @ kernel
        total = total + np.log1p((sums.real * sums.real + sums.imag * sums.imag) / full)
    best: Floats = np.asarray(total).reshape(-1, len(offsets), len(slopes)).max(axis=2)
    return best


def _way_through(score: Floats, offsets: Floats, resolved_hz: float) -> Floats:
    """The offsets of the best way through the scores, each read between its neighbours by a parabola."""
    step = offsets[1] - offsets[0]
    price = UNEVEN * np.abs(offsets[:, None] - offsets) / resolved_hz
    best, column = score[0], np.arange(len(offsets))
    came = np.zeros(score.shape, np.intp)
    for row in range(1, len(score)):
        ways = best - price
        came[row] = ways.argmax(axis=1)
        best = ways[column, came[row]] + score[row]
    at = np.empty(len(score), np.intp)
    at[-1] = best.argmax()
    for row in range(len(score) - 1, 0, -1):
        at[row - 1] = came[row, at[row]]
    inner, row_of = np.clip(at, 1, len(offsets) - 2), np.arange(len(at))
    left, middle, right = (score[row_of, inner + side] for side in (-1, 0, 1))
    between = np.clip(0.5 * (left - right) / np.minimum(left - 2.0 * middle + right, -1e-9), -0.5, 0.5)
    return np.asarray(offsets[at] + step * np.where(at == inner, between, 0.0))
