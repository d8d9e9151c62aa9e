"""The cheapest way through all moments: a dynamic programme over the choices of each.

Conventions: costs are those of ``weights``. Choices and movements are kept by what they depend on (notes asked, time,
bow), because music repeats itself: a long part costs little more than looking them up.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from itertools import pairwise
from typing import TypeVar

import numpy as np

from truestop.domain.errors import FingeringError
from truestop.domain.fingering.choices import Choices, Floats, make_choices
from truestop.domain.fingering.grips import Grip
from truestop.domain.fingering.lines import NEAREST, let_ring, under_high
from truestop.domain.fingering.moments import Moment
from truestop.domain.fingering.movement import (
    SLOW_SHARES,
    Bearing,
    Circumstance,
    Movement,
    make_movement,
    open_among_slow,
    way_level,
    weigh,
)
from truestop.domain.fingering.touches import Wish, why_impossible, wish_of
from truestop.domain.fingering.weights import Style, weights_for
from truestop.domain.instrument import Instrument
from truestop.domain.passage import Finger, Note
from truestop.domain.position import LETTER_FAMILIES

Key = TypeVar("Key", bound=Hashable)
Value = TypeVar("Value")
MOST_CHOICES_KEPT, MOST_MOVEMENTS_KEPT, MOST_WEIGHED_KEPT = 2000, 1000, 4000
MOST_SHELVES = 6
SPARSELY_MARKED = 0.3
"""An edition that prints a finger on more of its moments than this prints them for other reasons as well."""
LETTING_GO = 9.0
"""Cost of letting go a note that the page still holds."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pin:
    """A player's wish for one note: its finger, its string, or both. It goes before the printed marks."""

    finger: Finger | None = None
    string: int | None = None


@dataclass(slots=True)
class Shelf:
    """Choices and movements already made for one instrument and style."""

    instrument: Instrument
    style: Style
    choices: dict[tuple[tuple[Wish, ...], bool], Choices] = field(default_factory=dict)
    stood: dict[tuple[int, tuple[int, int], Bearing], Floats] = field(default_factory=dict)
    movements: dict[tuple[int, int], Movement] = field(default_factory=dict)
    weighed: dict[tuple[int, int, Circumstance], Floats] = field(default_factory=dict)

    def choices_for(self, wishes: tuple[Wish, ...], high: bool) -> Choices:
        """The choices for the notes asked."""
        return _kept(
            self.choices,
            (wishes, high),
            MOST_CHOICES_KEPT,
            lambda: make_choices(wishes, self.instrument, self.style, high=high),
        )

    def standing(self, choices: Choices, levels: tuple[int, int], when: Circumstance) -> Floats:
        """What holding each grip costs for a note of the length, among notes of the length."""
        key = (choices.serial, levels, when.bearing)
        return _kept(self.stood, key, MOST_WEIGHED_KEPT, lambda: self._stand(choices, levels, when))

    def _stand(self, choices: Choices, levels: tuple[int, int], when: Circumstance) -> Floats:
        slow = SLOW_SHARES[levels[0]]
        cost: Floats = choices.cost + choices.slow * slow + choices.quick * max(0.0, 1.0 - slow)
        for _, part in self.bearing(choices, levels, when):
            cost = cost + part
        return cost

    def bearing(self, choices: Choices, levels: tuple[int, int], when: Circumstance) -> Iterator[tuple[str, Floats]]:
        """What neighbours, bow and edition add to holding each grip, by groups of terms."""
        weights = self.style.weights
        bare = open_among_slow(*levels, weights)
        if bare:
            yield "open strings", choices.open_count * bare
        if when.slurred:
            per_string = weights.open_slur + (choices.high_string == 1) * weights.open_top_slur
            yield "open strings", choices.open_count * per_string
        if when.opens_marked:
            yield "edition", choices.reached * weights.marked_reach
        if when.begins and self.instrument.family in LETTER_FAMILIES:
            yield "positions", (choices.position > 1) * weights.begin_away
        if not when.edition and self.instrument.family in LETTER_FAMILIES:
            quick = np.float32(weights.low_string_deep * max(0.0, 1.0 - SLOW_SHARES[levels[0]]))
            away = (choices.position > 1) & ~choices.is_open
            yield "positions", np.maximum(0, choices.lead_string - 2) * away * quick
            if when.under_high:
                yield "positions", (choices.position <= 1) * (weights.low_under_high * when.under_high / NEAREST)

    def movement(self, before: Choices, now: Choices) -> Movement:
        """The movement between two moments' choices."""
        return _kept(
            self.movements,
            (before.serial, now.serial),
            MOST_MOVEMENTS_KEPT,
            lambda: make_movement(before, now, self.instrument.family, self.style),
        )

    def weigh(self, before: Choices, now: Choices, when: Circumstance) -> Floats:
        """The cost between every pair of choices, in the circumstance."""
        key = (before.serial, now.serial, when)
        return _kept(self.weighed, key, MOST_WEIGHED_KEPT, lambda: weigh(self.movement(before, now), when, self.style))


def _kept(store: dict[Key, Value], key: Key, most: int, make: Callable[[], Value]) -> Value:
    """What the store holds under ``key``, made where it is missing; a full store is emptied first.

    Never looks a key up twice: another thread may empty the store in between.
    """
    value = store.get(key)
    if value is None:
        value = make()
        if len(store) >= most:
            store.clear()
        store[key] = value
    return value


@lru_cache(maxsize=MOST_SHELVES)
def shelf_for(instrument: Instrument, style: Style) -> Shelf:
    """The shelf of an instrument and style: solving again after a change finds most of it done."""
    return Shelf(instrument, replace(style, weights=weights_for(style.weights, instrument.family)))


@dataclass(frozen=True, slots=True)
class Problem:
    """Moments with their choices and circumstances, ready to be solved (again)."""

    moments: tuple[Moment, ...]
    choices: tuple[Choices, ...]
    when: tuple[Circumstance, ...]
    holds: tuple[tuple[tuple[int, int], ...], ...]
    """For each moment the (index before, index now) of every note held over from the moment before."""
    shelf: Shelf
    steps: dict[int, Floats] = field(default_factory=dict, compare=False)
    """What ``step_cost`` has found: a problem is solved many times over."""
    local: dict[int, Floats] = field(default_factory=dict, compare=False)


def state_problem(moments: Sequence[Moment], shelf: Shelf, pins: Mapping[str, Pin]) -> Problem:
    """The problem that the moments pose; FingeringError where a note cannot be played as marked."""
    wishes = [
        (*(_wish(note, pins) for note in moment.notes), *(_wish_held(note, pins) for note in moment.held))
        for moment in moments
    ]
    if not any(note.marks.names_fingers for moment in moments for note in moment.notes):
        wishes = list(let_ring(moments, wishes, shelf.instrument))
    else:
        wishes = list(_as_printed_before(moments, wishes, shelf.instrument))
    marked = [
        any(_tells_of_change(wish) for wish in group[: len(moment.notes)])
        for group, moment in zip(wishes, moments, strict=True)
    ]
    high = _high_neighbourhood(wishes, shelf.instrument)
    choices = []
    for moment, group, is_high in zip(moments, wishes, high, strict=True):
        choices.append(_choices(moment, group, is_high, shelf))
    when = tuple(_circumstances(moments, marked, under_high(moments, shelf.instrument)))
    return Problem(tuple(moments), tuple(choices), when, _holds(moments), shelf)


def _as_printed_before(
    moments: Sequence[Moment], wishes: Sequence[tuple[Wish, ...]], instrument: Instrument
) -> Iterator[tuple[Wish, ...]]:
    """The wishes, with those of open strings' pitches told whether the page had the pitch open or stopped before."""
    opens = {pitch.midi for pitch in instrument.strings}
    printed: dict[int, bool] = {}
    for moment, group in zip(moments, wishes, strict=True):
        for note in moment.notes:
            if note.pitch.midi in opens and note.marks.fingers:
                printed[note.pitch.midi] = note.marks.fingers[-1] is Finger.OPEN
        yield tuple(
            replace(wish, open_before=printed[wish.midi]) if wish.midi in printed and not wish.bound else wish
            for wish in group
        )


def _circumstances(moments: Sequence[Moment], marked: Sequence[bool], near: Sequence[int]) -> Iterator[Circumstance]:
    """What bears on getting to each moment. In a densely marked edition a mark tells nothing of a change."""
    printed = [any(note.marks.names_fingers for note in moment.notes) for moment in moments]
    some, sparse = any(printed), sum(printed) <= SPARSELY_MARKED * len(moments)
    for index, moment in enumerate(moments):
        edition = _edition(marked, index, sparse) if some else 0
        yield Circumstance(
            level=way_level(moment.way_s),
            slurred=moment.bow_continues,
            rest=moment.rest_before,
            on_beat=moment.on_beat,
            edition=edition,
            begins=index == 0 and not some,
            under_high=near[index],
        )


def _edition(marked: Sequence[bool], index: int, sparse: bool) -> int:
    """1: not marked, so the hand should stay; 2: marked where marks are rare, so something changes; 3: so is the first
    note; 0: neither.
    """
    if not marked[index]:
        return 1
    if sparse and index == 0:
        return 3
    return 2 if sparse and not marked[index - 1] else 0


def _wish(note: Note, pins: Mapping[str, Pin]) -> Wish:
    pin, marks = pins.get(note.id), note.marks
    printed = marks.fingers[0] if marks.fingers else None
    if pin is None or (pin.finger is None and pin.string is None):
        return wish_of(note, marks.string, printed, marks.alternates)
    wish = wish_of(
        note,
        pin.string or (marks.string if pin.finger is None else None),
        pin.finger or (printed if pin.string is None else None),
    )
    return replace(wish, hand=None)


def _wish_held(note: Note, pins: Mapping[str, Pin]) -> Wish:
    """What is asked of a note that still sounds: words at its beginning say nothing of the hand now."""
    return replace(_wish(note, pins), hand=None)


def _tells_of_change(wish: Wish) -> bool:
    """Whether the page prints something here that the hand may come with; words for a stretch say that it stays."""
    if wish.hand is not None:
        return wish.hand.position is not None
    return wish.is_fingered


def _high_neighbourhood(wishes: Sequence[tuple[Wish, ...]], instrument: Instrument) -> list[bool]:
    """Whether a note within four moments lies high on string I, or asks for the thumb."""
    bound = instrument.strings[0].midi + (12 if instrument.family in ("violin", "viola") else 9)
    here = np.array(
        [any(wish.midi > bound or wish.finger is Finger.THUMB for wish in group) for group in wishes], float
    )
    return [bool(value) for value in np.convolve(here, np.ones(9), "full")[4 : 4 + len(here)] > 0.5]


def _choices(moment: Moment, wishes: tuple[Wish, ...], high: bool, shelf: Shelf) -> Choices:
    """The choices for a moment; held notes that no hand can keep under the struck ones are let go."""
    try:
        choices = shelf.choices_for(wishes, high)
        if choices.grips[0].together or not moment.held:
            return choices
    except FingeringError:
        if not moment.held:
            raise _fault(moment, wishes, shelf) from None
    return _choices(replace(moment, held=()), wishes[: len(moment.notes)], high, shelf)


def _fault(moment: Moment, wishes: tuple[Wish, ...], shelf: Shelf) -> FingeringError:
    for note, wish in zip(moment.notes, wishes, strict=True):
        try:
            shelf.choices_for((wish,), True)
        except FingeringError:
            what, remedy = why_impossible(wish, shelf.instrument, shelf.style.bass_hand)
            return FingeringError(what, hint=remedy, where=_where(note))
    first = moment.notes[0]
    return FingeringError(
        "no hand plays these notes as marked.",
        hint="Change or remove a mark.",
        where=_where(first),
    )


def _where(note: Note) -> str:
    """The note as the page shows it; strings are told as they sound, so is it where the two differ."""
    sounds = f" (sounding {note.pitch.pretty})" if note.pitch != note.written else ""
    return f"bar {note.measure}, {note.written.pretty}{sounds}"


def _holds(moments: Sequence[Moment]) -> tuple[tuple[tuple[int, int], ...], ...]:
    holds: list[tuple[tuple[int, int], ...]] = [()]
    for before, now in pairwise(moments):
        if not now.held:
            holds.append(())
            continue
        places = {note.id: index for index, note in enumerate((*before.notes, *before.held))}
        holds.append(
            tuple((places[note.id], len(now.notes) + index) for index, note in enumerate(now.held) if note.id in places)
        )
    return tuple(holds)


def solve(problem: Problem, extra: Mapping[int, Floats] | None = None) -> tuple[int, ...]:
    """The index of the chosen grip at every moment; ``extra`` adds a cost to single choices of single moments."""
    totals = _sweep(problem, 0, len(problem.moments), extra)
    path = [int(totals[-1].argmin())]
    for index in range(len(totals) - 1, 0, -1):
        path.append(int((totals[index - 1] + step_cost(problem, index)[:, path[-1]]).argmin()))
    return tuple(reversed(path))


def solve_within(problem: Problem, start: int, stop: int, extra: Mapping[int, Floats] | None = None) -> float:
    """The least cost of the moments from ``start`` to before ``stop``, cut to those there are."""
    return float(_sweep(problem, max(0, start), min(stop, len(problem.moments)), extra)[-1].min())


def _sweep(problem: Problem, start: int, stop: int, extra: Mapping[int, Floats] | None) -> list[Floats]:
    """Least cost of each choice of every moment; where it was reached from is found again from these."""
    totals = [local_cost(problem, start, extra)]
    for index in range(start + 1, stop):
        reached = (totals[-1][:, None] + step_cost(problem, index)).min(axis=0)
        totals.append(reached + local_cost(problem, index, extra))
    return totals


def step_cost(problem: Problem, index: int) -> Floats:
    """The cost from every choice of the moment before to every choice of moment ``index``."""
    cost = problem.steps.get(index)
    if cost is None:
        before, now = problem.choices[index - 1], problem.choices[index]
        cost = problem.shelf.weigh(before, now, problem.when[index])
        cost = cost + _letting_go(before, now, problem.holds[index]) if problem.holds[index] else cost
        problem.steps[index] = cost
    return cost


def local_cost(problem: Problem, index: int, extra: Mapping[int, Floats] | None = None) -> Floats:
    """The cost of holding each choice of moment ``index``."""
    cost = problem.local.get(index)
    if cost is None:
        levels = time_levels(problem.moments[index])
        cost = problem.local[index] = problem.shelf.standing(problem.choices[index], levels, problem.when[index])
    return cost if extra is None or index not in extra else cost + extra[index]


def _letting_go(before: Choices, now: Choices, holds: tuple[tuple[int, int], ...]) -> Floats:
    cost = np.zeros((len(before.grips), len(now.grips)), np.float32)
    for index_before, index_now in holds:
        if index_before >= len(before.grips[0].touches) or index_now >= len(now.grips[0].touches):
            continue
        held = [_touch_code(grip, index_before) for grip in before.grips]
        kept = [_touch_code(grip, index_now) for grip in now.grips]
        cost += LETTING_GO * (np.array(held)[:, None] != np.array(kept)[None, :])
    return cost


def _touch_code(grip: Grip, index: int) -> int:
    touch = grip.touches[index]
    return 8 * touch.string + touch.finger.rank


def time_levels(moment: Moment) -> tuple[int, int]:
    """The levels of a moment's own time and of that of the notes around it."""
    return way_level(moment.sounding_s), way_level(moment.around_s)
