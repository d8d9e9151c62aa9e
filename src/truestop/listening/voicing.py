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

from truestop.listening.forgetting import Fading, Kind
from truestop.listening.spectra import Singles, Spectra, Spectrum

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
    """What every harmonic of every frame says: of which moment, and how it sounds there."""

    moment_s: Singles
    peak: Singles
    """Its power."""
    at: Places
    """The bin it is nearest to."""
    in_band: Singles
    """1 where it is among what is listened to, else 0."""
    wave: Spectrum
    """As it is heard at its place, its phase that of the frame's middle."""
    moving: Spectrum
    """``wave`` times how far the harmonic lies above its place."""
    lines: Spectrum
    """Amplitudes of harmonic −1, which is the first one's mirror image, of 0, which is nothing, and on from 1 to those
    beyond and two more, which are nothing: more rows than the others."""


@dataclass(frozen=True, slots=True)
class _Read:
    """Spectra at some places between two bins."""

    place: Singles
    """In bins."""
    share: Singles
    """How far that is above the lower bin, 0…1."""
    both: Spectrum
    """As heard in the two windows."""
    moving: Spectrum


class Ear:
    """Reads harmonics out of spectra of one window, of unit sum and odd length.

    Numbers that are multiplied with spectra are complex too: of two kinds of number one would be converted each time.
    """

    def __init__(
        self, window: Singles, rate_hz: float, size: int, bins: int, sigma_s: float, range_hz: tuple[float, float]
    ) -> None:
        low_hz, top_hz = range_hz
        bin_hz = rate_hz / size
        self._a_bin, self._a_hz = np.complex64(bin_hz), np.float32(1.0 / bin_hz)
        self._last, self._top = np.float32(bins - 2), np.float32(top_hz / bin_hz)
        self._turning = np.complex64(1j / (2 * np.pi * sigma_s**2))
        self._reach = FAR_BINS * PARTS
        self._leak = self._table(window, size)
        self._line = np.pad(self._leak[: 2 * self._reach + 1], PARTS)
        self._width = np.float32(2 * self._reach + 1)
        self._neighbours = [step for step in (-1, 1, -2, 2) if abs(step) * low_hz < FAR_BINS * bin_hz]
        self._apart = np.array([0, *self._neighbours], np.float32)[:, None, None]
        self._beside = [step for step in (-1, 0, 1, 2) if abs(step - 0.5) * low_hz < FAR_BINS * bin_hz]
        self._half_apart = np.array(self._beside, np.float32)[:, None, None] - np.float32(0.5)

    def _table(self, window: Singles, size: int) -> Spectrum:
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
        return np.asarray(table.ravel(), np.complex64)

    def off(self, near: Singles, spectra: Spectra, k: Singles) -> Singles:
        """How far the pitch lies above the guess ``near`` by harmonics ``k`` together, weighed by k² times power."""
        read = self._read(near, spectra, k)
        weighed = (k * (read.place <= self._top)).astype(np.complex64) * read.both[0]
        moving, power = weighed_sum(weighed, read.moving), weighed_sum(weighed, weighed)
        return np.asarray(moving.real / (power.real + _TINY), np.float32)

    def listen(self, near: Singles, spectra: Spectra, k: Singles, *, alone: bool = True) -> Voices:
        """Read harmonics ``k`` of the guess ``near``, from 1 to ``MORE`` beyond those that are told; ``alone`` without
        what is heard of their neighbours in them."""
        read = self._read(near, spectra, k)
        whole = read.both[0]
        lines = self._part(whole, read.moving, near, read.share) if alone else _laid(whole)
        wave, place = whole[:-MORE], read.place[:-MORE]
        size = np.abs(wave)
        peak = size * size
        moment_s = (read.both[1, :-MORE] * wave.conj()).real / (peak + _TINY)
        in_band = (place <= self._top).astype(np.float32)
        return Voices(moment_s, peak, np.rint(place).astype(np.intp), in_band, wave, read.moving[:-MORE], lines)

    def _read(self, near: Singles, spectra: Spectra, k: Singles) -> _Read:
        """Between the two nearest bins, so that nothing jumps when the pitch passes from bin to bin."""
        place = np.minimum(near * (k * self._a_hz), self._last)
        lower = place.astype(np.intp)
        share = place - lower.astype(np.float32)
        across = share.astype(np.complex64)
        flat, at = spectra.both.ravel(), spectra.starts + lower
        both, above = flat[at], flat[at + 1]
        above -= both
        above *= across
        both += above
        moving = above[0]
        moving *= self._a_bin - self._a_bin * across
        moving -= self._turning * both[1]
        return _Read(place, share, both, moving)

    def _part(self, wave: Spectrum, moving: Spectrum, near: Singles, share: Singles) -> Spectrum:
        """Take off ``wave`` and ``moving`` what is heard of the neighbours in them; the lines that there are then."""
        away_hz = self._apart * near
        own, *heard = self._leak[self._places(away_hz, np.rint(share * np.float32(PARTS)) * self._width)]
        lines = _laid(wave / own)
        hz = away_hz.astype(np.complex64)
        for at, step in enumerate(self._neighbours):
            leaked = heard[at]
            leaked *= lines[step + 2 : step + 2 + len(wave)]
            wave -= leaked
            leaked *= hz[at + 1]
            moving -= leaked
        return _laid(wave / own)

    def _places(self, away_hz: Singles, row: Singles) -> Places:
        """Where the table says what is heard of lines so far away, in its ``row``, which is told by where that begins:
        whole numbers that single precision holds."""
        parts = np.rint(away_hz * (self._a_hz * np.float32(PARTS)))
        parts = np.minimum(np.maximum(parts, np.float32(-self._reach)), np.float32(self._reach))
        return np.asarray((parts + (row + np.float32(self._reach))).astype(np.intp))

    def between(self, near: Singles, spectra: Spectra, voices: Voices, halves: Singles) -> Singles:
        """Power half-way between the harmonics, without those beside; ``halves`` are ½, 1½ and so on."""
        place = np.minimum(near * (halves * self._a_hz), self._last + np.float32(1))
        at = np.rint(place)
        heard = spectra.both[0].ravel()[at.astype(np.intp) + spectra.rows]
        over = np.rint((place - at) * np.float32(PARTS)) + np.float32(PARTS)
        for step, leaked in zip(self._beside, self._line[self._places(self._half_apart * near, over)], strict=True):
            leaked *= voices.lines[step + 1 : step + 1 + len(halves)]
            heard -= leaked
        size = np.abs(heard)
        return np.asarray(size * size)


def weighed_sum(weights: NDArray[Kind], values: NDArray[Kind]) -> NDArray[Kind]:
    """Sum over the harmonics of ``values`` times (the conjugate of) ``weights``, one for each frame."""
    return np.asarray(np.vecdot(weights, values, axis=0))  # type: ignore[call-overload]


class Stood:
    """How every harmonic lately stood, turned on with the pitch up to each frame.

    The frequency of a faint harmonic, which is what it turns by over what it is, leaps in noise, and such leaps do not
    cancel from frame to frame. Held against how it lately stood, the noise goes into it as it is, and over a stretch
    only what it is at the two ends remains.
    """

    def __init__(self, harmonics: int, hop_s: float) -> None:
        self._k = np.arange(1, harmonics + 1, dtype=np.float32)[:, None]
        self._hop_s = hop_s
        keep = float(np.exp(-hop_s / STOOD_S))
        self._stood = Fading(keep, weight=1.0 - keep, steady=True)
        self._cycles = Fading(1.0, weight=0.5 * hop_s)
        self._near: Singles | None = None

    def says(self, near: Singles, voices: Voices, usual: Singles, noisy: Singles) -> Singles:
        """How far each harmonic says f0 lies above ``near``: the more by how it lately stood the more it is noise."""
        before = np.concatenate((near[:1] if self._near is None else self._near, near[:-1]))
        self._near = near[-1:]
        cycles = self._cycles.feed((before + near.astype(np.float64))[None])[0]
        turns = _powers(np.exp(2j * np.pi * (cycles % 1.0)).astype(np.complex64), len(voices.wave))
        stands = self._stood.feed(voices.wave * turns.conj())
        stands *= turns
        stands -= voices.wave
        stands *= noisy * noisy * noisy
        stands += voices.wave
        size = np.abs(stands)
        power = np.maximum(size * size, np.float32(LEAST_STOOD) * usual)
        power += _TINY
        power *= self._k
        return np.asarray((stands.conj() * voices.moving).real / power)


def _powers(once: Spectrum, count: int) -> Spectrum:
    """The first to the ``count``-th power of ``once``, one a row."""
    powers = np.empty((count, len(once)), np.complex64)
    powers[0], done = once, 1
    while done < count:
        more = min(done, count - done)
        np.multiply(powers[:more], powers[done - 1], out=powers[done : done + more])
        done += more
    return powers


def _laid(waves: Spectrum) -> Spectrum:
    """``waves`` of the harmonics from 1 on, behind the first one's mirror image and nothing, and before nothing."""
    lines = np.zeros((len(waves) + 4, waves.shape[1]), np.complex64)
    np.conj(waves[0], out=lines[0])
    lines[2:-2] = waves
    return lines
