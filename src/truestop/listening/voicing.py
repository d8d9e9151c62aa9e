"""What every harmonic of a frame says, told apart from its neighbours.

In a window of a few periods each harmonic is heard a little in the places of the others. How much follows from the
window and the fundamental alone, so it is taken off: the neighbours' share of what is heard at a harmonic and
half-way between two. One round is enough, since what a neighbour is heard to be is itself off by that little only.

Conventions: one row a harmonic, one column a frame; frequencies in Hz. Spectra have the frame's middle at time nought.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from truestop.listening.forgetting import decaying
from truestop.listening.spectra import Singles, Spectra, Spectrum

Floats = NDArray[np.float64]
Places = NDArray[np.intp]

FAR_BINS = 12
"""From so many bins away nothing is heard of a line: 74 dB down."""
PARTS = 32
"""Into so many parts a bin is cut in the table of what is heard of a line beside it."""
MORE = 2
"""Harmonics listened to beyond those that count, since they are heard in these."""
STOOD_S = 0.05
"""How long it is remembered how a harmonic stood."""
LEAST_STOOD = 0.1
"""Share of a harmonic's usual power that it stands with at least: less would make its frequency leap."""
_TINY = np.float32(1e-18)


@dataclass(frozen=True, slots=True)
class Voices:
    """What every harmonic of every frame says: how far f0 lies above the guess, of which moment, and its power."""

    beside_hz: Singles
    moment_s: Singles
    peak: Singles
    at: Places
    in_band: NDArray[np.bool_]
    wave: Spectrum
    """As it is heard at its place, its phase that of the frame's middle."""
    moving: Spectrum
    """``wave`` times how far the harmonic lies above its place."""
    lines: Spectrum
    """Amplitudes of harmonic −1, which is the first one's mirror image, of 0, which is nothing, and on from 1 to those
    beyond: more rows than the others."""

    def first(self, count: int) -> Voices:
        """The first ``count`` harmonics."""
        return Voices(
            self.beside_hz[:count],
            self.moment_s[:count],
            self.peak[:count],
            self.at[:count],
            self.in_band[:count],
            self.wave[:count],
            self.moving[:count],
            self.lines,
        )


class Ear:
    """Reads harmonics out of spectra of one window, of unit sum and odd length."""

    def __init__(
        self, window: Singles, rate_hz: float, size: int, bins: int, sigma_s: float, range_hz: tuple[float, float]
    ) -> None:
        self._bin_hz = np.float32(rate_hz / size)
        self._bins = bins
        self._low_hz, self._top_hz = range_hz
        self._turning = np.complex64(1j / (2 * np.pi * sigma_s**2))
        self._reach = FAR_BINS * PARTS
        self._leak = self._table(window, size)
        self._width = 2 * self._reach + 1
        apart = [step for step in (1, 2) if step * self._low_hz < FAR_BINS * self._bin_hz]
        self._neighbours = [side * step for step in apart for side in (-1, 1)]

    def _table(self, window: Singles, size: int) -> Singles:
        """What is heard of a unit line, read between two bins: a row for every part of a bin that the place lies above
        the lower one, a column for every part that the line lies above the place."""
        half = len(window) // 2
        rotated = np.zeros(PARTS * size)
        rotated[: half + 1], rotated[-half:] = window[half:], window[:half]
        line = np.zeros(self._reach + 2 * PARTS + 1)
        heard = scipy.fft.rfft(rotated).real[: len(line)]
        line[: len(heard)] = heard
        share = np.arange(PARTS + 1)[:, None]
        away = np.arange(-self._reach, self._reach + 1) + share
        table = (1 - share / PARTS) * line[np.abs(away)] + share / PARTS * line[np.abs(away - PARTS)]
        table[:, [0, -1]] = 0.0
        return np.asarray(table.ravel(), np.float32)

    def listen(self, near: Floats, spectra: Spectra, k: Singles, *, alone: bool = True) -> Voices:
        """Read harmonics ``k`` of the guess ``near`` between their two nearest bins, so that nothing jumps when the
        pitch passes from bin to bin; ``alone`` without what is heard of their neighbours in them. ``k`` begins at 1."""
        wanted = near.astype(np.float32) * k
        place = np.minimum(wanted * (1 / self._bin_hz), np.float32(self._bins - 2))
        at = place.astype(np.intp)
        share = place - at.astype(np.float32)
        flat = spectra.starts + at
        lower, upper = spectra.both.ravel().take(flat), spectra.both.ravel().take(flat + 1)
        upper *= share
        lower *= 1 - share
        lower += upper
        wave, other = lower
        moving = self._bin_hz * upper[0]
        moving -= other * self._turning
        moving -= (share * self._bin_hz) * wave
        lines = self._part(wave, moving, near, share) if alone else wave
        peak = wave.real * wave.real + wave.imag * wave.imag
        back = wave.conj() / (peak + _TINY)
        return Voices(
            (moving * back).real / k,
            (other * back).real,
            peak,
            np.rint(place).astype(np.intp),
            wanted <= self._top_hz,
            wave,
            moving,
            lines,
        )

    def _part(self, wave: Spectrum, moving: Spectrum, near: Floats, share: Singles) -> Spectrum:
        """Take off ``wave`` and ``moving`` what is heard of the neighbours in them; the lines that there are then."""
        place = np.rint(share * np.float32(PARTS)).astype(np.intp)
        place *= self._width
        place += self._reach
        own = self._leak.take(place)
        lines = _mirrored(wave / own)
        for step in self._neighbours:
            rows = len(wave) - max(step, 0)
            away_hz = (step * near).astype(np.float32)
            heard = self._leak.take(place[:rows] + self._parts(away_hz)) * lines[step + 2 : step + 2 + rows]
            wave[:rows] -= heard
            heard *= away_hz
            moving[:rows] -= heard
        return _mirrored(wave / own)

    def _parts(self, away_hz: Floats | Singles) -> Places:
        """How many parts of a bin that is, as far as the table goes."""
        parts = np.rint(away_hz * np.float32(PARTS / self._bin_hz)).astype(np.intp)
        return np.minimum(np.maximum(parts, -self._reach), self._reach)

    def between(self, near: Floats, spectra: Spectra, voices: Voices, count: int) -> Singles:
        """Power half-way between the harmonics, below the first to above the last of ``count``, without the
        harmonics beside."""
        place = near.astype(np.float32) * ((np.arange(count + 1, dtype=np.float32)[:, None] + 0.5) / self._bin_hz)
        place = np.minimum(place, np.float32(self._bins - 1))
        at = np.rint(place).astype(np.intp)
        heard = spectra.both[0].ravel().take(at + spectra.rows)
        over = np.rint((place - at) * np.float32(PARTS)).astype(np.intp)
        for step in (-1, 0, 1, 2):
            if abs(step - 0.5) * self._low_hz < FAR_BINS * self._bin_hz:
                away = over + self._parts((step - 0.5) * near)
                np.minimum(np.maximum(away, -self._reach, out=away), self._reach, out=away)
                away += self._reach
                heard -= self._leak.take(away) * voices.lines[step + 1 : step + 2 + count]
        return np.asarray(heard.real * heard.real + heard.imag * heard.imag, np.float32)


class Stood:
    """How every harmonic lately stood, turned on with the pitch up to each frame.

    The frequency of a faint harmonic, which is what it turns by over what it is, leaps in noise, and such leaps do not
    cancel from frame to frame. Held against how it lately stood, the noise goes into it as it is, and over a stretch
    only what it is at the two ends remains.
    """

    def __init__(self, harmonics: int, hop_s: float) -> None:
        self._k = np.arange(1, harmonics + 1, dtype=np.float32)[:, None]
        self._hop_s = hop_s
        self._keep = float(np.exp(-hop_s / STOOD_S))
        self._sums = np.zeros((2 * harmonics, 1))
        self._cycles = np.zeros((1, 1))
        self._near: Floats = np.empty(0)

    def says(self, near: Floats, voices: Voices, usual: Singles, noisy: Singles) -> Singles:
        """How far each harmonic says f0 lies above ``near``: the more by how it lately stood the more it is noise."""
        begun = bool(len(self._near))
        before = np.concatenate((self._near if begun else near[:1], near[:-1]))
        self._near = near[-1:]
        cycles, self._cycles = decaying((0.5 * self._hop_s * (before + near))[None], 1.0, self._cycles)
        turn = np.exp(2j * np.pi * (cycles[0] % 1.0)).astype(np.complex64)
        turns = np.multiply.accumulate(np.broadcast_to(turn, voices.wave.shape), axis=0)
        still = voices.wave * turns.conj()
        parts = np.concatenate((still.real, still.imag)).astype(np.float64)
        if not begun:
            self._sums = parts[:, :1] * self._keep
        stood, self._sums = decaying((1.0 - self._keep) * parts, self._keep, self._sums)
        count = len(still)
        stands = (stood[:count] + 1j * stood[count:]).astype(np.complex64)
        stands *= turns
        stands -= voices.wave
        stands *= noisy.astype(np.float32) ** 3
        stands += voices.wave
        power = stands.real * stands.real + stands.imag * stands.imag
        power = np.maximum(power, np.float32(LEAST_STOOD) * usual) + _TINY
        says = voices.moving.real * stands.real + voices.moving.imag * stands.imag
        return np.asarray(says / power / self._k, np.float32)


def _mirrored(waves: Spectrum) -> Spectrum:
    """``waves`` of the harmonics from 1 on, behind the first one's mirror image and nothing."""
    return np.concatenate((waves[:1].conj(), np.zeros_like(waves[:1]), waves))
