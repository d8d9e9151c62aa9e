"""Exercises of the travel itself: the guide finger alone, and landing over it.

Conventions: see ``ways``. Small notes are the announced guide notes.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from truestop.domain.drill.frame import frame_stops
from truestop.domain.drill.line import Cell, play, rest, small
from truestop.domain.drill.ways import Made, Ways, again_and_again, among, write
from truestop.domain.passage import Finger
from truestop.domain.stop import Stop
from truestop.domain.wording import Wording

HALF, ONE = Fraction(1, 2), Fraction(1)


def _slid(stops: tuple[Stop, ...]) -> Cell:
    """A note that the same finger slides to in the same bow; its finger needs no second print."""
    return play(stops, 2, joined=True, slid=True, fingered=False)


def guide_slow(ways: Ways, key: str, wording: Wording) -> Made | None:
    if not ways.guided:
        return None
    there = [play(ways.guide_from, 2), _slid(ways.guide_to)]
    other = [play(ways.guide_to, 2), _slid(ways.guide_from)]
    back, again = _slid(ways.guide_from), _slid(ways.guide_to)
    cells = [*there, back, rest(2), *other, again, rest(2)]
    return write(ways, key, cells, [(0, 1, None), (1, 2, None), (4, 5, None), (5, 6, None)])


def guide_check(ways: Ways, key: str, wording: Wording) -> Made | None:
    if not ways.guided:
        return None
    cells = [
        play(ways.guide_from, 1), rest(1), play(ways.guide_to, 2),
        play(ways.guide_to, 1), rest(1), play(ways.guide_from, 2),
    ]  # fmt: skip
    return write(ways, key, cells, [(0, 2, None), (3, 5, None)], silent=True)


def _set_finger(ways: Ways) -> Stop | None:
    """The finger that is set in silence and measured from: the lowest of the arrival's frame."""
    anchor = next((stop for stop in ways.arrival if stop.placement is not None), None)
    if anchor is None:
        return None
    if anchor.harmonic:
        return anchor
    frame = frame_stops(anchor, ways.shift.arrival_step, ways.book)
    return next((stop for stop in frame if stop.finger in (Finger.FIRST, Finger.THUMB)), anchor)


def guide_set(ways: Ways, key: str, wording: Wording) -> Made | None:
    setting_finger = _set_finger(ways)
    if ways.guided or setting_finger is None:
        return None
    arrived = among(setting_finger, ways.arrival)
    cells = [play(ways.departure, 1), rest(1), play((setting_finger,), 2), play(ways.arrival, 2), rest(2)]
    travels: list[tuple[int, int, int | None]] = [(0, 3, None)]
    if arrived:
        once = [play(ways.departure, 1), rest(1), play(ways.arrival, 2)]
        cells, travels = [*once, *once], [(0, 2, None), (3, 5, None)]
    finger = wording.say(f"finger.{setting_finger.finger}")
    made = write(ways, key, cells, travels, silent=True, set_finger=finger, set_pitch=setting_finger.pitch.pretty)
    return replace(made, case="arrived") if arrived else made


def _over_small_note(ways: Ways) -> list[Cell]:
    """Departure, announced guide notes as small notes with the slide lines between, arrival."""
    small_cells = []
    beats = HALF if ways.set_down and ways.dropped else ONE
    if ways.set_down:
        small_cells.append(small(ways.guide_from, beats))
    if ways.dropped:
        small_cells.append(small(ways.guide_to, beats, slid=True))
    return [play(ways.departure, 1), *small_cells, play(ways.arrival, 1, slid=not ways.dropped)]


def land_guide(ways: Ways, key: str, wording: Wording) -> Made | None:
    if not ways.guided or ways.guide_is_written:
        return None
    once = _over_small_note(ways)
    travel = (0, len(once) - 1, len(once) - 2)
    return again_and_again(ways, key, once, travel)


def land_slide(ways: Ways, key: str, wording: Wording) -> Made | None:
    if not ways.guided or not ways.guide_is_written:
        return None
    once = [play(ways.departure, 2), play(ways.arrival, 1, joined=True, slid=True)]
    return again_and_again(ways, key, once, (0, 1, None))


def land_set(ways: Ways, key: str, wording: Wording) -> Made | None:
    setting_finger = _set_finger(ways)
    if ways.guided or setting_finger is None or among(setting_finger, ways.arrival):
        return None
    once = [play(ways.departure, 1), rest(HALF), small((setting_finger,), HALF), play(ways.arrival, 1)]
    return again_and_again(ways, key, once, (0, 3, 2), silent=True)
