"""The take's own pulse: where a beat falls by the notes around it.

Conventions: seconds from the start of the take, beats in quarter notes; + is late.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

NEAR_BEATS = 4.0
MOST_A_SIDE, LEAST_A_SIDE, LEAST_ONSETS = 4, 2, 4


@dataclass(frozen=True, slots=True, kw_only=True)
class PredictedBeat:
    """When a beat should fall, and how sure that is."""

    at_s: float
    se_s: float
    quarter_s: float
    """Seconds a quarter note takes around it."""


def predict_beat(beat: float, onsets: Sequence[tuple[float, float]]) -> PredictedBeat | None:
    """The instant of ``beat`` by a straight line through (beat, second) onsets around it, the judged one left out.

    Two to four onsets either side within four beats; None with fewer than four in all. Source: docs/measures.md.
    """
    before = [one for one in onsets if -NEAR_BEATS <= one[0] - beat < 0][-MOST_A_SIDE:]
    after = [one for one in onsets if 0 < one[0] - beat <= NEAR_BEATS][:MOST_A_SIDE]
    used = before + after
    if min(len(before), len(after)) < LEAST_A_SIDE or len(used) < LEAST_ONSETS:
        return None
    count = len(used)
    mean_beat, mean_s = sum(x for x, _ in used) / count, sum(y for _, y in used) / count
    square = sum((x - mean_beat) ** 2 for x, _ in used)
    slope = sum((x - mean_beat) * (y - mean_s) for x, y in used) / square if square else 0.0
    if slope <= 0:
        return None
    residual = sum((y - mean_s - slope * (x - mean_beat)) ** 2 for x, y in used)
    scatter = sqrt(residual / (count - 2))
    se = scatter * sqrt(1.0 / count + (beat - mean_beat) ** 2 / square)
    return PredictedBeat(at_s=mean_s + slope * (beat - mean_beat), se_s=se, quarter_s=slope)
