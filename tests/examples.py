"""How many examples a dear property test draws: a few in every run, more where the profile looks further."""

from __future__ import annotations

import os

from hypothesis import settings

TIMES = {"explore": 5}


def examples(steady: int) -> settings:
    """Settings for ``steady`` examples in the usual run, five times as many under HYPOTHESIS_PROFILE=explore."""
    return settings(max_examples=steady * TIMES.get(os.environ.get("HYPOTHESIS_PROFILE", "steady"), 1))
