"""Fits two sources to the powers of a note's harmonics, whose distance rests, wanders or swings.

Two sources d(t) apart beat at k d(t) at harmonic k: cosines of k times one phase. The phase is searched on a grid, from
sources at rest or with a vibrato between them, and from the best of them by Gauss–Newton on a straight line and slow
cosines, the low harmonics leading the high ones. Two vibratos of different rates differ, for the half second of a
landing, by nearly one vibrato: the grid needs one rate only.

Conventions: powers are relative to a harmonic's own mean and freed of a straight line; seconds from the middle.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from truestop.listening.frames import Floats

Complexes = NDArray[np.complex128]

FURTHEST_CENTS, STEP_CENTS = 62.0, 1.0
FEW, WANDER_RIDGE = 3, 0.02
"""Harmonics that are also searched alone for sources at rest; stiffness of the wandering phase."""
STEADY_WAVES, STEADY_LADDER, STEADY_STEPS = 8, (2, 4, 8, 16), 3
"""Cosines that the phase wanders by; how many harmonics each round of steps looks at; steps a round."""
SWINGING_WAVES, SWINGING_LADDER, SWINGING_STEPS = 12, (1, 2, 3, 4, 6, 8, 11, 16), 4
SWINGS_HZ, WIDEST_SWING_CENTS = (4.6, 5.0, 5.4, 5.8, 6.2, 6.6), 40.0
"""Vibratos between the sources that are tried; half the widest swing."""
GRID_STEP_RAD = 1.2
"""Phases nearer than this at the highest leading harmonic lead to the same end."""
LEADING_HZ, MOST_LEADING = 600.0, 6
"""Harmonics up to here, at least one and at most so many, are searched for a swinging distance."""
LEADING_SHORT = 0.1
"""So much less of the leading harmonics than of all may be explained."""
STARTS, KEPT_STARTS = 10, 3
"""Starts that are fitted to the leading harmonics, and those of them that are fitted to all."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Swinging:
    """How the powers of a note's harmonics swing: one row for each harmonic number in ``k``."""

    powers: Floats
    line: Floats
    """An orthonormal base of the straight lines that were taken out; two rows."""
    k: NDArray[np.int_]
    moment_s: Floats
    hz: float
    fastest_hz: float
    """Beats faster than this are not seen."""

    @property
    def hz_a_cent(self) -> float:
        """Width of a cent at the fundamental."""
        return self.hz * float(np.log(2.0)) / 1200.0

    @property
    def leading(self) -> int:
        """The highest harmonic by which a swinging distance is searched."""
        return max(1, min(round(LEADING_HZ / self.hz), MOST_LEADING), int(self.k.min()))


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """Two sources."""

    explained: float
    """Power of the swinging that their beats explain."""
    cents: float
    """Their distance, root mean square."""


def fit_steady(note: Swinging) -> Fit:
    """The best fit from two sources at rest, by all harmonics or by few."""
    waves = _waves(note, STEADY_WAVES)
    return _best(note, waves, _steps(note, waves, _steady_starts(note), STEADY_LADDER, STEADY_STEPS))


def fit_swinging(note: Swinging, needed: float = 0.0) -> Fit:
    """The best fit from two sources with a vibrato between them.

    It is not taken further where it is clear from the leading harmonics that it will not explain the part ``needed``.
    """
    waves, leading = _waves(note, SWINGING_WAVES), note.leading
    first = tuple(most for most in SWINGING_LADDER if leading / 2 < most <= leading)
    then = tuple(most for most in SWINGING_LADDER if most > leading)
    starts = _steps(note, waves, _as_weights(waves, _phases(note)), first, SWINGING_STEPS)
    explained = _explained(note, waves, starts, leading)
    if explained.max() < (needed - LEADING_SHORT) * np.square(note.powers[note.k <= leading]).sum():
        return _best(note, waves, starts)
    kept = starts[np.argsort(-explained, kind="stable")[:KEPT_STARTS]]
    return _best(note, waves, _steps(note, waves, kept, then, SWINGING_STEPS))


def _waves(note: Swinging, count: int) -> Floats:
    place = (note.moment_s - note.moment_s[0]) / (note.moment_s[-1] - note.moment_s[0])
    return np.stack([note.moment_s * (2.0 * np.pi), *(np.cos(np.pi * j * place) for j in range(1, count + 1))])


def _steady_starts(note: Swinging) -> Floats:
    apart = np.arange(2.0, FURTHEST_CENTS, STEP_CENTS)
    rate_hz = note.hz * (np.exp2(apart / 1200.0) - 1.0)[:, None]
    first = np.exp(2j * np.pi * rate_hz * note.moment_s)[:, None, :]
    turns = np.multiply.accumulate(np.repeat(first, int(note.k.max()), axis=1), axis=1)[:, note.k - 1]
    by_harmonic = np.where(rate_hz * note.k <= note.fastest_hz, fitted(note.powers, note.line, turns), 0.0)
    by_few = np.where(note.k <= FEW, by_harmonic, 0.0)
    best = {int(one.sum(axis=1).argmax()) for one in (by_harmonic, by_few)}
    weights = np.zeros((len(best), STEADY_WAVES + 1))
    weights[:, 0] = note.hz * (np.exp2(apart[sorted(best)] / 1200.0) - 1.0)
    return weights


def _phases(note: Swinging) -> Floats:
    """The best swinging phases of the grid, no two of them alike; of each vibrato the best mean distance."""
    moment_s, most = note.moment_s, note.leading
    swings = _swings(note.hz_a_cent, GRID_STEP_RAD / most)
    phases = swings[:, :1] * np.sin(2.0 * np.pi * swings[:, 1:2] * moment_s + swings[:, 2:])
    size = 1 << (4 * len(moment_s) - 1).bit_length()
    mean_step_hz = 1.0 / (size * float(moment_s[1] - moment_s[0]))
    means = np.arange(min(int(FURTHEST_CENTS * note.hz_a_cent / mean_step_hz) + 1, size // (2 * most)))
    turned_back = np.exp(-1j * phases).astype(np.complex64)
    fit = np.zeros((len(swings), len(means)))
    for harmonic, row in zip(note.k, note.powers, strict=True):
        if harmonic <= most:
            lines = scipy.fft.fft(turned_back**harmonic * row.astype(np.float32), size, axis=1)
            fit += np.square(np.abs(lines[:, means * harmonic]))
    starts: list[Floats] = []
    for at in np.argsort(-fit.max(axis=1), kind="stable")[: 6 * STARTS]:
        phase = phases[at] + 2.0 * np.pi * mean_step_hz * float(fit[at].argmax()) * moment_s
        if all(np.ptp(phase - other) > 2.0 * GRID_STEP_RAD / most for other in starts):
            starts.append(phase)
    return np.array(starts[:STARTS])


def _swings(hz_a_cent: float, step_rad: float) -> Floats:
    """Depth in radians, rate in Hz and phase of vibratos no further than ``step_rad`` apart; the first is none."""
    rows = [(0.0, SWINGS_HZ[0], 0.0)]
    for rate_hz in SWINGS_HZ:
        widest = max(WIDEST_SWING_CENTS * hz_a_cent / rate_hz, step_rad)
        for depth in np.arange(step_rad, widest + 1e-9, step_rad):
            count = max(6, int(np.ceil(2.0 * np.pi * depth / step_rad)))
            rows += [(float(depth), rate_hz, 2.0 * np.pi * i / count) for i in range(count)]
    return np.array(rows)


def _as_weights(waves: Floats, phases: Floats) -> Floats:
    """Weights of the waves that come nearest to each of ``phases``; a constant phase means nothing."""
    small = 1e-3 * np.diag(np.arange(len(waves)))
    wanted = np.concatenate([(phases - phases.mean(axis=1, keepdims=True)).T, np.zeros((len(waves), len(phases)))])
    return np.asarray(np.linalg.lstsq(np.concatenate([waves.T, small]), wanted, rcond=None)[0].T, dtype=np.float64)


def _steps(note: Swinging, waves: Floats, weights: Floats, ladder: tuple[int, ...], steps: int) -> Floats:
    """Gauss–Newton on the weights of the phase, one row a start; amplitudes are solved for each time."""
    ridge = np.array([0.0, *(WANDER_RIDGE * np.arange(1, len(waves)) ** 2)])
    diagonal = np.arange(len(waves))
    for most in ladder:
        used = note.k <= max(most, int(note.k.min()))
        for _ in range(steps):
            _, rest, slope = _phased(note.powers[used], note.line, note.k[used], weights @ waves)
            stiff = (waves * np.square(slope).sum(axis=1)[:, None, :]) @ waves.T
            pull = (slope * rest).sum(axis=1) @ waves.T - ridge * weights
            stiff[:, diagonal, diagonal] = stiff[:, diagonal, diagonal] * 1.001 + ridge
            weights = weights + np.linalg.solve(stiff, pull[:, :, None])[:, :, 0]
    return weights


def _best(note: Swinging, waves: Floats, found: Floats) -> Fit:
    explained = _explained(note, waves, found)
    at = int(explained.argmax())
    rate_hz = np.gradient(found[at] @ waves, note.moment_s) / (2.0 * np.pi)
    cents = 1200.0 * float(np.log2(1.0 + np.sqrt(np.mean(rate_hz * rate_hz)) / note.hz))
    return Fit(explained=float(explained[at]), cents=cents)


def _explained(note: Swinging, waves: Floats, weights: Floats, most: int = STEADY_LADDER[-1]) -> Floats:
    """Power that the beats of each row explain in the harmonics where they are slow enough to be seen."""
    by_harmonic = _phased(note.powers, note.line, note.k, weights @ waves)[0]
    seen = (note.k <= most) & (note.k * np.abs(weights[:, :1]) <= note.fastest_hz)
    return np.asarray((by_harmonic * seen).sum(axis=1), dtype=np.float64)


def _phased(swing: Floats, line: Floats, k: NDArray[np.int_], phases: Floats) -> tuple[Floats, Floats, Floats]:
    """Power that beats of these phases explain in each harmonic, what they leave, and how it changes with the phase.

    One row of ``phases`` a start; shapes (starts, harmonics) and twice (starts, harmonics, moments).
    """
    turn = np.exp(1j * k[:, None] * phases[:, None, :])
    one, other = turn.real, turn.imag
    across = one - (one @ line.T) @ line, other - (other @ line.T) @ line
    a, b, c = ((across[i] * across[j]).sum(axis=2) for i, j in ((0, 0), (0, 1), (1, 1)))
    p, q = (across[0] * swing).sum(axis=2), (across[1] * swing).sum(axis=2)
    size = np.maximum(a * c - b * b, 1e-9 * np.square(a + c) + 1e-30)
    x, y = (c * p - b * q) / size, (a * q - b * p) / size
    rest = swing - x[:, :, None] * across[0] - y[:, :, None] * across[1]
    return x * p + y * q, rest, k[:, None] * (y[:, :, None] * one - x[:, :, None] * other)


def fitted(swing: Floats, line: Floats, turns: Complexes) -> Floats:
    """Power of ``swing`` that a wave takes up beside the straight line, for every wave and harmonic.

    ``turns``: exp(iωt), shape (waves, harmonics or 1, moments).
    """
    one, other = turns.real - (turns.real @ line.T) @ line, turns.imag - (turns.imag @ line.T) @ line
    a, b, c = (one * one).sum(axis=2), (one * other).sum(axis=2), (other * other).sum(axis=2)
    p, q = (one * swing).sum(axis=2), (other * swing).sum(axis=2)
    size = a * c - b * b
    power = (c * p * p - 2.0 * b * p * q + a * q * q) / np.maximum(size, 1e-300)
    return np.where(size > 1e-6 * np.square(a + c), power, 0.0)


__all__ = ["Fit", "Swinging", "fit_steady", "fit_swinging", "fitted"]
