"""Every way the hand can take the notes of one moment, side by side.

Conventions: a choice is a grip with its price. Choices of one moment are kept in arrays, one row a choice; finger
columns run T, 1, 2, 3, 4. ``hand`` is the placement, plus 100 in a thumb frame; after open strings alone it may be
anywhere.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import count

import numpy as np
from numpy.typing import NDArray

from truestop.domain.errors import FingeringError
from truestop.domain.fingering.grips import Grip, make_grips
from truestop.domain.fingering.prices import THUMB_HAND, Price, position_of, prices
from truestop.domain.fingering.touches import Wish, touches
from truestop.domain.fingering.weights import Style
from truestop.domain.frame import RESTING, first_finger_place
from truestop.domain.hand_mark import HandMark, departs
from truestop.domain.instrument import Instrument
from truestop.domain.passage import Finger

MOST_CHOICES = 64
PRUNE_ABOVE = 7.0
"""Choices of an unmarked note this much dearer than the cheapest are dropped."""

SETTLED = RESTING | {"open"}

_SERIALS = count(1)
Way = tuple[tuple[int, str], ...]
Floats = NDArray[np.float32]
Ints = NDArray[np.int16]


@dataclass(frozen=True, slots=True, eq=False)
class Choices:
    """All choices of a moment. Arrays have one row a choice; see the module's conventions."""

    serial: int
    """Tells one set of choices from another."""
    wishes: tuple[Wish, ...]
    grips: tuple[Grip, ...]
    ways: tuple[Way, ...]
    """String and finger of each touch, grip by grip."""
    way_numbers: Ints
    """The same number for the same string and fingers."""
    fingers: tuple[tuple[str, ...], ...]
    hand: Ints
    first_place: Ints
    position: Ints
    """Violin and viola: position number by letters; other families: the hand itself."""
    is_open: NDArray[np.bool_]
    single: NDArray[np.bool_]
    """Whether exactly one finger is down."""
    reached: NDArray[np.bool_]
    """Whether a finger gets to its place only by opening or closing the hand."""
    rings: NDArray[np.bool_]
    """Whether its fingers only touch: a harmonic."""
    masks: NDArray[np.int16]
    """[choice, finger]: bits of the strings it stops."""
    places: NDArray[np.int16]
    lead_finger: Ints
    lead_place: Ints
    lead_string: Ints
    lead_midi: int
    low_string: Ints
    high_string: Ints
    cost: Floats
    slow: Floats
    quick: Floats
    open_count: Ints

    @property
    def interval(self) -> int:
        """Semitones from the lowest to the highest note."""
        return max(wish.midi for wish in self.wishes) - min(wish.midi for wish in self.wishes)


def make_choices(wishes: tuple[Wish, ...], instrument: Instrument, style: Style, *, high: bool) -> Choices:
    """Every grip for the notes asked, the cheap ones kept; ``high`` lets the hand behind open strings be high too.

    Raises FingeringError where a note cannot be had at all (the caller says which and why).
    """
    options = [touches(wish, instrument, style.bass_hand) for wish in wishes]
    if not all(options):
        raise FingeringError("No hand gives this note as marked.")
    grips = _as_told(make_grips(options, instrument.family, high=high), wishes, instrument)
    return _tabulate(grips, wishes, instrument, style)


def _as_told(grips: list[Grip], wishes: tuple[Wish, ...], instrument: Instrument) -> list[Grip]:
    """The grips as the page's words have them, all where none is so."""
    for mark in (wish.hand for wish in wishes if wish.hand is not None):
        away = [departure(grip, mark, instrument) for grip in grips]
        least = min((one for one in away if one is not None), default=None)
        grips = [grip for grip, one in zip(grips, away, strict=True) if one == least]
    return grips


def departure(grip: Grip, mark: HandMark, instrument: Instrument) -> int | None:
    """How far a grip departs from the page's words; None where it is not so."""
    return departs(mark, (grip.placement or 0, grip.thumb), grip.shapes, instrument)


def _tabulate(grips: list[Grip], wishes: tuple[Wish, ...], instrument: Instrument, style: Style) -> Choices:
    priced = [(_added(prices(grip, wishes, instrument, style)), grip) for grip in grips]
    cheapest = min(price[0] for price, _ in priced)
    bound = any(wish.bound for wish in wishes)
    kept = sorted(
        (item for item in priced if bound or item[0][0] <= cheapest + PRUNE_ABOVE), key=lambda item: item[0][0]
    )[:MOST_CHOICES]
    masks, places = np.zeros((len(kept), 5), np.int16), np.zeros((len(kept), 5), np.int16)
    for row, (_, grip) in enumerate(kept):
        for touch in grip.touches:
            if touch.finger is not Finger.OPEN:
                masks[row, touch.finger.rank] |= 1 << touch.string
                places[row, touch.finger.rank] = touch.place
    chosen = tuple(grip for _, grip in kept)
    leads = [_lead(grip) for grip in chosen]
    ways = tuple(tuple((touch.string, touch.finger.value) for touch in grip.touches) for grip in chosen)
    numbers = {way: number for number, way in enumerate(dict.fromkeys(ways))}
    return Choices(
        serial=next(_SERIALS),
        wishes=wishes,
        grips=chosen,
        ways=ways,
        way_numbers=_ints(numbers[way] for way in ways),
        fingers=tuple(tuple(touch.finger.value for touch in grip.touches) for grip in chosen),
        hand=_ints((grip.placement or 0) + THUMB_HAND * grip.thumb for grip in chosen),
        first_place=_ints(first_finger_place(grip.placement or 0, grip.thumb) for grip in chosen),
        position=_ints(
            position_of(grip, lead, wishes[lead], instrument) for grip, lead in zip(chosen, leads, strict=True)
        ),
        is_open=(masks == 0).all(axis=1),
        single=(masks > 0).sum(axis=1) == 1,
        reached=np.array([not SETTLED.issuperset(grip.shapes) for grip in chosen], np.bool_),
        rings=np.array([all(touch.harmonic for touch in grip.touches) for grip in chosen], np.bool_),
        masks=masks,
        places=places,
        lead_finger=_ints(grip.touches[lead].finger.rank for grip, lead in zip(chosen, leads, strict=True)),
        lead_place=_ints(grip.touches[lead].place for grip, lead in zip(chosen, leads, strict=True)),
        lead_string=_ints(grip.touches[lead].string for grip, lead in zip(chosen, leads, strict=True)),
        lead_midi=max(wish.midi for wish in wishes),
        low_string=_ints(max(touch.string for touch in grip.touches) for grip in chosen),
        high_string=_ints(min(touch.string for touch in grip.touches) for grip in chosen),
        cost=np.array([price[0] for price, _ in kept], np.float32),
        slow=np.array([price[1] for price, _ in kept], np.float32),
        quick=np.array([price[2] for price, _ in kept], np.float32),
        open_count=_ints(sum(touch.finger is Finger.OPEN for touch in grip.touches) for grip in chosen),
    )


def _added(found: list[Price]) -> tuple[float, float, float]:
    return sum(p.always for p in found), sum(p.slow for p in found), sum(p.quick for p in found)


def _ints(values: Iterable[int]) -> Ints:
    return np.array(list(values), np.int16)


def _lead(grip: Grip) -> int:
    """The touch that leads: the highest fingered string, or the highest open one."""
    order = range(len(grip.touches))
    return min(order, key=lambda index: (grip.touches[index].finger is Finger.OPEN, grip.touches[index].string))
