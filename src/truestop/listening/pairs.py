"""Two notes at once: a double stop tracked as what it is, told the notes between which both fingers travel.

Every frame is the sum of two harmonic series. Three steps:

1. a comb for every pair of pitches that the two notes may pass through, over the fourth root of the power spectrum,
   gives a first pair;
2. least squares on both series together (Gauss–Newton on the two fundamentals, the amplitudes solved for in every
   step) makes it exact: each note's harmonics are freed of the other's leakage. A harmonic that lies on one of the
   other note tells nothing of either pitch and only takes up its own power;
3. what the fit leaves over gives each note its standard error. It is large where a note does not sound or where its
   harmonics are the other's; then that note is not heard.

Conventions: as in frames.py. The inner product of two signals is weighted by a Gaussian around the frame's middle;
``lower`` and ``upper`` are the two notes in the order of their targets.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product
from math import ceil, log2, pi

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from truestop.listening.frames import Floats, Plan, Samples
from truestop.listening.tracking import (
    DEEPEST_LEVEL_DB,
    FADE_DB,
    Cut,
    Cutter,
    Loudness,
    PitchTrack,
)

FRAMES_LIVE = 3
"""Frames of two notes cost more; fewer at once would cost half as much again."""
GUARD_CENTS = 150.0
"""How far the interval between the two notes may stray from the written ones on the way."""
STEP_CENTS = 25.0
REACH = 3.4
"""Half window in sigmas."""
SIGMA_S = (0.006, 0.012)
GLIDE_SHARE = 0.93
"""Sigma by which a glide is smoothed, by that of the window: 0.88 to 1.0 on synthesised thirds, fourths and sixths."""
APART = 0.35
"""Distance of two harmonics, times sigma, from which both are heard well."""
TOGETHER = 0.22
"""The same, under which they are one."""
FEW, MOST = 3, 9
"""Harmonics of each note in the first and in the later steps."""
STEPS = (FEW, MOST, MOST)
FURTHEST_CENTS = (40.0, 20.0, 10.0)
"""No step goes further than this."""
HIGHER_CENTS, NEARLY, CLEARLY_LESS = 200.0, 0.85, 0.85
"""A pair whose lower note lies so much higher is fitted too where its comb holds so much of the best one's, and taken
where it leaves so much less over."""
RIDGE = 1e-4
MOST_SE_CENTS, MOST_SE_GLIDING_CENTS = 6.0, 30.0
GLIDING_CENTS_PER_S = 300.0
LEAST_EXPLAINED = 0.4
LEAST_PART_DB = -32.0
"""A note whose own harmonics lie this far below the whole sound does not sound."""
SAME_CENTS = 60.0
FRAMES_ALONE = 16
UNSHARED_PRODUCTS = 250_000
"""OpenBLAS keeps a product of up to 4 · 65536 single products on one thread (its interface/gemm.c, from memory)."""
_CLEAR_OF, _TAKEN = 1.6, 0.7
"""Places this many widths of a line away from all harmonics take off this part of what the harmonics add."""
_ENTRIES = 4096
_MOST_CENTS = 1e4
_CENTS_PER_NEPER = 1200.0 / float(np.log(2.0))
Complexes = NDArray[np.complex128]


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """A lower and an upper pitch in Hz."""

    lower_hz: float
    upper_hz: float

    @property
    def cents(self) -> float:
        """The interval between them."""
        return 1200.0 * log2(self.upper_hz / self.lower_hz)


class PairPlan(Plan):
    """Everything that follows from the two double stops and the sampling rate."""

    most_teeth, widest_hz, most_passing = 10, 5600.0, 1.0

    def __init__(self, sample_rate_hz: float, departure: Pair, arrival: Pair) -> None:
        lows, highs = (departure.lower_hz, arrival.lower_hz), (departure.upper_hz, arrival.upper_hz)
        super().__init__(sample_rate_hz, min(lows), max(highs))
        self.sigma_s = self._sigma_s(departure, arrival)
        self.half = ceil(REACH * self.sigma_s * self.rate_hz)
        self.size = scipy.fft.next_fast_len(8 * self.half, real=True)
        self.bin_hz = self.rate_hz / self.size
        self.bins = min(self.size // 2 + 1, ceil(self.top_hz / self.bin_hz) + 4)
        self.time_s = np.arange(-self.half, self.half + 1) / self.rate_hz
        bell = np.exp(-0.5 * (self.time_s / self.sigma_s) ** 2) - np.exp(-0.5 * REACH**2)
        self.bell = np.maximum(bell, 0.0) / np.maximum(bell, 0.0).sum()
        self.pairs_hz = self._candidates(departure, arrival)
        self.combs = self._combs()
        self.table = self._table()

    def _sigma_s(self, departure: Pair, arrival: Pair) -> float:
        """Long enough to tell apart the nearest harmonics that are not the same."""
        gaps = [
            abs(k * pair.lower_hz - m * pair.upper_hz)
            for pair in (departure, arrival)
            for k, m in product(range(1, 5), range(1, 5))
            if abs(1200.0 * log2(k * pair.lower_hz / (m * pair.upper_hz))) > SAME_CENTS
        ]
        return float(np.clip(max(APART / min(gaps), 0.6 / self.low_hz), *SIGMA_S))

    def _candidates(self, departure: Pair, arrival: Pair) -> Floats:
        """Pairs to try, shape (n, 2): every lower pitch with every interval between the written ones."""
        span = 1200.0 * log2(self.high_hz / self.low_hz)
        narrow = min(departure.cents, arrival.cents) - GUARD_CENTS
        wide = max(departure.cents, arrival.cents) + GUARD_CENTS
        lowest = max(departure.lower_hz, arrival.lower_hz) / self.low_hz
        cents = np.arange(0.0, min(span, 1200.0 * log2(lowest) + 350.0) + STEP_CENTS, STEP_CENTS)
        between = np.arange(max(narrow, 60.0), wide + STEP_CENTS, STEP_CENTS)
        low = np.repeat(cents, len(between))
        both = np.stack([low, low + np.tile(between, len(cents))], axis=1)
        return np.asarray(self.low_hz * np.exp2(both / 1200.0))

    def _combs(self) -> Samples:
        """Columns: what one pair adds on its harmonics and takes off between them, each place counted once."""
        combs = np.zeros((self.bins, len(self.pairs_hz)))
        column = np.arange(len(self.pairs_hz))
        for k, voice_hz in product(range(1, MOST + 1), self.pairs_hz.T):
            at = np.clip(k * voice_hz / self.bin_hz, 0, self.bins - 2)
            low, weight = at.astype(int), k**-0.5 * (k * voice_hz < self.top_hz)
            combs[low, column] = np.maximum(combs[low, column], (1 - at + low) * weight)
            combs[low + 1, column] = np.maximum(combs[low + 1, column], (at - low) * weight)
        hz = np.arange(self.bins)[:, None] * self.bin_hz
        nearest = (np.abs(hz / voice_hz - np.rint(hz / voice_hz)) * voice_hz for voice_hz in self.pairs_hz.T)
        between = np.minimum(*nearest) > _CLEAR_OF / (2.0 * pi * self.sigma_s)
        between &= (hz > 0.5 * self.pairs_hz[:, 0]) & (hz < self.top_hz)
        taken = -_TAKEN * combs.sum(axis=0) / np.maximum(between.sum(axis=0), 1)
        return np.where(between, taken, combs).astype(np.float32)

    def _table(self) -> Floats:
        """Rows: the bell's transform, those of t and of t² times the bell; ``_ENTRIES`` to half the rate."""
        hz = np.linspace(0.0, self.rate_hz / 2.0, _ENTRIES)
        turned = np.exp(2j * pi * np.outer(hz, self.time_s))
        return np.stack([(turned @ self.bell).real, (turned @ (self.bell * self.time_s)).imag,
                         (turned @ (self.bell * self.time_s**2)).real])  # fmt: skip

    def overlaps(self, apart_hz: Floats) -> tuple[Floats, Floats, Floats]:
        """Inner products of two waves ``apart_hz`` from one another: Σg, Im Σgt, Σgt² with the turn between them."""
        place = np.minimum(np.abs(apart_hz) * ((_ENTRIES - 1) / (0.5 * self.rate_hz)), _ENTRIES - 1.001)
        at = place.astype(np.intp)
        x = place - at
        plain, slanted, curved = (row[at] + x * (row[at + 1] - row[at]) for row in self.table)
        return plain, np.sign(apart_hz) * slanted, curved


@dataclass(frozen=True, slots=True)
class PairFrames:
    """What every frame was found to be; two columns, lower and upper."""

    f0_hz: Floats
    se_cents: Floats
    heard: NDArray[np.bool_]
    explained: Floats
    level_db: Floats


@dataclass(frozen=True, slots=True)
class _Spectra:
    """Transforms of the weighted frame, its middle at time nought, and of it times t."""

    upright: Complexes
    slanted: Complexes
    energy: Floats

    def rows(self, which: NDArray[np.bool_]) -> _Spectra:
        """Some of the frames."""
        return _Spectra(self.upright[which], self.slanted[which], self.energy[which])


class PairTracker:
    """Feed blocks, get the frames of the lower and of the upper note."""

    def __init__(self, plan: PairPlan, *, frames_at_once: int = FRAMES_LIVE) -> None:
        self.plan = plan
        self._cutter = Cutter(plan, frames_at_once=frames_at_once, beside=1)
        self._loudness = Loudness(plan)

    def feed(self, block: Samples) -> tuple[PitchTrack, PitchTrack]:
        """The frames that ``block`` completes, perhaps none."""
        return self._read(self._cutter.feed(block))

    def finish(self) -> tuple[PitchTrack, PitchTrack]:
        """The last frames, the take followed by silence."""
        return self._read(self._cutter.finish())

    def _read(self, cuts: Iterator[Cut]) -> tuple[PitchTrack, PitchTrack]:
        parts = [self._tracks(cut) for cut in cuts]
        lower, upper = ([part[voice] for part in parts] for voice in (0, 1))
        return PitchTrack.joined(lower), PitchTrack.joined(upper)

    def _tracks(self, cut: Cut) -> tuple[PitchTrack, PitchTrack]:
        found = read_pairs(cut.windows, self.plan)
        loudest_db = self._loudness.feed(found.level_db)
        loud = (found.level_db > DEEPEST_LEVEL_DB) & (found.level_db > loudest_db - FADE_DB)
        lower, upper = (
            PitchTrack(
                times_s=cut.times_s,
                f0_hz=np.where(found.heard[:, voice] & loud, found.f0_hz[:, voice], np.nan),
                se_cents=found.se_cents[:, voice],
                share=found.explained,
                level_db=found.level_db,
                clipped=cut.clipped,
            )
            for voice in (0, 1)
        )
        return lower, upper


def read_pairs(windows: Samples, plan: PairPlan) -> PairFrames:
    """Every row of ``windows``, thinned to the plan's rate, but the first and last, which only lend a slope."""
    spectra = _spectra(windows, plan)
    first, other, doubted = _first_pairs(spectra, plan)
    fit = _fitted(first, spectra, plan)
    if doubted.any():
        fit = fit.with_better(_fitted(other[doubted], spectra.rows(doubted), plan), doubted)
    slope = np.gradient(1200.0 * np.log2(fit.f0_hz), axis=0) / (plan.hop / plan.rate_hz)
    limit = np.where(np.abs(slope) > GLIDING_CENTS_PER_S, MOST_SE_GLIDING_CENTS, MOST_SE_CENTS)
    near = np.abs(fit.moved_cents) < 2.5 * STEP_CENTS
    loud = fit.part_db > LEAST_PART_DB
    heard = (fit.se_cents < limit) & near & loud & (fit.explained > LEAST_EXPLAINED)[:, None]
    level_db = 10.0 * np.log10(2.0 * spectra.energy + 1e-20)
    inner = slice(1, -1)
    return PairFrames(
        fit.f0_hz[inner], np.minimum(fit.se_cents, _MOST_CENTS)[inner], heard[inner], fit.explained[inner],
        level_db[inner],
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Fit:
    """Where the least-squares steps ended: shapes (frames, 2), ``explained`` (frames,)."""

    f0_hz: Floats
    moved_cents: Floats
    """From where they began."""
    se_cents: Floats
    part_db: Floats
    explained: Floats

    def with_better(self, other: _Fit, where: NDArray[np.bool_]) -> _Fit:
        """This fit, and of the frames ``where`` the ``other`` instead where that leaves clearly less over."""
        better = np.flatnonzero(where)[1.0 - other.explained < CLEARLY_LESS * (1.0 - self.explained[where])]
        taken = np.zeros(len(where), bool)
        taken[better] = True
        fields = []
        for mine, theirs in zip(self.arrays, other.arrays, strict=True):
            whole = mine.copy()
            whole[taken] = theirs[taken[where]]
            fields.append(whole)
        return _Fit(*fields)

    @property
    def arrays(self) -> tuple[Floats, ...]:
        """All of it, in order."""
        return self.f0_hz, self.moved_cents, self.se_cents, self.part_db, self.explained


def _fitted(first: Floats, spectra: _Spectra, plan: PairPlan) -> _Fit:
    pitch = first
    for count, furthest in zip(STEPS, FURTHEST_CENTS, strict=True):
        step = _Step(pitch, spectra, plan, count)
        pitch = pitch * (1.0 + np.clip(step.moved, -furthest / _CENTS_PER_NEPER, furthest / _CENTS_PER_NEPER))
    last = _Step(pitch, spectra, plan, MOST)
    return _Fit(pitch, 1200.0 * np.log2(pitch / first), last.se_cents, last.part_db, last.explained)


def _spectra(windows: Samples, plan: PairPlan) -> _Spectra:
    x = windows.astype(np.float64)
    weighted = x * plan.bell
    rotated = np.zeros((len(x), plan.size))

    def transform(rows: Floats) -> Complexes:
        rotated[:] = 0.0
        rotated[:, : plan.half + 1] = rows[:, plan.half :]
        rotated[:, -plan.half :] = rows[:, : plan.half]
        return np.asarray(scipy.fft.rfft(rotated, axis=1)[:, : plan.bins])

    return _Spectra(transform(weighted), transform(weighted * plan.time_s), np.einsum("ij,ij->i", x, weighted))


def _first_pairs(spectra: _Spectra, plan: PairPlan) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """The best pair of every frame, the best with a higher lower note, and where that is nearly as good.

    Where lines are wide, harmonics that are not there count as well: a fifth may look like the fourth below it, whose
    lower note is half the upper one. Only a fit can tell. The mistake is always downwards.
    """
    root = np.sqrt(np.abs(spectra.upright)).astype(np.float32)
    scores = _weighed(root, plan.combs)
    best = scores.argmax(axis=1)
    low_cents = 1200.0 * np.log2(plan.pairs_hz[:, 0])
    higher = low_cents - low_cents[best][:, None] > HIGHER_CENTS
    others = np.where(higher, scores, -np.inf)
    other = others.argmax(axis=1)
    frames = np.arange(len(scores))
    return plan.pairs_hz[best], plan.pairs_hz[other], others[frames, other] > NEARLY * scores[frames, best]


def _weighed(root: Samples, combs: Samples) -> Samples:
    """``root @ combs``; of few frames in parts so small that no library shares them out among threads.

    Threads that wait for one another cost a live listener more than the product itself, and on a machine that is busy
    with other things each waits for its turn.
    """
    if len(root) > FRAMES_ALONE:
        return root @ combs
    width = max(1, UNSHARED_PRODUCTS // root.size)
    return np.concatenate([root @ combs[:, a : a + width] for a in range(0, combs.shape[1], width)], axis=1)


class _Step:
    """One least-squares step from ``pitch``, shape (frames, 2): amplitudes, where the pitches should go, and errors."""

    def __init__(self, pitch: Floats, spectra: _Spectra, plan: PairPlan, count: int) -> None:
        k = np.arange(1, count + 1, dtype=np.float64)
        number = np.concatenate([k, k])
        whose = np.repeat([0, 1], count)
        hz = pitch[:, whose] * number
        inside = hz < plan.top_hz
        apart = hz[:, None, :] - hz[:, :, None]
        plain, slanted, curved = plan.overlaps(apart)
        both = inside[:, None, :] & inside[:, :, None]
        plain, slanted, curved = plain * both, slanted * both, curved * both
        other = whose[None, :] != whose[:, None]
        shared = ((np.abs(apart) < TOGETHER / plan.sigma_s) & other & both).any(axis=2)
        gram = plain + np.eye(2 * count) * np.where(inside, RIDGE, 1.0)[:, :, None]
        upright, across = _read(spectra, hz, plan)
        upright, across = upright * inside, across * inside
        free = np.linalg.inv(gram)
        a = (free @ upright[:, :, None])[:, :, 0]
        # Columns of the derivative by each pitch: j 2π k a t on its own harmonics.
        tells = (inside & ~shared)[:, :, None] & (whose[:, None] == np.arange(2))
        lean = (2j * pi * number[None, :, None] * a[:, :, None]) * tells
        rest = across - 1j * (slanted @ a[:, :, None])[:, :, 0]
        leaning = 1j * (slanted @ lean)
        back = lean.conj().transpose(0, 2, 1)
        pull = (back @ rest[:, :, None])[:, :, 0].real
        stiff = (back @ (curved @ lean)).real
        stiff -= (leaning.conj().transpose(0, 2, 1) @ (free @ leaning)).real
        scale = np.einsum("nvv->nv", stiff)
        stiff = stiff + np.eye(2) * (1e-6 * scale.max(axis=1)[:, None] + 1e-30)[:, :, None]
        self.moved = np.linalg.solve(stiff, pull[:, :, None])[:, :, 0] / pitch
        power = np.einsum("np,np->n", a.conj(), upright).real * 2.0
        self.explained = np.clip(power / (spectra.energy + 1e-30), 0.0, 1.0)
        left = np.maximum(spectra.energy - power, 1e-12 * spectra.energy)
        # Weighted by g and not by the noise: Σg²t² is half of Σg² times Σgt²; two more halves from real waves.
        noise = 0.25 * left * float((plan.bell**2).sum())
        variance = np.einsum("nvv->nv", np.linalg.inv(stiff)) * noise[:, None]
        self.se_cents = np.sqrt(np.maximum(variance, 0.0)) / pitch * _CENTS_PER_NEPER
        own = np.einsum("np,npv->nv", np.abs(a) ** 2, tells.astype(float))
        self.part_db = 10.0 * np.log10(2.0 * own / (spectra.energy[:, None] + 1e-30) + 1e-12)


def _read(spectra: _Spectra, hz: Floats, plan: PairPlan) -> tuple[Complexes, Complexes]:
    """Both transforms at any frequencies: Hermite between bins for the first, whose slope the second is; Lagrange."""
    place = np.minimum(hz / plan.bin_hz, plan.bins - 3.0)
    at = np.maximum(place.astype(int), 1)
    x = place - at
    rows = np.arange(len(hz))[:, None]
    up, across = spectra.upright, spectra.slanted
    a, b = up[rows, at], up[rows, at + 1]
    turn = -2j * pi * plan.bin_hz
    da, db = turn * across[rows, at], turn * across[rows, at + 1]
    square, cube = x * x, x * x * x
    blend = 3 * square - 2 * cube
    upright = a + (b - a) * blend + (cube - 2 * square + x) * da + (cube - square) * db
    before, here, after, last = (across[rows, at + i] for i in (-1, 0, 1, 2))
    slanted = (
        before * (-x * (x - 1) * (x - 2) / 6)
        + here * ((x + 1) * (x - 1) * (x - 2) / 2)
        + after * (-(x + 1) * x * (x - 2) / 2)
        + last * ((x + 1) * x * (x - 1) / 6)
    )
    return upright, slanted
