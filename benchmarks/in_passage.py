"""Landings heard in whole performances of a passage, against known truth (benchmarks.performing).

python -m benchmarks.in_passage [COUNT] [--write] [--families violin,cello] [--bows slurred]
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path

import numpy as np
from benchmarks.one_thread import on_one_thread
from benchmarks.performing import (
    CONDITIONS,
    FAMILIES,
    Bow,
    Performance,
    PlayedStep,
    perform,
    perform_again_and_again,
    study_for,
)
from benchmarks.tables import replace_section, table

from truestop.app.mainjob import InHand
from truestop.app.performance import Performed, judge_performance
from truestop.domain.attempt import Verdict

ACCURACY = Path(__file__).parent.parent / "docs" / "accuracy.md"
TOLERANCE_CENTS, CLEAR_CENTS, MET_WITHIN_S = 20.0, 1.5, 0.35


@dataclass(slots=True)
class Tally:
    """Counts over performances of one kind."""

    performances: int = 0
    due: int = 0
    met: int = 0
    spurious: int = 0
    judged: int = 0
    clear: int = 0
    right: int = 0
    errors: list[float] = field(default_factory=list)
    """Cents, absolute."""

    def add(self, other: Tally) -> None:
        """Count ``other`` in."""
        for name in ("performances", "due", "met", "spurious", "judged", "clear", "right"):
            setattr(self, name, getattr(self, name) + getattr(other, name))
        self.errors += other.errors

    @property
    def cells(self) -> list[str]:
        """A row of the table."""
        errors = np.array(self.errors or [np.nan])
        return [str(self.performances), str(self.due), str(self.met), str(self.spurious), str(self.judged),
                f"{errors.mean():.2f}", f"{np.median(errors):.2f}", f"{np.percentile(errors, 90):.2f}",
                f"{self.right} of {self.clear}"]  # fmt: skip


def tally(study: InHand, performance: Performance, found: tuple[Performed, ...]) -> Tally:
    """Match found shifts with those that were played, by place in time."""
    into = Tally(performances=1)
    left = list(found)
    by_arrival = {shift.arrival_step: shift for shift in study.way.shifts}
    for before, step in pairwise(performance.steps):
        shift = by_arrival.get(step.index)
        if shift is None or before.index != step.index - 1 or shift.arrival[0].is_open or shift.arrival[0].harmonic:
            continue
        into.due += 1
        mine = [one for one in left if one.shift.number == shift.number and _is_there(one, step)]
        if not mine:
            continue
        left.remove(mine[0])
        into.met += 1
        _count(mine[0], step, into)
    into.spurious += sum(one.attempt.verdict is not Verdict.UNJUDGED and _is_stopped(one) for one in left)
    return into


def _is_stopped(one: Performed) -> bool:
    return not (one.shift.arrival[0].is_open or one.shift.arrival[0].harmonic)


def _is_there(one: Performed, step: PlayedStep) -> bool:
    at_s = one.attempt.arrival_s if one.attempt.arrival_s is not None else one.attempt.end_s
    return step.start_s - MET_WITHIN_S <= at_s <= step.end_s + MET_WITHIN_S


def _count(one: Performed, step: PlayedStep, into: Tally) -> None:
    attempt = one.attempt
    if attempt.landing_cents is None or attempt.verdict is Verdict.UNJUDGED:
        return
    into.judged += 1
    into.errors.append(abs(attempt.landing_cents - step.cents))
    if abs(abs(step.cents) - TOLERANCE_CENTS) < CLEAR_CENTS:
        return
    into.clear += 1
    off = abs(step.cents) > TOLERANCE_CENTS
    word = Verdict.HIGH if step.cents > 0 else Verdict.LOW
    into.right += (word.value in attempt.faults) if off else not {"high", "low"} & set(attempt.faults)


Key = tuple[str, Bow, str, str]
"""Instrument, bow, condition, and 'once' or 'again and again'."""


def hear(count: int, families: Sequence[str], bows: Sequence[Bow], again: int) -> Iterator[tuple[Key, Tally]]:
    """Every performance with what was heard of it."""
    for family in families:
        study = study_for(family)
        for bow in bows:
            for kind, make, many in (("once", perform, count), ("again", perform_again_and_again, again)):
                for number in range(many):
                    performance = make(family, number, bow)
                    one = tally(study, performance, judge_performance(study, performance.sound))
                    yield (family, bow, CONDITIONS[number % 3], kind), one


def _sums(found: dict[Key, Tally], kind: str, by: tuple[int, ...]) -> dict[tuple[str, ...], Tally]:
    sums: dict[tuple[str, ...], Tally] = {}
    for key, one in found.items():
        if key[3] == kind:
            sums.setdefault(tuple(str(key[place]) for place in by), Tally()).add(one)
    return sums


HEADS = ["performances", "shifts", "met", "spurious", "judged", "mean error, cents", "median", "90 %", "words right"]


def report(count: int, again: int, families: Sequence[str], bows: Sequence[Bow]) -> Iterator[str]:
    """The section of docs/accuracy.md."""
    found: dict[Key, Tally] = {}
    for key, one in hear(count, families, bows, again):
        found.setdefault(key, Tally()).add(one)
    yield from ("## In the passage", "", f"`python -m benchmarks.in_passage {count} --again {again} --write`", "",
        "The built-in study on the violin, and a melody of their own on viola, cello and bass (`benchmarks/music`),",
        "phrased from recorded notes, each performance with a stumble and a repeat or a cut, tempo wandering by a",
        "quarter. *Slurred*: new bows only after rests and where the player begins again; *detached*: a bow and",
        "20–60 ms of silence for every note. *Met*: shifts found where they were played. *Spurious*: judged, but not",
        f"played there. *Words right*: high, low or neither, landings over {CLEAR_CENTS} cents off a limit.",
        "",
    )  # fmt: skip
    yield from table(["instrument", "bow", *HEADS], _rows(_sums(found, "once", (0, 1))))
    yield ""
    yield from table(["instrument", "", *HEADS], _rows(_sums(found, "once", (0, 2))))
    yield from (
        "",
        "One bar with a shift six times in a row, a breath between or none, some bars before and after:",
        "",
    )
    yield from table(["instrument", "bow", *HEADS], _rows(_sums(found, "again", (0, 1))))


def _rows(sums: dict[tuple[str, ...], Tally]) -> list[list[str]]:
    return [[*key, *one.cells] for key, one in sums.items()]


def main() -> None:
    """Print the section, or put it into docs/accuracy.md."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("count", nargs="?", type=int, default=9)
    parser.add_argument("--again", type=int, default=6)
    parser.add_argument("--families", default=",".join(FAMILIES))
    parser.add_argument("--bows", default=",".join(Bow))
    parser.add_argument("--write", action="store_true")
    chosen = parser.parse_args()
    bows = [Bow(name) for name in chosen.bows.split(",")]
    lines = list(report(chosen.count, chosen.again, chosen.families.split(","), bows))
    print("\n".join(lines))
    if chosen.write:
        replace_section(ACCURACY, "in-passage", lines)


if __name__ == "__main__":
    on_one_thread("benchmarks.in_passage")
    main()
