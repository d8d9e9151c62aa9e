"""Repeated figures: what came before is fingered as before.

Conventions: a figure is ``FIGURE_LENGTH`` moments with the same pitches and time values. Its places vote on one way to
take each of its notes; taking it otherwise then costs ``Weights.unlike``.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence

import numpy as np

from truestop.domain.fingering.choices import Choices, Floats, Grip
from truestop.domain.fingering.moments import Moment
from truestop.domain.fingering.search import Problem

FIGURE_LENGTH = 5

Way = tuple[tuple[int, str], ...]


def liken_figures(problem: Problem, path: Sequence[int]) -> dict[int, Floats]:
    """Extra costs for moments inside repeated figures that are taken otherwise than most of their likes."""
    keys = [_key(moment) for moment in problem.moments]
    ways = [_way(choices.grips[index]) for choices, index in zip(problem.choices, path, strict=True)]
    votes: dict[int, Counter[Way]] = defaultdict(Counter)
    for starts in _repeats(keys).values():
        for offset in range(FIGURE_LENGTH):
            usual = Counter(ways[start + offset] for start in starts).most_common(1)[0][0]
            for start in starts:
                votes[start + offset][usual] += 1
    unlike = problem.shelf.style.weights.unlike
    return {index: _unlike(problem.choices[index], vote.most_common(1)[0][0], unlike) for index, vote in votes.items()}


def _key(moment: Moment) -> tuple[object, ...]:
    return (tuple(note.pitch.midi for note in moment.notes), moment.duration, moment.grace, moment.part)


def _repeats(keys: Sequence[tuple[object, ...]]) -> dict[tuple[object, ...], list[int]]:
    starts: dict[tuple[object, ...], list[int]] = defaultdict(list)
    for start in range(len(keys) - FIGURE_LENGTH + 1):
        starts[tuple(keys[start : start + FIGURE_LENGTH])].append(start)
    return {figure: found for figure, found in starts.items() if len(found) > 1 and len(set(figure)) > 1}


def _way(grip: Grip) -> Way:
    return tuple((touch.string, touch.finger.value) for touch in grip.touches)


def _unlike(choices: Choices, way: Way, cost: float) -> Floats:
    return np.array([0.0 if _way(grip) == way else cost for grip in choices.grips], np.float32)
