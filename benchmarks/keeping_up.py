"""How far a live listener falls behind on a busy machine: one note and a double stop, fed at the pace of the sound.

    python -m benchmarks.keeping_up [--beside 3]

``--beside`` other processes take all the processor time they get. The numeric library keeps its usual threads, as in
the room. *Behind* is from the moment at which a block has sounded to the end of the listener's work on it.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import time
from dataclasses import replace

import numpy as np

from truestop.adapters.score.reading import read_score
from truestop.app.mainjob import Setup, expect, take_in_hand
from truestop.domain.attempt import Expectation
from truestop.listening.judging import Listener, VerdictFinal
from truestop.sounding.bowed import Samples
from truestop.sounding.takes import PlayedAttempt, render_take

RATE_HZ, BLOCK, ATTEMPTS = 44100, 512, 3
TUNE = b"X:1\nT:Two Hawsers\nM:4/4\nL:1/4\nK:C\n[!1!B!2!g]2 [!1!e!2!c']2 | [!1!B!2!g]4 |]\n"


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--beside", type=int, default=3)
    beside = parser.parse_args().beside
    in_hand = take_in_hand(read_score(TUNE, name="hawsers.abc", family="violin"), Setup(family="violin"))
    both = expect(in_hand, in_hand.shift(1))
    assert both.upper_departure is not None
    assert both.upper_arrival is not None
    lower = replace(both, upper_departure=None, upper_arrival=None)
    upper = replace(lower, departure=both.upper_departure, arrival=both.upper_arrival)
    sounds = {"one note": (lower, play(lower, 1)), "double stop": (both, 0.5 * (play(lower, 1) + play(upper, 2)))}
    print(f"| heard, beside {beside} busy processes | processor time, of sound's | behind at verdicts (s) | most (s) |")
    print("|---|---|---|---|")
    busy = [subprocess.Popen([sys.executable, "-c", "while True: pass"]) for _ in range(beside)]
    try:
        for name, (expected, sound) in sounds.items():
            used, at_verdicts, most = follow(expected, sound)
            print(f"| {name} | {used:.2f} | {', '.join(f'{late:.2f}' for late in at_verdicts)} | {most:.2f} |")
    finally:
        for process in busy:
            process.kill()
            process.wait()


def play(expected: Expectation, seed: int) -> Samples:
    """Some attempts at the shift."""
    played = [PlayedAttempt(landing_cents=5.0, arrival_s=1.3)] * ATTEMPTS
    take = render_take(
        played, departure_hz=expected.departure.hz, arrival_hz=expected.arrival.hz, rng=np.random.default_rng(seed),
        sample_rate_hz=RATE_HZ,
    )  # fmt: skip
    return take.samples.astype(np.float32)


def follow(expected: Expectation, sound: Samples) -> tuple[float, list[float], float]:
    """Processor time as a share of the sound's, how late each verdict was, and the most that the listener was late."""
    listener = Listener(expected, RATE_HZ)
    at_verdicts, most = [], 0.0
    used, began = time.process_time(), time.monotonic()
    for start in range(0, len(sound), BLOCK):
        due = began + (start + BLOCK) / RATE_HZ
        time.sleep(max(0.0, due - time.monotonic()))
        events = listener.feed(sound[start : start + BLOCK])
        late = time.monotonic() - due
        at_verdicts += [late for event in events if isinstance(event, VerdictFinal)]
        most = max(most, late)
    return (time.process_time() - used) / (len(sound) / RATE_HZ), at_verdicts, most


if __name__ == "__main__":
    main()
