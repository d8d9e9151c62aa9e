"""Silences at bow changes and dropouts in performances at an even tempo: no word on time is due there.

python -m benchmarks.silences [COUNT] [--families violin,cello]
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np
from benchmarks.in_passage import Tally, tally
from benchmarks.one_thread import on_one_thread
from benchmarks.performing import FAMILIES, Bow, Performance, perform, study_for
from benchmarks.tables import table

from truestop.app.mainjob import HeldSound
from truestop.app.performance import judge_performance

SILENCES_S = {"detached": (0.08, 0.1, 0.15, 0.2), "dropouts": (0.1, 0.2)}
HIT = 0.6
"""Share of the arrivals with a dropout."""
HEADS = ["instrument", "", "silence", "shifts", "judged", "with a timing", "early or late", "words on pitch right"]


def with_dropouts(family: str, performance: Performance, lost_s: float, rng: np.random.Generator) -> Performance:
    """The performance with digital silence from 0.1 s before to 0.12 s after some arrivals of shifts on."""
    sound = performance.sound
    samples, arrivals = sound.samples.copy(), {shift.arrival_step for shift in study_for(family).way.shifts}
    for before, step in pairwise(performance.steps):
        if step.index in arrivals and before.index == step.index - 1 and rng.uniform() < HIT:
            at_s = step.start_s + rng.uniform(-lost_s - 0.1, 0.12)
            first, last = (round(one * sound.sample_rate_hz) for one in (at_s, at_s + lost_s))
            samples[max(first, 0) : last] = 0.0
    held = HeldSound(samples=samples, sample_rate_hz=sound.sample_rate_hz)
    return Performance(sound=held, steps=performance.steps)


def play(family: str, number: int, kind: str, silent_s: float) -> Performance:
    """Performance ``number`` with such silences."""
    if kind == "detached":
        return perform(family, number, Bow.DETACHED, gap_s=(silent_s, silent_s), even=True)
    slurred = perform(family, number, Bow.SLURRED, even=True)
    return with_dropouts(family, slurred, silent_s, np.random.default_rng(number))


def rows(count: int, families: Sequence[str]) -> Iterator[list[str]]:
    """A row of the table for every instrument, kind and length of silence."""
    for family in families:
        for kind, lengths_s in SILENCES_S.items():
            for silent_s in lengths_s:
                sums, timed, early_late = Tally(), 0, 0
                for number in range(count):
                    performance = play(family, number, kind, silent_s)
                    found = judge_performance(study_for(family), performance.sound)
                    sums.add(tally(study_for(family), performance, found))
                    timed += sum(one.attempt.timing_s is not None for one in found)
                    early_late += sum(bool({"early", "late"} & set(one.attempt.faults)) for one in found)
                yield [family, kind, f"{1000 * silent_s:.0f} ms", str(sums.due), str(sums.judged), str(timed),
                       str(early_late), f"{sums.right} of {sums.clear}"]  # fmt: skip


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("count", nargs="?", type=int, default=3)
    parser.add_argument("--families", default=",".join(FAMILIES))
    chosen = parser.parse_args()
    print("\n".join(table(HEADS, list(rows(chosen.count, chosen.families.split(","))))))


if __name__ == "__main__":
    on_one_thread("benchmarks.silences")
    main()
