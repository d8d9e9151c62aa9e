"""How long the record takes to answer, from ten thousand attempts to a million.

Run ``python -m benchmarks.store``; ``--write`` puts the table into docs/performance.md. A studio of 50 players, each
with five passages of ten shifts, is filled row by row with seeded attempts; times are medians of five on SQLite.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path
from statistics import median

import numpy as np
from benchmarks.tables import replace_section, table
from sqlalchemy import insert
from sqlalchemy.engine import Connection

from truestop.adapters.store import SqlPracticeStore
from truestop.adapters.store import tables as t
from truestop.adapters.store.opening import open_engine
from truestop.app.progress import report_of_passage
from truestop.app.studio import overview_of_studio

PLAYERS, PASSAGES, SHIFTS = 50, 5, 10
PER_DAY = 10
START = date(2025, 9, 1).toordinal()
SIZES = (10_000, 100_000, 1_000_000)


def fill(path: Path, attempts: int) -> None:
    """A studio with so many attempts, straight into the tables; all of it in the file, not in the journal."""
    SqlPracticeStore(path).close()
    rng = np.random.default_rng(attempts)
    engine = open_engine(path)
    with engine.begin() as connection:
        _cards(connection)
        each = attempts // (PLAYERS * PASSAGES * SHIFTS)
        row = 0
        for player in range(1, PLAYERS + 1):
            for shift in range(1, PASSAGES * SHIFTS + 1):
                row = _attempts(connection, rng, player, shift, each, row)
    engine.dispose()  # the last connection to close takes the journal into the file


def size_mb(path: Path) -> float:
    """What the record takes on the disk, journal and all."""
    return sum(part.stat().st_size for part in path.parent.glob(f"{path.name}*")) / 1e6


def _cards(connection: Connection) -> None:
    players = [{"row": n, "key": f"p{n}", "name": f"Player {n:02}"} for n in range(1, PLAYERS + 1)]
    passages = [
        {"row": n, "key": f"piece-{n}", "title": f"Piece {n}", "part": "", "instrument": "violin", "source": ""}
        for n in range(1, PASSAGES + 1)
    ]
    shifts = [
        {"row": n, "key": f"s{n}", "passage_row": 1 + (n - 1) // SHIFTS, "number": 1 + (n - 1) % SHIFTS,
         "measure": str(n), "direction": "up", "relation": "same", "crossing": False, "cover": "none",
         "interval": "+m3", "departure_pitch": "B4", "departure_finger": "1", "departure_string": 2,
         "departure_place": 2, "arrival_pitch": "D5", "arrival_finger": str(1 + n % 4), "string": 2, "place": 5,
         "from_position": "1st", "to_position": "3rd", "guide_finger": "1", "travel_mm": 46.5, "length_mm": 328.0}
        for n in range(1, PASSAGES * SHIFTS + 1)
    ]  # fmt: skip
    for goal, rows in ((t.player, players), (t.passage, passages), (t.shift, shifts)):
        connection.execute(insert(goal), rows)


def _attempts(connection: Connection, rng: np.random.Generator, player: int, shift: int, count: int, row: int) -> int:
    landing = rng.normal(3.0, 14.0, count)
    takes, attempts, tallies = [], [], []
    for index, cents in enumerate(landing):
        order = index % PER_DAY
        day = START + index // PER_DAY
        at_s = 86400.0 * (day - 719163) + 60.0 * order
        row += 1
        if order == 0:
            take = row
            takes.append(
                {"row": take, "id": f"t{take}", "player_row": player, "passage_row": 1 + (shift - 1) // SHIFTS,
                 "shift": f"s{shift}", "recorded_at_s": at_s, "utc_offset_s": 0, "day": day, "duration_s": 30.0,
                 "sample_rate_hz": 44100, "sha256": f"{take:064x}", "original_name": "take.wav", "a4_hz": 440.0,
                 "measure_version": 1}
            )  # fmt: skip
            tallies.append(
                {"player_row": player, "shift_row": shift, "day": day, "touches": 0, "judged": 0, "true_landings": 0,
                 "corrected": 0, "cold_judged": 1, "cold_true": int(abs(cents) <= 20), "landed": 0,
                 "landing_total": 0.0, "landing_squares": 0.0}
            )  # fmt: skip
        verdict = "true" if abs(cents) <= 20 else "high" if cents > 0 else "low"
        tally = tallies[-1]
        tally["touches"] += 1
        tally["judged"] += 1
        tally["true_landings"] += verdict == "true"
        tally["landed"] += 1
        tally["landing_total"] += float(cents)
        tally["landing_squares"] += float(cents) ** 2
        attempts.append(
            {"row": row, "take_row": take, "number": order + 1, "player_row": player, "shift_row": shift,
             "stage": "plain", "at_s": at_s, "day": day, "day_order": order + 1, "cold": order == 0,
             "struck_out": False, "start_s": 3.0 * order, "end_s": 3.0 * order + 2.0, "target_pitch": "D5",
             "target_hz": 586.67, "target_system": "pythagorean", "target_string": 2, "target_place": 5,
             "verdict": verdict, "borderline": False, "landing_cents": float(cents), "landing_se_cents": 0.6,
             "landing_mm": float(0.14 * cents), "slide_s": 0.15, "stops": 0, "reversals": 0, "vibrato_present": False,
             "tolerance_cents": 20.0, "measure_version": 1}
        )  # fmt: skip
    for goal, rows in ((t.take, takes), (t.attempt, attempts), (t.tally, tallies)):
        connection.execute(insert(goal), rows)
    return row


def median_ms(work: Callable[[], object], times: int = 5) -> float:
    """Median wall-clock time in ms; the first run warms up and does not count."""
    work()
    spent = []
    for _ in range(times):
        begin = time.perf_counter()
        work()
        spent.append(1000 * (time.perf_counter() - begin))
    return median(spent)


def measure() -> Iterator[str]:
    """The table, and what was measured."""
    rows = []
    for size in SIZES:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "record.sqlite"
            fill(path, size)
            store = SqlPracticeStore(path)
            try:
                report = median_ms(lambda store=store: report_of_passage(store, player="p7", passage="piece-3"))
                studio = median_ms(lambda store=store: overview_of_studio(store))
            finally:
                store.close()
            each = size // (PLAYERS * PASSAGES)
            rows.append([f"{size:,}", f"{each:,}", f"{report:.0f}", f"{studio:.0f}", f"{size_mb(path):.0f}"])
            print(rows[-1], file=sys.stderr)
    heads = [
        "attempts in the record",
        "of the passage",
        "progress of a passage, ms",
        "studio of 50 players, ms",
        "file, MB",
    ]
    yield from table(heads, rows)


def main(arguments: list[str]) -> None:
    """Print the table; with --write put it into docs/performance.md."""
    lines = list(measure())
    print("\n".join(lines))
    if "--write" in arguments:
        head = ["## Record", "", "`python -m benchmarks.store --write`", ""]
        words = (
            "A studio of 50 players with five passages of ten shifts each, ten attempts a day and shift; SQLite on a"
            " local disk, wall-clock medians of five; the file with its journal. Progress reads every attempt of the"
            " passage for its numbers."
        )
        replace_section(Path("docs/performance.md"), "record", [*head, words, "", *lines])


if __name__ == "__main__":
    main(sys.argv[1:])
