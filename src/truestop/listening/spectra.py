"""Windowed spectra of many frames, in two windows each, in memory that is used again.

Conventions: float32 windows of odd length in, complex64 spectra out, one row a frame; the middle of the frame is time
nought.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

Singles = NDArray[np.float32]
Spectrum = NDArray[np.complex64]

AT_ONCE = 1 << 16
"""Values transformed at once: with their spectra they stay in a processor's second cache."""


@dataclass(frozen=True, slots=True)
class Spectra:
    """Spectra of some frames, good until the next are made."""

    both: Spectrum
    """In the first window and in the second: shape (2, frames, bins)."""
    power: Singles
    """That of the first: shape (frames, bins)."""
    starts: NDArray[np.intp]
    """Where each frame begins in each half of ``both``, read flat: shape (2, 1, frames)."""
    rows: NDArray[np.intp]
    """Where each frame begins in ``power``, read flat."""


class Spectrograph:
    """Feed frames, get the lowest ``bins`` bins of their transforms of ``size``, in each of two ``windows``."""

    def __init__(self, windows: tuple[Singles, Singles], size: int, bins: int) -> None:
        self._windows = np.array(windows)[:, None, :]
        self._bins = bins
        self._some = max(1, AT_ONCE // (2 * size))
        self._cut = np.zeros((2, 1, size), np.float32)
        self._room = self._make_room(1)

    def feed(self, frames: Singles) -> Spectra:
        """``frames`` have the windows' length; around them there is silence up to ``size``."""
        if len(frames) != len(self._room.power):
            self._room = self._make_room(len(frames))
        for start in range(0, len(frames), self._some):
            rows = slice(start, start + self._some)
            self._transform(frames[rows], self._room.both[:, rows], self._room.power[rows])
        return self._room

    def _transform(self, frames: Singles, both: Spectrum, power: Singles) -> None:
        count, width = frames.shape
        half, cut = width // 2, self._cut[:, :count]
        np.multiply(frames[:, half:], self._windows[:, :, half:], out=cut[:, :, : width - half])
        np.multiply(frames[:, :half], self._windows[:, :, :half], out=cut[:, :, cut.shape[2] - half :])
        both[...] = scipy.fft.rfft(cut, axis=2)[:, :, : self._bins]
        np.abs(both[0], out=power)
        power *= power

    def _make_room(self, count: int) -> Spectra:
        """For as many frames as come at once, which is the same number but for the last."""
        self._cut = np.zeros((2, min(count, self._some), self._cut.shape[2]), np.float32)
        starts = np.arange(2 * count, dtype=np.intp).reshape(2, 1, count) * self._bins
        shape = (count, self._bins)
        return Spectra(np.empty((2, *shape), np.complex64), np.empty(shape, np.float32), starts, starts[0, 0])


__all__ = ["Spectra", "Spectrograph"]
