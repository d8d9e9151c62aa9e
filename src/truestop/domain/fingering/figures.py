"""Repeated figures and sequences: what comes again is fingered as before.

Conventions: a *figure* is ``FIGURE_LENGTH`` moments of the same pitches and time values; its places vote on one way to
take each of its notes. A *sequence* is a group of ``period`` moments that comes at least ``FEWEST_GROUPS`` times in a
row on other steps of the scale; the fingers of one of its groups serve for all where that costs least. Taking a note
otherwise costs ``Weights.unlike`` and ``Weights.unlike_sequence``.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from truestop.domain.fingering.choices import Choices, Floats, Way
from truestop.domain.fingering.moments import Moment
from truestop.domain.fingering.search import Problem, solve_within

FIGURE_LENGTH = 5
PERIODS = range(2, 9)
FEWEST_GROUPS = 3
MOST_TEMPLATES = 3
WIDEST_STEP = 2
"""Letters from one group of a sequence to the next."""

Fingers = tuple[str, ...]
Key = tuple[object, ...]


@dataclass(frozen=True, slots=True)
class Climb:
    """A sequence: where it starts, how long a group is, how many groups there are."""

    start: int
    period: int
    groups: int

    @property
    def stop(self) -> int:
        """The first moment after it."""
        return self.start + self.period * self.groups


@dataclass(frozen=True, slots=True)
class Patterns:
    """What comes again in a passage, whatever its marks."""

    figures: tuple[tuple[int, ...], ...]
    """The moments at which each figure begins."""
    climbs: tuple[Climb, ...]


def find_patterns(moments: Sequence[Moment]) -> Patterns:
    """Repeated figures and sequences."""
    numbers: dict[Key, int] = {}
    keys = [numbers.setdefault(_key(moment), len(numbers)) for moment in moments]
    return Patterns(tuple(tuple(starts) for starts in _repeats(keys).values()), tuple(find_sequences(moments)))


def liken_figures(problem: Problem, path: Sequence[int], patterns: Patterns | None = None) -> dict[int, Floats]:
    """Extra costs for moments of repeated figures and sequences that are taken otherwise than their likes."""
    patterns = patterns or find_patterns(problem.moments)
    extra = _figures(problem, path, patterns)
    for climb in patterns.climbs:
        for index, cost in _sequence(problem, path, climb).items():
            extra[index] = extra[index] + cost if index in extra else cost
    return extra


def _figures(problem: Problem, path: Sequence[int], patterns: Patterns) -> dict[int, Floats]:
    ways = [choices.ways[index] for choices, index in zip(problem.choices, path, strict=True)]
    votes: dict[int, Counter[Way]] = defaultdict(Counter)
    for starts in patterns.figures:
        for offset in range(FIGURE_LENGTH):
            usual = Counter(ways[start + offset] for start in starts).most_common(1)[0][0]
            for start in starts:
                votes[start + offset][usual] += 1
    unlike = problem.shelf.style.weights.unlike
    return {index: _unlike(problem.choices[index], vote.most_common(1)[0][0], unlike) for index, vote in votes.items()}


def _key(moment: Moment) -> Key:
    return (tuple(note.pitch.midi for note in moment.notes), moment.duration, moment.grace, moment.part)


def _repeats(keys: Sequence[int]) -> dict[tuple[int, ...], list[int]]:
    starts: dict[tuple[int, ...], list[int]] = defaultdict(list)
    for start in range(len(keys) - FIGURE_LENGTH + 1):
        starts[tuple(keys[start : start + FIGURE_LENGTH])].append(start)
    return {figure: found for figure, found in starts.items() if len(found) > 1 and len(set(figure)) > 1}


def _unlike(choices: Choices, way: Way, cost: float) -> Floats:
    return np.array([0.0 if one == way else cost for one in choices.ways], np.float32)


def find_sequences(moments: Sequence[Moment]) -> list[Climb]:
    """Sequences in playing order, none inside another."""
    found: list[Climb] = []
    steps = [_step(before, now) for before, now in pairwise(moments)]
    codes = {step: code for code, step in enumerate(dict.fromkeys(steps))}
    row = np.array([codes[step] for step in steps], np.int64)
    taken = np.zeros(len(moments), bool)
    for period in PERIODS:
        for climb in _climbs(row, period):
            group = steps[climb.start : climb.start + period]
            if taken[climb.start : climb.stop].any() or len(set(group)) < 2 or not _moves(group):
                continue
            taken[climb.start : climb.stop] = True
            found.append(climb)
    return sorted(found, key=lambda climb: climb.start)


def _step(before: Moment, now: Moment) -> Key:
    """The interval in letters between two moments' upper notes, and the time value it starts from."""
    return (
        now.notes[-1].pitch.diatonic - before.notes[-1].pitch.diatonic,
        before.duration,
        len(now.notes),
        now.rest_before,
    )


def _moves(group: Sequence[Key]) -> bool:
    """Whether the group comes back a step or a third away: neither on the same step nor as a broken chord."""
    return 0 < abs(sum(step[0] for step in group if isinstance(step[0], int))) <= WIDEST_STEP


def _climbs(row: NDArray[np.int64], period: int) -> Iterator[Climb]:
    """Stretches in which the steps come again after ``period``."""
    if len(row) <= period:
        return
    again = np.flatnonzero(np.diff(np.concatenate(([False], row[period:] == row[:-period], [False])).astype(np.int8)))
    for start, stop in zip(again[::2], again[1::2], strict=True):
        groups = int((stop - start + 1) // period) + 1
        if groups >= FEWEST_GROUPS:
            yield Climb(int(start), period, groups)


def _sequence(problem: Problem, path: Sequence[int], climb: Climb) -> dict[int, Floats]:
    """The costs that draw the sequence to the group of fingers which serves all its groups most cheaply."""
    groups = [
        tuple(problem.choices[index].fingers[path[index]] for index in range(start, start + climb.period))
        for start in range(climb.start, climb.stop, climb.period)
    ]
    templates = [template for template, _ in Counter(groups).most_common(MOST_TEMPLATES)]
    if len(templates) == 1:
        return dict(_drawn(problem, climb, templates[0]))
    priced = []
    for template in templates:
        extra = dict(_drawn(problem, climb, template))
        priced.append((solve_within(problem, climb.start - 2, climb.stop + 2, extra), extra))
    return min(priced, key=lambda item: item[0])[1]


def _drawn(problem: Problem, climb: Climb, template: Sequence[Fingers]) -> Iterator[tuple[int, Floats]]:
    unlike = problem.shelf.style.weights.unlike_sequence
    for offset, index in enumerate(range(climb.start, climb.stop)):
        wanted = template[offset % climb.period]
        fingers = problem.choices[index].fingers
        yield index, np.array([0.0 if one == wanted else unlike for one in fingers], np.float32)
