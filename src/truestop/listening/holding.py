"""Notes that are held: sung, hummed, bowed or open strings, in blocks or whole; each is told once.

Frames are read by the normalised square difference (McLeod & Wyvill, A smarter way to find pitch, ICMC 2005), which
hears a man's voice with its weak first harmonic as well as a bowed string. A held note is a stretch in which the pitch
stays near its own middle; its pitch is the middle of that stretch without its first moments, where singers scoop. A
vibrato averages out.

Conventions: Hz, seconds from the start of the take, at the middle of a frame. Samples mono, ±1 full scale.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, log2

import numpy as np
import soxr
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Samples = NDArray[np.float32] | NDArray[np.float64]

SCOOP_S = 0.12
NEAR_CENTS = 80.0
"""A held note stays this near to its own middle; a vibrato of a semitone passes."""
LONGEST_GAP_S = 0.06
CLEAR = 0.75
"""Least normalised autocorrelation of a voiced frame."""
QUIET_DB = -50.0
NEARLY = 0.93
"""The first peak nearly as high as the highest is the period; later ones are its multiples."""
_RATE_HZ, _RATE_FOR_HZ = 12000, 500.0
"""A period of the highest pitch has 24 samples at least: peaks between samples are then read to about a cent."""
_FRAME_S, _FRAME_PERIODS, _HOP_S = 0.05, 3.0, 0.01
_FRAMES_AT_ONCE = 256
_FOLLOWED = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldNote:
    """A note that stood."""

    at_s: float
    hz: float
    se_cents: float
    held_s: float


class PitchFrames:
    """The pitch every 10 ms between two pitches; feed it blocks of any size."""

    def __init__(self, sample_rate_hz: float, low_hz: float, high_hz: float) -> None:
        self.rate_hz = _RATE_HZ * max(1, ceil(high_hz / _RATE_FOR_HZ))
        self._low_hz, self._high_hz = low_hz, high_hz
        self._length = round(max(_FRAME_S, _FRAME_PERIODS / low_hz) * self.rate_hz)
        self._hop = round(_HOP_S * self.rate_hz)
        self._thin = soxr.ResampleStream(sample_rate_hz, self.rate_hz, 1, dtype="float32")
        self._sound: NDArray[np.float32] = np.empty(0, np.float32)
        self._frame = 0

    def feed(self, samples: Samples) -> tuple[Floats, Floats]:
        """Times and pitches of the frames that ``samples`` complete; NaN where no pitch is heard."""
        return self._read(self._thin.resample_chunk(_sane(samples)))

    def finish(self) -> tuple[Floats, Floats]:
        """The last frames."""
        return self._read(self._thin.resample_chunk(np.empty(0, np.float32), last=True))

    def _read(self, thinned: NDArray[np.float32]) -> tuple[Floats, Floats]:
        self._sound = np.concatenate([self._sound, thinned])
        count = max((len(self._sound) - self._length) // self._hop + 1, 0)
        if not count:
            return np.empty(0), np.empty(0)
        frames = np.lib.stride_tricks.sliding_window_view(self._sound, self._length)[:: self._hop][:count]
        pieces = [self._pitch(frames[a : a + _FRAMES_AT_ONCE]) for a in range(0, count, _FRAMES_AT_ONCE)]
        times_s = ((self._frame + np.arange(count)) * self._hop + 0.5 * self._length) / self.rate_hz
        self._frame += count
        self._sound = self._sound[count * self._hop :].copy()
        return times_s, np.concatenate(pieces)

    def _pitch(self, frames: NDArray[np.float32]) -> Floats:
        upright: Floats = frames.astype(np.float64)
        likeness = _normalised_square_difference(upright - upright.mean(axis=1, keepdims=True))
        lowest = max(int(self.rate_hz / self._high_hz), 2)
        highest = min(ceil(self.rate_hz / self._low_hz), frames.shape[1] - 2)
        loud = np.sqrt(np.mean(frames * frames, axis=1)) > 10.0 ** (QUIET_DB / 20.0)
        inner = likeness[:, lowest : highest + 1]
        left, right = likeness[:, lowest - 1 : highest], likeness[:, lowest + 1 : highest + 2]
        bend = np.minimum(left - 2.0 * inner + right, -1e-12)
        strength = np.where((inner >= left) & (inner >= right), inner - 0.125 * (left - right) ** 2 / bend, -1.0)
        best = strength.max(axis=1)
        at = (strength >= NEARLY * best[:, None]).argmax(axis=1)
        rows = np.arange(len(frames))
        period = lowest + at + 0.5 * (left - right)[rows, at] / bend[rows, at]
        return np.where(loud & (best > CLEAR), self.rate_hz / period, np.nan)


class HeldNotes:
    """Finds held notes between two pitches; feed it blocks of any size.

    A note is told as soon as it has stood for ``hold_s`` after its beginning; with ``whole`` only when it is over, by
    all of its length.
    """

    def __init__(
        self, sample_rate_hz: float, low_hz: float, high_hz: float, hold_s: float, *, whole: bool = False
    ) -> None:
        self._frames = PitchFrames(sample_rate_hz, low_hz, high_hz)
        self._hold_s = hold_s
        self._whole = whole
        self._times_s: list[float] = []
        self._octaves: list[float] = []
        self._middle = 0.0
        self._told = False
        self.latest: tuple[float, float] | None = None
        """Time and pitch of the last frame in which a pitch was heard."""

    def feed(self, samples: Samples) -> list[HeldNote]:
        """Held notes that became sure with ``samples``."""
        return self._take(*self._frames.feed(samples))

    def finish(self) -> list[HeldNote]:
        """Held notes that became sure at the end."""
        return [*self._take(*self._frames.finish()), *self._end()]

    def _take(self, times_s: Floats, pitch_hz: Floats) -> list[HeldNote]:
        found: list[HeldNote] = []
        for time_s, hz in zip(times_s.tolist(), pitch_hz.tolist(), strict=True):
            if hz == hz:
                self.latest = (time_s, hz)
                found += self._add(time_s, log2(hz))
        return found

    def _add(self, time_s: float, octaves: float) -> list[HeldNote]:
        """Slips of single frames by an octave pass."""
        off = octaves - self._middle
        off -= round(off)
        gap = bool(self._times_s) and time_s - self._times_s[-1] > LONGEST_GAP_S
        over = self._end() if gap or not self._times_s or abs(off) * 1200.0 > NEAR_CENTS else None
        if over is not None:
            self._times_s, self._octaves, self._middle, self._told, off = [], [], octaves, False, 0.0
        self._times_s.append(time_s)
        self._octaves.append(octaves)
        self._middle += off / min(len(self._times_s), _FOLLOWED)
        if self._whole or self._told or time_s - self._times_s[0] < self._hold_s + SCOOP_S / 2.0:
            return over or []
        self._told = True
        return [*(over or []), self._note()]

    def _end(self) -> list[HeldNote]:
        """With ``whole``, the note that has just ended, if it stood long enough."""
        if not self._whole or not self._times_s or self._times_s[-1] - self._times_s[0] + _HOP_S < self._hold_s:
            return []
        return [self._note()]

    def _note(self) -> HeldNote:
        first, last = self._times_s[0], self._times_s[-1]
        begin = min(int(np.searchsorted(self._times_s, first + SCOOP_S)), len(self._times_s) - 1)
        heard = np.asarray(self._octaves[begin:])
        around = float(np.median(heard))
        near = heard[np.abs(heard - around) * 1200.0 < NEAR_CENTS]
        # Vibrato and unsteadiness make frames depend on one another: about five independent ones a second.
        se_cents = 1200.0 * float(np.std(near)) / max(5.0 * len(near) * _HOP_S, 1.0) ** 0.5
        return HeldNote(at_s=first, hz=2.0 ** float(np.mean(near)), held_s=last - first, se_cents=se_cents)


def _sane(samples: Samples) -> NDArray[np.float32]:
    whole = np.nan_to_num(np.asarray(samples, dtype=np.float32), posinf=0.0, neginf=0.0)
    return np.asarray(np.clip(whole, -100.0, 100.0), dtype=np.float32)


def _normalised_square_difference(frames: Floats) -> Floats:
    """2 r(τ) / m(τ), shape (frames, lags): 1 where a frame repeats itself exactly after τ samples."""
    n = frames.shape[1]
    spectrum = np.fft.rfft(frames, 2 * n)
    products = np.fft.irfft(spectrum.real**2 + spectrum.imag**2, 2 * n)[:, :n]
    energy = np.concatenate([np.zeros((len(frames), 1)), np.cumsum(frames * frames, axis=1)], axis=1)
    lags = np.arange(n)
    sums = energy[:, n - lags] + energy[:, [n]] - energy[:, lags]
    return np.asarray(2.0 * products / np.maximum(sums, 1e-12), dtype=np.float64)
