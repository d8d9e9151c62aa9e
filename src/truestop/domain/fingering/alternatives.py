"""Really different ways through one problem: a dynamic programme that counts differences as it goes.

Conventions: the moments fall into *stretches* of ``STRETCH``. Each further way is the cheapest of all that take at
least ``WANTED_SHARE`` of the notes of every stretch with another string or finger than each way before it; a stretch in
which marks leave less differs as much as it can. The search is exact for that rule over the choices that
``_worth_keeping`` keeps: a state is a choice and, for every way before, how many notes of the stretch differ so far.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise, product
from typing import cast

import numpy as np
from numpy.typing import NDArray

from truestop.domain.fingering.choices import Floats
from truestop.domain.fingering.complete import solve_alike
from truestop.domain.fingering.figures import liken_figures
from truestop.domain.fingering.search import Problem, local_cost, step_cost

STRETCH = 12
WANTED_SHARE = 1 / 6
"""Share of a stretch's notes that another way takes otherwise."""
TOO_DEAR = 8.0
"""A choice is left out where the cheapest way through it costs this much more than the cheapest of all."""
FEWEST_KEPT = 4
SHORT = 1000.0
"""Laid on every difference that a stretch falls short of: more than any way costs there."""
MOST_COUNTED = 4
"""Differences are counted from so many ways at most, the latest; the others are only made dearer."""
PUSH = 1.0
"""Laid on what each way takes from which differences are not counted."""

Path = tuple[int, ...]
Rows = NDArray[np.intp]


def different_ways(problem: Problem, n: int) -> list[Path]:
    """Up to ``n`` ways: the cheapest, then each the cheapest that differs from those before it."""
    ways = [solve_alike(problem)]
    kept = _worth_keeping(problem, ways[0]) if n > 1 else None
    while kept is not None and len(ways) < n:
        search = _Search(problem, tuple(ways[-MOST_COUNTED:]), kept)
        pushed = _pushed(problem, ways[:-MOST_COUNTED])
        way = search.solve(pushed)
        alike = liken_figures(problem, way)
        way = search.solve(_both(pushed, alike)) if alike else way
        if not all(_differ(problem, way, old) for old in ways):
            break
        ways.append(way)
    return ways


def _pushed(problem: Problem, ways: Sequence[Path]) -> dict[int, Floats]:
    """A cost on every choice that the ways take, once for each."""
    pushed: dict[int, Floats] = {}
    for index, choices in enumerate(problem.choices if ways else ()):
        taken = [choices.ways[way[index]] for way in ways]
        pushed[index] = np.array([PUSH * taken.count(one) for one in choices.ways], np.float32)
    return pushed


def _both(one: Mapping[int, Floats], other: Mapping[int, Floats]) -> dict[int, Floats]:
    """Two sets of extra costs added up."""
    return {**one, **{index: cost + one[index] if index in one else cost for index, cost in other.items()}}


def _differ(problem: Problem, one: Path, other: Path) -> bool:
    """Whether two ways differ in two notes at least (one, where there are no more)."""
    pairs = zip(problem.choices, one, other, strict=True)
    return sum(choices.ways[a] != choices.ways[b] for choices, a, b in pairs) >= min(2, max(1, len(one) - 1))


@dataclass(frozen=True, slots=True)
class _Kept:
    """The choices that a good way may take, cut out once for every further way."""

    rows: list[Rows]
    """For every moment the rows of its choices that are kept."""
    local: list[Floats]
    steps: list[Floats]
    """[moment][choice before, choice]: the cost of getting there; nothing for the first moment."""


def _worth_keeping(problem: Problem, way: Path) -> _Kept:
    """The choices that a good way may take, those of ``way`` among them."""
    last = len(problem.moments) - 1
    local = [local_cost(problem, index) for index in range(last + 1)]
    steps = [np.zeros((0, 0), np.float32), *(step_cost(problem, index) for index in range(1, last + 1))]
    forward = [local[0]]
    for index in range(1, last + 1):
        forward.append((forward[-1][:, None] + steps[index]).min(axis=0) + local[index])
    backward: Floats = np.zeros(len(problem.choices[last].grips), np.float32)
    kept: list[Rows] = []
    for index in range(last, -1, -1):
        through = forward[index] + backward
        enough = np.partition(through, min(FEWEST_KEPT, len(through)) - 1)[min(FEWEST_KEPT, len(through)) - 1]
        good = through <= max(float(through.min()) + TOO_DEAR, float(enough))
        good[way[index]] = True
        kept.append(np.flatnonzero(good))
        if index:
            backward = (steps[index] + (local[index] + backward)[None, :]).min(axis=1)
    rows = kept[::-1]
    return _Kept(
        rows,
        [cost[here] for cost, here in zip(local, rows, strict=True)],
        [steps[0], *(cost[np.ix_(*ends)] for cost, ends in zip(steps[1:], pairwise(rows), strict=True))],
    )


@dataclass(frozen=True, slots=True)
class _Counts:
    """How counts of differences move on, for a number of ways before and a quota."""

    missing: Floats
    """[state]: what the stretch falls short of, over all ways."""
    origins: NDArray[np.intp]
    """[place, state, code]: states that come to ``state`` with a choice whose bits ``code`` tell which ways it leaves;
    the number of states where there is none."""

    @property
    def states(self) -> int:
        """How many states there are."""
        return len(self.missing)


@cache
def _counts(ways: int, quota: int) -> _Counts:
    tuples = list(product(range(quota + 1), repeat=ways))
    number = {counts: state for state, counts in enumerate(tuples)}
    origins = np.full((2**ways, len(tuples), 2**ways), len(tuples), np.intp)
    for code in range(2**ways):
        filled = [0] * len(tuples)
        for state, counts in enumerate(tuples):
            after = number[tuple(min(quota, count + (code >> way & 1)) for way, count in enumerate(counts))]
            origins[filled[after], after, code] = state
            filled[after] += 1
    missing = np.array([sum(quota - count for count in counts) for counts in tuples], np.float32)
    return _Counts(missing, origins)


@dataclass(frozen=True, slots=True)
class _Trace:
    """What a moment was reached from: enough to find again where one state and choice was best reached from."""

    total: Floats | None
    """[state, choice before]: the cost of getting so far; None at the first moment."""
    reached: Floats
    """[state, choice]: the cost with this moment, before its own differences were counted; the last row is infinite,
    for states that nothing comes to.
    """
    closed: NDArray[np.intp] | None
    """[choice before]: the state in which the stretch before was closed; None inside a stretch."""


class _Search:
    """The programme for one more way."""

    def __init__(self, problem: Problem, ways: tuple[Path, ...], kept: _Kept) -> None:
        self._problem, self._kept = problem, kept
        self._quotas = _quotas(len(problem.moments))
        self._ways = len(ways)
        known: dict[tuple[int, bytes], NDArray[np.intp]] = {}
        self._origins = [self._origins_of(index, ways, known) for index in range(len(problem.moments))]

    def _origins_of(
        self, index: int, ways: Sequence[Path], known: dict[tuple[int, bytes], NDArray[np.intp]]
    ) -> NDArray[np.intp]:
        """[place, state, choice]: where in the flat costs of the moment each count comes from; ``known`` keeps them."""
        numbers = self._problem.choices[index].way_numbers
        taken = numbers[self._kept.rows[index]]
        code = np.zeros(len(taken), np.intp)
        for place, way in enumerate(ways):
            code += (taken != numbers[way[index]]).astype(np.intp) << place
        key = (self._quotas[index], code.tobytes())
        if key not in known:
            known[key] = self._at(index).origins[:, :, code] * len(taken) + np.arange(len(taken))
        return known[key]

    def solve(self, extra: Mapping[int, Floats]) -> Path:
        """The cheapest way that differs as it should; ``extra`` adds to the cost of single choices."""
        reached = self._start(extra)
        total, traces = self._count(0, reached), [_Trace(None, reached, None)]
        for index in range(1, len(self._problem.moments)):
            total, trace = self._step(index, total, extra)
            traces.append(trace)
        total = total + SHORT * self._at(len(self._problem.moments) - 1).missing[:, None]
        return self._walk_back(traces, np.unravel_index(int(total.argmin()), total.shape))

    def _at(self, index: int) -> _Counts:
        return _counts(self._ways, self._quotas[index])

    def _start(self, extra: Mapping[int, Floats]) -> Floats:
        return self._opened(0, self._local(0, extra))

    def _local(self, index: int, extra: Mapping[int, Floats]) -> Floats:
        local = self._kept.local[index]
        return local + extra[index][self._kept.rows[index]] if index in extra else local

    def _step(self, index: int, total: Floats, extra: Mapping[int, Floats]) -> tuple[Floats, _Trace]:
        closed: NDArray[np.intp] | None = None
        if index % STRETCH == 0:
            total, closed = self._close(index, total)
        ways, local = total[:, :, None] + self._kept.steps[index], self._local(index, extra)
        if closed is not None:
            reached = self._opened(index, ways[0].min(axis=0) + local)
        else:
            reached = np.full((len(ways) + 1, len(local)), np.inf, np.float32)
            ways.min(axis=1, out=reached[:-1])
            reached[:-1] += local
        return self._count(index, reached), _Trace(total, reached, closed)

    def _close(self, index: int, total: Floats) -> tuple[Floats, NDArray[np.intp]]:
        """The stretch before ends: for each choice the best state, as the one row that is left."""
        full = total + SHORT * self._at(index - 1).missing[:, None]
        closed = full.argmin(axis=0)
        return full[closed, np.arange(len(closed))][None, :], closed

    def _opened(self, index: int, reached: Floats) -> Floats:
        """A new stretch begins: nothing counted yet."""
        total = np.full((self._at(index).states + 1, len(reached)), np.inf, np.float32)
        total[0] = reached
        return total

    def _count(self, index: int, reached: Floats) -> Floats:
        """Count each choice's differences: the cost by the state after."""
        return cast(Floats, reached.take(self._origins[index]).min(axis=0))

    def _walk_back(self, traces: Sequence[_Trace], end: tuple[np.intp, ...]) -> Path:
        """The way that ends there, each step found again from what it was reached from."""
        state, column = int(end[0]), int(end[1])
        path: list[int] = []
        for index in range(len(traces) - 1, -1, -1):
            trace = traces[index]
            path.append(int(self._kept.rows[index][column]))
            if trace.total is None:
                break
            origins = self._origins[index][:, state, column]
            state = int(origins[trace.reached.take(origins).argmin()]) // trace.reached.shape[1]
            row = trace.total[0 if trace.closed is not None else state]
            column = int((row + self._kept.steps[index][:, column]).argmin())
            state = int(trace.closed[column]) if trace.closed is not None else state
        return tuple(reversed(path))


def _quotas(moments: int) -> list[int]:
    """For every moment, how many notes of its stretch have to differ."""
    quotas: list[int] = []
    for start in range(0, moments, STRETCH):
        length = min(STRETCH, moments - start)
        wanted = max(1, round(WANTED_SHARE * length))
        if moments <= STRETCH:
            wanted = max(wanted, min(2, moments - 1), 1)
        quotas += [wanted] * length
    return quotas
