"""The live listener: how soon a landing is final, how much of a core it takes, what a file takes.

    python -m benchmarks.streaming

Sound comes in blocks of 128 samples, as from a browser's audio worklet put together to 10 ms. 'Final after' is counted
in time of the take from the moment the finger came to rest to the moment the last sample that was needed had come.
"""

from __future__ import annotations

import resource
import sys
import time

import numpy as np
from benchmarks.landing import expectation_of
from benchmarks.one_thread import on_one_thread
from benchmarks.takes import BenchTake, make_take

from truestop.listening.judging import LandingFinal, Listener, VerdictFinal, judge_take

BLOCK_S = 0.01


def listen(take: BenchTake) -> tuple[list[float], list[float], float]:
    """Seconds from rest to final landing (plain, with vibrato), and thread time."""
    listener = Listener(expectation_of(take), take.sample_rate_hz)
    block = int(BLOCK_S * take.sample_rate_hz)
    plain, vibrato = [], []
    start = time.thread_time()
    for a in range(0, len(take.samples), block):
        for event in listener.feed(take.samples[a : a + block]):
            if isinstance(event, LandingFinal):
                waited = (a + block) / take.sample_rate_hz - event.rest_s
                (vibrato if event.attempt.vibrato.present else plain).append(waited)
    listener.finish()
    return plain, vibrato, time.thread_time() - start


def main() -> None:
    """Print the tables."""
    on_one_thread("benchmarks.streaming")
    print("| instrument | plain: final after, median (ms) | 90 % | longest | with vibrato, median | share of a core |")
    print("|---|---|---|---|---|---|")
    for offset, family in enumerate(("violin", "viola", "cello", "bass")):
        plain: list[float] = []
        vibrato: list[float] = []
        took = heard = 0.0
        for number in range(offset, offset + 32, 4):
            take = make_take(number, attempts=3, source="synthesis")
            one, other, seconds = listen(take)
            plain, vibrato, took = plain + one, vibrato + other, took + seconds
            heard += len(take.samples) / take.sample_rate_hz
        late = 1000 * np.array(plain)
        print(f"| {family} | {np.median(late):.0f} | {np.percentile(late, 90):.0f} | {late.max():.0f} |"
              f" {1000 * np.median(vibrato or [np.nan]):.0f} | {100 * took / heard:.1f} % |", flush=True)  # fmt: skip
    _long_file()


def _long_file() -> None:
    """An hour: one take over and over, fed piece by piece."""
    take = make_take(0, attempts=4, source="synthesis")
    expectation = expectation_of(take)
    judge_take(take.samples, take.sample_rate_hz, expectation)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    listener = Listener(expectation, take.sample_rate_hz, live=False)
    rounds = int(3600 * take.sample_rate_hz / len(take.samples))
    start, attempts = time.thread_time(), 0
    for _ in range(rounds):
        attempts += sum(isinstance(event, VerdictFinal) for event in listener.feed(take.samples))
    attempts += sum(isinstance(event, VerdictFinal) for event in listener.finish())
    took = time.thread_time() - start
    grown = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / (1 if sys.platform == "darwin" else 1024)
    print(f"\nan hour with {attempts} attempts of {4 * rounds}: {took:.0f} s, × {3600 / took:.0f} real time,"
          f" memory grown by {grown:.0f} {'bytes' if sys.platform == 'darwin' else 'MB'}")  # fmt: skip


if __name__ == "__main__":
    main()
