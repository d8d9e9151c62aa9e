"""What holding a grip costs, whatever came before.

Conventions: costs are those of ``weights``, by groups of terms; *slow* and *quick* parts are weighed by the note's
length elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass

from truestop.domain.fingering.grips import Grip
from truestop.domain.fingering.touches import Touch, Wish
from truestop.domain.fingering.weights import Style
from truestop.domain.frame import CONTRACTED, RESTING, first_finger_place
from truestop.domain.instrument import Instrument
from truestop.domain.passage import Finger
from truestop.domain.position import LETTER_FAMILIES, letter_positions

THUMB_HAND = 100
"""Added to the placement of a thumb frame to tell it from a neck frame."""
THUMB_ACROSS = 4
"""A thumb frame lies across two strings: the second counts as this many semitones above first position, the third as
four times, the fourth as nine times as many."""

#: Violin and viola positions, and the term that says how much they are at home.
AT_HOME = {
    0: "half_position", 1: "first_position", 2: "second_position", 3: "third_position", 4: "fourth_position",
}  # fmt: skip
FURTHER_UP = "fifth_position"
BRIGHT_BELOW = 4
"""Placements on string I up to here sound bright: there the note can be had on string II in third position."""
CELLO_HOME = frozenset({2, 7})
FIRST, THIRD = 2, 5
"""Placements of first and third position."""


@dataclass(frozen=True, slots=True)
class Price:
    """One reason for which holding a grip costs: always, more when slow, more when quick."""

    group: str
    always: float
    slow: float = 0.0
    quick: float = 0.0


def prices(grip: Grip, wishes: tuple[Wish, ...], instrument: Instrument, style: Style) -> list[Price]:
    """What holding the grip costs whatever came before, by groups of terms."""
    weights, single = style.weights, len(grip.touches) == 1
    reach = weights.harmonic_reach if all(touch.harmonic for touch in grip.touches) else 1.0
    found = [
        Price("stretches", weights.extension * grip.strain * reach, weights.extension_slow * grip.strain * reach)
        if single
        else Price("stretches", weights.chord_stretch * grip.strain)
    ]
    for index, (touch, wish) in enumerate(zip(grip.touches, wishes, strict=True)):
        if wish.finger is not None and touch.finger in wish.others:
            found.append(Price("edition", weights.offered))
        if wish.open_before not in (None, touch.finger is Finger.OPEN):
            found.append(Price("edition", weights.unlike_printed))
        if touch.finger is Finger.OPEN:
            always = weights.open_trill if wish.trill else 0.0
            always += weights.open_in_position if single and (grip.placement or 0) > 2 else 0.0
            found.append(Price("open strings", always, weights.open_slow, weights.open_quick))
            continue
        if touch.harmonic and wish.may_ring:
            found.append(Price("harmonics", weights.harmonic, weights.harmonic_slow, weights.harmonic_rings))
        share = 1.0 if single else 0.5
        fourth = weights.fourth_slow if single and touch.finger is Finger.FOURTH else 0.0
        found.append(Price("weak fingers", share * _finger_price(touch, wish, style), fourth))
        bright = weights.bright_slow if single and _is_bright(grip, touch, instrument) else 0.0
        low = _low_string_price(grip, touch, instrument, style)
        found.append(
            Price(
                "positions",
                share * _place_price(grip, index, wish, instrument, style),
                bright + low * weights.low_string_slow,
                low,
            )
        )
    return found


def _is_bright(grip: Grip, touch: Touch, instrument: Instrument) -> bool:
    """Whether a note lies low on a violin's top string."""
    return instrument.family == "violin" and touch.string == 1 and (grip.placement or 0) <= BRIGHT_BELOW


def _finger_price(touch: Touch, wish: Wish, style: Style) -> float:
    weights = style.weights
    cost = {Finger.FOURTH: weights.fourth, Finger.THUMB: weights.thumb}.get(touch.finger, 0.0)
    if wish.trill and wish.trill_finger is not None:
        cost += weights.trill_no_room * (touch.finger.rank >= wish.trill_finger.rank)
        cost += weights.trill_apart * max(0, wish.trill_finger.rank - touch.finger.rank - 1)
    elif wish.trill:
        cost += {Finger.FOURTH: weights.trill_fourth, Finger.THIRD: weights.trill_third}.get(touch.finger, 0.0)
    return cost


def _low_string_price(grip: Grip, touch: Touch, instrument: Instrument, style: Style) -> float:
    """What it costs to be up on a lower string."""
    weights, below = style.weights, touch.string - 1
    first = first_finger_place(grip.placement or 0, grip.thumb)
    if grip.thumb:
        return weights.low_string_height * THUMB_ACROSS * below**2
    near, far = max(0, min(first, THIRD) - FIRST), max(0, first - THIRD)
    near_share = weights.low_string_third if instrument.family in LETTER_FAMILIES else 1.0
    return weights.low_string_height * below * (near_share * near + far)


def _place_price(grip: Grip, index: int, wish: Wish, instrument: Instrument, style: Style) -> float:
    weights, placement = style.weights, grip.placement or 0
    first = first_finger_place(placement, grip.thumb)
    cost = weights.height * max(0, first - 7)
    cost += style.above_comfortable * max(0, first - style.comfortable_place)
    if instrument.family in ("violin", "viola"):
        cost += getattr(weights, AT_HOME.get(position_of(grip, index, wish, instrument), FURTHER_UP))
        cost += _misspelling(grip, index, wish, instrument) * weights.misspelled
    elif placement == 1:
        cost += weights.half_position_low
    elif instrument.family == "cello" and not grip.thumb and placement not in CELLO_HOME:
        cost += weights.cello_away
    if grip.thumb:
        cost += weights.thumb_frame + weights.low_thumb * max(0, 12 - placement)
    return cost


def _misspelling(grip: Grip, index: int, wish: Wish, instrument: Instrument) -> float:
    """How many letters the note lies off the positions its placement may have."""
    shape, touch = grip.shapes[index], grip.touches[index]
    if touch.harmonic:
        return 0.0
    wanted = wish.diatonic - instrument.strings[touch.string - 1].diatonic - touch.finger.rank + 1
    numbers = letter_positions(grip.placement or 0)
    off = min(abs(number - wanted) for number in numbers)
    return float(off if shape in RESTING else max(0, off - 1))


def position_of(grip: Grip, index: int, wish: Wish, instrument: Instrument) -> int:
    if instrument.family not in ("violin", "viola") or grip.placement is None:
        return (grip.placement or 0) + THUMB_HAND * grip.thumb
    numbers = letter_positions(grip.placement)
    touch = grip.touches[index]
    if grip.position is not None:
        return grip.position
    if touch.finger is Finger.OPEN or touch.harmonic:
        return numbers[-1]
    wanted = wish.diatonic - instrument.strings[touch.string - 1].diatonic - touch.finger.rank + 1
    if grip.shapes[index] not in RESTING:
        wanted += 1 if touch.finger is Finger.FIRST or grip.shapes[index] == CONTRACTED else -1
    return min(numbers, key=lambda number: (abs(number - wanted), number))
