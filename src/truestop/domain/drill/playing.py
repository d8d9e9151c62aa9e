"""Exercises that count: plain, in time, in the passage, cold. The guide note is hidden but where its bow is practised.

Conventions: see ``ways``.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from truestop.domain.drill.excerpt import take_excerpt
from truestop.domain.drill.line import play, rest, small
from truestop.domain.drill.stages import Travel
from truestop.domain.drill.ways import Made, Ways, three_times, write
from truestop.domain.shift import Cover, Relation
from truestop.domain.wording import Wording

HALF = Fraction(1, 2)
PHRASE_MEASURES = 4


def plain(ways: Ways, key: str, wording: Wording) -> Made:
    covers = [play(stops, 1) for stops in ways.covers]
    if not covers and ways.shift.cover == "rest":
        covers = [rest(1)]
    bow = ways.shift.on_old_bow and not covers
    if covers:
        lead = (
            [play(ways.departure, 1), *covers]
            if len(covers) == 1
            else [play(ways.departure, 1), *(play(stops, HALF) for stops in ways.covers)]
        )
    else:
        lead = [play(ways.departure, 2)]
    once = [*lead, play(ways.arrival, 1, joined=bow)]
    made = three_times(ways, key, once, (0, len(once) - 1, None), silent=ways.shift.silent)
    return replace(made, case=_plain_case(ways))


def _plain_case(ways: Ways) -> str:
    """What the hand does where no guide note was practised that could be left out now."""
    if ways.guided:
        return "slid" if ways.guide_is_written else ""
    if ways.shift.relation is Relation.TO_OPEN:
        return "to open"
    if ways.shift.relation is Relation.FROM_OPEN:
        return "ringing"
    return {Cover.REST: "rest", Cover.OPEN: "ringing"}.get(ways.shift.cover, "to open")


def rhythms(ways: Ways, key: str, wording: Wording) -> Made | None:
    if ways.covers or ways.shift.silent:
        return None
    leave, reach = ways.departure, ways.arrival
    cells = [
        play(leave, 1), play(leave, 1), play(reach, 1), rest(1),
        play(leave, Fraction(3, 2)), play(leave, HALF), play(reach, 1), rest(1),
        play(leave, HALF), play(reach, HALF), play(reach, 2), rest(1),
    ]  # fmt: skip
    return write(ways, key, cells, [(1, 2, None), (5, 6, None), (8, 9, None)])


def one_bow(ways: Ways, key: str, wording: Wording) -> Made | None:
    if ways.shift.silent:
        return None
    once = [play(ways.departure, 2, bow="down"), play(ways.arrival, 1, joined=True)]
    return three_times(ways, key, once, (0, 1, None))


def old_bow(ways: Ways, key: str, wording: Wording) -> Made | None:
    if ways.shift.silent or not ways.guided:
        return None
    beats = HALF if ways.set_down else Fraction(1)
    way = [small(ways.guide_from, beats, joined=True)] if ways.set_down else []
    once = [play(ways.departure, 1, bow="down"), *way, small(ways.guide_to, beats, joined=True, slid=True)]
    once += [play(ways.arrival, 1, bow="up")]
    return three_times(ways, key, once, (0, len(once) - 1, len(once) - 2 if ways.dropped else None))


def new_bow(ways: Ways, key: str, wording: Wording) -> Made | None:
    if ways.shift.silent or not ways.guided:
        return None
    beats = HALF if ways.dropped else Fraction(1)
    way = [small(ways.guide_to, beats, joined=True, slid=True)] if ways.dropped else []
    once = [play(ways.departure, 1, bow="down"), small(ways.guide_from, beats, bow="up"), *way]
    once += [play(ways.arrival, 1, joined=True, slid=not ways.dropped)]
    return three_times(ways, key, once, (0, len(once) - 1, len(once) - 2 if ways.dropped else None))


def there_and_back(ways: Ways, key: str, wording: Wording) -> Made | None:
    if ways.shift.silent or ways.shift.relation is Relation.FROM_OPEN:
        return None  # the way back to an open string is no shift
    leave, reach = ways.departure, ways.arrival
    cells = [play(leave, 1), play(reach, 1), play(leave, 1), play(reach, 1), play(leave, 2), rest(2)]
    made = write(ways, key, cells, [(0, 1, None), (1, 2, None), (2, 3, None), (3, 4, None)])
    return replace(made, case="to open") if ways.shift.relation is Relation.TO_OPEN else made


def bars(ways: Ways, key: str, wording: Wording) -> Made | None:
    first, last = _measure_span(ways)
    if first == 0 and last == len(ways.fingered.passage.measures) - 1:
        return None
    return _excerpt(ways, key, first - 1, last + 1, arrow=_arrow(ways, wording))


def phrase(ways: Ways, key: str, wording: Wording) -> Made | None:
    """The groups of four measures, counted from the first full one, that hold the shift."""
    first, last = _measure_span(ways)
    measures = ways.fingered.passage.measures
    pickup = 1 if len(measures) > 1 and measures[0].duration < measures[1].duration else 0
    start = pickup + (first - pickup) // PHRASE_MEASURES * PHRASE_MEASURES
    end = pickup + (last - pickup) // PHRASE_MEASURES * PHRASE_MEASURES + PHRASE_MEASURES - 1
    start = 0 if start <= pickup else start
    if max(0, start) >= max(0, first - 1) and min(end, len(measures) - 1) <= last + 1:
        return None
    return _excerpt(ways, key, start, end, arrow=_arrow(ways, wording))


def _measure_span(ways: Ways) -> tuple[int, int]:
    passage = ways.fingered.passage
    return (
        passage.note(ways.departure[0].note_id).measure_index,
        passage.note(ways.arrival[0].note_id).measure_index,
    )


def _arrow(ways: Ways, wording: Wording) -> str:
    return wording.say(f"part.arrow.{ways.shift.direction}")


def _excerpt(ways: Ways, key: str, first: int, last: int, *, arrow: str = "") -> Made:
    arrows = (arrow,) if arrow else ()
    passage, stops = take_excerpt(ways.fingered, first=first, last=last, key=key, marked=(ways.shift,), arrows=arrows)
    named = {stop.note_id: stop for stop in stops}
    travel = Travel(
        departure=tuple(named[f"{key}-{stop.note_id}"] for stop in ways.departure),
        arrival=tuple(named[f"{key}-{stop.note_id}"] for stop in ways.arrival),
        silent=ways.shift.silent,
    )
    return Made(key=key, passage=passage, stops=stops, travels=(travel,), fields={})


def cold(ways: Ways, key: str, wording: Wording) -> Made | None:
    first, last = _measure_span(ways)
    return _excerpt(ways, key, first, last)
