"""A pitch tracker that knows which two notes are coming.

Blocks of any size go in; frames at fixed places of the take come out, each from a window around it and from nothing
else, so the cutting of the blocks never shows. One frame is worked out in four steps:

1. a harmonic comb over the square root of the spectrum, on a grid of 20 cents that spans the two notes, gives a first
   pitch;
2. the reassigned frequency of every harmonic (Auger & Flandrin 1995), exact for a steady tone and, with the slope of
   the path, for a straight glide under a Gaussian window, gives what each harmonic says of the fundamental;
3. these are averaged by inverse variance: k² over the harmonic's own noise, read between the harmonics, and a floor;
   harmonics that disagree with the rest count less;
4. where the pitch moves fast, the window's smoothing is undone to second order.

Conventions: times in seconds from the first sample, at the middle of the window; frequencies in Hz; levels in dB re
full scale. float32 in, float64 out.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, log2

import numpy as np
import scipy.fft
from numpy.typing import NDArray

Samples = NDArray[np.float32]
Floats = NDArray[np.float64]

GUARD_SEMITONES = 3.5
"""How far beyond the two notes the pitch is looked for."""
HOP_S = 0.004
SIGMA_PERIODS = 0.58
"""Window sigma in periods of the lowest pitch looked for."""
LEAST_SIGMA_S = 0.0045
REACH = 3.2
"""Half window in sigmas."""
GRID_CENTS = 20.0
MOST_HARMONICS = 12
TOP_HZ = 8000.0
JITTER_HZ = 0.25
"""Floor of what one harmonic can be trusted: phase jitter of a bowed string, per harmonic number."""
STEEPEST_PER_S = 40.0
"""No glide is faster than this, relative to its pitch: 70 cents a millisecond."""
DEEPEST_LEVEL_DB = -66.0
"""Nothing below this is called a sound."""
FADE_DB = 40.0
"""Nothing this far below the loudest of the last seconds is called a sound."""
LEAST_SHARE = 0.45
LOUDEST = 100.0
"""Samples are held within this, in full scales: a broken file must not overflow."""
FRAMES_LIVE = 5
FRAMES_FILE = 250


@dataclass(frozen=True, slots=True, kw_only=True)
class PitchTrack:
    """Frames of a take. All arrays have one value a frame; ``f0_hz`` is NaN where no single pitch is heard."""

    times_s: Floats
    f0_hz: Floats
    se_cents: Floats
    """Standard error of one frame's pitch, from how much its harmonics disagree."""
    share: Floats
    """Share of the sound in the band that lies on the harmonics, 0…1."""
    level_db: Floats
    clipped: NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.times_s)

    @classmethod
    def joined(cls, parts: list[PitchTrack]) -> PitchTrack:
        """Parts of one take, in order."""
        return cls(
            **{
                name: np.concatenate([getattr(part, name) for part in parts] or [np.empty(0)])
                for name in ("times_s", "f0_hz", "se_cents", "share", "level_db", "clipped")
            }
        )


class Plan:
    """Everything that follows from the two notes and the sampling rate, worked out once."""

    def __init__(self, sample_rate_hz: float, low_hz: float, high_hz: float) -> None:
        guard = 2.0 ** (GUARD_SEMITONES / 12.0)
        self.sample_rate_hz = float(sample_rate_hz)
        self.low_hz = min(low_hz, high_hz) / guard
        self.high_hz = min(max(low_hz, high_hz) * guard, 0.42 * sample_rate_hz)
        teeth = int(np.clip(TOP_HZ / self.high_hz, 3, 10))
        top_hz = min((teeth + 0.75) * self.high_hz, 0.45 * sample_rate_hz)
        self.teeth = max(1, int(top_hz / self.high_hz))
        self.top_hz = top_hz
        self.harmonics = int(np.clip(top_hz / self.low_hz, self.teeth, max(MOST_HARMONICS, self.teeth)))
        self.step = max(1, int(0.44 * sample_rate_hz / top_hz))
        self.rate_hz = self.sample_rate_hz / self.step
        self.sigma_s = max(SIGMA_PERIODS / self.low_hz, LEAST_SIGMA_S)
        self.half = ceil(REACH * self.sigma_s * self.rate_hz)
        self.hop = max(1, round(HOP_S * self.rate_hz))
        self.size = scipy.fft.next_fast_len(3 * self.half, real=True)
        time_s = np.arange(-self.half, self.half + 1) / self.rate_hz
        bell = np.exp(-0.5 * (time_s / self.sigma_s) ** 2)
        self.window = (bell / bell.sum()).astype(np.float32)
        self.slanted = (time_s * bell / bell.sum()).astype(np.float32)
        self.energy = float((self.window.astype(np.float64) ** 2).sum())
        self.grid_cents = np.arange(0.0, 1200.0 * log2(self.high_hz / self.low_hz) + GRID_CENTS, GRID_CENTS)
        self.grid_hz = self.low_hz * 2.0 ** (self.grid_cents / 1200.0)
        self.bin_hz = self.rate_hz / self.size
        self.bins = self.size // 2 + 1
        self.comb = self._comb()
        self.filter = _low_pass(self.step)

    def _comb(self) -> Samples:
        """Columns: what one candidate adds and subtracts on the spectrum's bins."""
        comb = np.zeros((self.bins, len(self.grid_hz)))
        column = np.arange(len(self.grid_hz))
        for k in range(1, self.teeth + 1):
            for place, weight in ((k, 1.0), (k - 0.5, -0.5), (k + 0.5, -0.5)):
                at = np.clip(self.grid_hz * place / self.bin_hz, 0, self.bins - 2)
                low = at.astype(int)
                comb[low, column] += (1 - at + low) * weight * k**-0.5
                comb[low + 1, column] += (at - low) * weight * k**-0.5
        return comb.astype(np.float32)

    @property
    def look_ahead_s(self) -> float:
        """From the moment of a frame to the last sample it needs."""
        return float(self.half + self.hop) / self.rate_hz + len(self.filter) / 2.0 / self.sample_rate_hz


def _low_pass(step: int) -> Samples:
    """Windowed-sinc low-pass before keeping every ``step``-th sample; odd length, unit gain (Harris 1978, Kaiser)."""
    if step == 1:
        return np.ones(1, np.float32)
    half = 11 * step
    at = np.arange(-half, half + 1)
    kernel = np.sinc(at * 0.92 / step) * np.kaiser(2 * half + 1, 7.0)
    return np.asarray(kernel / kernel.sum(), np.float32)


class Tracker:
    """Feed blocks, get frames. ``frames_at_once`` only trades speed for delay."""

    def __init__(self, plan: Plan, *, frames_at_once: int = FRAMES_LIVE) -> None:
        self.plan = plan
        self._at_once = frames_at_once
        reach = len(plan.filter) // 2
        self._raw = np.zeros(reach + (plan.half + plan.hop) * plan.step, np.float32)
        self._frame = 0
        self._fed = self._taken = 0
        self._waiting: list[Samples] = []
        self._loudest_db = -200.0
        self._rows = plan.hop * plan.step

    def feed(self, block: Samples) -> PitchTrack:
        """The frames that ``block`` completes, perhaps none."""
        self._fed += len(block)
        self._waiting.append(np.asarray(block, np.float32))
        if len(self._raw) + self._fed - self._taken < self._needed(self._at_once):
            return _no_frames()
        self._take_in()
        parts = []
        while len(self._raw) >= self._needed(self._at_once):
            parts.append(self._advance(self._at_once))
        return PitchTrack.joined(parts)

    def _take_in(self) -> None:
        """Blocks are kept as they come and put together when there are enough for a frame."""
        block = np.concatenate(self._waiting) if self._waiting else np.empty(0, np.float32)
        clean = np.nan_to_num(block, nan=0.0, posinf=1.0, neginf=-1.0)
        self._raw = np.concatenate((self._raw, np.clip(clean, -LOUDEST, LOUDEST)))
        self._waiting, self._taken = [], self._fed

    def finish(self) -> PitchTrack:
        """The last frames, the take followed by silence."""
        self._take_in()
        wanted = ceil(self._fed / self._rows) - self._frame
        if wanted <= 0:
            return _no_frames()
        short = self._needed(wanted) - len(self._raw)
        self._raw = np.concatenate((self._raw, np.zeros(max(short, 0), np.float32)))
        return self._advance(wanted)

    def _needed(self, frames: int) -> int:
        plan = self.plan
        return int(((frames + 1) * plan.hop + 2 * plan.half) * plan.step + len(plan.filter))

    def _advance(self, frames: int) -> PitchTrack:
        plan = self.plan
        raw = self._raw[: self._needed(frames)]
        thin = _decimate(raw, plan)
        windows = np.lib.stride_tricks.sliding_window_view(thin, 2 * plan.half + 1)[:: plan.hop][: frames + 2]
        clipped = _clipped(raw, plan, frames)
        self._raw = self._raw[frames * self._rows :]
        times_s = np.asarray((self._frame + np.arange(frames)) * (self._rows / plan.sample_rate_hz), np.float64)
        self._frame += frames
        found = _analyse(windows, plan)
        loud_db = self._running_loudest(found.level_db)
        heard = _is_heard(found, loud_db)
        return PitchTrack(
            times_s=times_s,
            f0_hz=np.where(heard, found.f0_hz, np.nan),
            se_cents=found.se_cents,
            share=found.share,
            level_db=found.level_db,
            clipped=clipped,
        )

    def _running_loudest(self, level_db: Floats) -> Floats:
        """The loudest so far, forgotten by 3 dB a second."""
        fall = 3.0 * self._rows / self.plan.sample_rate_hz * np.arange(1, len(level_db) + 1)
        risen = np.maximum.accumulate(np.maximum(level_db + fall, self._loudest_db))
        loud = risen - fall
        self._loudest_db = float(loud[-1])
        return np.asarray(loud)


@dataclass(frozen=True, slots=True)
class _Frames:
    f0_hz: Floats
    se_cents: Floats
    share: Floats
    level_db: Floats
    odd_share: Floats


def _no_frames() -> PitchTrack:
    nothing = np.empty(0)
    return PitchTrack(
        times_s=nothing,
        f0_hz=nothing,
        se_cents=nothing,
        share=nothing,
        level_db=nothing,
        clipped=np.empty(0, np.bool_),
    )


def _decimate(raw: Samples, plan: Plan) -> Samples:
    """Low-passed and thinned: 16 outputs at a time as one matrix product."""
    if plan.step == 1:
        return raw
    step, taps, many = plan.step, len(plan.filter), 16
    count = (len(raw) - taps) // step + 1
    rows = ceil(count / many)
    width = (many - 1) * step + taps
    padded = np.concatenate((raw, np.zeros(max(0, (rows - 1) * many * step + width - len(raw)), np.float32)))
    blocks = np.ascontiguousarray(np.lib.stride_tricks.sliding_window_view(padded, width)[:: many * step][:rows])
    matrix = np.zeros((width, many), np.float32)
    for column in range(many):
        matrix[column * step : column * step + taps, column] = plan.filter
    return np.asarray((blocks @ matrix).ravel()[:count])


def _clipped(raw: Samples, plan: Plan, frames: int) -> NDArray[np.bool_]:
    """Frames in whose hop three samples in a row stay at one extreme value close to full scale."""
    start = (plan.half + plan.hop) * plan.step + len(plan.filter) // 2 - plan.hop * plan.step // 2
    part = raw[start : start + frames * plan.hop * plan.step]
    full = np.abs(part) >= 0.985
    flat = np.zeros(len(part), np.bool_)
    flat[2:] = full[2:] & full[1:-1] & full[:-2]
    flat[2:] &= np.abs(part[2:] - part[:-2]) < 2e-3
    whole = np.zeros(frames * plan.hop * plan.step, np.bool_)
    whole[: len(flat)] = flat
    return np.asarray(whole.reshape(frames, -1).any(axis=1))


def _analyse(windows: Samples, plan: Plan) -> _Frames:
    """Pitch, standard error, share and level of every row of ``windows`` but the first and last, which lend a slope."""
    upright = scipy.fft.rfft(windows * plan.window, plan.size, axis=1)
    slanted = scipy.fft.rfft(windows * plan.slanted, plan.size, axis=1)
    power = upright.real**2 + upright.imag**2
    first = _comb_pitch(power, plan)
    low = min(3, plan.harmonics)
    f0, _ = _refine(first, np.zeros(len(first)), upright, slanted, power, plan, low)
    f0 = np.where(np.abs(f0 / first - 1) < 0.03, f0, first)
    slope = np.clip(np.gradient(f0) / (plan.hop / plan.rate_hz), -STEEPEST_PER_S * f0, STEEPEST_PER_S * f0)
    f0, se = _refine(f0, slope, upright, slanted, power, plan, plan.harmonics)
    f0, se, power = f0[1:-1], se[1:-1], power[1:-1]
    share, odd = _shares(f0, power, plan)
    level_db = 10.0 * np.log10(2.0 * power.sum(axis=1, dtype=np.float64) / plan.energy / plan.size + 1e-20)
    return _Frames(f0, se, share, level_db, odd)


def _comb_pitch(power: Samples, plan: Plan) -> Floats:
    salience = np.sqrt(np.sqrt(power)) @ plan.comb
    best = np.clip(salience.argmax(axis=1), 1, len(plan.grid_hz) - 2)
    row = np.arange(len(best))
    left, middle, right = salience[row, best - 1], salience[row, best], salience[row, best + 1]
    bend = left - 2 * middle + right
    with np.errstate(divide="ignore", invalid="ignore"):
        off = np.where(bend < 0, 0.5 * (left - right) / bend, 0.0)
    cents = plan.grid_cents[best] + GRID_CENTS * np.clip(off, -0.5, 0.5)
    return np.asarray(plan.low_hz * 2.0 ** (cents / 1200.0), np.float64)


def _refine(
    f0: Floats,
    slope: Floats,
    upright: NDArray[np.complex64],
    slanted: NDArray[np.complex64],
    power: Samples,
    plan: Plan,
    many: int,
) -> tuple[Floats, Floats]:
    """One better pitch from the reassigned frequencies of the first ``many`` harmonics, and its standard error."""
    k = np.arange(1, many + 1)
    at = np.clip(np.rint(f0[:, None] * k / plan.bin_hz).astype(int), 1, plan.bins - 2)
    row = np.arange(len(f0))[:, None]
    ratio = slanted[row, at] / (upright[row, at] + 1e-20)
    says = (at * plan.bin_hz + ratio.imag / (2 * np.pi * plan.sigma_s**2) - slope[:, None] * k * ratio.real) / k
    off = (at * plan.bin_hz - f0[:, None] * k) * (2 * np.pi * plan.sigma_s)
    peak = power[row, at] * np.exp(np.minimum(off**2, 4.0))
    between = np.clip(np.rint(f0[:, None] * (np.arange(many + 1) + 0.5) / plan.bin_hz).astype(int), 1, plan.bins - 1)
    floor = power[row, between]
    noise = 0.5 * (floor[:, :-1] + floor[:, 1:]) + 1e-18
    spread = 0.1125 / plan.sigma_s
    weight = k**2 / (spread**2 * noise / (peak + 1e-20) + JITTER_HZ**2)
    weight[k * f0[:, None] > plan.top_hz] = 0.0
    weight[:, 0] += 1e-9
    mean = (weight * says).sum(axis=1) / weight.sum(axis=1)
    strange = np.abs(says - mean[:, None]) * np.sqrt(weight) / 2.0
    weight /= np.maximum(strange, 1.0)
    total = weight.sum(axis=1)
    mean = (weight * says).sum(axis=1) / total
    scatter = (weight * (says - mean[:, None]) ** 2).sum(axis=1) / total / max(many - 1, 1)
    mean = np.where(np.isfinite(mean) & (mean > 0.5 * plan.low_hz) & (mean < 2 * plan.high_hz), mean, f0)
    return mean, np.sqrt(scatter) / mean * (1200.0 / np.log(2.0))


def _shares(f0: Floats, power: Samples, plan: Plan) -> tuple[Floats, Floats]:
    """Share of the band's power that lies on the harmonics, and of the harmonics' that lies on the odd ones."""
    whole = np.concatenate((np.zeros((len(f0), 1)), np.cumsum(power, axis=1, dtype=np.float64)), axis=1)
    k = np.arange(1, plan.harmonics + 1)
    wide = np.minimum(0.25 * f0, 1.6 / (2 * np.pi * plan.sigma_s))[:, None]
    low = np.clip(np.rint((f0[:, None] * k - wide) / plan.bin_hz).astype(int), 0, plan.bins)
    high = np.clip(np.rint((f0[:, None] * k + wide) / plan.bin_hz).astype(int) + 1, 0, plan.bins)
    row = np.arange(len(f0))[:, None]
    on = whole[row, high] - whole[row, low]
    on[k * f0[:, None] > plan.top_hz] = 0.0
    band = np.arange(len(f0)), np.full(len(f0), min(int(plan.top_hz / plan.bin_hz), plan.bins))
    below = np.clip((0.6 * plan.low_hz / plan.bin_hz), 1, plan.bins)
    total = whole[band] - whole[np.arange(len(f0)), int(below)] + 1e-18
    share = np.clip(on.sum(axis=1) / total, 0.0, 1.0)
    odd = on[:, ::2].sum(axis=1) / (on.sum(axis=1) + 1e-18)
    return share, odd


def _is_heard(found: _Frames, loud_db: Floats) -> NDArray[np.bool_]:
    loud = (found.level_db > DEEPEST_LEVEL_DB) & (found.level_db > loud_db - FADE_DB)
    return np.asarray(loud & (found.share > LEAST_SHARE) & (found.odd_share > 0.02))


def track_pitch(samples: Samples, sample_rate_hz: float, low_hz: float, high_hz: float) -> PitchTrack:
    """The whole take at once: the same frames as fed in blocks."""
    tracker = Tracker(Plan(sample_rate_hz, low_hz, high_hz), frames_at_once=FRAMES_FILE)
    return PitchTrack.joined([tracker.feed(samples), tracker.finish()])
