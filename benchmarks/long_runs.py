"""Files that hold runs through the built-in study over and over, judged by the command from its start to its last word.

    python -m benchmarks.long_runs [MINUTES …]

As runs, which are gone through twice, and with ``--shift 2`` as drills of one shift.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

import soundfile
from benchmarks.one_thread import on_one_thread
from benchmarks.streaming import judged
from benchmarks.tables import table
from scipy.signal import resample_poly

sys.path[:0] = [str(Path(__file__).parent.parent / "tests")]

from runs import RATE_HZ, play_run  # noqa: E402
from truestop import bootstrap  # noqa: E402
from truestop.app.demo import STUDY, study_bytes  # noqa: E402
from truestop.app.mainjob import Setup, take_in_hand  # noqa: E402

FILE_HZ = 44100
HEADS = ["minutes", "runs", "shifts judged", "MB, most", "s", "× real time",
         "with `--shift 2`: judged", "MB, most", "s", "× real time"]  # fmt: skip


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("minutes", nargs="*", type=int, default=[1, 10, 60])
    study = take_in_hand(bootstrap.read_study(), Setup(family="violin"))
    run = play_run(study, list(range(len(study.fingered.steps))))
    samples = resample_poly(run.samples, FILE_HZ // RATE_HZ, 1)
    rows = []
    with TemporaryDirectory() as folder:
        score, path = Path(folder) / STUDY, Path(folder) / "runs.wav"
        score.write_bytes(study_bytes())
        for minutes in parser.parse_args().minutes:
            rounds = max(round(minutes * 60 * FILE_HZ / len(samples)), 1)
            with soundfile.SoundFile(path, "w", FILE_HZ, 1) as file:
                for _ in range(rounds):
                    file.write(samples)
            row = [str(minutes), str(rounds)]
            command = [sys.executable, "-m", "truestop", "judge", str(score), str(path), "--no-keep", "--json"]
            for drilled in ([], ["--shift", "2"]):
                attempts, most_mb, seconds = judged([*command, *drilled])
                lasts_s = rounds * run.duration_s
                row += [str(attempts), f"{most_mb:.0f}", f"{seconds:.1f}", f"{lasts_s / seconds:.0f}"]
            rows.append(row)
    print("\n".join(table(HEADS, rows)))


if __name__ == "__main__":
    on_one_thread("benchmarks.long_runs")
    main()
