"""Which smooth glide from one note to the other the sound of a slide follows best.

In a room the old note sounds on after the finger has left it, and reading the pitch moment by moment follows that
tail for a while and then leaps. A whole glide is told from it by coherence: turned back along the right path, each
harmonic of the direct sound stands still and sums up in a window, while the tail, being of random phase (diffuse sound,
Kuttruff, Room Acoustics; from memory), turns and cancels. So glides of all lengths at all places are tried, first on
the lowest harmonics, whose sums forgive some milliseconds, then the best of them more finely on more harmonics. The
tail of a held note is as steady as the note was, so a leap that comes late follows it well; but no room sounds before
it is played. What is heard of the new note while a path has not yet come there counts against that path.

The glide tried is a minimum-jerk movement (Flash & Hogan 1985). It is only where the search for the path begins, and
some others that lie elsewhere are handed on with it.

Conventions: a path is Hz, one value a millisecond; the sound may begin before it or after, by ``since_ms``.
"""

from __future__ import annotations

from collections.abc import Generator
from math import ceil
from typing import NamedTuple, TypeVar

import numpy as np
import scipy.fft

from truestop.listening.frames import Floats, Samples
from truestop.listening.turning import Kept, Turning, thinned, turn_of, weighed, without_faults

Found = TypeVar("Found")

HIGHEST_HZ = 8000.0
"""No harmonic above this is listened to."""
HELD_MS, RESTED_MS = 60, 90
"""At its ends a path holds the two notes for at least this long."""
SHORTEST_MS, LONGER, LENGTHS = 50.0, 1.3, 11
"""Lengths of the glides tried: each so many times the one before; the longest lasts 0.7 s."""
EVERY_MS = 10.0
FAINT = 0.1
"""Share of a harmonic's full power from which it counts; the score grows with the logarithm, as a harmonic that fades
while it glides speaks no less."""
SIGMA_PERIODS = 0.7
AWAY_CENTS = 80.0
"""A path that has not come this near to the new note does not sound like it."""
OTHERS, APART_MS, LIKE = 4, 25.0, 2.0
"""Glides handed on beside the best; how far from one another their middles lie, or by what their lengths differ."""
REACH = 2.6
"""Half a window in sigmas."""
BESIDE = 4.5
"""How far beside a harmonic's range its band fades out, in sigmas of the window's spectrum."""


Steps = Generator[None, None, Found]
"""Work that is done in steps and ends with something found."""


def finished(steps: Steps[Found]) -> Found:
    """What is found when all steps are done."""
    while True:
        try:
            next(steps)
        except StopIteration as end:
            found: Found = end.value
            return found


class Search(NamedTuple):
    """One round: how many harmonics, the window's sigma, what is tried around each glide that is left."""

    harmonics: int
    sigma_ms: float
    every_ms: float
    later_ms: tuple[float, ...] = (0.0,)
    longer: tuple[float, ...] = (1.0,)


ROUNDS = (
    Search(3, 9.0, 8.0),
    Search(8, 9.0, 6.0, (-6.0, -3.0, 0.0, 3.0, 6.0), (0.87, 1.0, 1.14)),
    Search(14, 10.0, 6.0, (-3.0, -1.5, 0.0, 1.5, 3.0), (0.93, 1.0, 1.07)),
)
KEPT = 4
"""Glides left for the last round."""


class Sound(NamedTuple):
    """Sound to be followed; its first sample lies ``since_ms`` after the path's first value."""

    samples: Samples
    rate_hz: float
    since_ms: float

    @classmethod
    def of(cls, kept: Kept, begin_ms: int, end_ms: int, path_ms: int) -> Sound:
        """What is kept from ``begin_ms`` to ``end_ms`` of the take, to be followed along a path from ``path_ms`` on."""
        first_s, samples = kept.cut(begin_ms / 1000.0, end_ms / 1000.0)
        return cls(samples, kept.sample_rate_hz, 1000.0 * first_s - path_ms)

    def harmonics_of(self, hz: float, most: int) -> int:
        """How many harmonics of a note count here: ``most`` at most, up to 8 kHz, the first always."""
        return max(1, min(most, int(min(HIGHEST_HZ, 0.45 * self.rate_hz) / hz)))

    def thinned(self, wanted_hz: float) -> tuple[Floats, float, Floats]:
        """Samples, at least so many a second, their rate, and the moments in ms at which they lie."""
        samples, rate_hz = thinned(self.samples, self.rate_hz, wanted_hz)
        return samples, rate_hz, np.asarray(self.since_ms + np.arange(len(samples)) * (1000.0 / rate_hz), np.float64)


def likely_glides(path_hz: Floats, sound: Sound) -> Floats:
    """One path a row: first ``path_hz`` or the glide between its two ends, whichever ``sound`` follows best, then the
    best glides that lie elsewhere, by a coarser look."""
    return finished(search_glides(path_hz, sound))


def search_glides(path_hz: Floats, sound: Sound) -> Steps[Floats]:
    """The same round by round, for who has other things to do between."""
    held, landed = float(np.exp(np.median(np.log(path_hz[:HELD_MS])))), _landed(path_hz)
    middles, lengths = _all_glides(len(path_hz))
    if not len(middles):
        return path_hz[None]
    glides = _glides(held, landed, middles, lengths, len(path_hz))
    scores = _scores(sound, glides, path_hz, ROUNDS[0])[:-1]
    others = glides[_apart(scores, middles, lengths)]
    best = np.array([_best_of(scores, lengths == length) for length in np.unique(lengths)])
    for search in ROUNDS[1:]:
        yield
        later, longer = (a.ravel() for a in np.meshgrid(search.later_ms, search.longer, indexing="ij"))
        middles = (middles[best][:, None] + later).ravel()
        lengths = (lengths[best][:, None] * longer).ravel()
        glides = _glides(held, landed, middles, lengths, len(path_hz))
        scores = _scores(sound, glides, path_hz, search)
        best = np.argsort(scores[:-1], kind="stable")[::-1][:KEPT]
    return np.vstack((glides[best[0]] if scores[best[0]] > scores[-1] else path_hz, others))


def best_followed(paths: Floats, path_hz: Floats, sound: Sound) -> int:
    """Which row of ``paths`` the sound follows best; ``path_hz`` ends on the note to which they lead."""
    return int(_scores(sound, paths, path_hz, ROUNDS[1])[:-1].argmax())


def _landed(path_hz: Floats) -> float:
    """The new note."""
    return float(np.exp(np.median(np.log(path_hz[-RESTED_MS:]))))


def _apart(scores: Floats, middles: Floats, lengths: Floats) -> list[int]:
    """The best glides no two of which are much alike."""
    found: list[int] = []
    for at in np.argsort(scores, kind="stable")[::-1].tolist():
        nearly = np.abs(middles[found] - middles[at]) <= APART_MS
        if not (nearly & (np.abs(np.log(lengths[found] / lengths[at])) <= np.log(LIKE))).any():
            found.append(at)
        if len(found) == OTHERS:
            break
    return found


def _best_of(scores: Floats, among: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> int:
    """The best glide of one length: all lengths are looked at more closely, since a late leap, too, scores well."""
    at = np.flatnonzero(among)
    return int(at[scores[at].argmax()])


def _all_glides(count: int) -> tuple[Floats, Floats]:
    """Middles and lengths, in ms, of all glides that lie within a path of ``count`` ms."""
    lengths = SHORTEST_MS * LONGER ** np.arange(LENGTHS)
    middle, length = (a.ravel() for a in np.meshgrid(np.arange(HELD_MS, count - RESTED_MS, EVERY_MS), lengths))
    within = (middle - 0.6 * length > -0.33 * HELD_MS) & (middle + 0.5 * length < count - 0.67 * RESTED_MS)
    return middle[within], length[within]


def _glides(from_hz: float, to_hz: float, middles: Floats, lengths: Floats, count: int) -> Floats:
    """One path a row."""
    u = np.clip((np.arange(count) - middles[:, None]) / lengths[:, None] + 0.5, 0.0, 1.0)
    return np.asarray(from_hz * (to_hz / from_hz) ** (u * u * u * (10.0 + u * (6.0 * u - 15.0))))


def _scores(sound: Sound, glides: Floats, way: Floats, search: Search) -> Floats:
    """How well the sound follows each of ``glides`` and, last, ``way``: mean logarithm over harmonics and moments, less
    what is heard too early."""
    landed = _landed(way)
    paths = np.vstack((glides, way, np.full(len(way), landed)))
    heard, ms = _heard_along(sound, paths, (float(way.min()), float(way.max())), search)
    if not len(ms):
        return np.zeros(len(paths) - 1)
    new, held = heard[-1], ms < HELD_MS
    if held.any():
        new = np.maximum(new - np.median(new[held]), 0.0)
    there = np.abs(1200.0 * np.log2(_sampled(paths[:-1], ms) / landed)) <= AWAY_CENTS
    first = np.where(there, np.arange(len(ms)), -1).max(axis=1)
    early = ~there & (np.arange(len(ms)) < first[:, None])
    return np.asarray((heard[:-1] - early * new).mean(axis=1))


def _heard_along(sound: Sound, paths: Floats, span_hz: tuple[float, float], search: Search) -> tuple[Floats, Floats]:
    """How much of the harmonics stands still along every path, one a row, at some moments, in ms."""
    lowest, highest = span_hz
    harmonics = sound.harmonics_of(highest, search.harmonics)
    sigma_ms = max(search.sigma_ms, 1000.0 * SIGMA_PERIODS / lowest)
    bands = _bands(sound, span_hz, harmonics, sigma_ms)
    hop = max(1, round(search.every_ms * bands.rate_hz / 1000.0))
    bell = _bell(sigma_ms * bands.rate_hz / 1000.0, hop)
    if len(bands.ms) < len(bell):
        return np.empty((len(paths), 0)), np.empty(0)
    hz = _sampled(paths, bands.ms) - bands.middle_hz
    back = turn_of((0.5 * hz - np.cumsum(hz, axis=1)) / bands.rate_hz)
    turned = np.ones_like(back)
    total: Floats | float = 0.0
    for band in bands.rows:
        turned *= back
        sums = weighed(turned * band, bell, hop)
        power = sums.real * sums.real + sums.imag * sums.imag
        total = total + np.log1p(power / (FAINT * np.percentile(power[:-1], 95.0) + 1e-12))
    heard = np.asarray(total / harmonics, np.float64)
    ms = bands.ms[0] + (0.5 * len(bell) + np.arange(heard.shape[1]) * hop) * (1000.0 / bands.rate_hz)
    return heard, np.asarray(ms, np.float64)


class _Bands(NamedTuple):
    """The sound around every harmonic, one a row, moved down by its number times ``middle_hz``."""

    rows: Turning
    rate_hz: float
    ms: Floats
    """The moments of its samples."""
    middle_hz: float


def _bands(sound: Sound, span_hz: tuple[float, float], harmonics: int, sigma_ms: float) -> _Bands:
    """All that may be a harmonic of a path within ``span_hz``, with no more samples a second than that is wide.

    A path is turned back along these with a tenth of the work that the sound itself would ask.
    """
    samples = without_faults(sound.samples).astype(np.float32)
    beside_hz = BESIDE * 1000.0 / (2.0 * np.pi * sigma_ms)
    size = scipy.fft.next_fast_len(len(samples) + ceil(2.0 * sound.rate_hz / beside_hz), real=True)
    lines = scipy.fft.rfft(samples, size)
    bin_hz = sound.rate_hz / size
    middle = round(0.5 * sum(span_hz) / bin_hz)
    beside = ceil(beside_hz / bin_hz)
    halves = [ceil(0.5 * k * (span_hz[1] - span_hz[0]) / bin_hz) + 1 + beside for k in range(1, harmonics + 1)]
    few = scipy.fft.next_fast_len(2 * halves[-1] + 1)
    placed = np.zeros((harmonics, few), np.complex64)
    edge = 0.5 - 0.5 * np.cos(np.pi * (np.arange(beside) + 0.5) / beside)
    for k, half in enumerate(halves, 1):
        at = np.arange(-half, half + 1)
        within = (at + k * middle >= 0) & (at + k * middle < len(lines))
        shape = np.interp(np.minimum(at + half, half - at), np.arange(beside), edge)
        placed[k - 1, at[within]] = lines[at[within] + k * middle] * shape[within]
    rows = scipy.fft.ifft(placed, axis=1) * np.float32(few / size)
    rate_hz = sound.rate_hz * few / size
    ms = sound.since_ms + np.arange(int(len(samples) / sound.rate_hz * rate_hz)) * (1000.0 / rate_hz)
    return _Bands(rows[:, : len(ms)], rate_hz, ms, middle * bin_hz)


def _bell(sigma: float, hop: int) -> Floats:
    """A Gaussian set down so that it ends at nought, of unit sum; some hops long."""
    length = hop * max(1, round(2.0 * REACH * sigma / hop))
    place = (np.arange(length) - 0.5 * (length - 1)) / sigma
    bell = np.exp(-0.5 * np.square(place)) - np.exp(-0.5 * np.square(0.5 * (length + 1) / sigma))
    return np.asarray(bell / bell.sum(), np.float64)


def _sampled(paths: Floats, ms: Floats) -> Floats:
    """Every path, a line between its milliseconds, at the moments ``ms``."""
    place = np.clip(ms, 0.0, paths.shape[1] - 1.0)
    at = np.minimum(place.astype(np.intp), paths.shape[1] - 2)
    share = place - at
    return np.asarray(paths[:, at] * (1.0 - share) + paths[:, at + 1] * share)
