"""Benchmarks run on one thread: the numeric libraries read these variables when they are loaded, so we start again."""

from __future__ import annotations

import os
import subprocess
import sys

VARIABLES = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS")


def on_one_thread(module: str) -> None:
    """Run ``module`` again with one thread, unless this already is that run; ends the process where it was not."""
    if all(os.environ.get(name) == "1" for name in VARIABLES):
        return
    environment = dict(os.environ) | dict.fromkeys(VARIABLES, "1")
    sys.exit(subprocess.call([sys.executable, "-m", module, *sys.argv[1:]], env=environment))
