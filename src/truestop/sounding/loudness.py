"""Bringing sounds to one loudness.

Conventions: loudness is integrated loudness in LUFS as ITU-R BS.1770-4 defines it, measured by pyloudnorm.
"""

from __future__ import annotations

from math import isfinite

import numpy as np

from truestop.sounding.bowed import Floats, Samples

TARGET_LUFS = -18.0
HIGHEST_PEAK = 10.0 ** (-1.5 / 20.0)
_SHORTEST_S = 0.4


def at_loudness(samples: Floats, *, sample_rate_hz: int, lufs: float = TARGET_LUFS) -> Samples:
    """``samples`` scaled to ``lufs``, or as near as a peak of −1.5 dBFS allows; silence stays silence.

    Sounds shorter than the 400 ms that the measure needs are padded with silence for measuring.
    """
    import pyloudnorm  # brings half a second of filters with it; commands that make no sound do without

    peak = float(np.abs(samples).max()) if len(samples) else 0.0
    padded = np.pad(samples, (0, max(0, round(_SHORTEST_S * sample_rate_hz) + 1 - len(samples))))
    now = float(pyloudnorm.Meter(sample_rate_hz).integrated_loudness(padded)) if peak else float("-inf")
    if not isfinite(now):
        return samples.astype(np.float32)
    gain = min(10.0 ** ((lufs - now) / 20.0), HIGHEST_PEAK / peak)
    scaled: Samples = (samples * gain).astype(np.float32)
    return scaled
