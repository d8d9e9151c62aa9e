"""Reference tones on the synthesised string: held notes, guide paths, legato lines, drones.

Conventions: every piece starts and ends in silence with zero slope, so that pieces can be strung together without a
click; the pitch is exact, without bow noise or vibrato. Levels are those of ``sound_string``.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from truestop.sounding.bowed import Floats, bow_envelope, contour_through, sound_string

RATE_HZ = 44100
QUIET_START_S, QUIET_START_DB = 1.5, -20.0
FINGER_DROP_S = 0.012
_ATTACK_S, _RELEASE_S = 0.09, 0.12


class Held(NamedTuple):
    """A pitch held for a while."""

    hz: float
    seconds: float


def silence(seconds: float) -> Floats:
    """Nothing, for ``seconds``."""
    return np.zeros(max(round(seconds * RATE_HZ), 0))


def sound_held(notes_hz: Sequence[float], seconds: float, *, family: str) -> Floats:
    """One bow stroke over one or more strings."""
    n = max(round(seconds * RATE_HZ), 2)
    level = bow_envelope(n, sample_rate_hz=RATE_HZ, attack_s=_ATTACK_S, release_s=min(_RELEASE_S, 0.4 * seconds))
    tones = [sound_string(np.full(n, hz), sample_rate_hz=RATE_HZ, family=family) for hz in notes_hz]
    return np.asarray(level * np.sum(tones, axis=0), dtype=np.float64)


def sound_legato(line: Sequence[Held], *, family: str) -> Floats:
    """A line under one bow: each pitch begins exactly on its time, the finger dropping within 12 ms before it."""
    times, cents, at = [0.0], [0.0], 0.0
    for before, after in pairwise(line):
        at += before.seconds
        drop = min(FINGER_DROP_S, 0.5 * before.seconds)
        times += [at - drop, at]
        cents += [cents[-1], 1200.0 * float(np.log2(after.hz / line[0].hz))]
    times.append(at + line[-1].seconds)
    cents.append(cents[-1])
    return _along(np.array(times), np.array(cents), line[0].hz, family)


def sound_guide_path(
    voices: Sequence[Sequence[Held]], *, slide_s: float, family: str, joining_hz: Sequence[float] = ()
) -> Floats:
    """A slide heard from the first pitch to the second, then the fingers drop to the others, all under one bow.

    One voice for every string that a finger travels on, all with as many pitches of the same lengths; what is in
    ``joining_hz`` sounds with the last pitch only.
    """
    sounded = [_along(*_slid_and_dropped(line, slide_s), line[0].hz, family) for line in voices]
    path = np.sum(sounded, axis=0)
    if joining_hz:
        last = sound_held(joining_hz, voices[0][-1].seconds, family=family)[-len(path) :]
        path[len(path) - len(last) :] += last
    return np.asarray(path, dtype=np.float64)


def _slid_and_dropped(line: Sequence[Held], slide_s: float) -> tuple[Floats, Floats]:
    """Break points of a voice: seconds, and cents above its first pitch."""
    times, cents, at = [0.0], [0.0], 0.0
    for index, (before, after) in enumerate(pairwise(line)):
        at += before.seconds
        travel = slide_s if index == 0 else FINGER_DROP_S
        times += [at, at + travel]
        cents += [cents[-1], 1200.0 * float(np.log2(after.hz / line[0].hz))]
        at += travel
    times.append(at + line[-1].seconds)
    cents.append(cents[-1])
    return np.array(times), np.array(cents)


def _along(times_s: Floats, cents: Floats, first_hz: float, family: str) -> Floats:
    contour = contour_through(times_s, cents, reference_hz=first_hz, sample_rate_hz=RATE_HZ)
    level = bow_envelope(len(contour), sample_rate_hz=RATE_HZ, attack_s=_ATTACK_S, release_s=_RELEASE_S)
    return np.asarray(level * sound_string(contour, sample_rate_hz=RATE_HZ, family=family), dtype=np.float64)


def starting_quiet(samples: Floats) -> Floats:
    """``samples`` with their first 1.5 seconds swelling in from −20 dB, for the ears' sake."""
    n = min(round(QUIET_START_S * RATE_HZ), len(samples))
    gain_db = QUIET_START_DB * (0.5 + 0.5 * np.cos(np.pi * np.arange(n) / max(n, 1)))
    out = samples.copy()
    out[:n] *= 10.0 ** (gain_db / 20.0)
    return out
