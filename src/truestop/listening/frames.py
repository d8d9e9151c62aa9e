"""One frame of a take: what pitch a window of sound has, told the two notes between which it lies.

Four steps:

1. a harmonic comb over the fourth root of the power spectrum, on a grid that spans the two notes, gives a first pitch;
2. the reassigned frequency of every harmonic (Auger & Flandrin 1995), exact for a steady tone and, with the slope of
   the path, for a straight glide, gives what each harmonic says of the fundamental;
3. these are averaged: where the harmonics agree, by k² times their power, which gives the least-squares period of the
   sound; where they do not (a room, a ringing string), by inverse variance, k² over the harmonic's own noise, read
   between the harmonics, and a floor, those far from the rest counting less;
4. the share of the sound that lies on the harmonics says whether it is one pitch at all.

Conventions: windows and spectra have one row a frame; what is read from them has one row a harmonic and one column a
frame. Frequencies in Hz, levels in dB re full scale; float32 inside, float64 out.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, log2
from typing import TypeVar

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from truestop.listening.forgetting import Fading
from truestop.listening.spectra import Spectra, Spectrograph
from truestop.listening.voicing import MORE, Ear, Stood, Voices, weighed_sum

Samples = NDArray[np.float32]
Floats = NDArray[np.float64]
Kind = TypeVar("Kind", np.float32, np.float64)

GUARD_SEMITONES = 3.5
"""How far beyond the two notes the pitch is looked for."""
HOP_S = 0.006
WAIT_PERIODS, LEAST_WAIT_S, MOST_WAIT_S = 1.5, 0.01, 0.04
"""A frame waits for so many periods of the lowest pitch looked for, within these bounds; that is half the window and
half the low-pass."""
STOP_DB = 60.0
"""How far down the low-pass keeps what would fold back onto the harmonics."""
MOST_PASSING = 0.04
"""Share of the wait that the low-pass may take: the less a frame is thinned, the shorter it is."""
GLIDE_SHARE = 0.9
"""Sigma by which a glide is smoothed as it is read, by that of the window: harmonics are moved along the slope to the
window's middle."""
GRID_CENTS = 22.0
MOST_TEETH = 11
MOST_HARMONICS = 12
"""With 10 recorded notes are read 0.25 instead of 0.18 cent off, being weighed by fewer harmonics than they have."""
LOW_HZ = 110.0
"""Below this more harmonics are used: a small loudspeaker or a telephone leaves out the first ones."""
FIRST_HARMONICS, FARTHEST_FIRST = (3, 12), 0.05
"""How many of them make the comb's pitch better, and by how much at most: in noise it is up to 80 cents off."""
TOP_HZ = 10000.0
"""Highest harmonic used, where at least three lie below it."""
JITTER_HZ = 0.25
"""Floor of what one harmonic can be trusted: phase jitter of a bowed string, per harmonic number."""
WEAK_ONES = 0.2
"""How much more a harmonic jitters that is weak beside the loudest, per ratio of their powers."""
NOISE_HZ_S = 0.13
"""Standard deviation of one harmonic's frequency at 0 dB, times the window's sigma."""
STEEPEST_PER_S = 40.0
"""No glide is faster than this, relative to its pitch: 70 cents a millisecond."""
AGREED_CENTS = 9.0
"""Scatter of the harmonics up to which their least-squares period is the pitch: recorded notes stay within 3 cents."""
FAR_APART, APART_S = 20.0, 0.15
"""The most that harmonics count as apart, and how long it is remembered: a room's tail, and not the note's attack."""
NOISE_MEMORY_S = 0.3
"""How long the noise between the harmonics is remembered: weights that jump from frame to frame would cost accuracy."""
POWER_MEMORY_S = 0.1
"""How long it is remembered how the power is shared among the harmonics: weights that follow every swing of it in noise
would not let the errors of one frame and the next cancel, which come from the ends of their windows."""
NOISY = 14.0
"""Signal to noise, by k² times power, at which the remembered weights count as much as those of the moment: recorded
notes without noise are read better by these."""
HANN_SIGMA = float(np.sqrt(1.0 / 3.0 - 2.0 / np.pi**2))
"""Standard deviation of Hann's window over half its length."""
_TINY = np.float32(1e-18)
_ALL_NOISE = np.float32(1e9)
"""Noise to signal from which a frame is nothing but noise; the square of more would not be a number."""
_AGREED = np.float32(AGREED_CENTS * np.log(2.0) / 1200.0)
_BESIDE = np.array([[-1], [0], [1]])


class Plan:
    """Everything that follows from the two notes and the sampling rate, worked out once."""

    most_teeth, widest_hz, most_passing = MOST_TEETH, TOP_HZ, MOST_PASSING

    def __init__(self, sample_rate_hz: float, low_hz: float, high_hz: float) -> None:
        guard = 2.0 ** (GUARD_SEMITONES / 12.0)
        self.sample_rate_hz = float(sample_rate_hz)
        self.low_hz = min(low_hz, high_hz) / guard
        self.high_hz = min(max(low_hz, high_hz) * guard, 0.42 * sample_rate_hz)
        more = float(np.clip(LOW_HZ / self.low_hz, 1.0, 2.0))
        teeth = int(np.clip(self.widest_hz / self.high_hz, 3, self.most_teeth * min(more, 1.6)))
        self.top_hz = min((teeth + 0.75) * self.high_hz, 0.45 * sample_rate_hz)
        self.teeth = max(1, int(self.top_hz / self.high_hz))
        self.harmonics = int(np.clip(self.top_hz / self.low_hz, self.teeth, MOST_HARMONICS * more))
        wait_s = min(max(WAIT_PERIODS / self.low_hz, LEAST_WAIT_S), MOST_WAIT_S)
        self.step, self.filter = _thinner(self.top_hz / sample_rate_hz, self.most_passing * wait_s * sample_rate_hz)
        self.rate_hz = self.sample_rate_hz / self.step
        self.half = int((wait_s - len(self.filter) / 2.0 / sample_rate_hz) * self.rate_hz)
        self.sigma_s = HANN_SIGMA * self.half / self.rate_hz
        self.hop = max(1, round(HOP_S * self.rate_hz))
        self.size = scipy.fft.next_fast_len(2 * self.half + 1, real=True)
        self.bin_hz = self.rate_hz / self.size
        self.bins = min(self.size // 2 + 1, ceil((self.top_hz + MORE * self.high_hz) / self.bin_hz) + 3)
        self.window, self.slanted = self._windows()
        self.energy = float((self.window.astype(np.float64) ** 2).sum())
        self.grid_cents = np.arange(0.0, 1200.0 * log2(self.high_hz / self.low_hz) + GRID_CENTS, GRID_CENTS)
        self.grid_hz = self.low_hz * 2.0 ** (self.grid_cents / 1200.0)
        self.comb = self._comb()
        self.band = self._band()
        self.thinning = _thinning(self.filter, self.step)

    @property
    def look_ahead_s(self) -> float:
        """From the moment of a frame to the last sample it needs."""
        return float(self.half) / self.rate_hz + len(self.filter) / 2.0 / self.sample_rate_hz

    @property
    def smoothing_ms(self) -> float:
        """Sigma of the smoothing that a slowly moving pitch undergoes in one frame."""
        return float(1000.0 * self.sigma_s)

    def _windows(self) -> tuple[Samples, Samples]:
        """Hann's, of unit sum, and −σ² times its derivative."""
        turn = np.pi * np.arange(-self.half, self.half + 1) / self.half
        slope = -np.pi / self.half * self.rate_hz * np.sin(turn)
        window = 1.0 + np.cos(turn)
        whole = window.sum()
        return (window / whole).astype(np.float32), (-(self.sigma_s**2) * slope / whole).astype(np.float32)

    def _comb(self) -> Samples:
        """Columns: what one candidate adds on its harmonics and takes off between them."""
        comb = np.zeros((self.bins, len(self.grid_hz)))
        column = np.arange(len(self.grid_hz))
        for k in range(1, self.teeth + 1):
            for place, weight in ((k, 1.0), (k - 0.5, -0.5), (k + 0.5, -0.5)):
                at = np.clip(self.grid_hz * place / self.bin_hz, 0, self.bins - 2)
                low = at.astype(int)
                comb[low, column] += (1 - at + low) * weight * k**-0.5
                comb[low + 1, column] += (at - low) * weight * k**-0.5
        return comb.astype(np.float32)

    def _band(self) -> Samples:
        """1 for the bins in which the two notes sound."""
        hz = np.arange(self.bins) * self.bin_hz
        return np.asarray((hz >= 0.6 * self.low_hz) & (hz <= self.top_hz), np.float32)


def overlapping(values: NDArray[Kind], width: int, every: int = 1) -> NDArray[Kind]:
    """Rows of ``width`` neighbours out of one contiguous row, each beginning ``every`` values after the one before.

    numpy's own sliding windows ask so much beforehand that a live stream feels it.
    """
    rows = max((len(values) - width) // every + 1, 0)
    size = values.itemsize
    return np.ndarray((rows, width), values.dtype, values, 0, (every * size, size))


def _thinner(top: float, longest: float) -> tuple[int, Samples]:
    """How many samples make one, as many as can, and the low-pass before that, for what lies below ``top`` of the
    sampling rate; it has at most ``longest`` samples on either side, odd length and unit gain.

    Kaiser's, length and shape from the attenuation (1974, from memory).
    """
    for step in range(int(0.45 / top), 1, -1):
        half = ceil((STOP_DB - 8.0) / (14.36 * (1.0 / step - 2.0 * top)) / 2.0)
        if half <= longest:
            kernel = np.sinc(np.arange(-half, half + 1) / step) * np.kaiser(2 * half + 1, 0.1102 * (STOP_DB - 8.7))
            return step, np.asarray(kernel / kernel.sum(), np.float32)
    return 1, np.ones(1, np.float32)


_MANY = 16
"""Outputs of the low-pass worked out at once."""


def _thinning(kernel: Samples, step: int) -> Samples:
    """The low-pass as a matrix that makes ``_MANY`` outputs of a stretch, in pieces as long as what they use up."""
    piece = _MANY * step
    pieces = ceil(((_MANY - 1) * step + len(kernel)) / piece)
    matrix = np.zeros((pieces * piece, _MANY), np.float32)
    for column in range(_MANY):
        matrix[column * step : column * step + len(kernel), column] = kernel
    return matrix.reshape(pieces, piece, _MANY)


def thin(raw: Samples, plan: Plan) -> Samples:
    """``raw`` low-passed and thinned to the plan's rate, as matrix products over what is used up, piece by piece."""
    if plan.step == 1:
        return raw
    count = (len(raw) - len(plan.filter)) // plan.step + 1
    rows = ceil(count / _MANY)
    pieces, piece, _ = plan.thinning.shape
    padded = np.zeros(((rows + pieces - 1), piece), np.float32)
    padded.ravel()[: len(raw)] = raw[: padded.size]
    thinned = padded[:rows] @ plan.thinning[0]
    for at in range(1, pieces):
        thinned += padded[at : at + rows] @ plan.thinning[at]
    return np.asarray(thinned.ravel()[:count])


@dataclass(frozen=True, slots=True)
class Frames:
    """What every frame was found to be."""

    f0_hz: Floats
    se_cents: Floats
    share: Floats
    """Share of the band's power on the harmonics, 0…1."""
    odd_share: Floats
    """Share of the harmonics' power on the odd ones: next to nothing where the note is really an octave higher."""
    level_db: Floats
    slope_per_s: Samples


class Analysis:
    """Frames of one take in order; remembers the noise between the harmonics, so that weights change slowly."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        hop_s = plan.hop / plan.rate_hz
        self._noise, self._shared = (_mean_over(memory_s, hop_s) for memory_s in (NOISE_MEMORY_S, POWER_MEMORY_S))
        soon = float(np.exp(-hop_s / APART_S))
        self._apart = Fading(soon, weight=1.0 - soon)
        self._all = np.arange(1, plan.harmonics + 1 + MORE, dtype=np.float32)[:, None]
        self._halves = np.arange(plan.harmonics + 1, dtype=np.float32)[:, None] + np.float32(0.5)
        self._squares = np.square(self._all[: plan.harmonics])
        noise_hz = NOISE_HZ_S / plan.sigma_s
        self._noise_hz2 = np.float32(noise_hz**2)
        self._noise_each_hz2 = self._noise_hz2 / self._squares
        self._ear = Ear(plan.window, plan.rate_hz, plan.size, plan.bins, plan.sigma_s, (plan.low_hz, plan.top_hz))
        self._stood = Stood(plan.harmonics, hop_s)
        self._spectra = Spectrograph((plan.window, plan.slanted), plan.size, plan.bins)
        self._lately: Samples = np.empty(0, np.float32)

    def read(self, windows: Samples) -> Frames:
        """What every row of ``windows`` is; the slope comes from the frames before, so that none is waited for."""
        plan = self.plan
        spectra = self._spectra.feed(windows)
        near = self._first_refined(_comb_pitch(spectra.power, plan), spectra)
        slope = self._slope(near)
        voices = self._ear.listen(near, spectra, self._all)
        between = self._ear.between(near, spectra, voices, self._halves)
        peak = voices.peak * voices.in_band
        f0, se = self._agree(near, slope, voices, peak, self._remembered(between))
        share, odd, level_db = _shares(voices, peak, between, spectra, plan)
        return Frames(f0, se, share, odd, level_db, slope)

    def _slope(self, near: Samples) -> Samples:
        """How fast the pitch moves, relative to itself, over the two hops before each frame."""
        lately = np.concatenate((self._lately if len(self._lately) else near[:1].repeat(2), near))
        self._lately = lately[-2:]
        moved = (lately[2:] - lately[:-2]) * np.float32(0.5 * self.plan.rate_hz / self.plan.hop) / near
        return np.asarray(np.minimum(np.maximum(moved, -STEEPEST_PER_S), STEEPEST_PER_S))

    def _first_refined(self, first: Samples, spectra: Spectra) -> Samples:
        """The comb's pitch made better by the lowest harmonics, which still hear it when it is a quarter-tone off, and
        then by some more."""
        for count in FIRST_HARMONICS:
            moved = self._ear.off(first, spectra, self._all[: min(count, self.plan.harmonics)])
            first = first + moved * (np.abs(moved) < FARTHEST_FIRST * first)
        return first

    def _remembered(self, floor: Samples) -> Samples:
        """The noise at each harmonic: the floor beside it, forgotten exponentially."""
        noise = np.maximum(self._noise.feed(floor), np.float32(0.15) * floor)
        return np.asarray(np.float32(0.5) * (noise[:-1] + noise[1:]))

    def _usual_power(self, power: Samples, noise: Samples) -> tuple[Samples, Samples]:
        """``power``, in noise shared among the harmonics as it lately was, and how far it is noise, 0…1."""
        whole = power.sum(axis=0) + _TINY
        usual = self._shared.feed(power / whole)
        usual *= whole
        usual -= power
        loud, soft = (weighed_sum(self._squares, values) for values in (power, noise))
        noisy = np.square(np.minimum(np.float32(NOISY) * soft / (loud + _TINY), _ALL_NOISE))
        noisy /= np.float32(1) + noisy
        usual *= noisy
        usual += power
        return usual, noisy

    def _even(self, voices: Voices, peak: Samples, noise: Samples) -> Samples:
        """k² over a harmonic's own noise and jitter."""
        jitter = peak.max(axis=0) / (voices.peak + _TINY)
        jitter *= np.float32(JITTER_HZ**2 * WEAK_ONES)
        jitter += np.float32(JITTER_HZ**2)
        jitter += self._noise_hz2 / _heard(voices.peak, noise)
        return np.asarray(self._squares * voices.in_band / jitter)

    def _agree(
        self, near: Samples, slope: Samples, voices: Voices, peak: Samples, noise: Samples
    ) -> tuple[Floats, Floats]:
        """The pitch that the harmonics agree on, and its standard error from their scatter; ``peak`` is their power
        where they are in the band, and ``noise`` what is noise of it.

        While they keep within ``AGREED_CENTS`` those that usually are loud decide, by k² times power, less where that
        is noise; else even weights do.
        """
        noise = noise + _TINY
        usual, noisy = self._usual_power(peak, noise * voices.in_band)
        says = self._stood.says(near, voices, usual, noisy)
        says -= (slope * near) * voices.moment_s
        heard = _heard(usual, noise)
        loud = self._squares * voices.in_band
        loud *= usual
        loud *= heard / (np.float32(1) + heard)
        loud /= loud.sum(axis=0) + _TINY
        scatter = np.square(says - weighed_sum(loud, says))
        scatter -= noisy * self._noise_each_hz2 / heard
        apart = self._apart_lately(weighed_sum(loud, scatter) / np.square(near * _AGREED))
        share = np.float32(1) / (np.float32(1) + apart)
        trusted = apart * _trusted(says, self._even(voices, peak, noise))
        mean = weighed_sum(loud + trusted, says) * share
        loud *= voices.peak / (usual + _TINY)
        trusted += loud / (loud.sum(axis=0) + _TINY)
        scatter = weighed_sum(trusted, np.square(says - mean)) * share
        farthest = 0.06 * near
        f0 = near + np.fmax(np.fmin(mean, farthest), -farthest).astype(np.float64)
        se = np.sqrt(np.fmax(scatter, 0.0) / max(self.plan.harmonics - 1, 1), dtype=np.float64)
        return f0, se / f0 * (1200.0 / np.log(2.0))

    def _apart_lately(self, apart: Samples) -> Samples:
        """How far apart the harmonics are and have lately been: in a room they stay so for a while after a slide."""
        now = np.fmin(np.square(np.maximum(apart, 0)), np.float32(FAR_APART))
        return np.asarray(now + self._apart.feed(now[None])[0])


def _mean_over(memory_s: float, hop_s: float) -> Fading:
    """A mean over the past that is forgotten in ``memory_s``."""
    keep = float(np.exp(-hop_s / memory_s))
    return Fading(keep, weight=1.0 - keep, steady=True)


def _comb_pitch(power: Samples, plan: Plan) -> Samples:
    root = np.sqrt(power)
    salience = np.sqrt(root, out=root) @ plan.comb
    best = np.minimum(np.maximum(salience.argmax(axis=1), 1), len(plan.grid_hz) - 2)
    beside = best + np.arange(0, salience.size, salience.shape[1]) + _BESIDE
    left, middle, right = salience.ravel()[beside].astype(np.float64)
    bend = np.minimum(left - 2 * middle + right, -1e-30)
    off = np.minimum(np.maximum(0.5 * (left - right) / bend, -0.5), 0.5)
    return np.asarray(plan.grid_hz[best] * np.exp2(off * (GRID_CENTS / 1200.0)), np.float32)


def _heard(power: Samples, noise: Samples) -> Samples:
    """Signal to noise of what has ``power``; a little where it is less."""
    return np.asarray(np.maximum(power / noise - np.float32(0.5), np.float32(0.05)))


def _trusted(says: Samples, even: Samples) -> Samples:
    """``even`` of unit sum, less where a harmonic is far from the rest for what it should know."""
    strange = np.abs(says - weighed_sum(even, says) / (even.sum(axis=0) + _TINY))
    strange *= np.float32(0.5)
    strange *= np.sqrt(even)
    trusted = even / np.maximum(strange, np.float32(1))
    trusted /= trusted.sum(axis=0) + _TINY
    return np.asarray(trusted)


def _shares(
    voices: Voices, peak: Samples, between: Samples, spectra: Spectra, plan: Plan
) -> tuple[Floats, Floats, Floats]:
    """Share of the power on the harmonics, against the band and against the places between; odd share; level."""
    on = spectra.power.ravel()[spectra.rows + voices.at + _BESIDE[:, None]].sum(axis=0)
    on *= voices.in_band
    band = np.asarray(spectra.power @ plan.band, np.float64) + 1e-18
    all_on = on.sum(axis=0, dtype=np.float64) + 1e-18
    peaks = peak.sum(axis=0, dtype=np.float64)
    contrast = peaks / (peaks + 2.0 * weighed_sum(between[1:], voices.in_band) + 1e-18)
    level_db = 10.0 * np.log10(band * (2.0 / plan.energy / plan.size) + 1e-20)
    return np.minimum(all_on / band, contrast), on[::2].sum(axis=0, dtype=np.float64) / all_on, level_db
