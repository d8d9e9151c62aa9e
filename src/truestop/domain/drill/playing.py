"""Exercises that count: plain, in time, in the passage, cold. The guide note is hidden but where its bow is practised.

Conventions: see ``ways``.
"""

from __future__ import annotations

from dataclasses import replace

from truestop.domain.drill.excerpt import take_excerpt
from truestop.domain.drill.line import NOTE_VALUES, Cell, play, rest, small
from truestop.domain.drill.stages import Travel
from truestop.domain.drill.ways import Made, Ways, again_and_again, write
from truestop.domain.shift import Cover, Relation
from truestop.domain.wording import Wording

PHRASE_MEASURES = 4


def plain(ways: Ways, key: str, wording: Wording) -> Made:
    metre = ways.metre
    long, short = metre.parts
    between = [play(stops, metre.beat) for stops in ways.covers]
    if len(between) == 2:
        between = [play(ways.covers[0], long), play(ways.covers[1], short)]
    if not between and ways.shift.cover == "rest":
        between = [rest(metre.beat)]
    bow = ways.shift.on_old_bow and not between
    once = _round(ways, between, play(ways.arrival, metre.stay * metre.beat, joined=bow))
    made = again_and_again(ways, key, once, _travel(once), silent=ways.shift.silent, metre=metre)
    return replace(made, case=_plain_case(ways))


def _round(ways: Ways, between: list[Cell], arrival: Cell, *, bow: str | None = None) -> list[Cell]:
    """Leave, arrive on a strong beat; ``between`` fills the beat before it. A bar of three beats begins with a rest
    where nothing does."""
    metre = ways.metre
    held = metre.lead - 1 if between else 2
    waits = [rest(metre.beat)] if metre.lead > held and not between else []
    return [*waits, play(ways.departure, held * metre.beat, bow=bow), *between, arrival]


def _travel(once: list[Cell], guide: int | None = None) -> tuple[int, int, int | None]:
    """Of one round: its first note leads to its last."""
    return (next(index for index, cell in enumerate(once) if cell.stops), len(once) - 1, guide)


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
    """Even, long and short, and only the short one: every arrival falls on the same beat."""
    if ways.covers or ways.shift.silent:
        return None
    metre, leave = ways.metre, ways.departure
    beat, (long, short) = metre.beat, metre.parts
    first = [play(leave, beat)] * (metre.lead - 2)
    dotted = [play(leave, beat + long)] if beat + long in NOTE_VALUES else [play(leave, beat), play(leave, long)]
    leads = (
        [*first, play(leave, beat), play(leave, beat)],
        [*first, *dotted, play(leave, short)],
        [rest((metre.lead - 1) * beat + long), play(leave, short)],
    )
    cells: list[Cell] = []
    travels = []
    for lead in leads:
        cells += [*lead, play(ways.arrival, metre.stay * beat), rest(beat)]
        travels.append((len(cells) - 3, len(cells) - 2, None))
    return write(ways, key, cells, travels, metre=metre)


def one_bow(ways: Ways, key: str, wording: Wording) -> Made | None:
    if ways.shift.silent:
        return None
    arrival = play(ways.arrival, ways.metre.stay * ways.metre.beat, joined=True)
    once = _round(ways, [], arrival, bow="down")
    return again_and_again(ways, key, once, _travel(once), metre=ways.metre)


def old_bow(ways: Ways, key: str, wording: Wording) -> Made | None:
    if ways.shift.silent or not ways.guided:
        return None
    metre = ways.metre
    long, short = metre.parts
    way = [small(ways.guide_from, long, joined=True)] if ways.set_down else []
    way += [small(ways.guide_to, short if way else metre.beat, joined=True, slid=True)]
    once = _round(ways, way, play(ways.arrival, metre.stay * metre.beat, bow="up"), bow="down")
    return again_and_again(ways, key, once, _travel(once, len(once) - 2 if ways.dropped else None), metre=metre)


def new_bow(ways: Ways, key: str, wording: Wording) -> Made | None:
    if ways.shift.silent or not ways.guided:
        return None
    metre = ways.metre
    long, short = metre.parts
    way = [small(ways.guide_from, long if ways.dropped else metre.beat, bow="up")]
    way += [small(ways.guide_to, short, joined=True, slid=True)] if ways.dropped else []
    arrival = play(ways.arrival, metre.stay * metre.beat, joined=True, slid=not ways.dropped)
    once = _round(ways, way, arrival, bow="down")
    return again_and_again(ways, key, once, _travel(once, len(once) - 2 if ways.dropped else None), metre=metre)


def there_and_back(ways: Ways, key: str, wording: Wording) -> Made | None:
    if ways.shift.silent or ways.shift.relation is Relation.FROM_OPEN:
        return None  # the way back to an open string is no shift
    beat = ways.metre.beat
    leave, reach = play(ways.departure, beat), play(ways.arrival, beat)
    end = {2: [play(ways.departure, 2 * beat)], 3: [leave, rest(beat)]}
    last = end.get(ways.metre.counted, [play(ways.departure, 2 * beat), rest(2 * beat)])
    cells = [leave, reach, leave, reach, *last]
    travels = [(0, 1, None), (1, 2, None), (2, 3, None), (3, 4, None)]
    made = write(ways, key, cells, travels, metre=ways.metre)
    if ways.shift.relation is Relation.TO_OPEN:
        return replace(made, case="to open")
    leaves, reaches = ([stop.pitch for stop in stops] for stops in (ways.shift.departure, ways.shift.arrival))
    return replace(made, case="same note") if leaves == reaches else made


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
