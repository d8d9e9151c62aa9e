"""The line of a slide, read once more from where its harmonics nearly stand still.

The tracker reads a window as it comes; the slide's slope is known from the moments before, and what a faint harmonic
says in noise leaps from frame to frame. Once the slide is over its line is known: smoothed as a hand moves, with what
the windows took off it given back, it is off by little. Turned back along it, each harmonic nearly stands still; how
fast it still turns is how far the line is off, by least squares over all of them (k² times their power), which for
harmonics of a note in white noise is the most likely answer. What is smoothed then is only that little, not the slide.

Conventions: those of landing.py. No sound later than AFTER_MS after the rest, or later than the attempt, is used.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from truestop.listening.contour import Cents, voiced_runs
from truestop.listening.frames import Floats
from truestop.listening.gliding import Sound
from truestop.listening.landing import Landing
from truestop.listening.refining import turned_along
from truestop.listening.turning import Kept, weighed

HAND_MS = 5.0
"""The smoothing halves what moves 2π times as slowly as this, one cycle; a hand's slide of 60 ms keeps its shape."""
STEEP = 6
"""How steeply it falls: with the sixth power, as a smoothing spline of the third order does."""
REACH_MS = 100
BEFORE_MS, AFTER_MS = 60, 110
"""So much before the leaving and after the rest is read again."""
LONGEST_MS = 4000
HARMONICS = 12
"""As many as the tracker's: with 8 or 24 recorded slides are read less well."""
SIGMA_MS, SIGMA_PERIODS = 5.0, 0.7
"""The window in which a harmonic is watched, and its least length in periods, which keeps the neighbours out."""
WIDE = 2.6
"""Half a window in sigmas."""
EVERY_MS = 2.0
MOST_OFF = 0.02
"""The line is off by no more than this part of its pitch, a third of a semitone: more is noise."""


def freed(cents: Cents, glide_ms: float) -> Cents:
    """``cents`` smoothed as a hand moves, and freed, to the third order, of a Gaussian smoothing of ``glide_ms``."""
    kernel, line = _kernel(round(glide_ms, 2)), np.full(len(cents), np.nan)
    for a, b in voiced_runs(np.isfinite(cents)):
        part = cents[a:b]
        padded = np.concatenate((np.full(REACH_MS, part[0]), part, np.full(REACH_MS, part[-1])))
        line[a:b] = np.convolve(padded, kernel, mode="valid")
    return line


@lru_cache(maxsize=8)
def _kernel(glide_ms: float) -> Cents:
    """One value a ms, of unit sum, from what it leaves of every frequency."""
    turn = 2.0 * np.pi * np.fft.rfftfreq(8 * REACH_MS)
    lost = 1.0 - np.exp(-0.5 * np.square(turn * glide_ms))
    left = (1.0 + lost + lost * lost) / (1.0 + (turn * HAND_MS) ** STEEP)
    kernel = np.fft.fftshift(np.fft.irfft(left))[3 * REACH_MS : 5 * REACH_MS + 1]
    return np.asarray(kernel / kernel.sum())


def straightened(line: Cents, landing: Landing, start_ms: int, target_hz: float, sound: Kept) -> Cents:
    """``line``, which begins at ``start_ms`` of the take, read once more from before the hand left until it rested."""
    if landing.rest is None or landing.leaving is None:
        return line
    begin, end = max(int(landing.leaving) - BEFORE_MS, 0), min(landing.rest + AFTER_MS, len(line))
    if not 0 < end - begin <= LONGEST_MS or not np.isfinite(line[begin:end]).all():
        return line
    heard = Sound.of(sound, start_ms + begin, start_ms + end, start_ms + begin)
    if not len(heard.samples):
        return line
    path_hz = target_hz * np.exp2(line[begin:end] / 1200.0)
    better = line.copy()
    better[begin:end] += 1200.0 * np.log2(1.0 + _off(path_hz, heard))
    return better


def _off(path_hz: Floats, sound: Sound) -> Floats:
    """How far the sound lies off the path, relative to it, every ms; nought where no whole window reaches."""
    turned, rate_hz, ms = turned_along(path_hz, sound, sound.harmonics_of(float(path_hz.max()), HARMONICS))
    sigma_ms = max(SIGMA_MS, SIGMA_PERIODS * 1000.0 / float(path_hz.min()))
    half = int(WIDE * sigma_ms * rate_hz / 1000.0)
    every = max(1, round(EVERY_MS * rate_hz / 1000.0))
    if len(ms) <= 2 * half + every:
        return np.zeros(len(path_hz))
    time_ms = np.arange(-half, half + 1) * (1000.0 / rate_hz)
    bell = np.exp(-0.5 * np.square(time_ms / sigma_ms))
    stands = weighed(turned, bell, every)
    moves = weighed(turned, bell * time_ms * (bell.sum() / (bell @ np.square(time_ms))), every)
    k = np.arange(1.0, len(turned) + 1.0)[:, None]
    turning = (k * (stands.real * moves.imag - stands.imag * moves.real)).sum(axis=0)
    power = (k * k * (np.square(stands.real) + np.square(stands.imag))).sum(axis=0)
    off_hz = 1000.0 / (2.0 * np.pi) * turning / np.maximum(power, 1e-30)
    middles = ms[half : half + len(off_hz) * every : every]
    off = np.clip(off_hz / np.interp(middles, np.arange(len(path_hz)), path_hz), -MOST_OFF, MOST_OFF)
    return np.asarray(np.interp(np.arange(len(path_hz)), middles, off, left=0.0, right=0.0))
