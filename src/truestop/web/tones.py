"""The room's reference sounds: the arrival, the interval, the guide's way; on the synthesised string.

Conventions: float samples at 44.1 kHz, peak well below full scale; every sound swells in and starts quiet.
"""

from __future__ import annotations

import numpy as np

from truestop.domain.attempt import Expectation
from truestop.sounding.bowed import Samples, bow_envelope, contour_through, sound_string

RATE_HZ = 44100
NOTE_S, TURN_S, REST_S, STRING_S = 1.2, 0.35, 0.25, 3.0


def reference_tone(expectation: Expectation, family: str) -> Samples:
    """What the stage wants to be heard: the arrival alone, the guide's slide, or departure and arrival."""
    departure, arrival = expectation.departure.hz, expectation.arrival.hz
    if expectation.stage in ("name", "hear", "settle"):
        return _note(arrival, 2 * NOTE_S, family)
    if expectation.stage == "guide":
        return _slide(departure, arrival, family)
    rest = np.zeros(round(REST_S * RATE_HZ), dtype=np.float32)
    return np.concatenate([_note(departure, NOTE_S, family), rest, _note(arrival, NOTE_S, family)])


def string_tone(hz: float, family: str) -> Samples:
    """An open string to tune to."""
    return _note(hz, STRING_S, family)


def _note(hz: float, seconds: float, family: str) -> Samples:
    n = round(seconds * RATE_HZ)
    level = bow_envelope(n, sample_rate_hz=RATE_HZ, attack_s=0.15, release_s=0.2)
    return sound_string(np.full(n, hz), sample_rate_hz=RATE_HZ, family=family, level=level)


def _slide(from_hz: float, to_hz: float, family: str) -> Samples:
    times_s = np.array([0.0, NOTE_S, NOTE_S + TURN_S, 2 * NOTE_S + TURN_S])
    interval = 1200.0 * np.log2(to_hz / from_hz)
    path = contour_through(
        times_s, np.array([0.0, 0.0, interval, interval]), reference_hz=from_hz, sample_rate_hz=RATE_HZ
    )
    level = bow_envelope(len(path), sample_rate_hz=RATE_HZ, attack_s=0.15, release_s=0.2)
    return sound_string(path, sample_rate_hz=RATE_HZ, family=family, level=level)
