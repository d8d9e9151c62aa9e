"""Which smooth glide from one note to the other the sound of a slide follows best.

In a room the old note sounds on after the finger has left it, and reading the pitch moment by moment follows that
tail for a while and then leaps. A whole glide is told from it by coherence: turned back along the right path, each
harmonic of the direct sound stands still and sums up in a window, while the tail, being of random phase (diffuse sound,
Kuttruff, Room Acoustics; from memory), turns and cancels. So glides of all lengths at all places are tried, first on
the lowest harmonics, whose sums forgive some milliseconds, then the best of them more finely on more harmonics.

The glide tried is a minimum-jerk movement (Flash & Hogan 1985). It is only where the search for the path begins.

Conventions: a path is Hz, one value a millisecond; the sound may begin before it or after, by ``since_ms``.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from truestop.listening.frames import Floats, Samples
from truestop.listening.turning import thinned

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

    def thinned(self, wanted_hz: float) -> tuple[Floats, float, Floats]:
        """Samples, at least so many a second, their rate, and the moments in ms at which they lie."""
        samples, rate_hz = thinned(self.samples, self.rate_hz, wanted_hz)
        return samples, rate_hz, np.asarray(self.since_ms + np.arange(len(samples)) * (1000.0 / rate_hz), np.float64)


def glide_from(path_hz: Floats, sound: Sound) -> Floats:
    """``path_hz`` itself or the glide between its two ends, whichever ``sound`` follows better; of the same shape."""
    held = float(np.exp(np.median(np.log(path_hz[:HELD_MS]))))
    landed = float(np.exp(np.median(np.log(path_hz[-RESTED_MS:]))))
    middles, lengths = _all_glides(len(path_hz))
    if not len(middles):
        return path_hz
    way = path_hz[None]
    scores = _scores(sound, _glides(held, landed, middles, lengths, len(path_hz)), way, ROUNDS[0])
    best = np.array([_best_of(scores, lengths == length) for length in np.unique(lengths)])
    for search in ROUNDS[1:]:
        later, longer = (a.ravel() for a in np.meshgrid(search.later_ms, search.longer, indexing="ij"))
        middles = (middles[best][:, None] + later).ravel()
        lengths = (lengths[best][:, None] * longer).ravel()
        glides = _glides(held, landed, middles, lengths, len(path_hz))
        scores = _scores(sound, glides, way, search)
        best = np.argsort(scores[:-1], kind="stable")[::-1][:KEPT]
    return np.asarray(glides[best[0]] if scores[best[0]] > scores[-1] else path_hz)


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
    """How well the sound follows each of ``glides`` and, last, ``way``: mean logarithm over harmonics and moments."""
    paths = np.vstack((glides, way))
    highest, lowest = float(way.max()), float(way.min())
    harmonics = max(1, min(search.harmonics, int(min(HIGHEST_HZ, 0.45 * sound.rate_hz) / highest)))
    samples, rate_hz, ms = sound.thinned(2.4 * (harmonics + 0.5) * highest)
    sigma_ms = max(search.sigma_ms, 1000.0 * SIGMA_PERIODS / lowest)
    moments = np.arange(ms[0] + 2.2 * sigma_ms, ms[-1] - 2.2 * sigma_ms, search.every_ms)
    if not len(moments):
        return np.zeros(len(paths))
    bells = np.exp(-0.5 * np.square((ms[:, None] - moments) / sigma_ms))
    bells = (bells / bells.sum(axis=0)).astype(np.complex64)
    hz = _sampled(paths, ms)
    back = np.exp(-2j * np.pi * (np.cumsum(hz, axis=1) / rate_hz)).astype(np.complex64)
    turned = np.broadcast_to(samples.astype(np.complex64), back.shape)
    total = np.zeros(len(paths))
    for _ in range(harmonics):
        turned = turned * back
        sums = turned @ bells
        power = sums.real * sums.real + sums.imag * sums.imag
        total += np.log1p(power / (FAINT * np.percentile(power, 95.0) + 1e-12)).mean(axis=1)
    return np.asarray(total / harmonics)


def _sampled(paths: Floats, ms: Floats) -> Floats:
    """Every path, a line between its milliseconds, at the moments ``ms``."""
    place = np.clip(ms, 0.0, paths.shape[1] - 1.0)
    at = np.minimum(place.astype(np.intp), paths.shape[1] - 2)
    share = place - at
    return np.asarray(paths[:, at] * (1.0 - share) + paths[:, at + 1] * share)
