"""The live listener: how soon a landing is final, how much of a core it takes, what a file takes.

    python -m benchmarks.streaming [--rooms COUNT]

Sound comes in blocks of 128 samples, as from a browser's audio worklet put together to 10 ms. 'Final after' is counted
in time of the take from the moment the finger came to rest to the moment the last sample that was needed had come.
With ``--rooms`` only COUNT takes a family are heard, dry and in a room, where landings are read again and slides are
heard a second time: what that takes of a core, and for how long the dearest block holds up what comes after it.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import soundfile
from benchmarks.landing import expectation_of
from benchmarks.one_thread import on_one_thread
from benchmarks.takes import BenchTake, in_condition, make_take

from truestop import bootstrap
from truestop.app.demo import STUDY, TAKES, play, shift_from, study_bytes
from truestop.app.mainjob import Setup, take_in_hand
from truestop.listening.judging import LandingFinal, Listener

BLOCK_S = 0.01


def listen(take: BenchTake) -> tuple[list[float], list[float], float, float]:
    """Seconds from rest to final landing (plain, with vibrato), and thread time: of all, of the dearest block."""
    listener = Listener(expectation_of(take), take.sample_rate_hz)
    block = int(BLOCK_S * take.sample_rate_hz)
    plain, vibrato = [], []
    start = time.thread_time()
    dearest = 0.0
    for a in range(0, len(take.samples), block):
        before = time.thread_time()
        events = listener.feed(take.samples[a : a + block])
        dearest = max(dearest, time.thread_time() - before)
        for event in events:
            if isinstance(event, LandingFinal):
                waited = (a + block) / take.sample_rate_hz - event.rest_s
                (vibrato if event.attempt.vibrato.present else plain).append(waited)
    listener.finish()
    return plain, vibrato, time.thread_time() - start, dearest


def print_rooms(count: int) -> None:
    """Share of a core and dearest block, dry and in a room, each take both ways one after the other."""
    print("| instrument | dry, share of a core | in a room | room : dry | dearest block dry (ms) | in a room |")
    print("|---|---|---|---|---|---|")
    for offset, family in enumerate(("violin", "viola", "cello", "bass")):
        took, dearest, heard = {"clean": 0.0, "room": 0.0}, {"clean": 0.0, "room": 0.0}, 0.0
        for number in range(offset, offset + 4 * count, 4):
            take = make_take(number, attempts=3, source="synthesis")
            heard += len(take.samples) / take.sample_rate_hz
            for condition in took:
                *_, seconds, block = listen(in_condition(take, condition))
                took[condition] += seconds
                dearest[condition] = max(dearest[condition], block)
        print(f"| {family} | {100 * took['clean'] / heard:.1f} % | {100 * took['room'] / heard:.1f} % |"
              f" {took['room'] / took['clean']:.2f} | {1000 * dearest['clean']:.0f} |"
              f" {1000 * dearest['room']:.0f} |", flush=True)  # fmt: skip


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rooms", type=int, default=0)
    rooms = parser.parse_args().rooms
    on_one_thread("benchmarks.streaming")
    if rooms:
        print_rooms(rooms)
        return
    print("| instrument | plain: final after, median (ms) | 90 % | longest | with vibrato, median | share of a core |")
    print("|---|---|---|---|---|---|")
    for offset, family in enumerate(("violin", "viola", "cello", "bass")):
        plain: list[float] = []
        vibrato: list[float] = []
        took = heard = 0.0
        for number in range(offset, offset + 32, 4):
            take = make_take(number, attempts=3, source="synthesis")
            one, other, seconds, _ = listen(take)
            plain, vibrato, took = plain + one, vibrato + other, took + seconds
            heard += len(take.samples) / take.sample_rate_hz
        late = 1000 * np.array(plain)
        print(f"| {family} | {np.median(late):.0f} | {np.percentile(late, 90):.0f} | {late.max():.0f} |"
              f" {1000 * np.median(vibrato or [np.nan]):.0f} | {100 * took / heard:.1f} % |", flush=True)  # fmt: skip
    print("\n| minutes | attempts | MB, most | s | × real time |\n|---|---|---|---|---|")
    _long_files()


def _long_files() -> None:
    """Files of 1 to 60 minutes, one take of the built-in study over and over, judged by the command itself."""
    study = take_in_hand(bootstrap.read_study(), Setup(family="violin"))
    shift = shift_from(study, TAKES[0].from_note)
    sound = play(study, TAKES[0], seed=1)
    with TemporaryDirectory() as folder:
        score, path = Path(folder) / STUDY, Path(folder) / "take.wav"
        score.write_bytes(study_bytes())
        for minutes in (1, 10, 30, 60):
            rounds = int(minutes * 60 * sound.sample_rate_hz / len(sound.samples))
            with soundfile.SoundFile(path, "w", sound.sample_rate_hz, 1) as file:
                for _ in range(rounds):
                    file.write(sound.samples)
            command = [sys.executable, "-m", "truestop", "judge", str(score), str(path), "--shift", str(shift.number),
                       "--no-keep", "--json"]  # fmt: skip
            attempts, most_mb, seconds = judged(command)
            print(f"| {minutes} | {attempts} of {len(TAKES[0].truth) * rounds} | {most_mb:.0f} | {seconds:.0f} |"
                  f" {60 * minutes / seconds:.0f} |", flush=True)  # fmt: skip


_WATCH = """
import json, os, subprocess, sys
process = subprocess.Popen(sys.argv[1:])
_, status, used = os.wait4(process.pid, 0)
print(json.dumps([used.ru_maxrss, used.ru_utime + used.ru_stime]), file=sys.stderr)
sys.exit(os.waitstatus_to_exitcode(status))
"""


def judged(command: list[str]) -> tuple[int, float, float]:
    """Attempts told by the command, the most memory it took, MB, and its processor time.

    It is started by a small process, since the most that is told of a process counts what its parent held.
    """
    done = subprocess.run([sys.executable, "-c", _WATCH, *command], capture_output=True, check=True)
    most, seconds = json.loads(done.stderr.splitlines()[-1])
    (take,) = json.loads(done.stdout)["takes"]
    return len(take["attempts"]), most / (1e6 if sys.platform == "darwin" else 1024), seconds


if __name__ == "__main__":
    main()
