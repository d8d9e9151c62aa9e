"""Holding the notes of one moment together under one hand.

Conventions: a grip has a touch for each note, struck notes first, then held ones; all its fingers share one placement.
Open strings alone leave the hand free. Strain is that of ``frame``: 1 is a plain stretch.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import combinations, pairwise

from truestop.domain.fingering.touches import Touch
from truestop.domain.frame import span_excess
from truestop.domain.passage import Finger
from truestop.domain.position import LETTER_FAMILIES, letter_positions

MOST_GRIPS = 256
"""Of a chord's grips the easiest so many are looked at."""
HIGHEST_OPEN_HAND, HIGHEST_OPEN_HAND_ABOVE = 13, 22
"""Placements the hand may have behind an open string: usually, and where high notes are near."""
SPAN_STRAIN = 1.5
"""Strain of a semitone by which two fingers down at once are stretched or squeezed."""


@dataclass(frozen=True, slots=True)
class Grip:
    """One choice for the whole moment: touches under one hand, with the shape each finger has in it."""

    touches: tuple[Touch, ...]
    shapes: tuple[str, ...]
    placement: int | None
    """None where all strings are open and the hand may be anywhere."""
    thumb: bool
    strain: float
    position: int | None = None
    """Behind open strings of a violin or viola: the number of the hand's position, where its placement may have two."""
    together: bool = True
    """False where no hand can hold the notes at once and they are taken one after another."""


def make_grips(options: list[tuple[Touch, ...]], family: str, *, high: bool) -> list[Grip]:
    """Every grip for the touches of each note; ``high`` lets the hand behind open strings be high too."""
    grips = _single(options[0]) if len(options) == 1 else _together(options, family)
    grips = grips or _one_after_another(options)
    free = [grip for grip in grips if grip.placement is None]
    grips = [grip for grip in grips if grip.placement is not None]
    for placement, thumb in _free_hands(family, high) if free else []:
        for number in letter_positions(placement) if family in LETTER_FAMILIES else (None,):
            grips += [replace(grip, placement=placement, thumb=thumb, position=number) for grip in free]
    return grips


def _free_hands(family: str, high: bool) -> list[tuple[int, bool]]:
    neck = [(placement, False) for placement in range(1, (HIGHEST_OPEN_HAND_ABOVE if high else HIGHEST_OPEN_HAND) + 1)]
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
    return grips[:MOST_GRIPS]


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
