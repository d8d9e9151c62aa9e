"""A folder of passages into a folder of sheets.

Conventions: every passage is worked on in a process of its own from a pool, so that the cores share the work and a
passage that kills its process spoils no other. A file appears under its name only when it is whole.
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path

from truestop.domain.errors import DrillError, TruestopError

SCORE_SUFFIXES = (".musicxml", ".xml", ".mxl", ".abc")

#: Makes the sheet of one passage; a function of a module, so that another process can find it.
SheetMaker = Callable[[Path], bytes]


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """What came of one passage: a sheet, or the sentence that says why not."""

    source: Path
    target: Path
    problem: str | None = None


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a batch is."""

    done: int
    of: int
    last: Made


def find_passages(folder: Path) -> tuple[Path, ...]:
    """The scores in a folder by name; DrillError where there is none."""
    if folder.is_file():
        hint = "Name the folder that holds it; truestop sheet makes one sheet."
        raise DrillError("This is a file, not a folder.", where=str(folder), hint=hint)
    if not folder.is_dir():
        raise DrillError("There is no such folder.", where=str(folder), hint="Name a folder that holds scores.")
    found = tuple(sorted(path for path in folder.iterdir() if path.suffix.lower() in SCORE_SUFFIXES))
    if not found:
        endings = ", ".join(SCORE_SUFFIXES)
        raise DrillError("The folder holds no score.", where=str(folder), hint=f"Scores end in {endings}.")
    return found


def name_targets(sources: Sequence[Path], folder: Path, suffix: str) -> tuple[Path, ...]:
    """The sheet's file for every source: its stem, or its whole name where two have the same stem."""
    stems = Counter(source.stem.lower() for source in sources)
    return tuple(
        folder / f"{source.stem if stems[source.stem.lower()] == 1 else source.name}{suffix}" for source in sources
    )


def make_sheets(
    sources: Sequence[Path],
    folder: Path,
    *,
    make_one: SheetMaker,
    suffix: str = ".pdf",
    workers: int | None = None,
    on_progress: Callable[[Progress], None] = lambda progress: None,
) -> tuple[Made, ...]:
    """The sheets of all ``sources`` in ``folder``, in the order of the sources, whatever became of each.

    Where a process dies, the passages that were being worked on are tried once more, each alone, and the others go on
    together; ``workers`` is the number of processes, by default that of the cores.
    """
    folder.mkdir(parents=True, exist_ok=True)
    targets = dict(zip(sources, name_targets(sources, folder, suffix), strict=True))
    count = workers or os.cpu_count() or 1
    made: dict[Path, Made] = {}

    def finish(source: Path, result: bytes | TruestopError) -> None:
        made[source] = _keep(source, targets[source], result)
        on_progress(Progress(len(made), len(sources), made[source]))

    waiting = list(sources)
    while waiting:
        for source, result in _work_together(waiting, make_one, count):
            finish(source, result)
        waiting = [source for source in waiting if source not in made]
        for source in waiting[: count + 1]:
            finish(source, _work_alone(source, make_one))
        waiting = waiting[count + 1 :]
    return tuple(made[source] for source in sources)


def _work_together(
    sources: Sequence[Path], make_one: SheetMaker, count: int
) -> Iterator[tuple[Path, bytes | TruestopError]]:
    """Results as they come; ends early when a process dies. Passages are begun in their order."""
    with ProcessPoolExecutor(max_workers=min(count, len(sources)), mp_context=get_context("spawn")) as pool:
        futures = {pool.submit(_work, make_one, source): source for source in sources}
        for future in as_completed(futures):
            try:
                result = future.result()
            except BrokenProcessPool:
                continue
            yield futures[future], result


def _work_alone(source: Path, make_one: SheetMaker) -> bytes | TruestopError:
    with ProcessPoolExecutor(max_workers=1, mp_context=get_context("spawn")) as pool:
        future: Future[bytes | TruestopError] = pool.submit(_work, make_one, source)
        try:
            return future.result()
        except BrokenProcessPool:
            return DrillError("The process that worked on it ended.", hint="Try the passage alone, or fewer bars.")


def _work(make_one: SheetMaker, source: Path) -> bytes | TruestopError:
    """In the worker: whatever is wrong with one passage comes back as a value and stops no other."""
    try:
        return make_one(source)
    except TruestopError as error:
        return error
    except Exception as error:
        return DrillError(f"A fault of ours: {error!r}.", where=source.name, hint="Please report it with the passage.")


def _keep(source: Path, target: Path, result: bytes | TruestopError) -> Made:
    if isinstance(result, TruestopError):
        return Made(source=source, target=target, problem=_said_of(source, result))
    part = target.with_name(f"{target.name}.part")
    part.write_bytes(result)
    part.replace(target)
    return Made(source=source, target=target)


def _said_of(source: Path, error: TruestopError) -> str:
    """What went wrong, with the file's name in front where the words do not hold it."""
    words = f"{error} {error.hint}".strip()
    return words if source.name in words else f"{source.name}: {words}"
