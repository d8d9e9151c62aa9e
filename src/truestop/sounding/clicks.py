"""A click on the beat.

Conventions: a click is a damped tone of a few milliseconds; it starts exactly at its time, with zero amplitude.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from truestop.sounding.bowed import Samples

CLICK_HZ = 1760.0
ACCENT_HZ = 2640.0
CLICK_S = 0.03


def make_click(*, sample_rate_hz: int, hz: float = CLICK_HZ, level_db: float = -20.0) -> Samples:
    """One click, peak about ``level_db`` dBFS, ``CLICK_S`` long."""
    t = np.arange(int(CLICK_S * sample_rate_hz)) / sample_rate_hz
    shape = np.minimum(t / 0.001, 1.0) * np.exp(-t / 0.005)
    tone = shape * np.sin(2.0 * np.pi * hz * t)
    return np.asarray(tone * 10.0 ** (level_db / 20.0) / np.abs(tone).max(), dtype=np.float32)


def add_clicks(
    samples: Samples, times_s: Iterable[float], *, sample_rate_hz: int, level_db: float = -20.0, hz: float = CLICK_HZ
) -> Samples:
    """``samples`` with a click at each time; clicks that would run over the end are cut there."""
    out = samples.copy()
    click = make_click(sample_rate_hz=sample_rate_hz, hz=hz, level_db=level_db)
    for time_s in times_s:
        begin = round(time_s * sample_rate_hz)
        if 0 <= begin < len(out):
            n = min(len(click), len(out) - begin)
            out[begin : begin + n] += click[:n]
    return out
