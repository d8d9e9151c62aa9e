"""Settings of all tests: property tests draw the same examples each time; HYPOTHESIS_PROFILE=explore looks further.

A property test names no ``max_examples``. One whose examples are dear is marked ``@examples(n)`` (tests/examples.py).
"""

from __future__ import annotations

import os

from hypothesis import HealthCheck, settings

SLOW = (HealthCheck.too_slow, HealthCheck.data_too_large)
settings.register_profile("steady", derandomize=True, deadline=None, database=None, suppress_health_check=SLOW)
settings.register_profile("explore", max_examples=500, deadline=None, suppress_health_check=SLOW)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "steady"))
