"""Proposing: several really different fingerings, each with its cost in trade words.

Conventions: proposals come cheapest first. How different they are is told in ``alternatives``.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from truestop.domain.fingerboard import place_to_mm
from truestop.domain.fingering.alternatives import different_ways
from truestop.domain.fingering.complete import NO_PINS, pose, put_in_hand
from truestop.domain.fingering.grips import Grip
from truestop.domain.fingering.movement import SLOW_SHARES, edition_cost, weigh_parts
from truestop.domain.fingering.prices import prices
from truestop.domain.fingering.search import Pin, Problem, time_levels
from truestop.domain.fingering.weights import GROUPS, USUAL, Style
from truestop.domain.frame import RESTING, first_finger_place
from truestop.domain.instrument import Instrument
from truestop.domain.passage import Passage
from truestop.domain.shift import Way
from truestop.domain.stop import FingeredPassage
from truestop.domain.way import find_way

Terms = tuple[tuple[str, float], ...]
"""Costs with the group of each."""
Known = dict[tuple[Hashable, ...], Terms]
"""What holding a choice, or getting from one to another, costs in a circumstance."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """One fingering of a passage and what it costs."""

    fingered: FingeredPassage
    way: Way
    cost: float
    """In the units of ``weights``; smaller is easier."""
    parts: Mapping[str, float]
    """The cost by groups: 'shifts', 'crossings', 'stretches', 'finger changes', 'positions', 'open strings'…"""
    shifts: int
    travel_mm: float
    """Way of the first finger's place through all shifts, up and down added."""
    crossings: int
    stretches: int
    open_strings: int
    fourth_fingers: int

    @property
    def summary(self) -> str:
        """The proposal in a player's words."""
        return (
            f"{_count(self.shifts, 'shift')} ({self.travel_mm:.0f} mm), {_count(self.crossings, 'string crossing')}, "
            f"{_count(self.stretches, 'stretch', 'stretches')}, {_count(self.open_strings, 'open string')}"
        )


def propose_fingerings(
    passage: Passage,
    instrument: Instrument,
    n: int = 3,
    *,
    style: Style = USUAL,
    pins: Mapping[str, Pin] = NO_PINS,
    numbering: str = "lower-upper",
) -> tuple[Proposal, ...]:
    """Up to ``n`` really different fingerings, the easiest first; marks and pins are kept in each.

    Fewer come back where the marks leave no more. Raises FingeringError like ``finger_passage``.
    """
    problem = pose(passage, instrument, style, pins)
    paths = different_ways(problem, max(1, n))
    known: Known = {}
    proposals = [_propose(passage, problem, path, numbering, known) for path in paths]
    return tuple(sorted(proposals, key=lambda proposal: proposal.cost))


def _propose(passage: Passage, problem: Problem, path: Sequence[int], numbering: str, known: Known) -> Proposal:
    shelf = problem.shelf
    fingered = put_in_hand(passage, problem, path, numbering)
    way = find_way(fingered)
    grips = [choices.grips[index] for choices, index in zip(problem.choices, path, strict=True)]
    stops = [stop for step in fingered.steps for stop in step.stops]
    parts = cost_parts(problem, path, known)
    return Proposal(
        fingered=fingered,
        way=way,
        cost=sum(parts.values()),
        parts=parts,
        shifts=len(way.shifts),
        travel_mm=_travelled_mm(way, shelf.instrument),
        crossings=sum(not _share_string(before, now) for before, now in pairwise(grips)),
        stretches=sum(stop.is_fingered and stop.shape not in RESTING for stop in stops),
        open_strings=sum(stop.is_open for stop in stops),
        fourth_fingers=sum(stop.finger.value == "4" for stop in stops),
    )


def _share_string(before: Grip, now: Grip) -> bool:
    return bool({touch.string for touch in before.touches} & {touch.string for touch in now.touches})


def _travelled_mm(way: Way, instrument: Instrument) -> float:
    total = 0.0
    for shift in way.shifts:
        ends = [
            place_to_mm(first_finger_place(stop.placement or 0, stop.shape == "thumb"), instrument.length_mm)
            for stop in (shift.departure[0], shift.arrival[0])
        ]
        total += abs(ends[1] - ends[0])
    return total


def cost_parts(problem: Problem, path: Sequence[int], known: Known) -> dict[str, float]:
    """The cost of a path by groups of terms, in the order of ``GROUPS``; ``known`` keeps what music repeats."""
    parts = dict.fromkeys(GROUPS, 0.0)
    for index, (moment, choices) in enumerate(zip(problem.moments, problem.choices, strict=True)):
        when = problem.when[index]
        here = (choices.serial, path[index], time_levels(moment), when.bearing)
        if here not in known:
            known[here] = _holding(problem, index, path[index])
        found = known[here]
        if index:
            before = (problem.choices[index - 1].serial, path[index - 1])
            there = (*before, *here[:2], when)
            if there not in known:
                known[there] = _moving(problem, index, (path[index - 1], path[index]))
            found = found + known[there]
        for group, cost in found:
            parts[group] += cost
    return parts


def _holding(problem: Problem, index: int, row: int) -> Terms:
    shelf, choices, levels = problem.shelf, problem.choices[index], time_levels(problem.moments[index])
    slow = SLOW_SHARES[levels[0]]
    return (
        *((group, float(cost[row])) for group, cost in shelf.bearing(choices, levels, problem.when[index])),
        *(
            (price.group, price.always + slow * price.slow + max(0.0, 1.0 - slow) * price.quick)
            for price in prices(choices.grips[row], choices.wishes, shelf.instrument, shelf.style)
        ),
    )


def _moving(problem: Problem, index: int, pair: tuple[int, int]) -> Terms:
    shelf, when = problem.shelf, problem.when[index]
    movement = shelf.movement(problem.choices[index - 1], problem.choices[index]).between(pair)
    groups = ("shifts", "crossings", "finger changes")
    costs = [float(cost[0, 0]) for cost in weigh_parts(movement, when, shelf.style)]
    edition = (("edition", float(edition_cost(movement, when, shelf.style)[0, 0])),) if when.edition else ()
    return (*zip(groups, costs, strict=True), *edition)


def _count(number: int, one: str, many: str = "") -> str:
    return f"{number} {one if number == 1 else many or one + 's'}"
