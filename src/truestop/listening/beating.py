"""Whether somebody else sounds close to the same pitch: two sources near unison beat.

One bowed string is one line at every harmonic. Two of them, Δ apart, are two lines kΔ apart at harmonic k, so the power
of harmonic k beats kΔ times a second: all harmonics with one Δ. Nothing that one player does makes that pattern.
Vibrato and tremolo swing all harmonics at one and the same rate, and a room swings each at random.

The sound is turned back along the tracked pitch, harmonic by harmonic; the powers that are left, freed of a straight
line, are fitted with two sources at rest and, where that proves nothing, with two whose distance swings as
under vibrato. What the best fit explains is compared with what one common rate explains.

Conventions: Hz, seconds from the start of the take, cents. Powers are relative to a harmonic's own mean.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import soxr

from truestop.listening.contour import Cents
from truestop.listening.frames import Floats, Samples
from truestop.listening.wandering import Fit, Swinging, fit_steady, fit_swinging, fitted

MOST_HARMONICS, HIGHEST_HZ = 16, 8000.0
WINDOW_PERIODS, LEAST_WINDOW_S = 4.0, 0.01
"""Length of the window that tells a harmonic from its neighbours."""
HOPS_A_WINDOW = 4
NEAREST_CENTS = 2.5
"""Sources nearer than this pull the landing by less than their distance and are let pass."""
FASTEST_WINDOWS = 1.2
"""Beats faster than this, in cycles a window, pass through it no more."""
COMMON_HZ = (1.5, 20.0, 0.5)
LEAST_DEPTH = 0.25
"""Amplitude of the powers' swing about their mean: the other source at about −17 dB; ringing strings are softer."""
STEADY_PROOFS = ((0.85, 1.25), (0.6, 3.0))
"""Parts of all the swinging that beats must explain, each with how many times what a common rate explains."""
SWINGING_PROOFS = ((0.85, 1.25), (0.55, 5.0))
"""The same for a distance that swings, which fits more of what is no beat."""
LEAST_SWINGING_S = 0.3
"""In less than this anything is a part of a swing."""
LEAST_HEARD = 0.6
LEAST_HARMONICS, LEAST_MOMENTS = 3, 12
ABOVE_NOISE, BELOW_LOUDEST = 30.0, 1e-4
_HELD_AT_ONCE = 8192


class Kept:
    """The sound of the last seconds of a take that comes in blocks of any size."""

    def __init__(self, sample_rate_hz: float) -> None:
        self.sample_rate_hz = sample_rate_hz
        self._start = 0
        self._whole: Samples = np.empty(0, np.float32)
        self._waiting: list[Samples] = []
        self._count = 0

    def add(self, block: Samples) -> None:
        """The next block."""
        self._waiting.append(np.asarray(block, np.float32))
        self._count += len(block)
        if self._count >= _HELD_AT_ONCE:
            self._gather()

    def forget(self, before_s: float) -> None:
        """Drop what lies before, now and then."""
        gone = int(before_s * self.sample_rate_hz) - self._start
        if gone > max(_HELD_AT_ONCE, len(self._whole) // 4):
            self._gather()
            gone = min(gone, len(self._whole))
            self._whole = self._whole[gone:].copy()
            self._start += gone

    def cut(self, start_s: float, end_s: float) -> tuple[float, Samples]:
        """The samples between two moments as far as they are kept, and the moment of the first."""
        self._gather()
        a = max(round(start_s * self.sample_rate_hz) - self._start, 0)
        b = max(round(end_s * self.sample_rate_hz) - self._start, a)
        return (a + self._start) / self.sample_rate_hz, self._whole[a:b]

    def _gather(self) -> None:
        self._whole = np.concatenate([self._whole, *self._waiting])
        self._waiting, self._count = [], 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Beats:
    """What swings in the powers of the harmonics."""

    cents: float
    """Distance of the two sources that explains it best, root mean square where it wanders."""
    explained: float
    """The part of the swinging that this distance explains, 0…1."""
    common: float
    """The part that one rate for all harmonics explains."""
    depth: float
    harmonics: int
    proofs: tuple[tuple[float, float], ...] = STEADY_PROOFS

    @property
    def of_two(self) -> bool:
        """Whether two sources make them."""
        return (
            self.harmonics >= LEAST_HARMONICS
            and self.depth >= LEAST_DEPTH
            and self.cents >= NEAREST_CENTS
            and any(self.explained >= max(least, ahead * self.common) for least, ahead in self.proofs)
        )


def find_beats(kept: Kept, contour_hz: Cents, start_s: float) -> Beats | None:
    """The beats in a held note. ``contour_hz`` is its pitch, one value a millisecond from ``start_s`` on.

    None where the note is too short, too high or too soft to tell. Where two sources cancel no pitch is heard: such
    gaps are filled.
    """
    heard = np.isfinite(contour_hz)
    if float(heard.mean() if len(heard) else 0.0) < LEAST_HEARD:
        return None
    hz = float(np.median(contour_hz[heard]))
    contour_hz = np.interp(np.arange(len(contour_hz)), np.flatnonzero(heard), contour_hz[heard])
    count = int(min(MOST_HARMONICS, 0.42 * kept.sample_rate_hz / hz, HIGHEST_HZ / hz))
    first_s, samples = kept.cut(start_s, start_s + len(contour_hz) / 1000.0)
    if count < LEAST_HARMONICS or len(samples) < 2.0 * _window_s(hz) * kept.sample_rate_hz:
        return None
    x, rate_hz = _thinned(samples, kept.sample_rate_hz, (count + 1.0) * hz)
    since_ms = (first_s - start_s) * 1000.0 + np.arange(len(x)) * (1000.0 / rate_hz)
    turns = np.cumsum(np.interp(since_ms, np.arange(len(contour_hz)), contour_hz)) / rate_hz
    powers, moments_s = _powers(x, turns, hz, rate_hz, count)
    return _explained(powers, moments_s, hz)


def _window_s(hz: float) -> float:
    return max(WINDOW_PERIODS / hz, LEAST_WINDOW_S)


def _thinned(samples: Samples, rate_hz: float, highest_hz: float) -> tuple[Floats, float]:
    sound = np.clip(np.nan_to_num(samples.astype(np.float64), posinf=1.0, neginf=-1.0), -100.0, 100.0)
    wanted_hz = 2.3 * highest_hz
    if wanted_hz > 0.8 * rate_hz:
        return sound, rate_hz
    return np.asarray(soxr.resample(sound, rate_hz, wanted_hz), dtype=np.float64), wanted_hz


def _powers(x: Floats, turns: Floats, hz: float, rate_hz: float, count: int) -> tuple[Floats, Floats]:
    """Powers at every half harmonic from ½ to ``count`` + ½, and the moments that they belong to."""
    length = int(_window_s(hz) * rate_hz) | 1
    hop = max(length // HOPS_A_WINDOW, 1)
    bell = np.hanning(length + 2)[1:-1]
    bell /= bell.sum()
    half = np.exp(-1j * np.pi * turns)
    turned = x.astype(np.complex128)
    rows = []
    for _ in range(2 * count + 1):
        turned = turned * half
        rows.append(np.square(np.abs(np.lib.stride_tricks.sliding_window_view(turned, length)[::hop] @ bell)))
    powers: Floats = np.array(rows, dtype=np.float64)
    return powers, np.arange(powers.shape[1], dtype=np.float64) * (hop / rate_hz)


def _explained(powers: Floats, moments_s: Floats, hz: float) -> Beats | None:
    between, on = powers[::2].mean(axis=1), powers[1::2].mean(axis=1)
    good = (on > ABOVE_NOISE * 0.5 * (between[:-1] + between[1:])) & (on > BELOW_LOUDEST * on.max())
    k = np.flatnonzero(good) + 1
    if not len(k) or len(moments_s) < LEAST_MOMENTS:
        return None
    moment_s = moments_s - moments_s.mean()
    line = np.stack([np.full(len(moment_s), len(moment_s) ** -0.5), moment_s / np.linalg.norm(moment_s)])
    swing = powers[1::2][good] / on[good, None]
    swing = swing - (swing @ line.T) @ line
    whole = float(np.square(swing).sum())
    depth = float(np.sqrt(2.0 * np.square(swing).mean()))
    if depth < LEAST_DEPTH:
        return Beats(cents=0.0, explained=0.0, common=0.0, depth=depth, harmonics=len(k))
    note = Swinging(powers=swing, line=line, k=k, moment_s=moment_s, hz=hz, fastest_hz=FASTEST_WINDOWS / _window_s(hz))
    together = np.arange(*COMMON_HZ)[:, None] * np.ones(len(k))
    common = float((fitted(swing, line, together, moment_s).sum(axis=1) / whole).max())

    def beats(fit: Fit, proofs: tuple[tuple[float, float], ...]) -> Beats:
        return Beats(cents=fit.cents, explained=fit.explained / whole, common=common, depth=depth,
                     harmonics=len(k), proofs=proofs)  # fmt: skip

    steady = beats(fit_steady(note), STEADY_PROOFS)
    if steady.of_two or moments_s[-1] < LEAST_SWINGING_S:
        return steady
    return beats(fit_swinging(note), SWINGING_PROOFS)


__all__ = ["Beats", "Kept", "find_beats"]
