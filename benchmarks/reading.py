"""How fast scores are read, and what damaged ones do.

``python benchmarks/reading.py speed``   reading against music21 on the same files in the same run, growth with length
``python benchmarks/reading.py damage``  10,000 damaged scores: crashes, hangs, memory (``--count``, ``--seed``)
``--write`` puts the tables into docs/performance.md.
"""

from __future__ import annotations

import argparse
import contextlib
import gc
import multiprocessing
import sys
import time
import warnings
from collections import Counter
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

ROOT = Path(__file__).parents[1]
sys.path[:0] = [str(ROOT / "src"), str(ROOT / "tests")]

from oracles.score_corpus import corpus_bytes, corpus_path  # noqa: E402
from oracles.score_mutations import damaged  # noqa: E402
from truestop.adapters.score.musicxml_reading import read_musicxml  # noqa: E402
from truestop.adapters.score.musicxml_writing import write_musicxml  # noqa: E402
from truestop.adapters.score.reading import read_score  # noqa: E402
from truestop.domain.errors import TruestopError  # noqa: E402
from truestop.domain.passage import Measure, Note, Passage  # noqa: E402
from truestop.domain.pitch import Pitch  # noqa: E402

PAGE = ROOT / "docs" / "performance.md"
MOVEMENTS = (
    ("Haydn op. 74 no. 1, i", "haydn/opus74no1/movement1.mxl"),
    ("Beethoven op. 18 no. 1, i", "beethoven/opus18no1/movement1.mxl"),
    ("Beethoven op. 18 no. 4", "beethoven/opus18no4.mxl"),
)
LONGEST_S = 2.0
MOST_MB = 500


def least_s(work: Callable[[], object], times: int = 2) -> float:
    """The shortest of a few runs, in seconds of processor time (other work on the machine does not count)."""
    found: list[float] = []
    for _ in range(times):
        gc.collect()
        start = time.process_time()
        work()
        found.append(time.process_time() - start)
    return min(found)


def foreign_s(path: Path) -> float:
    """What music21 takes to parse the same file."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from music21 import converter

        return least_s(lambda: converter.parse(path, forceSource=True), times=1)


def movements_table() -> list[str]:
    """Whole quartets and their first violin, beside music21."""
    lines = [
        "| movement | notes | all parts, s | first violin alone, s | music21, all parts, s | music21 : all parts |",
        "|---|---|---|---|---|---|",
    ]
    for title, name in MOVEMENTS:
        data = corpus_bytes(name)
        score = read_musicxml(data, name=name)
        notes = sum(len(passage.notes) for passage in score.passages)
        whole = least_s(lambda data=data, name=name: read_musicxml(data, name=name))
        first = least_s(lambda data=data, name=name: read_score(data, name=name))
        theirs = foreign_s(corpus_path(name))
        lines.append(f"| {title} | {notes} | {whole:.3f} | {first:.3f} | {theirs:.2f} | {theirs / whole:.1f} |")
    return lines


def long_passage(notes: int) -> Passage:
    """A scale up and down in eighths, as long as wanted."""
    pitches = [Pitch.parse(name) for name in ("A4", "B4", "C#5", "D5", "E5", "F#5", "G#5", "A5")]
    rising = [*pitches, *pitches[::-1]]
    measures = tuple(
        Measure(number=str(index + 1), onset=Fraction(4 * index), duration=Fraction(4), key_fifths=3)
        for index in range(-(-notes // 8))
    )
    made = tuple(
        Note(
            id=f"n{place}", pitch=rising[place % 16], written=rising[place % 16], onset=Fraction(place, 2),
            duration=Fraction(1, 2), measure=str(place // 8 + 1), measure_index=place // 8,
            beat=Fraction(place % 8, 2) + 1, type="eighth",
        )
        for place in range(notes)
    )  # fmt: skip
    return Passage(title="Scale", notes=made, measures=measures, part="Violin", instrument="violin")


def growth_table() -> list[str]:
    """Reading and writing 1,000, 10,000 and 100,000 notes."""
    lines = [
        "| notes | file, MB | reading, s | reading, µs a note | writing, s | writing, µs a note |",
        "|---|---|---|---|---|---|",
    ]
    for notes in (1_000, 10_000, 100_000):
        passage = long_passage(notes)
        times = 1 if notes > 50_000 else 2
        data = write_musicxml(passage)
        writing = least_s(lambda passage=passage: write_musicxml(passage), times)
        reading = least_s(lambda data=data: read_score(data, name="scale.musicxml"), times)
        lines.append(
            f"| {notes:,} | {len(data) / 1e6:.1f} | {reading:.3f} | {1e6 * reading / notes:.0f} "
            f"| {writing:.3f} | {1e6 * writing / notes:.0f} |"
        )
    return lines


def try_damaged(count: int, seed: int, results: multiprocessing.Queue[tuple[str, str, float]]) -> None:
    """Read damaged scores in a process of its own whose memory is bounded where the system allows."""
    with contextlib.suppress(ImportError, ValueError):
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (MOST_MB * 1024**2, MOST_MB * 1024**2))
    for name, data in damaged(count, seed=seed):
        start = time.process_time()
        try:
            outcome = "read" if read_score(data, name=name).notes else "empty"
        except TruestopError as error:
            outcome = "refused" if str(error).strip() and error.hint else "refused without a remedy"
        except MemoryError:
            outcome = f"more than {MOST_MB} MB"
        except BaseException as error:
            outcome = f"crashed: {type(error).__name__}"
        results.put((name, outcome, time.process_time() - start))


def damage_table(count: int, seed: int) -> list[str]:
    """What became of ``count`` damaged scores."""
    results: multiprocessing.Queue[tuple[str, str, float]] = multiprocessing.Queue()
    process = multiprocessing.Process(target=try_damaged, args=(count, seed, results))
    process.start()
    outcomes: Counter[tuple[str, str]] = Counter()
    slowest_s = 0.0
    for _ in range(count):
        name, outcome, taken_s = results.get(timeout=60)
        slowest_s = max(slowest_s, taken_s)
        outcomes[Path(name).suffix, f"over {LONGEST_S:g} s" if taken_s > LONGEST_S else outcome] += 1
    process.join()
    kinds = sorted({outcome for _, outcome in outcomes}, reverse=True)
    lines = [f"| file | {' | '.join(kinds)} |", "|---|" + "---|" * len(kinds)]
    lines += [
        f"| {suffix} | " + " | ".join(str(outcomes[suffix, kind]) for kind in kinds) + " |"
        for suffix in sorted({suffix for suffix, _ in outcomes})
    ]
    return [
        *lines,
        "",
        f"Slowest: {slowest_s:.2f} s of processor time; memory bounded at {MOST_MB} MB of address space. Seed {seed}.",
    ]


def write_section(mark: str, lines: list[str], page: Path = PAGE) -> None:
    """Put ``lines`` between the page's marks for this section."""
    begin, end = f"<!-- reading {mark}: begin -->", f"<!-- reading {mark}: end -->"
    text = page.read_text(encoding="utf-8")
    before, rest = text.split(begin)
    page.write_text(begin.join((before, "\n" + "\n".join(lines) + "\n" + end + rest.split(end)[1])), encoding="utf-8")


def main() -> None:
    """Print a table; with ``--write`` keep it."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("what", choices=("speed", "damage"))
    options.add_argument("--count", type=int, default=10_000)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--write", action="store_true")
    chosen = options.parse_args()
    if chosen.what == "speed":
        lines = [*movements_table(), "", *growth_table()]
    else:
        lines = damage_table(chosen.count, chosen.seed)
    print("\n".join(lines))
    if chosen.write:
        write_section(chosen.what, lines)


if __name__ == "__main__":
    main()
