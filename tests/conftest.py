"""Settings of all tests: property tests draw the same examples each time; HYPOTHESIS_PROFILE=explore looks further.

A property test names no ``max_examples``. One whose examples are dear is marked ``@examples(n)`` (tests/examples.py).
The numeric libraries get one thread each, as in the command: two workers whose products are shared out among threads
that wait for one another take half as much time again.
"""

from __future__ import annotations

import os

from hypothesis import HealthCheck, settings

import truestop.cli  # noqa: F401 - sets the threads, before any test loads the libraries

SLOW = (HealthCheck.too_slow, HealthCheck.data_too_large)
settings.register_profile("steady", derandomize=True, deadline=None, database=None, suppress_health_check=SLOW)
settings.register_profile("explore", max_examples=500, deadline=None, suppress_health_check=SLOW)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "steady"))
