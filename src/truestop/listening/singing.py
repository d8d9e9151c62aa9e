"""Hearing before playing: a sung or hummed note against its target, in any octave.

Frames are read by the normalised square difference (McLeod & Wyvill, A smarter way to find pitch, ICMC 2005); the note
is the longest stretch in which the voice stays near one pitch, and its pitch the middle of that stretch without its
first moments, where singers scoop. A voice's vibrato averages out.

Conventions: times in seconds from the first sample; cents above the target once the octave is taken out, −600…600; + is
sharp. Samples mono, ±1 full scale.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import soxr
from numpy.typing import NDArray

from truestop.domain.pitch import hz_to_cents

Floats = NDArray[np.float64]
Samples = NDArray[np.float32] | NDArray[np.float64]

TOLERANCE_CENTS = 50.0
LOWEST_HZ, HIGHEST_HZ = 60.0, 1400.0
"""From a man's humming to whistling low."""
SHORTEST_S = 0.3
SCOOP_S = 0.12
NEAR_CENTS = 80.0
"""A sung note stays this near to its own middle; a vibrato of a semitone passes."""
CLEAR = 0.75
"""Least normalised autocorrelation of a voiced frame."""
QUIET_DB = -50.0
_RATE_HZ, _FRAME_S, _HOP_S = 12000, 0.05, 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class SungNote:
    """What was sung. ``word`` is 'true', 'high', 'low' or 'unheard'; numbers are None when nothing was heard."""

    word: str
    reason: str | None = None
    hz: float | None = None
    cents: float | None = None
    se_cents: float | None = None
    octaves: int | None = None
    """How many octaves above the target it was sung."""
    start_s: float | None = None
    end_s: float | None = None


def check_singing(
    samples: Samples, sample_rate_hz: float, target_hz: float, *, tolerance_cents: float = TOLERANCE_CENTS
) -> SungNote:
    """The longest note sung in ``samples``, held against ``target_hz`` in whatever octave it lies nearest."""
    x = _thinned(samples, sample_rate_hz)
    times_s, pitch_hz = _voice(x)
    if not np.isfinite(pitch_hz).any():
        return SungNote(word="unheard", reason="No voice was heard. Sing or hum closer to the microphone.")
    cents = 1200.0 * np.log2(pitch_hz / target_hz)
    begin, end = _longest_note(cents)
    if (end - begin) * _HOP_S < SHORTEST_S:
        return SungNote(word="unheard", reason="No note was held long enough. Hold it for half a second.")
    held = cents[begin + round(SCOOP_S / _HOP_S) : end]
    return _judged(held, float(times_s[begin]), float(times_s[end - 1]), target_hz, tolerance_cents)


def _judged(held: Floats, start_s: float, end_s: float, target_hz: float, tolerance_cents: float) -> SungNote:
    heard = held[np.isfinite(held)]
    around = float(np.median(heard))
    heard = around + (heard - around + 600.0) % 1200.0 - 600.0
    middle = float(np.mean(heard[np.abs(heard - around) < NEAR_CENTS]))
    octaves = round(middle / 1200.0)
    off = middle - 1200.0 * octaves
    # Vibrato and unsteadiness make frames depend on one another: about five independent ones a second.
    se = float(np.std(heard)) / max(5.0 * len(heard) * _HOP_S, 1.0) ** 0.5
    word = "true" if abs(off) <= tolerance_cents else "high" if off > 0 else "low"
    return SungNote(word=word, hz=target_hz * 2.0 ** (middle / 1200.0), cents=off, se_cents=se, octaves=octaves,
                    start_s=start_s, end_s=end_s)  # fmt: skip


def sung_cents(hz: float, target_hz: float) -> float:
    """Cents of ``hz`` above ``target_hz``, the octave taken out: −600 to 600.

    >>> sung_cents(220.0, 440.0)
    0.0
    """
    cents = hz_to_cents(hz, target_hz)
    return cents - 1200.0 * round(cents / 1200.0)


def _thinned(samples: Samples, rate_hz: float) -> Floats:
    whole = np.clip(np.nan_to_num(np.asarray(samples, dtype=np.float64), posinf=0.0, neginf=0.0), -100.0, 100.0)
    if rate_hz == _RATE_HZ or not len(whole):
        return whole
    return np.asarray(soxr.resample(whole, rate_hz, _RATE_HZ), dtype=np.float64)


def _voice(x: Floats) -> tuple[Floats, Floats]:
    """Times and pitch of every frame, NaN where no voice is heard."""
    n, hop = round(_FRAME_S * _RATE_HZ), round(_HOP_S * _RATE_HZ)
    if len(x) < n:
        return np.empty(0), np.empty(0)
    frames = np.lib.stride_tricks.sliding_window_view(x, n)[::hop]
    times_s = (np.arange(len(frames)) * hop + 0.5 * n) / _RATE_HZ
    parts = [_frame_pitch(frames[first : first + 512]) for first in range(0, len(frames), 512)]
    return times_s, np.concatenate(parts)


def _frame_pitch(frames: Floats) -> Floats:
    frames = frames - frames.mean(axis=1, keepdims=True)
    n = frames.shape[1]
    likeness = _normalised_square_difference(frames)
    lowest, highest = int(_RATE_HZ / HIGHEST_HZ), min(int(_RATE_HZ / LOWEST_HZ), n - 2)
    loud = np.sqrt(np.mean(frames * frames, axis=1)) > 10.0 ** (QUIET_DB / 20.0)
    inner = likeness[:, lowest : highest + 1]
    peak = (inner >= likeness[:, lowest - 1 : highest]) & (inner >= likeness[:, lowest + 1 : highest + 2])
    left, right = likeness[:, lowest - 1 : highest], likeness[:, lowest + 1 : highest + 2]
    bend = np.minimum(left - 2.0 * inner + right, -1e-12)
    strength = np.where(peak, inner - 0.125 * (left - right) ** 2 / bend, -1.0)
    best = strength.max(axis=1)
    # The first peak nearly as high as the highest is the period; later ones are its multiples.
    at = (strength >= 0.93 * best[:, None]).argmax(axis=1)
    rows = np.arange(len(frames))
    period = lowest + at + 0.5 * (left - right)[rows, at] / bend[rows, at]
    return np.where(loud & (best > CLEAR), _RATE_HZ / period, np.nan)


def _normalised_square_difference(frames: Floats) -> Floats:
    """2 r(τ) / m(τ), shape (frames, lags): 1 where a frame repeats itself exactly after τ samples."""
    n = frames.shape[1]
    spectrum = np.fft.rfft(frames, 2 * n)
    products = np.fft.irfft(spectrum.real**2 + spectrum.imag**2, 2 * n)[:, :n]
    energy = np.concatenate([np.zeros((len(frames), 1)), np.cumsum(frames * frames, axis=1)], axis=1)
    lags = np.arange(n)
    sums = energy[:, n - lags] + energy[:, [n]] - energy[:, lags]
    return np.asarray(2.0 * products / np.maximum(sums, 1e-12), dtype=np.float64)


def _longest_note(cents: Floats) -> tuple[int, int]:
    """The longest run of frames near one pitch, gaps up to 50 ms bridged, octave slips of single frames let pass."""
    best, begin = (0, 0), None
    middle, last, settled = 0.0, 0, 0
    for index, value in enumerate(cents):
        if not np.isfinite(value):
            continue
        off = (value - middle + 600.0) % 1200.0 - 600.0
        if begin is None or abs(off) > NEAR_CENTS or index - last > 0.05 / _HOP_S:
            begin, middle, settled = index, float(value), 0
            off = 0.0
        settled += 1
        middle += off / min(settled, 20)
        last = index
        if last + 1 - begin > best[1] - best[0]:
            best = (begin, last + 1)
    return best
