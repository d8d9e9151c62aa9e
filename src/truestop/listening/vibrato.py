"""Vibrato: turning points that swing to and fro like a hand, told apart from a slide and from a correction.

In a room the tail of one turn lies under the next: some turns grow faint, others part in two, but the period stays. And
a vibrato that sets in late has not made four turns when the verdict is due. Where the turns tell nothing, two cycles of
one sine do: a correction is a step and an unsteady note has no period, so neither looks like one. A note that rests
sways by some cents as the tail dies away, without a period: turns so narrow must have one.

Conventions: turning points come from ``contour.find_turns``; indices are milliseconds. Definitions: docs/measures.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from math import exp, hypot, pi

import numpy as np

from truestop.listening.contour import Cents, Turn
from truestop.listening.frames import overlapping

TURN_MS = (55, 135)
FIRST_TURN_MS = (25, 135)
SWING_RATIO = 3.0
TURNS_SIGMA_MS = 8.0
"""Smoothing of the contour from which turns are read."""
SINE_RATES_HZ = tuple(round(float(hz), 1) for hz in np.arange(4.4, 7.7, 0.2))
SINE_CYCLES, SINE_STEP_MS = 2.0, 5
"""Sines are looked for on means of so many milliseconds."""
NARROW_CENTS = 8.0
"""Turns that swing by less to either side may be a room's."""


@dataclass(frozen=True, slots=True)
class Proof:
    """What a sine must be: its least half swing, and what it explains of the movement about a straight line."""

    cents: float
    explained: float


ALONE = Proof(4.5, 0.86)
"""Without turns; a correction that comes nearest explains 0.84, a room's sway is 4 cents wide at most."""
BESIDE_TURNS = Proof(3.5, 0.7)
"""The same where narrow turns say so too."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sway:
    """A vibrato: its rate and half swing."""

    rate_hz: float
    extent_cents: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Swing(Sway):
    """One that its turns tell: the first of them, and its cycle in ms."""

    start: int
    cycle_ms: float
    first_known: int
    """When the first turn was proven."""
    known: int
    """When the fourth turn was proven."""


def find_vibrato(turns: list[Turn], smoothing_ms: float = 3.0) -> Swing | None:
    """The first run of at least four turning points that swing like a vibrato, or None."""
    for first in range(len(turns) - 3):
        run = _swinging(turns[first:])
        if len(run) >= 4:
            return _swing(run, smoothing_ms)
    return None


def _swinging(turns: list[Turn]) -> list[Turn]:
    """The longest start of ``turns`` whose spacing and swings fit; a turn that belongs to the slide is dropped."""
    run = [turns[0]]
    for before, turn in pairwise(turns):
        shortest, longest = FIRST_TURN_MS if len(run) == 1 else TURN_MS
        if not shortest <= turn.at - before.at <= longest:
            break
        if len(run) >= 2 and not _alike(run[-2], run[-1], turn, first=len(run) == 2):
            break
        run.append(turn)
    if len(run) >= 3 and abs(run[1].cents - run[0].cents) > 2 * abs(run[2].cents - run[1].cents):
        run = run[1:]
    return run


def _alike(one: Turn, two: Turn, three: Turn, *, first: bool) -> bool:
    """Whether the second swing is within the factor of the first; the first of all may belong to the slide."""
    before, after = abs(two.cents - one.cents), abs(three.cents - two.cents)
    return first or before / SWING_RATIO <= after <= before * SWING_RATIO


def _swing(run: list[Turn], smoothing_ms: float) -> Swing:
    points = run[1:] if len(run) > 4 else run
    rate = (len(points) - 1) / (2.0 * (points[-1].at - points[0].at) / 1000.0)
    inner = run[1:]
    swings = [abs(b.cents - a.cents) for a, b in pairwise(inner)]
    extent = 0.5 * float(np.mean(swings)) * _smoothed_away(rate, hypot(TURNS_SIGMA_MS, smoothing_ms))
    cycle = float(run[3].at - run[1].at)
    return Swing(
        start=run[0].at, cycle_ms=cycle, rate_hz=rate, extent_cents=extent, first_known=run[0].known, known=run[3].known
    )


def vibrato_told(swing: Swing | None, cents: Cents, smoothing_ms: float) -> Sway | None:
    """The vibrato of a held note, given what its turns say and its contour from the landing on."""
    if swing is None:
        return find_sine(cents, ALONE, smoothing_ms)
    short = len(cents) < 1000.0 * SINE_CYCLES / swing.rate_hz
    if short or swing.extent_cents >= NARROW_CENTS or find_sine(cents, BESIDE_TURNS, smoothing_ms):
        return swing
    return None


def find_sine(cents: Cents, proof: Proof, smoothing_ms: float) -> Sway | None:
    """The widest sine that two cycles of a contour prove, None where there is none."""
    unheard = np.flatnonzero(~np.isfinite(cents))
    cents = cents[: unheard[0]] if len(unheard) else cents
    if not len(cents) or float(np.ptp(cents)) < 2.0 * proof.cents:
        return None
    steps = cents[: len(cents) // SINE_STEP_MS * SINE_STEP_MS].reshape(-1, SINE_STEP_MS).mean(axis=1)
    steps -= steps.mean()
    extent_cents, rate_hz = max((_widest_sine(steps, rate_hz, proof.explained), rate_hz) for rate_hz in SINE_RATES_HZ)
    if extent_cents < proof.cents:
        return None
    return Sway(rate_hz=rate_hz, extent_cents=extent_cents * _smoothed_away(rate_hz, smoothing_ms))


def _widest_sine(steps: Cents, rate_hz: float, explained: float) -> float:
    """Half swing of the widest sine of this rate that explains so much of its two cycles, 0 where none does."""
    base = _sine_base(rate_hz)
    if len(steps) < len(base):
        return 0.0
    windows = overlapping(steps, len(base))
    power = np.square(windows @ base)
    sine = power[:, 2:].sum(axis=1)
    moving = np.square(windows).sum(axis=1) - power[:, :2].sum(axis=1)
    return float(np.sqrt(2.0 / len(base) * np.where(sine >= explained * moving, sine, 0.0).max()))


@cache
def _sine_base(rate_hz: float) -> Cents:
    """Orthonormal columns over two cycles: a straight line's two, a sine's two."""
    length = round(1000.0 * SINE_CYCLES / rate_hz / SINE_STEP_MS)
    time_s = (np.arange(length) - 0.5 * (length - 1)) * (SINE_STEP_MS / 1000.0)
    turn = 2.0 * pi * rate_hz * time_s
    return np.linalg.qr(np.stack([np.ones(length), time_s, np.cos(turn), np.sin(turn)], axis=1))[0]


def _smoothed_away(rate_hz: float, sigma_ms: float) -> float:
    """How many times wider a swing is than after a Gaussian smoothing."""
    return exp(0.5 * (2.0 * pi * rate_hz * sigma_ms / 1000.0) ** 2)
