"""The way of the hand through a passage: every shift, and every movement that is not one.

Conventions: a shift is named where the hand arrives. Departure and arrival are the fingered stops before and after,
whatever covers the travel. A change of placement is a *creep* when the arriving finger reached its place from the old
placement by stretching or closing the hand, nothing when the hand only turns a semitone inside one named position, and
a shift otherwise. Inside one placement, a finger out of its resting place is an extension or a contraction, and a
finger that moves a semitone on its string a chromatic slide.

Source: common practice of the trade, no single source.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace

from truestop.domain.frame import (
    CONTRACTED,
    GREATEST_CREEP,
    GREATEST_CREEP_STRAIN,
    RESTING,
    first_finger_place,
    reach_of,
    span_excess,
)
from truestop.domain.guide import HIGHEST_NECK, Guidebook, is_thumb, make_guides, relation_of
from truestop.domain.instrument import Instrument
from truestop.domain.passage import Harmonic
from truestop.domain.pitch import Interval, Pitch
from truestop.domain.shift import OUTSIDE_THE_MUSIC, Cover, GuideRule, Motion, Relation, Shift, Way
from truestop.domain.stop import FingeredPassage, Step, Stop

HOME_PLACEMENT = 2
"""A passage that begins on an open string and goes on up to here has not shifted: the hand was there."""
TURNING = frozenset({"violin", "viola"})
OPEN = "open"


@dataclass(frozen=True, slots=True)
class Passing:
    """From one fingered step to the next."""

    departure: int
    arrival: int
    before: Step
    after: Step
    cover: Cover

    @property
    def leads(self) -> tuple[Stop, Stop]:
        """The pair of stops that names the movement: on one string where there is one, the uppermost."""
        return pair_stops(self.before.fingered or self.before.stops, self.after.fingered or self.after.stops)[0]


def find_way(
    fingered: FingeredPassage, *, guide_rule: GuideRule = GuideRule.LOWER, drill_open: Collection[str] = ()
) -> Way:
    """Every shift of ``fingered`` with its guide, and the extensions, contractions, creeps and chromatic slides apart.

    ``drill_open`` names open notes that the player wants to drill: they count as departure or arrival themselves.
    """
    book = Guidebook(fingered)
    shifts: list[Shift] = []
    other: list[Motion] = []
    notes = {note.id: note for note in fingered.passage.notes}
    for passing in _passings(fingered, frozenset(drill_open)):
        kind = kind_of(passing, fingered.instrument)
        if kind == "shift":
            sliding = any(notes[stop.note_id].marks.slide for stop in passing.after.stops)
            shifts.append(_make_shift(passing, book, guide_rule, len(shifts) + 1, sliding))
        elif kind is not None:
            other.append(_motion(kind, passing))
    return Way(guide_rule=guide_rule, shifts=tuple(shifts), other=tuple(other))


def _passings(fingered: FingeredPassage, drilled: frozenset[str]) -> Iterator[Passing]:
    """Pairs of fingered steps with what covers the way between them."""
    steps = fingered.steps
    artificial = {note.id for note in fingered.passage.notes if note.marks.harmonic is Harmonic.ARTIFICIAL}
    last: int | None = None
    for index, step in enumerate(steps):
        if not step.fingered and not any(stop.note_id in drilled for stop in step.stops):
            continue
        if last is None and index > 0 and (step.placement or 0) > HOME_PLACEMENT:
            last = index - 1
        if last is not None:
            yield Passing(last, index, steps[last], step, _cover(steps, last, index, artificial))
        last = index


def _cover(steps: Sequence[Step], departure: int, arrival: int, artificial: Collection[str]) -> Cover:
    if any(not step.fingered for step in steps[departure + 1 : arrival]):
        return Cover.OPEN
    if any(step.rest_before for step in steps[departure + 1 : arrival + 1]):
        return Cover.REST
    ringing = all(stop.harmonic and stop.note_id not in artificial for stop in steps[departure].fingered)
    return Cover.HARMONIC if ringing and steps[departure].fingered else Cover.NONE


def pair_stops(departure: Sequence[Stop], arrival: Sequence[Stop]) -> list[tuple[Stop, Stop]]:
    """Stops that follow each other on one string, the highest string first; else the uppermost of each."""
    by_string = {stop.string: stop for stop in departure}
    ordered = sorted(arrival, key=lambda stop: stop.string)
    pairs = [(by_string[stop.string], stop) for stop in ordered if stop.string in by_string]
    if pairs:
        return pairs
    return [(min(departure, key=lambda stop: stop.string), min(arrival, key=lambda stop: stop.string))]


def kind_of(passing: Passing, instrument: Instrument) -> str | None:
    """'shift', 'creep', 'extension', 'contraction', 'chromatic slide', or None where the hand stays square."""
    departure, arrival = passing.leads
    if departure.is_open or arrival.is_open:
        return "shift"
    if (departure.placement, is_thumb(departure)) == (arrival.placement, is_thumb(arrival)):
        return _kind_inside(passing, instrument)
    if instrument.family in TURNING and _turns(passing):
        return "chromatic slide" if _slides(passing, instrument) else None
    return "creep" if _creeps(passing, instrument) else "shift"


def _kind_inside(passing: Passing, instrument: Instrument) -> str | None:
    if _slides(passing, instrument):
        return "chromatic slide"
    old = {(stop.string, stop.finger, stop.place) for stop in passing.before.fingered}
    for stop in passing.after.fingered:
        if stop.shape not in RESTING and (stop.string, stop.finger, stop.place) not in old:
            return "contraction" if stop.shape == CONTRACTED else "extension"
    return None


def _slides(passing: Passing, instrument: Instrument) -> bool:
    """Same finger, one semitone, one string, nothing between; not on the necks of cello and bass."""
    departure, arrival = passing.leads
    on_neck = (departure.placement or 0) <= HIGHEST_NECK.get(instrument.family, 0) and not is_thumb(departure)
    return (
        passing.cover is Cover.NONE
        and not on_neck
        and departure.finger is arrival.finger
        and departure.string == arrival.string
        and abs(departure.place - arrival.place) == 1
    )


def _turns(passing: Passing) -> bool:
    """A semitone's turn of the hand inside one named position."""
    departure, arrival = passing.leads
    near = abs((departure.placement or 0) - (arrival.placement or 0)) == 1
    return near and passing.before.position == passing.after.position


def _creeps(passing: Passing, instrument: Instrument) -> bool:
    departure, arrival = passing.leads
    if passing.cover is not Cover.NONE or departure.finger is arrival.finger or departure.placement is None:
        return False
    if len(passing.before.fingered) > 1 or len(passing.after.fingered) > 1:
        return False
    if abs(departure.placement - (arrival.placement or 0)) > GREATEST_CREEP[instrument.family]:
        return False
    reach = reach_of(instrument.family, departure.placement, arrival.finger, arrival.place, is_thumb(departure))
    if reach is None or reach.shape in RESTING or reach.strain > GREATEST_CREEP_STRAIN:
        return False
    low, high = sorted((departure, arrival), key=lambda stop: stop.finger.rank)
    span = high.place - low.place
    spread = span_excess(instrument.family, departure.placement, is_thumb(departure), low.finger, high.finger, span)
    return spread <= GREATEST_CREEP_STRAIN


def _motion(kind: str, passing: Passing) -> Motion:
    departure, arrival = passing.leads
    return Motion(kind=kind, note_ids=(departure.note_id, arrival.note_id), measure=passing.after.measure)


def _make_shift(passing: Passing, book: Guidebook, rule: GuideRule, number: int, sliding: bool) -> Shift:
    departure, arrival = passing.leads
    before, after = passing.before.fingered or passing.before.stops, passing.after.fingered or passing.after.stops
    relation = relation_of(departure, arrival)
    pairs = pair_stops(before, after)
    guides = make_guides(book, pairs, (passing.departure, passing.arrival), relation, passing.cover, rule)
    steps = book.fingered.steps[passing.departure + 1 : passing.arrival + 1]
    return Shift(
        number=number,
        departure=before,
        arrival=after,
        departure_step=passing.departure,
        arrival_step=passing.arrival,
        measure=passing.after.measure,
        direction=_direction(departure, arrival),
        relation=relation,
        crossing=departure.string != arrival.string,
        cover=Cover.NONE if relation in (Relation.FROM_OPEN, Relation.TO_OPEN) and not _rests(steps) else passing.cover,
        interval=Interval.between(_upper(before), _upper(after)),
        from_position=passing.before.position or OPEN,
        to_position=passing.after.position or OPEN,
        guide=guides,
        on_old_bow=all(step.bow_continues for step in steps),
        written_slide=sliding,
    )


def turn_back(fingered: FingeredPassage, shift: Shift, *, guide_rule: GuideRule = GuideRule.LOWER) -> Shift:
    """The way back of a sounding shift, from where it arrives to where it departs: a shift of its own, outside the
    music, so that its number is 0."""
    steps = fingered.steps
    before, after = steps[shift.arrival_step], steps[shift.departure_step]
    passing = Passing(shift.arrival_step, shift.departure_step, before, after, Cover.NONE)
    back = _make_shift(passing, Guidebook(fingered), guide_rule, OUTSIDE_THE_MUSIC, False)
    return replace(back, on_old_bow=shift.on_old_bow)


def _rests(steps: Sequence[Step]) -> bool:
    return any(step.rest_before for step in steps)


def _upper(stops: Sequence[Stop]) -> Pitch:
    return max((stop.pitch for stop in stops), key=lambda pitch: pitch.midi)


def _direction(departure: Stop, arrival: Stop) -> str:
    """Of the placement, thumb frames by their first finger; a thumb frame lies above a neck frame there."""
    if departure.is_open or arrival.is_open:
        return "up" if departure.is_open else "down"
    old = (first_finger_place(departure.placement or 0, is_thumb(departure)), is_thumb(departure))
    new = (first_finger_place(arrival.placement or 0, is_thumb(arrival)), is_thumb(arrival))
    return "up" if new > old else "down"
