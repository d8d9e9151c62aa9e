"""Sound of an exercise that goes there and back: the same two notes in turn, each landed on as the test says."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from truestop.domain.attempt import Expectation
from truestop.sounding.bowed import Samples, bow_envelope, minimum_jerk, sound_string

SLIDE_S = 0.16


def play_there_and_back(
    expected: Expectation, rounds: Sequence[tuple[float, float]], *, rate_hz: int, beat_s: float = 1.0
) -> Samples:
    """In one bow, a beat a note: the departure, then for each round the arrival and the way back, so many cents off.

    A slide ends on its beat. Before and after is half a second of silence.
    """
    home, far = 0.0, 1200.0 * float(np.log2(expected.arrival.hz / expected.departure.hz))
    levels = [home, *(level for there, back in rounds for level in (far + there, home + back))]
    held = round((beat_s - SLIDE_S) * rate_hz)
    ramp = minimum_jerk((np.arange(round(SLIDE_S * rate_hz)) + 0.5) / round(SLIDE_S * rate_hz))
    pieces = [np.full(held, home)]
    for before, after in pairwise(levels):
        pieces += [before + (after - before) * ramp, np.full(held, after)]
    cents = np.concatenate(pieces)
    tone = sound_string(
        expected.departure.hz * 2.0 ** (cents / 1200.0), sample_rate_hz=rate_hz, family="violin",
        level=bow_envelope(cents.size, sample_rate_hz=rate_hz), rng=np.random.default_rng(7),
    )  # fmt: skip
    silence = np.zeros(rate_hz // 2)
    return np.concatenate([silence, tone, silence]).astype(np.float32)
