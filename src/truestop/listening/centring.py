"""The centre of a vibrato that was heard in a room.

Under a vibrato every past pitch of the cycle is still sounding: the tail makes the swing narrower and later and pulls
the cycles' mean to where the pitch has been. The direct sound alone follows one swing. So centred sines of many widths,
places and rates are tried as the pitch of the landing's window: the sound is turned back along each, harmonic by
harmonic up to 8 kHz and the 24th, and the one along which the harmonics stand still best in windows of
``STILL_MS`` tells the centre. Along the right one the tail turns, at every harmonic another way.

Conventions: those of landing.py. What is read has come when the landing is final, so that the number shown live is
the one that is kept.
"""

from __future__ import annotations

from itertools import product
from typing import NamedTuple

import numpy as np

from truestop.listening.contour import Cents, bridge
from truestop.listening.frames import Floats
from truestop.listening.gliding import Sound
from truestop.listening.refining import standing
from truestop.listening.resting import PROVEN_MS
from truestop.listening.turning import Kept, Turning, turn_of

MOST_HARMONICS = 24
STILL_MS = 100.0
"""A recorded harmonic wanders by itself: over a whole landing it does not stand still along any path."""
EVERY_MS = 3.0
RATES_HZ = (4.6, 5.2, 5.8, 6.4, 7.0)
WIDER = (1.0, 1.6)
EARLIER_MS = (0.0, 8.0, 16.0)
OFF_CENTS = (-3.0, 0.0, 3.0)
"""Where the search begins: what fits the contour at each rate, so much wider, earlier and off."""
BEGUN = 4
"""How many of these are followed at first; they differ from one another by ``APART``."""
APART = (3.5, 6.0, 6.0, 0.3)
STEPS = (1.5, 4.0, 4.0, 0.12)
"""First steps of the search: cents of the centre, of the two parts of the swing, Hz of its rate."""
COARSE, LEAST_STEP = 0.3, 0.06
"""Parts of the first steps: down to the one all beginnings are followed, down to the other only the best of them."""
WIDEST_CENTS, SLOWEST_HZ, FASTEST_HZ = 90.0, 3.7, 8.3
FARTHEST_CENTS = 12.0
"""A centre further from the contour's is of something else."""
_MOVES = np.array([move for move in product((-1.0, 0.0, 1.0), repeat=4) if 0 < np.count_nonzero(move) <= 2])


def find_centre(cents: Cents, window: tuple[int, int], start_ms: int, target_hz: float, sound: Kept) -> float | None:
    """Cents of the centre above the target; None where none is found.

    ``cents`` begins at ``start_ms`` of the take; ``window``, in ms from there, holds some 1.5 cycles.
    """
    begin, end = window
    if np.isfinite(cents[end : end + PROVEN_MS]).all():
        end = min(end + PROVEN_MS, len(cents))
    heard = bridge(cents[begin:end])
    if not np.isfinite(heard).all():
        return None
    hz = target_hz * 2.0 ** (float(heard.mean()) / 1200.0)
    beside = int(1200.0 / hz) + 4
    whole = Sound.of(sound, start_ms + begin - beside, start_ms + end + beside, start_ms + begin)
    question = (start_ms + begin, len(whole.samples), heard.tobytes())
    return sound.recall("centre", question, lambda: _centre(heard, _Search.of(heard, hz, target_hz, whole, beside)))


def _centre(heard: Cents, search: _Search | None) -> float | None:
    """The centre of the best path, where it is one of a vibrato near what was heard."""
    if search is None:
        return None
    begun = max((search.climb(start, 1.0, COARSE) for start in search.starts(heard)), key=lambda one: one[0])[1]
    found = search.climb(begun, COARSE, LEAST_STEP)[1]
    centre, wide, rate = float(found[0]), float(np.hypot(found[1], found[2])), float(found[3])
    if abs(centre - float(heard.mean())) > FARTHEST_CENTS or wide > WIDEST_CENTS:
        return None
    return centre if SLOWEST_HZ <= rate <= FASTEST_HZ else None


class _Search(NamedTuple):
    """The harmonics turned back along a steady pitch, one a row, and where they are weighed.

    A path is four numbers: cents of the centre, of the cosine and of the sine about the window's middle, and Hz.
    """

    voices: Turning
    ms: Floats
    bells: Turning
    """One window a column."""
    middle_ms: float
    hz: float
    target_hz: float

    @classmethod
    def of(cls, heard: Cents, hz: float, target_hz: float, sound: Sound, beside: int) -> _Search | None:
        """None where there is too little to be heard."""
        harmonics = sound.harmonics_of(hz, MOST_HARMONICS)
        path = np.full(len(heard) + 2 * beside, hz)
        voices, ms = standing(path, sound._replace(since_ms=sound.since_ms + beside), harmonics, 0.9 * hz)
        ms = ms - beside
        inside = (ms >= 0) & (ms < len(heard))
        if np.count_nonzero(inside) < 16:
            return None
        step = max(1, round(EVERY_MS / float(ms[1] - ms[0])))
        voices, ms = voices[:, inside][:, ::step], ms[inside][::step]
        places = np.arange(ms[0] + 0.35 * STILL_MS, ms[-1] - 0.35 * STILL_MS + 1.0, 0.25 * STILL_MS)
        if not len(places):
            return None
        bells = np.square(np.cos(np.pi * np.clip((ms[:, None] - places) / STILL_MS, -0.5, 0.5)))
        bells /= bells.sum(axis=0)
        loud = np.sqrt((np.square(np.abs(voices)) @ bells).sum(axis=1)) + 1e-15
        return cls((voices / loud[:, None]).astype(np.complex64), ms, bells.astype(np.complex64),
                   0.5 * len(heard), hz, target_hz)  # fmt: skip

    def cents(self, paths: Floats, ms: Floats) -> Floats:
        """Every path, one a row, at some moments."""
        turn = (2e-3 * np.pi) * paths[:, 3:] * (ms - self.middle_ms)
        return np.asarray(paths[:, :1] + paths[:, 1:2] * np.cos(turn) + paths[:, 2:3] * np.sin(turn))

    def scores(self, paths: Floats) -> Floats:
        """How many harmonics' worth of sound stands still along each path."""
        hz = self.target_hz * np.exp2(self.cents(paths, self.ms) / 1200.0) - self.hz
        steps = 0.5e-3 * (hz[:, 1:] + hz[:, :-1]) * np.diff(self.ms)
        back = turn_of(-np.concatenate((np.zeros((len(paths), 1)), np.cumsum(steps, axis=1)), axis=1))
        turned, total = back, np.zeros(len(paths))
        for number, voice in enumerate(self.voices):
            turned = turned * back if number else back
            sums = turned @ (voice[:, None] * self.bells)
            total += (np.square(sums.real) + np.square(sums.imag)).sum(axis=1)
        return total

    def starts(self, heard: Cents) -> Floats:
        """The most likely paths to begin with, no two of them much alike."""
        ms, starts = np.arange(len(heard)), []
        for rate in RATES_HZ:
            turn = 2e-3 * np.pi * rate * (ms - self.middle_ms)
            base = np.stack((np.ones(len(ms)), np.cos(turn), np.sin(turn)), axis=1)
            fitted = np.linalg.lstsq(base, heard, rcond=None)[0]
            for wider, earlier, off in product(WIDER, EARLIER_MS, OFF_CENTS):
                swing = wider * complex(fitted[1], -fitted[2]) * np.exp(2e-3j * np.pi * rate * earlier)
                starts.append((fitted[0] + off, swing.real, -swing.imag, rate))
        paths = np.array(starts)
        found: list[int] = []
        for at in np.argsort(self.scores(paths), kind="stable")[::-1].tolist():
            if all((np.abs(paths[at] - paths[other]) > APART).any() for other in found):
                found.append(at)
            if len(found) == BEGUN:
                break
        return paths[found]

    def climb(self, path: Floats, part: float, least: float) -> tuple[float, Floats]:
        """The best path from ``path`` on, by steps from ``part`` of the first ones down to ``least``, and its score."""
        best = float(self.scores(path[None])[0])
        while part > least:
            around = path + part * _MOVES * STEPS
            scores = self.scores(around)
            at = int(scores.argmax())
            if scores[at] > best + 1e-6:
                best, path = float(scores[at]), around[at]
            else:
                part *= 0.5
        return best, path
