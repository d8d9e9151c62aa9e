"""A held note's sound turned back along its pitch, so that each of its harmonics stands still.

The powers of the harmonics tell whether a second source beats with them (beating.py), those of the places half-way
between whether another note sounds along (accompanying.py).

Conventions: Hz, seconds from the start of the take.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import dataclass, field
from typing import TypeVar, cast

import numpy as np
import soxr
from numpy.typing import NDArray

from truestop.listening.contour import Cents, median
from truestop.listening.frames import Floats, Samples
from truestop.listening.lately import Lately

Turning = NDArray[np.complex64]
Answer = TypeVar("Answer")

MOST_HARMONICS, HIGHEST_HZ = 16, 8000.0
LEAST_HARMONICS = 3
WINDOW_PERIODS = 4.0
"""Length of the window that tells a harmonic from the places half-way to its neighbours: they lie in its nulls."""
HOPS_A_WINDOW = 4
LEAST_HEARD = 0.6
LEAST_ROOM = 8192


class Kept:
    """The sound of the last seconds of a take that comes in blocks of any size, and what was last found in it."""

    def __init__(self, sample_rate_hz: float) -> None:
        self.sample_rate_hz = sample_rate_hz
        self._samples = Lately(np.float32, LEAST_ROOM)
        self._found: dict[str, tuple[Hashable, object]] = {}

    def recall(self, name: str, question: Hashable, find: Callable[[], Answer]) -> Answer:
        """The answer to ``question``, found before if it was the last one of this name: what a landing was told by is
        asked again, the same, for its second hearing and for the verdict. All that the answer depends on must be in
        the question, and a name belongs to one kind of answer."""
        if name not in self._found or self._found[name][0] != question:
            self._found[name] = question, find()
        return cast("Answer", self._found[name][1])

    def add(self, block: Samples) -> None:
        """The next block."""
        self._samples.add(block)

    def forget(self, before_s: float) -> None:
        """Drop what lies before."""
        self._samples.forget(int(before_s * self.sample_rate_hz))

    def cut(self, start_s: float, end_s: float) -> tuple[float, Samples]:
        """The samples between two moments as far as they are kept, and the moment of the first."""
        first = max(round(start_s * self.sample_rate_hz), self._samples.start)
        return first / self.sample_rate_hz, self._samples.cut(first, round(end_s * self.sample_rate_hz))


@dataclass(frozen=True, slots=True, kw_only=True)
class Powers:
    """Powers at every half harmonic, from ½ to half a one above the last: one row each, one column a moment."""

    rows: Floats
    moments_s: Floats
    """From the first window on."""
    window_s: float

    @property
    def on(self) -> Floats:
        """Those of the harmonics."""
        return self.rows[1::2]

    @property
    def between(self) -> Floats:
        """Those below the first, half-way between each two, and above the last: one row more."""
        return self.rows[::2]


@dataclass(frozen=True, slots=True, kw_only=True)
class Turned:
    """A note's sound, thinned, with the turns that its pitch has made since the first sample."""

    hz: float
    """Median pitch."""
    count: int
    """Harmonics that are looked at."""
    sound: Floats
    turns: Floats
    rate_hz: float
    _known: dict[float, Powers] = field(default_factory=dict)
    _halves: list[Turning] = field(default_factory=list)

    def powers(self, least_s: float = 0.0) -> Powers:
        """In windows of four periods, or of ``least_s`` where that is longer."""
        window_s = max(WINDOW_PERIODS / self.hz, least_s)
        if window_s not in self._known:
            self._known[window_s] = self._powers(window_s)
        return self._known[window_s]

    def _powers(self, window_s: float) -> Powers:
        length = int(window_s * self.rate_hz) | 1
        hop = max(length // HOPS_A_WINDOW, 1)
        sums = weighed(self._turned(), _bell(length), hop)
        moments_s = np.arange(sums.shape[1], dtype=np.float64) * (hop / self.rate_hz)
        rows = np.square(sums.real, dtype=np.float64) + np.square(sums.imag, dtype=np.float64)
        return Powers(rows=rows, moments_s=moments_s, window_s=window_s)

    def _turned(self) -> Turning:
        """The sound with every half harmonic standing still in a row of its own; the same for windows of any length."""
        if not self._halves:
            self._halves.append(turned_by(self.sound, -0.5 * self.turns, 2 * self.count + 1))
        return self._halves[0]


def turned_by(sound: Floats, turns: Floats, rows: int) -> Turning:
    """``sound`` turned by once, twice… ``rows`` times ``turns``, one a row."""
    once = turn_of(turns)
    turned = np.empty((rows, len(once)), np.complex64)
    np.multiply(once, sound.astype(np.float32), out=turned[0])
    for k in range(1, rows):
        np.multiply(turned[k - 1], once, out=turned[k])
    return turned


def turn_of(turns: Floats) -> Turning:
    """exp(2πi ``turns``), of the same shape.

    In single precision: phases are off by 1e-5 at most, at random, which is 110 dB below the loudest in a window.
    """
    angle = ((turns - np.rint(turns)) * (2.0 * np.pi)).astype(np.float32)
    turn = np.empty(angle.shape, np.complex64)
    turn.real, turn.imag = np.cos(angle), np.sin(angle)
    return turn


def weighed(rows: Turning, bell: Floats, hop: int) -> Turning:
    """Sums of every row under ``bell`` laid at every ``hop``-th place; one column for each place at which it fits.

    Windows overlap: the rows are cut into pieces of one hop, and each is weighed by all parts of the bell at once. The
    products are of real numbers, with noughts where real and imaginary parts meet: that takes a third less time.
    """
    count = (rows.shape[1] - len(bell)) // hop + 1
    parts = len(bell) // hop
    weights = np.zeros((hop, 2, parts, 2), np.float32)
    weights[:, 0, :, 0] = weights[:, 1, :, 1] = bell[: parts * hop].reshape(parts, hop).T
    pieces, reals = count + parts - 1, rows.view(np.float32)
    row, one = reals.strides
    shape, strides = (len(rows), pieces, 2 * hop), (row, 2 * hop * one, one)
    cut = np.lib.stride_tricks.as_strided(reals, shape, strides, writeable=False)
    each = (cut @ weights.reshape(2 * hop, 2 * parts)).view(np.complex64)
    sums = np.zeros((len(rows), count), np.complex64)
    for part in range(parts):
        sums += each[:, part : part + count, part]
    for at in range(parts * hop, len(bell)):
        sums += np.float32(bell[at]) * rows[:, at : at + (count - 1) * hop + 1 : hop]
    return sums


def _bell(length: int) -> Floats:
    """A Hann window of unit sum, without its two noughts."""
    bell = np.hanning(length + 2)[1:-1]
    return np.asarray(bell / bell.sum(), np.float64)


def turn_back(kept: Kept, contour_hz: Cents, start_s: float) -> Turned | None:
    """A held note. ``contour_hz`` is its pitch, one value a millisecond from ``start_s`` on.

    None where it is too short or too high to tell anything. Where two sources cancel no pitch is heard: such gaps are
    filled.
    """
    heard = np.isfinite(contour_hz)
    if float(heard.mean() if len(heard) else 0.0) < LEAST_HEARD:
        return None
    hz = median(contour_hz[heard])
    contour_hz = np.interp(np.arange(len(contour_hz)), np.flatnonzero(heard), contour_hz[heard])
    count = int(min(MOST_HARMONICS, 0.42 * kept.sample_rate_hz / hz, HIGHEST_HZ / hz))
    first_s, samples = kept.cut(start_s, start_s + len(contour_hz) / 1000.0)
    if count < LEAST_HARMONICS or len(samples) < 2.0 * WINDOW_PERIODS / hz * kept.sample_rate_hz:
        return None
    sound, rate_hz = thinned(samples, kept.sample_rate_hz, 2.3 * (count + 1.0) * hz)
    since_ms = (first_s - start_s) * 1000.0 + np.arange(len(sound)) * (1000.0 / rate_hz)
    turns = np.cumsum(np.interp(since_ms, np.arange(len(contour_hz)), contour_hz)) / rate_hz
    return Turned(hz=hz, count=count, sound=sound, turns=turns, rate_hz=rate_hz)


def thinned(samples: Samples, rate_hz: float, wanted_hz: float) -> tuple[Floats, float]:
    """The samples at ``wanted_hz`` a second, or at their own rate where that is hardly more; no NaN, no infinity."""
    sound = without_faults(samples)
    if wanted_hz > 0.8 * rate_hz:
        return sound, rate_hz
    return np.asarray(soxr.resample(sound, rate_hz, wanted_hz), dtype=np.float64), wanted_hz


def without_faults(samples: Samples) -> Floats:
    """The samples within bounds: no NaN, no infinity."""
    return np.asarray(np.clip(np.nan_to_num(samples.astype(np.float64), posinf=1.0, neginf=-1.0), -100.0, 100.0))


__all__ = ["Kept", "Powers", "Turned", "thinned", "turn_back", "turn_of", "turned_by", "weighed", "without_faults"]
