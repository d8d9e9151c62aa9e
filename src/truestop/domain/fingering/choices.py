"""Every way the hand can take the notes of one moment.

Conventions: a choice gives each note (struck notes first, then held ones) a string and a finger under one hand. Choices
of one moment are kept side by side in arrays, one row a choice; finger columns run T, 1, 2, 3, 4. ``hand`` is the
placement, plus 100 in a thumb frame; after open strings alone the hand may be anywhere.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import combinations, count, pairwise

import numpy as np
from numpy.typing import NDArray

from truestop.domain.errors import FingeringError
from truestop.domain.fingering.weights import Style
from truestop.domain.frame import CONTRACTED, NATURAL_HARMONICS, RESTING, Fit, first_finger_place, fits, span_excess
from truestop.domain.instrument import ROMAN, Instrument
from truestop.domain.passage import Finger, Harmonic, Note
from truestop.domain.position import letter_positions, spelled_position

THUMB_HAND = 100
FINGERS = (Finger.THUMB, Finger.FIRST, Finger.SECOND, Finger.THIRD, Finger.FOURTH)
MOST_CHOICES = 64
PRUNE_ABOVE = 7.0
"""Choices of an unmarked note this much dearer than the cheapest are dropped."""
HIGHEST_OPEN_HAND = 13
THUMB_ACROSS = 4
"""A thumb frame lies across two strings: the second counts as this many semitones above first position, the third as
four times, the fourth as nine times as many."""
SPAN_STRAIN = 1.5
"""Strain of a semitone by which two fingers down at once are stretched or squeezed."""

_SERIALS = count(1)
Way = tuple[tuple[int, str], ...]
Floats = NDArray[np.float32]
Ints = NDArray[np.int16]


@dataclass(frozen=True, slots=True)
class Wish:
    """What is asked of one note: the key under which its choices are kept."""

    midi: int
    diatonic: int
    string: int | None
    finger: Finger | None
    harmonic: Harmonic
    touched_midi: int | None
    base_midi: int | None
    trill: bool

    @property
    def bound(self) -> bool:
        """Whether the page or the player fixes the string or the finger."""
        return self.string is not None or self.finger is not None


@dataclass(frozen=True, slots=True)
class Touch:
    """One note on one string with one finger, before a hand is chosen."""

    string: int
    finger: Finger
    place: int
    fits: tuple[Fit, ...]
    harmonic: bool = False


@dataclass(frozen=True, slots=True)
class Grip:
    """One choice for the whole moment: touches under one hand, with the shape each finger has in it."""

    touches: tuple[Touch, ...]
    shapes: tuple[str, ...]
    placement: int | None
    """None where all strings are open and the hand may be anywhere."""
    thumb: bool
    strain: float
    together: bool = True
    """False where no hand can hold the notes at once and they are taken one after another."""


@dataclass(frozen=True, slots=True, eq=False)
class Choices:
    """All choices of a moment. Arrays have one row a choice; see the module's conventions."""

    serial: int
    """Tells one set of choices from another."""
    wishes: tuple[Wish, ...]
    grips: tuple[Grip, ...]
    ways: tuple[Way, ...]
    """String and finger of each touch, grip by grip."""
    fingers: tuple[tuple[str, ...], ...]
    hand: Ints
    first_place: Ints
    position: Ints
    """Violin and viola: position number by letters; other families: the hand itself."""
    is_open: NDArray[np.bool_]
    single: NDArray[np.bool_]
    """Whether exactly one finger is down."""
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


def wish_of(note: Note, string: int | None, finger: Finger | None) -> Wish:
    """What is asked of ``note``; ``string`` and ``finger`` come from its marks or a pin."""
    marks = note.marks
    return Wish(
        midi=note.pitch.midi, diatonic=note.pitch.diatonic, string=string, finger=finger, harmonic=marks.harmonic,
        touched_midi=marks.touched.midi if marks.touched else None,
        base_midi=marks.base.midi if marks.base else None, trill=note.trill,
    )  # fmt: skip


def touches(wish: Wish, instrument: Instrument, bass_hand: str) -> tuple[Touch, ...]:
    """Every string and finger that gives the note as asked."""
    strings = (wish.string,) if wish.string else range(1, len(instrument.strings) + 1)
    found: list[Touch] = []
    for string in strings:
        if not 1 <= string <= len(instrument.strings):
            continue
        open_midi = instrument.strings[string - 1].midi
        if wish.harmonic is Harmonic.ARTIFICIAL:
            found += _artificial(wish, string, open_midi, instrument, bass_hand)
        else:
            found += _plain(wish, string, wish.midi - open_midi, instrument, bass_hand)
            found += _natural_harmonic(wish, string, open_midi, instrument, bass_hand)
    return tuple(found)


def _plain(wish: Wish, string: int, place: int, instrument: Instrument, bass_hand: str) -> list[Touch]:
    if wish.harmonic is Harmonic.NATURAL or place < 0 or place > instrument.highest_place:
        return []
    if place == 0:
        return [Touch(string, Finger.OPEN, 0, ())] if wish.finger in (None, Finger.OPEN) else []
    return _fingered(wish, string, place, instrument, bass_hand)


def _fingered(
    wish: Wish, string: int, place: int, instrument: Instrument, bass_hand: str, harmonic: bool = False
) -> list[Touch]:
    wanted = FINGERS if wish.finger in (None, Finger.OPEN) else (wish.finger,)
    made = (
        Touch(string, finger, place, fits(instrument.family, finger, place, bass_hand), harmonic) for finger in wanted
    )
    if wish.finger is Finger.OPEN and not harmonic:
        return []
    return [touch for touch in made if touch.fits]


def _natural_harmonic(wish: Wish, string: int, open_midi: int, instrument: Instrument, bass_hand: str) -> list[Touch]:
    """Where the page asks for a harmonic, or prints 0 over a note that is no open string."""
    printed_zero = wish.finger is Finger.OPEN and wish.midi != open_midi
    if wish.harmonic is not Harmonic.NATURAL and not printed_zero:
        return []
    places: tuple[int, ...] = NATURAL_HARMONICS.get(wish.midi - open_midi, ())
    if wish.touched_midi is not None:
        places = tuple(place for place in places if place == wish.touched_midi - open_midi)
    elif not places and wish.harmonic is Harmonic.NATURAL and wish.midi - open_midi in (4, 5, 7, 9):
        places = (wish.midi - open_midi,)
    return [touch for place in places for touch in _fingered(wish, string, place, instrument, bass_hand, harmonic=True)]


def _artificial(wish: Wish, string: int, open_midi: int, instrument: Instrument, bass_hand: str) -> list[Touch]:
    """The base finger decides: the stopped note, two octaves below where the score does not give it."""
    base = wish.base_midi if wish.base_midi is not None else wish.midi - 24
    place = base - open_midi
    if not 1 <= place <= instrument.highest_place:
        return []
    lowest = Finger.THUMB if instrument.family in ("cello", "bass") and place >= 5 else Finger.FIRST
    fingers = (wish.finger,) if wish.finger not in (None, Finger.OPEN) else (lowest,)
    made = (
        Touch(string, finger, place, fits(instrument.family, finger, place, bass_hand), True)
        for finger in fingers
        if finger
    )
    return [touch for touch in made if touch.fits]


def make_choices(wishes: tuple[Wish, ...], instrument: Instrument, style: Style, *, high: bool) -> Choices:
    """Every grip for the notes asked, the cheap ones kept; ``high`` lets the hand behind open strings be high too.

    Raises FingeringError where a note cannot be had at all (the caller says which and why).
    """
    options = [touches(wish, instrument, style.bass_hand) for wish in wishes]
    if not all(options):
        raise FingeringError("No hand gives this note as marked.")
    grips = _single(options[0]) if len(options) == 1 else _together(options, instrument.family)
    if not grips:
        grips = _one_after_another(options)
    free = [grip for grip in grips if grip.placement is None]
    grips = [grip for grip in grips if grip.placement is not None]
    if free:
        hands = _free_hands(instrument.family, high)
        grips += [
            Grip(grip.touches, grip.shapes, placement, thumb, 0.0, grip.together)
            for grip in free
            for placement, thumb in hands
        ]
    return _tabulate(grips, wishes, instrument, style)


def _free_hands(family: str, high: bool) -> list[tuple[int, bool]]:
    neck = [(placement, False) for placement in range(1, (22 if high else HIGHEST_OPEN_HAND) + 1)]
    if family in ("cello", "bass") and high:
        neck += [(placement, True) for placement in range(7, 20)]
    return neck


def _single(options: tuple[Touch, ...]) -> list[Grip]:
    grips: list[Grip] = []
    for touch in options:
        if touch.finger is Finger.OPEN:
            grips.append(Grip((touch,), ("open",), None, False, 0.0))
        grips += [Grip((touch,), (fit.shape,), fit.placement, fit.thumb, fit.strain) for fit in touch.fits]
    return grips


def _together(options: list[tuple[Touch, ...]], family: str) -> list[Grip]:
    """Grips that hold all notes at once on neighbouring strings."""
    grips = [grip for combination in _combinations(options) for grip in _under_one_hand(combination, family)]
    grips.sort(key=lambda grip: grip.strain)
    return grips[: 4 * MOST_CHOICES]


def _combinations(options: list[tuple[Touch, ...]], chosen: tuple[Touch, ...] = ()) -> Iterator[tuple[Touch, ...]]:
    """One touch a note, as long as strings and fingers agree."""
    if len(chosen) == len(options):
        yield chosen
        return
    for touch in options[len(chosen)]:
        combination = (*chosen, touch)
        strings = [other.string for other in combination]
        if (
            len(set(strings)) == len(strings)
            and max(strings) - min(strings) < len(options)
            and _fingers_agree(combination)
        ):
            yield from _combinations(options, combination)


def _fingers_agree(combination: tuple[Touch, ...]) -> bool:
    """One finger one place (two neighbouring strings at most), and no lower finger above a higher one."""
    stopped = sorted(
        (touch.finger.rank, touch.place, touch.string) for touch in combination if touch.finger is not Finger.OPEN
    )
    for (rank, place, string), (next_rank, next_place, next_string) in pairwise(stopped):
        if rank == next_rank and (place != next_place or abs(string - next_string) != 1):
            return False
        if place > next_place:
            return False
    return True


def _under_one_hand(combination: tuple[Touch, ...], family: str) -> list[Grip]:
    stopped = [touch for touch in combination if touch.finger is not Finger.OPEN]
    if not stopped:
        return [Grip(combination, ("open",) * len(combination), None, False, 0.0)]
    by_hand = [{(fit.placement, fit.thumb): fit for fit in touch.fits} for touch in stopped]
    common = set(by_hand[0]).intersection(*by_hand[1:])
    grips = []
    for hand in common:
        shapes, strain = [], 0.0
        for touch in combination:
            fit = None if touch.finger is Finger.OPEN else by_hand[stopped.index(touch)][hand]
            shapes.append(fit.shape if fit else "open")
            strain += fit.strain if fit else 0.0
        grips.append(Grip(combination, tuple(shapes), hand[0], hand[1], strain + _pair_strain(stopped, hand, family)))
    return grips


def _pair_strain(stopped: list[Touch], hand: tuple[int, bool], family: str) -> float:
    """What two fingers down at once cost beyond their own reaches: apart, squeezed, or crosswise at one place."""
    strain = 0.0
    for first, second in combinations(stopped, 2):
        low, high = sorted((first, second), key=lambda touch: touch.finger.rank)
        if low.finger is not high.finger:
            strain += SPAN_STRAIN * span_excess(family, *hand, low.finger, high.finger, high.place - low.place)
    return strain


def _one_after_another(options: list[tuple[Touch, ...]]) -> list[Grip]:
    """Where no hand holds all notes: the hand serves the last (highest) struck note, the others are broken off."""
    grips: list[Grip] = []
    for grip in _single(options[-1]):
        others = tuple(_broken_off(option, grip) for option in options[:-1])
        shapes = tuple("open" if touch.finger is Finger.OPEN else "square" for touch in others)
        touches_all, shapes_all = (*others, *grip.touches), (*shapes, *grip.shapes)
        grips.append(Grip(touches_all, shapes_all, grip.placement, grip.thumb, grip.strain + 3.0, together=False))
    return grips


def _broken_off(option: tuple[Touch, ...], grip: Grip) -> Touch:
    """The touch nearest to the hand of ``grip``, on another string where it can be."""
    string = grip.touches[0].string
    return min(option, key=lambda touch: (touch.string == string, _away(touch, grip), touch.string))


def _away(touch: Touch, grip: Grip) -> int:
    if touch.finger is Finger.OPEN or grip.placement is None:
        return 0
    return min(abs(fit.placement - grip.placement) for fit in touch.fits)


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
    return Choices(
        serial=next(_SERIALS),
        wishes=wishes,
        grips=chosen,
        ways=tuple(tuple((touch.string, touch.finger.value) for touch in grip.touches) for grip in chosen),
        fingers=tuple(tuple(touch.finger.value for touch in grip.touches) for grip in chosen),
        hand=_ints((grip.placement or 0) + THUMB_HAND * grip.thumb for grip in chosen),
        first_place=_ints(first_finger_place(grip.placement or 0, grip.thumb) for grip in chosen),
        position=_ints(
            _position(grip, lead, wishes[lead], instrument) for grip, lead in zip(chosen, leads, strict=True)
        ),
        is_open=(masks == 0).all(axis=1),
        single=(masks > 0).sum(axis=1) == 1,
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


def _position(grip: Grip, lead: int, wish: Wish, instrument: Instrument) -> int:
    if instrument.family not in ("violin", "viola") or grip.placement is None:
        return (grip.placement or 0) + THUMB_HAND * grip.thumb
    numbers = letter_positions(grip.placement)
    touch = grip.touches[lead]
    if touch.finger is Finger.OPEN or touch.harmonic:
        return numbers[-1]
    wanted = wish.diatonic - instrument.strings[touch.string - 1].diatonic - touch.finger.rank + 1
    if grip.shapes[lead] not in RESTING:
        wanted += 1 if touch.finger is Finger.FIRST or grip.shapes[lead] == CONTRACTED else -1
    return min(numbers, key=lambda number: (abs(number - wanted), number))


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
    found = [Price("stretches", (weights.extension if single else weights.chord_stretch) * grip.strain)]
    for index, (touch, wish) in enumerate(zip(grip.touches, wishes, strict=True)):
        if touch.finger is Finger.OPEN:
            always = weights.open_trill if wish.trill else 0.0
            always += weights.open_in_position if single and (grip.placement or 0) > 2 else 0.0
            found.append(Price("open strings", always, weights.open_slow, weights.open_quick))
            continue
        share = 1.0 if single else 0.5
        fourth = weights.fourth_slow if single and touch.finger is Finger.FOURTH else 0.0
        found.append(Price("weak fingers", share * _finger_price(touch, wish, style), fourth))
        found.append(Price("positions", share * _place_price(grip, index, wish, instrument, style)))
    return found


def _finger_price(touch: Touch, wish: Wish, style: Style) -> float:
    weights = style.weights
    cost = {Finger.FOURTH: weights.fourth, Finger.THUMB: weights.thumb}.get(touch.finger, 0.0)
    if wish.trill:
        cost += {Finger.FOURTH: weights.trill_fourth, Finger.THIRD: weights.trill_third}.get(touch.finger, 0.0)
    return cost


def _place_price(grip: Grip, index: int, wish: Wish, instrument: Instrument, style: Style) -> float:
    weights, placement = style.weights, grip.placement or 0
    first = first_finger_place(placement, grip.thumb)
    cost = weights.height * max(0, first - 7)
    below = grip.touches[index].string - 1
    cost += weights.low_string_height * (THUMB_ACROSS * below**2 if grip.thumb else below * max(0, first - 2))
    cost += style.above_comfortable * max(0, first - style.comfortable_place)
    if instrument.family in ("violin", "viola"):
        cost += getattr(weights, AT_HOME.get(_position(grip, index, wish, instrument), FURTHER_UP))
        cost += _misspelling(grip, index, wish, instrument) * weights.misspelled
    elif placement == 1:
        cost += weights.half_position_low
    elif instrument.family == "cello" and not grip.thumb and placement not in CELLO_HOME:
        cost += weights.cello_away
    if grip.thumb:
        cost += weights.thumb_frame + weights.low_thumb * max(0, 12 - placement)
    return cost


#: Violin and viola positions, and the term that says how much they are at home.
AT_HOME = {
    0: "half_position", 1: "first_position", 2: "second_position", 3: "third_position", 4: "fourth_position",
}  # fmt: skip
FURTHER_UP = "fifth_position"
CELLO_HOME = frozenset({2, 7})


def _misspelling(grip: Grip, index: int, wish: Wish, instrument: Instrument) -> float:
    """How many letters the note lies off the positions its placement may have."""
    shape, touch = grip.shapes[index], grip.touches[index]
    if touch.harmonic:
        return 0.0
    wanted = wish.diatonic - instrument.strings[touch.string - 1].diatonic - touch.finger.rank + 1
    numbers = letter_positions(grip.placement or 0)
    off = min(abs(number - wanted) for number in numbers)
    return float(off if shape in RESTING else max(0, off - 1))


def why_impossible(wish: Wish, instrument: Instrument, bass_hand: str) -> tuple[str, str]:
    """(what, remedy) for a note that no touch gives, in a player's words; the note itself is named by the caller."""
    if wish.midi < instrument.lowest_midi:
        return (
            f"the note lies below the {instrument.family}'s lowest string ({instrument.strings[-1].pretty}).",
            "Choose another instrument or tuning, or transpose the passage.",
        )
    if wish.midi > instrument.strings[0].midi + instrument.highest_place and wish.harmonic is Harmonic.NONE:
        return (
            f"the note lies above the end of the {instrument.family}'s fingerboard.",
            "Check the clef and the octave.",
        )
    string, finger = wish.string, wish.finger
    if string is not None and string > len(instrument.strings):
        return (
            f"the {instrument.family} has no string {string}.",
            f"Strings run from I to {ROMAN[len(instrument.strings)]}.",
        )
    if string is not None and not _possible(wish, instrument, bass_hand, finger=None):
        return _string_fault(wish, instrument, string)
    if finger is Finger.OPEN:
        return (
            "0 asks for an open string or natural harmonic, and no string gives this note so.",
            "Change the 0 to a finger, or check the strings' tuning.",
        )
    if finger is not None and not _possible(wish, instrument, bass_hand, string=None, finger=finger):
        return _finger_fault(wish, instrument, finger)
    return (
        f"finger {finger} and string {ROMAN.get(string or 0, '')} do not go together here.",
        "Change or remove one of the two marks.",
    )


def _possible(wish: Wish, instrument: Instrument, bass_hand: str, **change: object) -> bool:
    fields_of = {name: getattr(wish, name) for name in Wish.__dataclass_fields__} | change
    return bool(touches(Wish(**fields_of), instrument, bass_hand))


def _string_fault(wish: Wish, instrument: Instrument, string: int) -> tuple[str, str]:
    open_pitch = instrument.strings[string - 1]
    able = [
        ROMAN[number]
        for number in range(1, len(instrument.strings) + 1)
        if instrument.strings[number - 1].midi <= wish.midi
    ]
    place = wish.midi - open_pitch.midi
    where = (
        "lies below it"
        if place < 0
        else "lies beyond its fingerboard"
        if place > instrument.highest_place
        else "is no harmonic of it"
    )
    return (
        f"string {ROMAN[string]} ({open_pitch.pretty}) cannot sound it; the note {where}.",
        f"Mark string {' or '.join(able)} instead, or remove the string mark."
        if place < 0
        else "Mark a higher string, or remove the string mark.",
    )


def _finger_fault(wish: Wish, instrument: Instrument, finger: Finger) -> tuple[str, str]:
    if finger is Finger.THUMB and instrument.family in ("violin", "viola"):
        return f"the {instrument.family} has no thumb position.", "Change the thumb mark to a finger 1 to 4."
    return f"finger {finger} cannot stop it on any string.", "Change or remove the finger."


__all__ = [
    "FINGERS",
    "THUMB_HAND",
    "Choices",
    "Grip",
    "Touch",
    "Wish",
    "make_choices",
    "spelled_position",
    "touches",
    "why_impossible",
    "wish_of",
]
