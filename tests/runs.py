"""Runs through a passage, played by the synthesiser: bars in any order, at any tempo, with accidents that are known."""

from __future__ import annotations

import numpy as np

from truestop.app.mainjob import HeldSound, InHand
from truestop.domain.expecting import stop_target
from truestop.sounding.bowed import bow_envelope, contour_through, sound_string

RATE_HZ = 22050
QUARTER_S = 0.72


def steps_of(study: InHand, first: int, last: int) -> range:
    """Indices of the steps of bars ``first`` to ``last``."""
    inside = [index for index, step in enumerate(study.fingered.steps) if first <= int(step.measure) <= last]
    return range(inside[0], inside[-1] + 1)


def play_run(
    study: InHand,
    order: list[int],
    *,
    off_cents: dict[int, float] | None = None,
    late_s: dict[int, float] | None = None,
    quarter_s: float = QUARTER_S,
    silent_s: float = 0.0,
) -> HeldSound:
    """The steps in this order, each at its pitch (moved by ``off_cents``), glided into within 60 ms.

    ``silent_s`` is a bow change's silence, from the last third of the glide on.
    """
    reference_hz = 440.0
    times_s, cents, at = [0.0], [0.0], 0.3
    for index in order:
        step = study.fingered.steps[index]
        hz = stop_target(step.stops[0], step.stops, intonation=study.intonation).hz
        level = 1200 * np.log2(hz / reference_hz) + (off_cents or {}).get(index, 0.0)
        start = at + (late_s or {}).get(index, 0.0)
        times_s += [start, start + 0.06]
        cents += [cents[-1] if len(cents) > 1 else level, level]
        at += float(step.duration) * quarter_s
        if step.rest_before:
            times_s[-2], cents[-2] = start, level
    times_s.append(at)
    cents.append(cents[-1])
    cents[0] = cents[1]
    path = contour_through(np.array(times_s), np.array(cents), reference_hz=reference_hz, sample_rate_hz=RATE_HZ)
    level = bow_envelope(len(path), sample_rate_hz=RATE_HZ, attack_s=0.03, release_s=0.05)
    for start in times_s[1:-1:2] if silent_s else ():
        first, last = (round((start + at_s) * RATE_HZ) for at_s in (0.04, 0.04 + silent_s))
        level[first:last] = 0.0
    rng = np.random.default_rng(5)
    samples = sound_string(path, sample_rate_hz=RATE_HZ, family=study.setup.family or "violin", level=level, rng=rng)
    return HeldSound(samples=samples, sample_rate_hz=RATE_HZ)
