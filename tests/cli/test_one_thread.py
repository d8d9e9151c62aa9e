"""The command keeps its numeric libraries to one thread each: on a busy machine threads wait for one another."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

PRODUCT = """
import time
import truestop.cli
import numpy as np
a = np.ones((700, 700), np.float32)
own, whole = time.thread_time(), time.process_time()
for _ in range(20):
    a @ a
own, whole = time.thread_time() - own, time.process_time() - whole
print(whole / own)
"""


def run(script: str, **environment: str) -> str:
    kept = {name: value for name, value in os.environ.items() if not name.endswith("_NUM_THREADS")}
    done = subprocess.run(
        [sys.executable, "-c", script], env=kept | environment, capture_output=True, text=True, check=True
    )
    return done.stdout.strip()


@pytest.mark.skipif((os.cpu_count() or 1) < 2, reason="one core shares nothing out")
def test_a_product_is_worked_by_one_thread() -> None:
    assert float(run(PRODUCT)) < 1.3


def test_what_the_caller_set_stands() -> None:
    show = "import os, truestop.cli; print(os.environ['OPENBLAS_NUM_THREADS'], os.environ['OMP_NUM_THREADS'])"
    assert run(show, OPENBLAS_NUM_THREADS="3") == "3 1"
