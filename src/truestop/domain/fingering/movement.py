"""What it costs to get from one grip to the next.

Conventions: matrices have a row for every choice of the moment before and a column for every choice of this one. Three
parts are kept apart because time and bow weigh them differently: *travel* (shifts, creeps), *crossing* (the bow) and
*change* (what fingers do inside the hand).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

import numpy as np
from numpy.typing import NDArray

from truestop.domain.fingering.choices import FINGERS, THUMB_HAND, Choices, Floats
from truestop.domain.fingering.weights import Style
from truestop.domain.frame import RESTING, reaches_from

FURTHEST = 48
GREATEST_CREEP = {"violin": 2, "viola": 2, "cello": 1, "bass": 1}


@dataclass(frozen=True, slots=True)
class Circumstance:
    """What bears on a movement: time as a level of ``WAY_LEVELS_S``, bow, rest, beat, what the edition prints."""

    level: int
    slurred: bool
    rest: bool
    on_beat: bool
    edition: int
    """0 the passage has no marks; 1 this note has none in a marked passage; 2 this note is marked."""


#: Upper bounds of the time from note to note in seconds, and what each level does to a shift and to a leap of a finger.
WAY_LEVELS_S = (0.10, 0.14, 0.19, 0.28, 0.42, 0.75, 1.3)
SHIFT_FACTORS = (1.7, 1.45, 1.25, 1.08, 0.95, 0.85, 0.75, 0.68)
CHANGE_FACTORS = (1.5, 1.35, 1.2, 1.05, 0.95, 0.85, 0.75, 0.7)
CROSSING_FACTORS = (1.25, 1.15, 1.05, 1.0, 1.0, 1.0, 1.0, 1.0)
SLOW_SHARES = (0.0, 0.0, 0.0, 0.12, 0.4, 0.8, 1.0, 1.0)


def way_level(way_s: float) -> int:
    """The level of a time in seconds."""
    return sum(way_s > bound for bound in WAY_LEVELS_S)


@dataclass(frozen=True, slots=True, eq=False)
class Movement:
    """The three parts of the cost between two moments' choices, before time and bow weigh them."""

    travel: Floats
    crossing: Floats
    change: Floats
    shifted: NDArray[np.bool_]
    placed: NDArray[np.bool_]
    """Whether the hand changes its place at all (shift, creep or turn)."""


def make_movement(before: Choices, now: Choices, family: str, style: Style) -> Movement:
    """The cost parts for every pair of choices."""
    weights = style.weights
    hand_from, hand_to = before.hand[:, None], now.hand[None, :]
    moved = hand_from != hand_to
    open_pair = before.is_open[:, None] | now.is_open[None, :]
    position_same = before.position[:, None] == now.position[None, :]
    turn = (
        moved & (np.abs(hand_from - hand_to) == 1) & position_same
        if family in ("violin", "viola")
        else np.zeros_like(moved)
    )
    creep = moved & ~turn & ~open_pair & _within_reach(before, now, family, style)
    shifted = moved & ~turn & ~creep
    travel = np.where(shifted, _shift_cost(before, now, open_pair, style), 0.0)
    travel = np.where(turn, weights.adjust, travel)
    travel = np.where(creep, weights.creep, travel)
    return Movement(
        travel=travel.astype(np.float32),
        crossing=_crossing_cost(before, now, style),
        change=np.where(shifted | open_pair, _same_pitch(before, now, style), _change_cost(before, now, style)).astype(
            np.float32
        ),
        shifted=shifted,
        placed=moved,
    )


def _shift_cost(before: Choices, now: Choices, open_pair: NDArray[np.bool_], style: Style) -> NDArray[np.float64]:
    weights = style.weights
    signed = now.first_place[None, :].astype(np.int32) - before.first_place[:, None]
    way = np.abs(signed).astype(np.float64)
    finger_from, finger_to = before.lead_finger[:, None], now.lead_finger[None, :]
    one_string = before.lead_string[:, None] == now.lead_string[None, :]
    same = (finger_from == finger_to) & one_string & ~open_pair
    cost = weights.shift + weights.shift_semitone * way + weights.shift_leap * np.maximum(0.0, way - 7.0)
    cost = cost + weights.shift_same_finger * same
    step = np.abs(now.lead_place[None, :].astype(np.int32) - before.lead_place[:, None])
    cost = cost + weights.shift_semitone_glide * (same & (step == 1))
    cost = cost + weights.shift_crossing * (~one_string & ~open_pair)
    cost = cost + weights.shift_to_first * (finger_to == 1) + weights.shift_to_fourth * (finger_to == 4)
    climb = now.lead_midi - before.lead_midi
    if climb == 0:
        cost = cost + weights.shift_repeated
    against = (np.sign(signed) == -np.sign(climb)) & ~open_pair if climb else np.zeros_like(same)
    cost = cost + weights.shift_against * against
    return cast(NDArray[np.float64], np.where(open_pair, cost * weights.shift_behind_open, cost))


def _crossing_cost(before: Choices, now: Choices, style: Style) -> Floats:
    """Strings the bow has to go over from one string (or pair) to the next."""
    weights = style.weights
    upwards = before.high_string[:, None] - now.low_string[None, :]
    downwards = now.high_string[None, :] - before.low_string[:, None]
    gap = np.maximum(np.maximum(upwards, downwards), 0)
    cost = weights.crossing * (gap > 0) + weights.crossing_skip * np.maximum(0, gap - 1)
    return cast(Floats, cost.astype(np.float32))


def _change_cost(before: Choices, now: Choices, style: Style) -> NDArray[np.float64]:
    """What fingers must do inside one hand: leap, roll, glide; and order on one string."""
    weights = style.weights
    cost = np.zeros((len(before.hand), len(now.hand)))
    for finger in range(len(FINGERS)):
        mask_from, mask_to = before.masks[:, finger][:, None], now.masks[:, finger][None, :]
        both = (mask_from > 0) & (mask_to > 0)
        if not both.any():
            continue
        way = np.abs(now.places[:, finger][None, :] - before.places[:, finger][:, None])
        shared = (mask_from & mask_to) > 0
        cost += weights.fifth * (both & ~shared & (way == 0)) + weights.hop * (both & ~shared & (way > 0))
        cost += weights.glide * (both & shared & (way == 1)) + weights.glide_far * (both & shared & (way > 1))
    one_string = before.lead_string[:, None] == now.lead_string[None, :]
    fingers = np.sign(now.lead_finger[None, :] - before.lead_finger[:, None])
    places = np.sign(now.lead_place[None, :] - before.lead_place[:, None])
    cost += weights.order * (one_string & (fingers != 0) & (fingers != places) & (before.lead_midi != now.lead_midi))
    return cost + _same_pitch(before, now, style)


def _same_pitch(before: Choices, now: Choices, style: Style) -> NDArray[np.float64]:
    if before.lead_midi != now.lead_midi or len(before.grips[0].touches) != len(now.grips[0].touches):
        return np.zeros((len(before.hand), len(now.hand)))
    finger_alike = before.lead_finger[:, None] == now.lead_finger[None, :]
    alike = finger_alike & (before.lead_string[:, None] == now.lead_string[None, :])
    return np.where(alike, 0.0, style.weights.same_pitch)


def _within_reach(before: Choices, now: Choices, family: str, style: Style) -> NDArray[np.bool_]:
    """Whether the arriving finger already reaches its place from the old placement, by opening or closing the hand."""
    hand_from, hand_to = before.hand[:, None].astype(np.int32), now.hand[None, :].astype(np.int32)
    near = np.abs(hand_from - hand_to) <= GREATEST_CREEP[family]
    single = (before.masks.astype(bool).sum(1) == 1)[:, None] & (now.masks.astype(bool).sum(1) == 1)[None, :]
    other_finger = before.lead_finger[:, None] != now.lead_finger[None, :]
    candidates = near & single & other_finger
    if not candidates.any():
        return cast(NDArray[np.bool_], candidates)
    table = _reach_table(family, style.bass_hand)
    offset = np.clip(now.lead_place[None, :].astype(np.int32) - hand_from % THUMB_HAND, -6, 11)
    reached = table[hand_from, np.clip(now.lead_finger[None, :], 0, 4), offset + 6]
    return cast(NDArray[np.bool_], candidates & reached)


_TABLES: dict[tuple[str, str], NDArray[np.bool_]] = {}


def _reach_table(family: str, bass_hand: str) -> NDArray[np.bool_]:
    """[hand, finger, offset + 6]: whether the finger gets there in a shape other than its resting one, strain ≤ 1.2."""
    if (family, bass_hand) not in _TABLES:
        table = np.zeros((2 * THUMB_HAND, len(FINGERS), 18), np.bool_)
        for thumb in (False, True):
            for placement in range(FURTHEST):
                for reach in reaches_from(family, placement, thumb, bass_hand):
                    if reach.shape not in RESTING and reach.strain <= 1.2:
                        table[placement + THUMB_HAND * thumb, reach.finger.rank, reach.offset + 6] = True
        _TABLES[family, bass_hand] = table
    return _TABLES[family, bass_hand]


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
    bow = CROSSING_FACTORS[when.level] * (weights.crossing_in_slur if when.slurred else 1.0)
    slow = weights.crossing_slow * SLOW_SHARES[when.level] * (0.0 if when.rest else 1.0 if when.slurred else 0.5)
    crossing = movement.crossing * bow + slow * (movement.crossing > 0)
    change = movement.change * CHANGE_FACTORS[when.level] * (0.4 if when.rest else 1.0)
    return movement.travel * shift, crossing, change


def edition_cost(movement: Movement, when: Circumstance, style: Style) -> Floats:
    """A printed finger tells of a change of position; a note without one tells that the hand stays."""
    weights = style.weights
    if when.edition == 1:
        factor = 0.6 if when.rest else 1.0
        return cast(Floats, movement.placed * np.float32(weights.change_unmarked * factor))
    return cast(Floats, ~movement.placed * np.float32(weights.stay_marked))
