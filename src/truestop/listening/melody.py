"""How much of a take is other notes than open strings: by its pitch an open string is like the same note stopped.

Conventions: seconds; a note is steady where it keeps within a quarter-tone for ``LEAST_S``.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from truestop.listening.contour import voiced_runs
from truestop.listening.frames import Floats, Plan, Samples
from truestop.listening.tracking import FRAMES_FILE, PitchTrack, Tracker

STEP_S = 0.02
LEAST_S = 0.15
WITHIN_CENTS = 50.0
OCTAVES_ABOVE = 1.5
"""So far above the highest string notes are looked for."""


def other_notes_s(
    samples: Samples, sample_rate_hz: float, open_strings_hz: Sequence[float], *, apart_cents: float
) -> float:
    """Length of the steady notes further than ``apart_cents`` from every string.

    Neither an octave of a string counts: two strings a fifth apart sound as the octave below the lower one, and a
    string whose fundamental is weak may be heard an octave up.
    """
    low_hz, high_hz = min(open_strings_hz) * 0.9, max(open_strings_hz) * 2.0**OCTAVES_ABOVE
    high_hz = min(high_hz, 0.35 * sample_rate_hz)
    tracker = Tracker(Plan(sample_rate_hz, low_hz, high_hz), frames_at_once=FRAMES_FILE)
    track = PitchTrack.joined([tracker.feed(samples), tracker.finish()])
    if not len(track):
        return 0.0
    cents = _every_step(track)
    strings = 1200.0 * np.log2(np.array([hz * part for hz in open_strings_hz for part in (0.5, 1.0, 2.0)]))
    total = 0
    for start, end in _steady(cents):
        middle = float(np.median(cents[start:end]))
        if float(np.abs(strings - middle).min()) > apart_cents:
            total += end - start
    return total * STEP_S


def _every_step(track: PitchTrack) -> Floats:
    count = int(track.times_s[-1] / STEP_S) + 1
    nearest = np.clip(np.searchsorted(track.times_s, np.arange(count) * STEP_S), 0, len(track) - 1)
    return np.asarray(1200.0 * np.log2(track.f0_hz[nearest]))


def _steady(cents: Floats) -> list[tuple[int, int]]:
    """Stretches of steps that each lie near the one before."""
    with np.errstate(invalid="ignore"):
        near = np.abs(np.diff(cents)) < WITHIN_CENTS
    least = round(LEAST_S / STEP_S)
    return [(start, end + 1) for start, end in voiced_runs(near) if end + 1 - start >= least]


__all__ = ["other_notes_s"]
