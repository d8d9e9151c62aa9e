"""How long a drill sheet takes from MusicXML to PDF, who takes it, and how a batch scales with the cores.

Run ``python benchmarks/engraving.py`` for the tables of docs/performance.md; ``--write`` puts them there. The sheet is
two shifts of the built-in study, cut to 20 exercises; *warm* means that the engraving process runs and nothing is
cached. The batch is 100 passages, each with a shift of its own kind and its exercises from *guide* to *plain*. Times
are medians (and the best) of the runs; the load average tells how busy the machine was with other work, and processor
times (means, all processes together, in steps of 10 ms) leave that out.
"""

from __future__ import annotations

import argparse
import atexit
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

import psutil

ROOT = Path(__file__).parents[1]
sys.path[:0] = [str(ROOT / "src")]

from truestop.adapters.engrave.engraver import Engraver  # noqa: E402
from truestop.adapters.engrave.pages import make_pdf  # noqa: E402
from truestop.adapters.score.midi_writing import write_midi  # noqa: E402
from truestop.adapters.score.musicxml_writing import write_musicxml  # noqa: E402
from truestop.adapters.score.reading import read_score  # noqa: E402
from truestop.app.demo import STUDY, study_bytes  # noqa: E402
from truestop.app.sheet import SheetChoice, Stand, make_sheet  # noqa: E402
from truestop.app.sheet_batch import make_sheets  # noqa: E402
from truestop.app.sheet_blocks import drill_blocks, lay_out  # noqa: E402
from truestop.domain.drill import Stage, make_drill  # noqa: E402
from truestop.domain.drill.specimens import GROUNDS, kinds_of, make_specimen  # noqa: E402
from truestop.domain.fingering import finger_passage  # noqa: E402
from truestop.domain.instrument import make_instrument  # noqa: E402
from truestop.domain.way import find_way  # noqa: E402
from truestop.domain.wording import ENGLISH  # noqa: E402

PAGE = ROOT / "docs" / "performance.md"
BEGIN, END = "<!-- engraving: begin -->", "<!-- engraving: end -->"
EXERCISES = 20
BATCH = 100
BATCH_CHOICE = SheetChoice(stages=(Stage.GUIDE, Stage.LAND, Stage.PLAIN))
WIDTH_MM, STAFF_MM = 180.0, 7.0
Result = TypeVar("Result")


def busy_s() -> float:
    """Processor seconds so far of this process and of those it has started that still live."""
    own = psutil.Process()
    return sum(sum(process.cpu_times()[:2]) for process in (own, *own.children(recursive=True)))


class Clock:
    """Seconds by part, over several runs: on the wall clock, and of processors."""

    def __init__(self) -> None:
        self.runs: dict[str, list[float]] = {}
        self.busy: dict[str, list[float]] = {}

    def time(self, part: str, work: Callable[[], Result]) -> Result:
        """What ``work`` gives, its time noted under ``part``."""
        start, busy = time.perf_counter(), busy_s()
        result = work()
        self.runs.setdefault(part, []).append(time.perf_counter() - start)
        self.busy.setdefault(part, []).append(busy_s() - busy)
        return result


def one_sheet(clock: Clock, engraver: Engraver) -> None:
    """The way of 20 exercises from MusicXML to PDF, part by part."""
    choice = SheetChoice()
    passage = clock.time("read the score", lambda: read_score(study_bytes(), name=STUDY))
    fingered = clock.time("finger it", lambda: finger_passage(passage, make_instrument("violin")))
    way = clock.time("find the shifts", lambda: find_way(fingered))
    chosen = [shift for shift in way.shifts if shift.guide][:2]
    drills = clock.time("make the drills", lambda: [make_drill(fingered, shift) for shift in chosen])
    room = EXERCISES - len(drills[0].exercises)
    drills[1] = replace(drills[1], exercises=drills[1].exercises[:room])
    exercises = [exercise for drill in drills for exercise in drill.exercises]
    assert len(exercises) == EXERCISES
    documents = clock.time("write MusicXML", lambda: [write_musicxml(exercise.passage) for exercise in exercises])
    systems = clock.time(
        "engrave (verovio)", lambda: engraver.engrave_all(documents, width_mm=WIDTH_MM, staff_mm=STAFF_MM, close=True)
    )
    blocks = clock.time("lay out", lambda: drill_blocks(fingered, drills, systems, choice, ENGLISH))
    sheet = lay_out(fingered, blocks, kind="sheet.kind.drill", choice=choice, wording=ENGLISH)
    clock.time("set pages (typst)", lambda: make_pdf(sheet))


def sheet_table(runs: int, workers: int) -> list[str]:
    """A table of parts, median, best and share."""
    clock = Clock()
    with Engraver(workers=workers) as engraver:
        for _ in range(workers + 1):
            one_sheet(Clock(), engraver)
        for _ in range(runs):
            one_sheet(clock, engraver)
    medians = {part: statistics.median(times) for part, times in clock.runs.items()}
    totals = [sum(times) for times in zip(*clock.runs.values(), strict=True)]
    whole = statistics.median(totals)
    busy = {part: statistics.mean(times) for part, times in clock.busy.items()}
    lines = ["| part | median ms | best ms | processor ms | share of it |", "|---|---:|---:|---:|---:|"]
    for part, times in clock.runs.items():
        figures = f"{medians[part] * 1000:.0f} | {min(times) * 1000:.0f} | {busy[part] * 1000:.0f}"
        lines.append(f"| {part} | {figures} | {busy[part] / sum(busy.values()):.0%} |")
    computing = f"{sum(busy.values()) * 1000:.0f}"
    return [*lines, f"| **whole** | **{whole * 1000:.0f}** | **{min(totals) * 1000:.0f}** | **{computing}** | |"]


def cached_ms(runs: int) -> float:
    """Median time to engrave the 20 exercises again from the cache."""
    with tempfile.TemporaryDirectory() as folder, Engraver(cache_folder=Path(folder)) as engraver:
        one_sheet(Clock(), engraver)
        clock = Clock()
        for _ in range(runs):
            one_sheet(clock, engraver)
    return statistics.median(clock.runs["engrave (verovio)"]) * 1000


ENGRAVERS: dict[int, Engraver] = {}


def make_one(source: Path) -> bytes:
    """A batch's sheet in a worker process, which keeps one engraver for all its passages."""
    if os.getpid() not in ENGRAVERS:
        ENGRAVERS[os.getpid()] = Engraver()
        atexit.register(ENGRAVERS[os.getpid()].close)
    engraver = ENGRAVERS[os.getpid()]
    stand = Stand(write_musicxml=write_musicxml, write_midi=write_midi, engraver=engraver, make_pdf=make_pdf)
    passage = read_score(source.read_bytes(), name=source.name)
    fingered = finger_passage(passage, make_instrument(passage.instrument or "violin"))
    way = find_way(fingered)
    return make_sheet(fingered, replace(way, shifts=way.shifts[:1]), choice=BATCH_CHOICE, stand=stand)


def batch_table() -> list[str]:
    """Seconds for 100 passages by the number of processes."""
    lines = [
        "| processes | seconds | of them computing, all processes together | passages a second | times one process |",
        "|---:|---:|---:|---:|---:|",
    ]
    with tempfile.TemporaryDirectory() as folder:
        sources = write_passages(Path(folder) / "passages")
        alone = 0.0
        for workers in (1, 2):
            start, before = time.perf_counter(), _computing_s()
            made = make_sheets(sources, Path(folder) / f"sheets-{workers}", make_one=make_one, workers=workers)
            seconds = time.perf_counter() - start
            problems = [one.problem for one in made if one.problem]
            assert not problems, problems
            alone = alone or seconds
            rate, gain, computing_s = BATCH / seconds, alone / seconds, _computing_s() - before
            lines.append(f"| {workers} | {seconds:.1f} | {computing_s:.1f} | {rate:.1f} | {gain:.2f} |")
    return lines


def _computing_s() -> float:
    """Processor seconds of this process and all that it started and that have ended."""
    times = os.times()
    return times.user + times.system + times.children_user + times.children_system


def write_passages(folder: Path) -> tuple[Path, ...]:
    """100 passages as MusicXML files, each with a shift of its own kind."""
    folder.mkdir()
    paths = []
    for family in GROUNDS:
        for kind in kinds_of(family):
            specimen = make_specimen(family, kind)
            if specimen.shift.relation != "to open" and len(paths) < BATCH:
                path = folder / f"{specimen.name}.musicxml"
                path.write_bytes(write_musicxml(specimen.fingered.passage))
                paths.append(path)
    return tuple(paths)


def load_words() -> str:
    """How busy the machine is, where it tells."""
    if not hasattr(os, "getloadavg"):
        return ""
    return f"Load average when the run began: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores."


def report(runs: int) -> str:
    """The section of the page."""
    parts = [
        load_words(),
        "",
        f"{EXERCISES} exercises from MusicXML to PDF, one engraving process:",
        "",
        *sheet_table(runs, 1),
        "",
        "The same with two engraving processes:",
        "",
        *sheet_table(runs, 2),
        "",
        f"Engraved again from the cache, the 20 exercises take {cached_ms(runs):.0f} ms instead.",
        "",
        f"A batch of {BATCH} passages (read, fingered, drilled, engraved, set), start of the processes included:",
        "",
        *batch_table(),
    ]
    return "\n".join(parts)


def main() -> None:
    """Measure, print, and with ``--write`` renew the section of docs/performance.md."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=7)
    parser.add_argument("--write", action="store_true")
    options = parser.parse_args()
    text = report(options.runs)
    print(text)
    if options.write:
        page = PAGE.read_text(encoding="utf-8")
        before, after = page.split(BEGIN)[0], page.split(END)[1]
        PAGE.write_text(f"{before}{BEGIN}\n{text}\n{END}{after}", encoding="utf-8")


if __name__ == "__main__":
    main()
