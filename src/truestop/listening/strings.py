"""Tuning up: the player's open strings to half a cent, and the drift of the reference through a session.

A steady stretch is measured by non-linear least squares: the harmonic model (unknown amplitudes and phases, one
fundamental) that leaves the least power. In white noise that is the best any unbiased estimator can do (the Cramér–Rao
bound: var ω ≥ 24 σ² / (N (N² − 1) Σ k² A_k²) for amplitudes A_k; see Christensen & Jakobsson, Multi-Pitch Estimation,
2009).

Conventions: times in seconds from the start of the take; cents above a string's expected pitch; + is sharp. Strings are
numbered from the highest, I = 1.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, isfinite, pi, sqrt

import numpy as np
import soxr
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Samples = NDArray[np.float32] | NDArray[np.float64]

MOST_HARMONICS, HIGHEST_HARMONIC_HZ = 20, 9000.0
SEARCH_CENTS = 90.0
"""A string further off than this is not taken for that string."""
FRAME_S = 0.2
SHORTEST_S = 0.5
"""A string must sound alone and steady for so long."""
STEADY_CENTS = 6.0
"""Frames of one string further apart than this do not belong to one steady stretch."""
EXPLAINED = 0.8
"""Least share of a frame's power that the harmonics of one string must hold."""
FULL = 0.01
"""Least ``SteadyPitch.fullness`` of a bowed string."""
QUIET_DB = -50.0
LEAST_SE_CENTS = 0.05
ENOUGH_RATE_HZ = 12000.0
"""Tune-ups are thinned to about this rate: the harmonics that decide lie below half of it."""
_AUDIBLE = 12.0
"""Power of a harmonic worth fitting, in medians of the spectrum."""
_CENTS_PER_NEPER = 1200.0 / float(np.log(2.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class SteadyPitch:
    """The fundamental of a steady stretch, with its standard error from what the harmonics leave over."""

    hz: float
    se_cents: float
    explained: float
    """Share of the stretch's power that lies on the harmonics, 0…1."""
    fullness: float
    """Least share of that power beside the strongest harmonic, the even ones, or every third: next to nothing for a
    pure tone, and for a note an octave or a twelfth higher."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HeardString:
    """An open string that was heard alone and steady."""

    string: int
    hz: float
    cents: float
    """Above the pitch it should have."""
    se_cents: float
    """From the scatter of its frames and their own errors."""
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Drift:
    """How the reference moved between the first reading and the last. ``noticed`` is whether to tell the player."""

    cents: float
    se_cents: float
    over_s: float
    noticed: bool


def measure_steady(
    samples: Samples, sample_rate_hz: float, near_hz: float, *, search_cents: float = SEARCH_CENTS
) -> SteadyPitch | None:
    """The fundamental within ``search_cents`` of ``near_hz`` over all of ``samples``; None in silence or too short a
    stretch (under four periods). Meant for stretches of 50 ms to a second whose pitch does not move."""
    x = np.asarray(samples, dtype=np.float64)
    count = _harmonic_count(sample_rate_hz, near_hz * 2.0 ** (search_cents / 1200.0))
    if len(x) < 4.0 * sample_rate_hz / near_hz or count < 1 or not float(np.var(x)) > 0.0:
        return None
    hz, harmonics = _scan(x, sample_rate_hz, near_hz, search_cents, count)
    fit = _refine(x, sample_rate_hz, hz, harmonics)
    return SteadyPitch(
        hz=fit.hz, se_cents=_bound_cents(fit, len(x), sample_rate_hz), explained=fit.explained, fullness=_fullness(fit)
    )


def _fullness(fit: _Fit) -> float:
    """See ``SteadyPitch``."""
    k, whole = fit.harmonics, max(float(fit.power.sum()), 1e-30)
    beside = (k != k[int(fit.power.argmax())], k % 2 != 0, k % 3 != 0)
    return min(float(fit.power[one].sum()) for one in beside) / whole


@dataclass(frozen=True, slots=True)
class _Fit:
    hz: float
    harmonics: NDArray[np.int_]
    power: Floats
    """A² of every harmonic."""
    noise: float
    """Residual variance a sample."""
    explained: float


def _harmonic_count(sample_rate_hz: float, hz: float) -> int:
    return int(min(MOST_HARMONICS, 0.45 * sample_rate_hz / hz, HIGHEST_HARMONIC_HZ / hz))


def _scan(x: Floats, rate_hz: float, near_hz: float, search_cents: float, count: int) -> tuple[float, NDArray[np.int_]]:
    """The best of a fine grid of fundamentals by the power on their harmonics, and those harmonics that can be heard.

    A harmonic in the noise would only add it; at least the strongest stays.
    """
    size = 1 << ceil(np.log2(8 * len(x)))
    power = np.abs(np.fft.rfft((x - x.mean()) * np.hanning(len(x)), size)) ** 2
    width_cents = _CENTS_PER_NEPER * rate_hz / len(x) / (near_hz * count)
    steps = int(2.0 * search_cents / max(0.25 * width_cents, 0.25)) + 1
    grid = near_hz * 2.0 ** (np.linspace(-search_cents, search_cents, steps | 1) / 1200.0)
    at = np.outer(grid, np.arange(1, count + 1)) * size / rate_hz
    below = at.astype(int)
    part = at - below
    on_harmonics = (1.0 - part) * power[below] + part * power[below + 1]
    best = int(on_harmonics.sum(axis=1).argmax())
    strength = on_harmonics[best]
    audible = strength >= min(_AUDIBLE * float(np.median(power)), float(strength.max()))
    return float(grid[best]), np.flatnonzero(audible) + 1


def _refine(x: Floats, rate_hz: float, hz: float, harmonics: NDArray[np.int_]) -> _Fit:
    """Gauss–Newton on the harmonic model: amplitudes and offset solved exactly, the fundamental stepped."""
    t: Floats = (np.arange(len(x), dtype=np.float64) - 0.5 * (len(x) - 1)) / rate_hz
    k = len(harmonics)
    weights: Floats = np.zeros(2 * k + 1)
    rest: Floats = x
    for _ in range(8):
        model = _model(t, hz, harmonics)
        gram = model.T @ model + 1e-9 * len(x) * np.eye(2 * k + 1)
        weights = np.asarray(np.linalg.solve(gram, model.T @ x), dtype=np.float64)
        rest = x - model @ weights
        slope = 2.0 * pi * t * (model[:, :k] @ (harmonics * weights[k:-1]) - model[:, k:-1] @ (harmonics * weights[:k]))
        slope -= model @ np.linalg.solve(gram, model.T @ slope)
        size = float(slope @ slope)
        step = float(slope @ rest) / size if size > 0.0 else 0.0
        hz += float(np.clip(step, -0.01 * hz, 0.01 * hz))
        if abs(step) < 1e-7 * hz:
            break
    left = float(rest @ rest)
    noise = left / max(len(x) - 2 * k - 2, 1)
    power = np.asarray(weights[:k] ** 2 + weights[k:-1] ** 2, dtype=np.float64)
    return _Fit(hz, harmonics, power, noise, 1.0 - left / (len(x) * float(np.var(x))))


def _model(t: Floats, hz: float, harmonics: NDArray[np.int_]) -> Floats:
    """Columns: cosines, sines, and a constant."""
    turn = np.exp(2j * pi * hz * t)
    power = np.ones_like(turn)
    waves = np.empty((len(t), len(harmonics)), dtype=np.complex128)
    column = 0
    for k in range(1, int(harmonics[-1]) + 1):
        power = power * turn
        if harmonics[column] == k:
            waves[:, column] = power
            column += 1
    return np.hstack([waves.real, waves.imag, np.ones((len(t), 1))])


def _bound_cents(fit: _Fit, n: int, rate_hz: float) -> float:
    """The Cramér–Rao bound with the fitted amplitudes and noise, in cents."""
    stiff = float(np.sum(fit.harmonics**2 * fit.power))
    if stiff <= 0.0:
        return float("inf")
    variance = 24.0 * fit.noise / (n * (float(n) ** 2 - 1.0) * stiff)
    return _CENTS_PER_NEPER * sqrt(variance) * rate_hz / (2.0 * pi * fit.hz)


def measure_open_strings(
    samples: Samples, sample_rate_hz: float, open_strings_hz: Sequence[float]
) -> tuple[HeardString, ...]:
    """Every steady stretch of at least half a second in which one open string sounds alone, in order of time.

    ``open_strings_hz`` are the strings as they should be, I first; a string may be up to 90 cents off. Stretches with
    two strings, with vibrato, of a pure tone or with anything else are passed over. A stopped note at a string's pitch
    is taken for it: ``melody.other_notes_s`` says whether a take is of such notes.
    """
    samples, sample_rate_hz = _thinned(samples, sample_rate_hz)
    frames = _frames(samples, sample_rate_hz, open_strings_hz)
    return tuple(heard for run in _steady_runs(frames) if (heard := _as_heard(run, open_strings_hz)) is not None)


def _thinned(samples: Samples, rate_hz: float) -> tuple[Samples, float]:
    whole = np.nan_to_num(np.asarray(samples, dtype=np.float32), posinf=0.0, neginf=0.0)
    if rate_hz < 1.5 * ENOUGH_RATE_HZ:
        return whole, rate_hz
    return soxr.resample(whole, rate_hz, ENOUGH_RATE_HZ), ENOUGH_RATE_HZ


def tuned_strings(heard: Sequence[HeardString], count: int) -> tuple[float | None, ...]:
    """The strings as last measured, I first; None for one that was not heard. A system of target pitches takes this."""
    latest = {reading.string: reading.hz for reading in heard}
    return tuple(latest.get(number) for number in range(1, count + 1))


@dataclass(frozen=True, slots=True)
class _Frame:
    at_s: float
    string: int
    pitch: SteadyPitch
    cents: float


def _frames(samples: Samples, rate_hz: float, open_strings_hz: Sequence[float]) -> list[_Frame | None]:
    """Half-overlapping frames, each with the string that explains it, or None."""
    n, hop = round(FRAME_S * rate_hz), round(0.5 * FRAME_S * rate_hz)
    floor = 10.0 ** (QUIET_DB / 20.0)
    frames: list[_Frame | None] = []
    for begin in range(0, len(samples) - n + 1, hop):
        x = np.nan_to_num(np.asarray(samples[begin : begin + n], dtype=np.float64))
        loud = float(np.sqrt(np.mean(x * x))) > floor
        frames.append(_which_string(x, begin / rate_hz, rate_hz, open_strings_hz) if loud else None)
    return frames


def _which_string(x: Floats, at_s: float, rate_hz: float, open_strings_hz: Sequence[float]) -> _Frame | None:
    """The highest string whose harmonics hold nearly as much as the best one's: a string an octave and a fifth lower
    would hold every harmonic of a higher one."""
    found: list[_Frame] = []
    for number, hz in enumerate(open_strings_hz, 1):
        if _on_harmonics(x, rate_hz, hz) < 0.6:
            continue
        pitch = measure_steady(x, rate_hz, hz)
        if pitch is not None and pitch.explained > EXPLAINED and pitch.fullness > FULL:
            found.append(_Frame(at_s, number, pitch, _CENTS_PER_NEPER * float(np.log(pitch.hz / hz))))
    if not found:
        return None
    best = max(frame.pitch.explained for frame in found)
    near = [frame for frame in found if frame.pitch.explained > best - 0.06 and abs(frame.cents) < SEARCH_CENTS - 1.0]
    return max(near, key=lambda frame: frame.pitch.hz, default=None)


def _on_harmonics(x: Floats, rate_hz: float, hz: float) -> float:
    """A quick look: the largest share of the power within a few bins of the harmonics of any pitch near ``hz``."""
    power = np.abs(np.fft.rfft(x * np.hanning(len(x)))) ** 2
    count = max(_harmonic_count(rate_hz, hz * 1.06), 1)
    grid = hz * 2.0 ** (np.linspace(-SEARCH_CENTS, SEARCH_CENTS, 61) / 1200.0)
    at = np.rint(np.outer(grid, np.arange(1, count + 1)) * len(x) / rate_hz).astype(int)
    near = sum(power[np.clip(at + shift, 0, len(power) - 1)] for shift in (-1, 0, 1))
    total = float(power.sum())
    return float(np.sum(near, axis=1).max()) / total if total > 0.0 else 0.0


def _steady_runs(frames: Sequence[_Frame | None]) -> list[list[_Frame]]:
    """Runs of one string whose frames stay together; the first and last frame, with bow attack and end, are dropped."""
    runs: list[list[_Frame]] = []
    run: list[_Frame] = []
    for frame in [*frames, None]:
        joins = frame is not None and (not run or _belongs(frame, run))
        if joins and frame is not None:
            run.append(frame)
            continue
        runs.append(run)
        run = [frame] if frame is not None else []
    least = ceil(SHORTEST_S / (0.5 * FRAME_S)) - 1
    return [run[1:-1] for run in runs if len(run) >= max(least, 4)]


def _belongs(frame: _Frame, run: Sequence[_Frame]) -> bool:
    return frame.string == run[0].string and abs(frame.cents - run[-1].cents) < STEADY_CENTS


def _as_heard(run: Sequence[_Frame], open_strings_hz: Sequence[float]) -> HeardString | None:
    """The mean of a run without its stray frames, with the error that their scatter and their own errors give."""
    cents = np.array([frame.cents for frame in run])
    middle = float(np.median(cents))
    near = np.abs(cents - middle) <= max(3.0 * 1.4826 * float(np.median(np.abs(cents - middle))), 0.3)
    value = float(np.mean(cents[near]))
    scatter = float(np.std(cents[near])) / sqrt(max(int(near.sum()) / 2.0, 1.0))
    own = float(np.median([frame.pitch.se_cents for frame in run])) / sqrt(len(run) / 2.0)
    hz = open_strings_hz[run[0].string - 1] * 2.0 ** (value / 1200.0)
    if not isfinite(hz):
        return None
    se_cents = max(float(np.hypot(scatter, own)), LEAST_SE_CENTS)
    return HeardString(string=run[0].string, hz=hz, cents=value, se_cents=se_cents, start_s=run[0].at_s,
                       end_s=run[-1].at_s + FRAME_S)  # fmt: skip


def measure_drift(readings: Sequence[HeardString], *, least_cents: float = 3.0) -> Drift | None:
    """The common drift of all strings over a session; None from fewer than two readings of any string.

    ``readings`` carry session times in ``start_s``. Each string may have its own pitch; what they share is a straight
    line in time. It is noticed when it exceeds both ``least_cents`` and two standard errors.
    """
    strings = sorted({reading.string for reading in readings})
    repeated = [number for number in strings if sum(reading.string == number for reading in readings) >= 2]
    used = [reading for reading in readings if reading.string in repeated]
    if not used:
        return None
    times = np.array([reading.start_s for reading in used])
    span = float(times.max() - times.min())
    if span <= 0.0:
        return None
    columns = [np.array([reading.string == number for reading in used], dtype=float) for number in repeated]
    design = np.stack([(times - times.min()) / span, *columns], axis=1)
    weight = 1.0 / np.array([max(reading.se_cents, 0.3) for reading in used])
    cents = np.array([reading.cents for reading in used])
    gram = (design * weight[:, None]).T @ (design * weight[:, None])
    covariance = np.linalg.pinv(gram)
    line = covariance @ ((design * weight[:, None]).T @ (cents * weight))
    free = len(used) - design.shape[1]
    spread = float(np.sum(((cents - design @ line) * weight) ** 2)) / free if free > 0 else 1.0
    se = sqrt(float(covariance[0, 0]) * max(spread, 1.0))
    moved = float(line[0])
    return Drift(cents=moved, se_cents=se, over_s=span, noticed=abs(moved) >= least_cents and abs(moved) > 2.0 * se)
