"""Exercises before the travel: naming it, hearing the arrival, settling where it leads.

Conventions: see ``ways``.
"""

from __future__ import annotations

from dataclasses import replace

from truestop.domain.drill.frame import frame_stops, open_stop, stop_at
from truestop.domain.drill.line import play, rest
from truestop.domain.drill.ways import Made, Ways, among, write
from truestop.domain.pitch import Interval, Pitch
from truestop.domain.stop import Stop
from truestop.domain.wording import Wording

OCTAVE = Interval(7, 12)


def name(ways: Ways, key: str, wording: Wording) -> Made:
    cells = [play(ways.departure, 2), play(ways.arrival, 2)]
    made = write(ways, key, cells, [(0, 1, None)], silent=ways.shift.silent)
    return made if ways.shift.guide else replace(made, case="unguided")


def hear_sing(ways: Ways, key: str, wording: Wording) -> Made:
    cells = [play(ways.departure, 2), rest(2, wording.say("hear.sing.text")), play(ways.arrival, 4)]
    return write(ways, key, cells, [(0, 2, None)], silent=True)


def _found_without_travel(ways: Ways, pitch: Pitch) -> Stop | None:
    """``pitch`` in the old position on another string: the nearest string first."""
    anchor = next((stop for stop in ways.departure if stop.placement is not None), None)
    if anchor is None:
        return None
    home = ways.arrival[-1].string
    strings = sorted(range(1, len(ways.fingered.instrument.strings) + 1), key=lambda string: abs(string - home))
    found = (stop_at(pitch, string, anchor, ways.shift.departure_step, ways.book) for string in strings)
    return next((stop for stop in found if stop is not None), None)


def hear_across(ways: Ways, key: str, wording: Wording) -> Made | None:
    if len(ways.arrival) != 1 or ways.arrival[0].harmonic:
        return None
    found = _found_without_travel(ways, ways.arrival[0].pitch)
    if found is None or among(found, ways.arrival) or among(found, ways.departure):
        return None
    cells = [play(ways.departure, 2), play((found,), 2), play(ways.departure, 2), play(ways.arrival, 2)]
    return write(ways, key, cells, [(2, 3, None)])


def hear_octave(ways: Ways, key: str, wording: Wording) -> Made | None:
    if len(ways.arrival) != 1 or ways.arrival[0].harmonic:
        return None
    below_first = (-OCTAVE, OCTAVE) if ways.shift.direction == "up" else (OCTAVE, -OCTAVE)
    found = (_found_without_travel(ways, ways.arrival[0].pitch.transposed(octave)) for octave in below_first)
    stop = next((stop for stop in found if stop is not None), None)
    if stop is None:
        return None
    cells = [play(ways.departure, 2), play((stop,), 2), play(ways.departure, 2), play(ways.arrival, 2)]
    return write(ways, key, cells, [(2, 3, None)])


def settle_frame(ways: Ways, key: str, wording: Wording) -> Made | None:
    anchor = next((stop for stop in ways.arrival if stop.placement is not None and not stop.harmonic), None)
    if anchor is None:
        return None
    frame = frame_stops(anchor, ways.shift.arrival_step, ways.book)
    if len(frame) < 2:
        return None
    walk = [*frame, *frame[-2::-1]]
    cells = [play((stop,), 1) for stop in walk]
    left = -len(walk) % 4
    cells += [play(ways.arrival, left)] if left else [play(ways.arrival, 4)]
    if left == 1:
        cells += [play(ways.arrival, 4)]
    return write(ways, key, cells, [])


def _ringing_string(ways: Ways, pitch: Pitch) -> Stop | None:
    """The open string that rings with ``pitch``: the same letter, in unison or octaves, and not the one it lies on."""
    strings = ways.fingered.instrument.strings
    rings = [
        open_stop(strings[number - 1], number)
        for number in range(1, len(strings) + 1)
        if (strings[number - 1].step, strings[number - 1].alter) == (pitch.step, pitch.alter)
    ]
    return min(rings, key=lambda stop: abs(stop.pitch.midi - pitch.midi)) if rings else None


def settle_check(ways: Ways, key: str, wording: Wording) -> Made | None:
    if len(ways.arrival) != 1 or ways.arrival[0].is_open:
        return None
    ring = _ringing_string(ways, ways.arrival[0].pitch)
    if ring is None:
        return None
    cells = [play(ways.arrival, 2), play((ring,), 2), play(ways.arrival, 4)]
    return write(ways, key, cells, [], open_string=ring.pitch.pretty)
