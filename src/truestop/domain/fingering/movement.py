"""What it costs to get from one grip to the next.

Conventions: matrices have a row for every choice of the moment before and a column for every choice of this one. Three
parts are kept apart because time and bow weigh them differently: *travel* (shifts, creeps), *crossing* (the bow) and
*change* (what fingers do inside the hand).
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from functools import cache
from itertools import combinations
from typing import cast

import numpy as np
from numpy.typing import NDArray

from truestop.domain.fingering.choices import Choices, Floats, Ints
from truestop.domain.fingering.prices import THUMB_HAND
from truestop.domain.fingering.touches import FINGERS
from truestop.domain.fingering.weights import Style, Weights
from truestop.domain.frame import GREATEST_CREEP, GREATEST_CREEP_STRAIN, RESTING, reaches_from, span_excess, span_frame
from truestop.domain.passage import Finger
from truestop.domain.position import LETTER_FAMILIES

FURTHEST = 48
PricedPairs = tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.float64]]
"""Rows, columns and costs of some pairs."""
Bearing = tuple[bool, bool, int, int]
"""What a circumstance tells of holding a grip."""
FOURTH = FINGERS.index(Finger.FOURTH)
EASY_CHANGE = 0.8
"""Share of ``change_unmarked`` behind an open string or a rest, where editions leave the way home to the player."""
PARALLEL = frozenset({12, 15, 16})
"""Semitones of the double stops that go on with one pair of fingers: octaves and tenths."""


@dataclass(frozen=True, slots=True)
class Circumstance:
    """What bears on a movement: time as a level of ``WAY_LEVELS_S``, bow, rest, beat, what the edition prints."""

    level: int
    slurred: bool
    rest: bool
    on_beat: bool
    edition: int
    """0 the passage has no marks; 1 this note has none in a marked passage; 2 this note is marked where marks are rare;
    3 so is the first note."""
    begins: bool = False
    """Whether it is the first of a passage without marks."""
    under_high: int = field(default=0, compare=False)
    """How near a note beyond first position is (``lines.under_high``): for holding a grip, not for getting there."""

    @property
    def bearing(self) -> Bearing:
        """What of it bears on holding a grip."""
        return self.slurred, self.begins, self.edition, self.under_high

    @property
    def opens_marked(self) -> bool:
        """Whether the passage opens with a mark where marks are rare."""
        return self.edition == 3


#: Upper bounds of the time from note to note in seconds, and what each level does to a shift and to a leap of a finger.
WAY_LEVELS_S = (0.10, 0.14, 0.19, 0.28, 0.42, 0.75, 1.3)
SHIFT_FACTORS = (1.5, 1.3, 1.15, 1.05, 0.97, 0.87, 0.77, 0.7)
OPEN_SHARES = (0.0, 0.1, 0.4, 0.8, 1.0, 1.0, 1.0, 1.0)
"""How much of the time that a travel wants an open string of that length gives."""
CHANGE_FACTORS = (1.5, 1.35, 1.2, 1.05, 0.95, 0.85, 0.75, 0.7)
CROSSING_FACTORS = (1.25, 1.15, 1.05, 1.0, 0.95, 0.8, 0.65, 0.55)
SLOW_SHARES = (0.0, 0.0, 0.0, 0.05, 0.2, 0.55, 1.0, 1.3)


def way_level(way_s: float) -> int:
    """The level of a time in seconds."""
    return sum(way_s > bound for bound in WAY_LEVELS_S)


def open_among_slow(own: int, around: int, weights: Weights) -> float:
    """What an open string costs more for the notes around it; levels of its own time and of theirs on average."""
    alone = (1.0 - weights.open_alone) * max(0.0, SLOW_SHARES[own] - SLOW_SHARES[around])
    return weights.open_slow * (max(0.0, weights.open_sung * SLOW_SHARES[around] - SLOW_SHARES[own]) - alone)


@dataclass(frozen=True, slots=True, eq=False)
class Movement:
    """The three parts of the cost between two moments' choices, before time and bow weigh them."""

    travel: Floats
    crossing: Floats
    change: Floats
    shifted: NDArray[np.bool_]
    placed: NDArray[np.bool_]
    """Whether the position changes (shift or creep)."""
    reached: NDArray[np.bool_]
    """Whether it changes onto a finger that gets to its place only by opening or closing the hand."""
    silent: NDArray[np.bool_]
    """Whether an open string sounds at either end."""

    def between(self, pair: tuple[int, int]) -> Movement:
        """The movement from one choice to one choice alone."""
        row, column = slice(pair[0], pair[0] + 1), slice(pair[1], pair[1] + 1)
        return Movement(**{part.name: getattr(self, part.name)[row, column] for part in fields(self)})


@dataclass(frozen=True, slots=True)
class Pairs:
    """Some pairs of choices, flat: rows of the moment before and of this one, side by side."""

    before: Choices
    now: Choices
    rows: NDArray[np.intp]
    columns: NDArray[np.intp]

    def __getitem__(self, name: str) -> tuple[Ints, Ints]:
        """An array of the choices at both ends of every pair."""
        return getattr(self.before, name)[self.rows], getattr(self.now, name)[self.columns]


def make_movement(before: Choices, now: Choices, family: str, style: Style) -> Movement:
    """The cost parts for every pair of choices."""
    hand_from, hand_to = before.hand[:, None], now.hand[None, :]
    moved = hand_from != hand_to
    placed = moved.copy()
    away = np.abs(hand_from - hand_to)
    shifted = moved.copy()
    travel = _shift_cost(before, now, family, style) * moved
    for kind in (_turns, _creeps):
        rows, columns, cost = kind(before, now, away, family, style)
        travel[rows, columns], shifted[rows, columns] = cost, False
        placed[rows, columns] = kind is _creeps
    if family in LETTER_FAMILIES:
        placed |= before.position[:, None] != now.position[None, :]
    return Movement(
        travel=travel.astype(np.float32),
        crossing=_crossing_cost(before, now, style),
        change=_change_cost(before, now, shifted, family, style),
        shifted=shifted,
        placed=placed,
        reached=placed & now.reached[None, :],
        silent=before.is_open[:, None] | now.is_open[None, :],
    )


def _turns(before: Choices, now: Choices, away: Ints, family: str, style: Style) -> PricedPairs:
    """Pairs in which the hand of a violin or viola turns a semitone inside one position, onto a finger."""
    if family not in LETTER_FAMILIES:
        return np.empty(0, np.intp), np.empty(0, np.intp), np.empty(0)
    one_position = before.position[:, None] == now.position[None, :]
    rows, columns = np.nonzero((away == 1) & one_position & ~now.is_open[None, :])
    return rows, columns, np.full(len(rows), style.weights.adjust)


def _creeps(before: Choices, now: Choices, away: Ints, family: str, style: Style) -> PricedPairs:
    """Pairs in which the arriving finger reached its place from the old placement by opening or closing the hand."""
    single = before.single[:, None] & now.single[None, :]
    pairs = Pairs(before, now, *np.nonzero((away > 0) & (away <= GREATEST_CREEP[family]) & single))
    finger_from, finger_to = pairs["lead_finger"]
    hand, place = before.hand[pairs.rows], now.lead_place[pairs.columns]
    offset = np.clip(place - hand % THUMB_HAND, -6, 11) + 6
    strain = _reach_table(family, style.bass_hand)[hand, finger_to, offset]
    spans = _spans(pairs, family)
    reached = (strain <= GREATEST_CREEP_STRAIN) & (finger_from != finger_to) & (spans <= GREATEST_CREEP_STRAIN)
    if family in ("violin", "viola"):
        position_from, position_to = pairs["position"]
        reached &= (away[pairs.rows, pairs.columns] != 1) | (position_from != position_to)
    weights = style.weights
    cost = weights.creep + weights.creep_strain * strain + weights.creep_further * (away[pairs.rows, pairs.columns] - 1)
    return pairs.rows[reached], pairs.columns[reached], cost[reached]


def _shift_cost(before: Choices, now: Choices, family: str, style: Style) -> NDArray[np.float64]:
    weights = style.weights
    signed = now.first_place[None, :] - before.first_place[:, None]
    way = np.abs(signed)
    open_pair = before.is_open[:, None] | now.is_open[None, :]
    one_string = (before.lead_string[:, None] == now.lead_string[None, :]) | open_pair
    cost = weights.shift_semitone * way + weights.shift_leap * np.maximum(0, way - 7)
    cost += (
        weights.shift
        + weights.shift_to_first * (now.lead_finger == 1)
        + weights.shift_to_fourth * (now.lead_finger == 4)
    )
    cost += weights.shift_crossing * ~one_string + weights.shift_to_harmonic * now.rings
    same = (before.lead_finger[:, None] == now.lead_finger[None, :]) & one_string & ~open_pair
    step = np.abs(now.lead_place[None, :] - before.lead_place[:, None]) == 1
    cost += weights.shift_same_finger * same + weights.shift_semitone_glide * (same & step)
    cost += weights.shift_from_fourth * ((before.lead_finger[:, None] == 4) & (signed > 0) & one_string & ~open_pair)
    climb = now.lead_midi - before.lead_midi
    if family in LETTER_FAMILIES:
        numbers = before.position[:, None], now.position[None, :]
        cost += weights.shift_first_third * ((np.minimum(*numbers) == 1) & (np.maximum(*numbers) == 3))
    if climb:
        cost += weights.shift_against * (((signed < 0) if climb > 0 else (signed > 0)) & ~open_pair)
    else:
        cost += weights.shift_repeated
    return cast(NDArray[np.float64], cost)


def _crossing_cost(before: Choices, now: Choices, style: Style) -> Floats:
    """Strings the bow has to go over from one string (or pair) to the next."""
    weights = style.weights
    upwards = before.high_string[:, None] - now.low_string[None, :]
    downwards = now.high_string[None, :] - before.low_string[:, None]
    gap = np.clip(np.maximum(upwards, downwards), 0, 4)
    by_gap = np.array([0.0, *(weights.crossing + weights.crossing_skip * over for over in range(4))], np.float32)
    return cast(Floats, by_gap[gap])


def _change_cost(before: Choices, now: Choices, shifted: NDArray[np.bool_], family: str, style: Style) -> Floats:
    """What fingers must do inside one hand: leap, roll, glide, stretch; keep their order; keep to repeated pitches."""
    weights = style.weights
    cost = np.zeros(shifted.shape, np.float32)
    fingered = ~before.is_open[:, None] & ~now.is_open[None, :]
    pairs = Pairs(before, now, *np.nonzero(~shifted & fingered))
    string_from, string_to = pairs["lead_string"]
    finger_from, finger_to = pairs["lead_finger"]
    place_from, place_to = pairs["lead_place"]
    touching = np.where(np.logical_or(*pairs["rings"]), weights.harmonic_reach, 1.0)
    inside = _finger_changes(pairs, style) + weights.span * touching * _spans(pairs, family)
    if before.lead_midi != now.lead_midi:
        fingers, places = np.sign(finger_to - finger_from), np.sign(place_to - place_from)
        inside += weights.order * ((string_from == string_to) & (fingers != 0) & (fingers != places))
    cost[pairs.rows, pairs.columns] = inside
    if before.lead_midi == now.lead_midi and len(before.wishes) == len(now.wishes):
        alike = before.lead_finger[:, None] == now.lead_finger[None, :]
        cost += weights.same_pitch * ~(alike & (before.lead_string[:, None] == now.lead_string[None, :]))
    return cost + _parallel(before, now, style)


def _finger_changes(pairs: Pairs, style: Style) -> NDArray[np.float64]:
    """A finger that is used at both ends: it rolls or leaps to another string, or glides on its own."""
    weights = style.weights
    cost = np.zeros(len(pairs.rows))
    masks, places = pairs["masks"], pairs["places"]
    both = (masks[0] > 0) & (masks[1] > 0)
    for finger in np.flatnonzero(both.any(axis=0)):
        way = np.abs(places[1][:, finger] - places[0][:, finger])
        shared = (masks[0][:, finger] & masks[1][:, finger]) > 0
        across = np.where(way == 0, weights.fifth, np.where(way == 1, weights.hop, weights.hop + weights.glide_far))
        glide = weights.glide + weights.glide_fourth * bool(finger == FOURTH)
        along = np.where(way == 0, 0.0, np.where(way == 1, glide, weights.glide_far))
        cost += both[:, finger] * np.where(shared, along, across)
    return cost


def _spans(pairs: Pairs, family: str) -> Floats:
    """Strain of two successive fingers of one hand wider apart or closer than in ease."""
    finger_from, finger_to = pairs["lead_finger"]
    place_from, place_to = pairs["lead_place"]
    span = place_to - place_from
    span = np.clip(np.where(finger_to > finger_from, span, -span), -WIDEST, WIDEST) + WIDEST
    low, high = np.minimum(finger_from, finger_to), np.maximum(finger_from, finger_to)
    return cast(Floats, _span_table(family)[pairs.before.hand[pairs.rows], low, high, span])


WIDEST = 12


@cache
def _span_table(family: str) -> Floats:
    """[hand, lower finger, higher finger, semitones + WIDEST]: the strain of that span."""
    table = np.zeros((2 * THUMB_HAND, len(FINGERS), len(FINGERS), 2 * WIDEST + 1), np.float32)
    of_frame: dict[str, Floats] = {}
    for hand in (*range(1, FURTHEST), *range(THUMB_HAND + 1, THUMB_HAND + FURTHEST)):
        thumb, placement = divmod(hand, THUMB_HAND)
        frame = span_frame(family, placement, bool(thumb))
        if frame not in of_frame:
            of_frame[frame] = _spans_of(family, placement, bool(thumb))
        table[hand] = of_frame[frame]
    return table


def _spans_of(family: str, placement: int, thumb: bool) -> Floats:
    spans = np.zeros((len(FINGERS), len(FINGERS), 2 * WIDEST + 1), np.float32)
    for low, high in combinations(FINGERS, 2):
        for semitones in range(-WIDEST, WIDEST + 1):
            excess = span_excess(family, placement, thumb, low, high, semitones)
            spans[low.rank, high.rank, semitones + WIDEST] = excess
    return spans


def _parallel(before: Choices, now: Choices, style: Style) -> Floats | float:
    """Octaves and tenths in a row: another pair of fingers costs."""
    if not all(len(choices.wishes) == 2 and choices.interval in PARALLEL for choices in (before, now)):
        return 0.0
    pairs = [(choices.masks > 0) @ (1 << np.arange(len(FINGERS))) for choices in (before, now)]
    differ = pairs[0][:, None] != pairs[1][None, :]
    return cast(Floats, (style.weights.parallel * differ).astype(np.float32))


@cache
def _reach_table(family: str, bass_hand: str) -> Floats:
    """[hand, finger, offset + 6]: strain of getting there out of the resting shape; 99 where impossible."""
    table = np.full((2 * THUMB_HAND, len(FINGERS), 18), 99.0, np.float32)
    for hand in (*range(1, FURTHEST), *range(THUMB_HAND + 1, THUMB_HAND + FURTHEST)):
        thumb, placement = divmod(hand, THUMB_HAND)
        for reach in reaches_from(family, placement, bool(thumb), bass_hand):
            if reach.shape not in RESTING:
                table[hand, reach.finger.rank, reach.offset + 6] = reach.strain
    return table


def weigh(movement: Movement, when: Circumstance, style: Style) -> Floats:
    """The parts of a movement added up for the time, bow, beat and marks at hand."""
    travel, crossing, change = weigh_parts(movement, when, style)
    total = travel + crossing + change
    if when.edition:
        total = total + edition_cost(movement, when, style)
    return cast(Floats, total.astype(np.float32))


def weigh_parts(movement: Movement, when: Circumstance, style: Style) -> tuple[Floats, Floats, Floats]:
    """(travel, crossing, change) for the time, bow and beat at hand."""
    weights = style.weights
    shift = SHIFT_FACTORS[when.level] * (weights.shift_at_rest if when.rest else 1.0)
    shift *= (weights.shift_in_slur if when.slurred else 1.0) * (weights.shift_on_beat if when.on_beat else 1.0)
    behind_open = 1.0 - OPEN_SHARES[when.level] * (1.0 - weights.shift_behind_open)
    travel = movement.travel * np.where(movement.silent, shift * behind_open, shift)
    bow = CROSSING_FACTORS[when.level] * (weights.crossing_in_slur if when.slurred else 1.0)
    slow = weights.crossing_slow * SLOW_SHARES[when.level] * (0.0 if when.rest else 1.0 if when.slurred else 0.5)
    crossing = movement.crossing * bow + slow * (movement.crossing > 0)
    change = movement.change * CHANGE_FACTORS[when.level] * (0.4 if when.rest else 1.0)
    return travel, crossing, change


def edition_cost(movement: Movement, when: Circumstance, style: Style) -> Floats:
    """A printed finger tells of a change of position; a note without one tells that the hand stays."""
    weights = style.weights
    if when.edition == 1:
        cost = np.float32(weights.change_unmarked)
        turned = (movement.travel > 0) & ~movement.shifted & ~movement.placed & (movement.crossing > 0)
        change = movement.placed * np.where(movement.silent | when.rest, EASY_CHANGE, 1.0) * cost
        return cast(Floats, change + turned * np.float32(weights.turn_unmarked))
    stays = ~movement.placed * np.float32(weights.stay_marked)
    return cast(Floats, stays + movement.reached * np.float32(weights.marked_reach))
