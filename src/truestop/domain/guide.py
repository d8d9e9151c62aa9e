"""Guide fingers, guide strings and guide notes: how a shift is carried.

Conventions: three schools say which finger guides (the table ``GUIDES``). A guiding departure finger travels on the old
string, a guiding arrival finger is set down on the new one. Where the guide's end is not a written note, its place is
the first that applies: where that finger lies on that string in that placement elsewhere in the passage, under the same
key signature; on the cello neck and the bass the frame itself; else the letter by position and finger, with key and
bar, moved until it fits.

Sources: *departure* school, K. Davydov, *Violoncell-Schule*, 1888; the others common practice of the trade.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from truestop.domain.fingerboard import travel_mm
from truestop.domain.frame import BACK, FORWARD, RESTING, Reach, reaches_from
from truestop.domain.passage import Finger, Measure
from truestop.domain.pitch import SEMITONES_ABOVE_C, STEPS, Pitch, spell
from truestop.domain.shift import Cover, Guide, GuideRule, Relation
from truestop.domain.stop import FingeredPassage, Step, Stop

DEPARTURE, ARRIVAL = "departure", "arrival"

#: Which of the two fingers guides, by the school and how the fingers stand to each other.
GUIDES = {
    (GuideRule.LOWER, Relation.SAME): DEPARTURE,
    (GuideRule.LOWER, Relation.TO_HIGHER): DEPARTURE,
    (GuideRule.LOWER, Relation.TO_LOWER): ARRIVAL,
    (GuideRule.DEPARTURE, Relation.SAME): DEPARTURE,
    (GuideRule.DEPARTURE, Relation.TO_HIGHER): DEPARTURE,
    (GuideRule.DEPARTURE, Relation.TO_LOWER): DEPARTURE,
    (GuideRule.ARRIVAL, Relation.SAME): DEPARTURE,
    (GuideRule.ARRIVAL, Relation.TO_HIGHER): ARRIVAL,
    (GuideRule.ARRIVAL, Relation.TO_LOWER): ARRIVAL,
}

#: Cello neck: fingers' offsets from the placement by the shape the run needs.
CELLO_OFFSETS = {
    "closed": {Finger.FIRST: 0, Finger.SECOND: 1, Finger.THIRD: 2, Finger.FOURTH: 3},
    FORWARD: {Finger.FIRST: 0, Finger.SECOND: 2, Finger.THIRD: 3, Finger.FOURTH: 4},
    BACK: {Finger.FIRST: -1, Finger.SECOND: 1, Finger.THIRD: 2, Finger.FOURTH: 3},
}
HIGHEST_NECK = {"cello": 7, "bass": 9}


@dataclass(frozen=True, slots=True)
class Hand:
    """Where the hand is: placement, whether a thumb frame, and the step that shows it."""

    placement: int
    thumb: bool
    step: int


@dataclass(frozen=True, slots=True)
class Lie:
    """Where a finger lies: place and pitch there."""

    place: int
    pitch: Pitch


class Guidebook:
    """What a fingered passage tells of where fingers lie in each placement."""

    def __init__(self, fingered: FingeredPassage) -> None:
        self.fingered = fingered
        self.instrument = fingered.instrument
        self._seen: dict[tuple[int, Finger, int, bool, int], list[tuple[int, Lie]]] = defaultdict(list)
        for index, step in enumerate(fingered.steps):
            signature = self._key(index)
            for stop in step.fingered:
                if not stop.harmonic and stop.placement is not None and stop.shape in RESTING:
                    key = (stop.string, stop.finger, stop.placement, is_thumb(stop), signature)
                    self._seen[key].append((index, Lie(stop.place, stop.pitch)))

    def lie_of_stop(self, stop: Stop, step: int) -> Lie:
        """Where a written stop's finger lies: a harmonic's at the place it touches or stops."""
        if not stop.harmonic:
            return Lie(stop.place, stop.pitch)
        return Lie(stop.place, self._spelled(stop.string, stop.place, step))

    def lie(self, finger: Finger, string: int, hand: Hand, by: Stop) -> Lie | None:
        """Where ``finger`` lies on ``string`` in ``hand``, shown by its stop ``by``; None where it has no place."""
        seen = self._elsewhere(finger, string, hand)
        if seen is not None and _in_order(finger, seen.place, string, by):
            return seen
        if hand.thumb and finger is Finger.FOURTH:
            return None  # thumb frames hold T-1-2-3
        if not any(reach.finger is finger for reach in self._reaches(hand)):
            return None
        offset = self._frame_offset(finger, hand)
        if offset is not None:
            place = hand.placement + offset
            return Lie(place, self._spelled(string, place, hand.step)) if place >= 1 else None
        return self._by_letter(finger, string, hand, by)

    def _elsewhere(self, finger: Finger, string: int, hand: Hand) -> Lie | None:
        """The nearest stop of the same key signature that shows the place, or None."""
        seen = self._seen.get((string, finger, hand.placement, hand.thumb, self._key(hand.step)), [])
        if not seen:
            return None
        after = bisect_left(seen, hand.step, key=lambda item: item[0])
        near = seen[max(0, after - 1) : after + 1]
        return min(near, key=lambda item: abs(item[0] - hand.step))[1]

    def _reaches(self, hand: Hand) -> tuple[Reach, ...]:
        return reaches_from(self.instrument.family, hand.placement, hand.thumb)

    def _frame_offset(self, finger: Finger, hand: Hand) -> int | None:
        """Cello neck and bass: the frame itself says; None where letters decide."""
        family = self.instrument.family
        if hand.thumb or family not in HIGHEST_NECK or hand.placement > HIGHEST_NECK[family]:
            return None
        if family == "cello":
            return CELLO_OFFSETS[self._run_shape(hand)].get(finger)
        offsets = sorted((reach.strain, reach.offset) for reach in self._reaches(hand) if reach.finger is finger)
        return offsets[0][1] if offsets else None

    def _run_shape(self, hand: Hand) -> str:
        shapes = {stop.shape for step in self._run(hand) for stop in step.fingered}
        return FORWARD if FORWARD in shapes else BACK if BACK in shapes else "closed"

    def _run(self, hand: Hand) -> Iterator[Step]:
        """The steps around ``hand.step`` made from its placement, open strings taken in."""
        steps = self.fingered.steps
        for order in (range(hand.step, len(steps)), range(hand.step - 1, -1, -1)):
            for index in order:
                lead = next(iter(steps[index].fingered), None)
                if lead is not None and (lead.placement != hand.placement or is_thumb(lead) != hand.thumb):
                    break
                yield steps[index]

    def _by_letter(self, finger: Finger, string: int, hand: Hand, by: Stop) -> Lie | None:
        open_pitch = self.instrument.open_pitch(string)
        shown = self.lie_of_stop(by, hand.step).pitch
        letters = (
            shown.diatonic - self.instrument.open_pitch(by.string).diatonic - _letter_rank(by) + _rank(finger, hand)
        )
        octave, index = divmod(open_pitch.diatonic + letters, 7)
        alter = self._alter(STEPS[index], octave, hand.step)
        natural = 12 * (octave + 1) + SEMITONES_ABOVE_C[STEPS[index]]
        wanted = natural + alter - open_pitch.midi
        reached = [(reach, hand.placement + reach.offset) for reach in self._reaches(hand) if reach.finger is finger]
        places = [
            (reach.shape not in RESTING, abs(place - wanted), reach.strain, place)
            for reach, place in reached
            if place >= 1 and _in_order(finger, place, string, by)
        ]
        if not places:
            return None
        place = min(places)[3]
        alter = open_pitch.midi + place - natural
        pitch = Pitch(STEPS[index], alter, octave) if abs(alter) <= 2 else self._spelled(string, place, hand.step)
        return Lie(place, pitch)

    def _alter(self, letter: str, octave: int, step: int) -> int:
        """Accidental of a letter at a step: as the bar has it before there, else the key's."""
        steps = self.fingered.steps
        measure = steps[step].measure
        for index in range(step, -1, -1):
            if steps[index].measure != measure:
                break
            for stop in steps[index].stops:
                if stop.pitch.step == letter and stop.pitch.octave == octave and not stop.harmonic:
                    return stop.pitch.alter
        sharps = self._key(step)
        order = "FCGDAEB"
        return 1 if letter in order[: max(0, sharps)] else -1 if sharps < 0 and letter in order[sharps:] else 0

    def _key(self, step: int) -> int:
        return measure_of(self.fingered, step).key_fifths if self.fingered.passage.measures else 0

    def _spelled(self, string: int, place: int, step: int) -> Pitch:
        return spell(self.instrument.open_pitch(string).midi + place, key_fifths=self._key(step))


def measure_of(fingered: FingeredPassage, step: int) -> Measure:
    """The measure that holds a step."""
    measures, onset = fingered.passage.measures, fingered.steps[step].onset
    index = bisect_left(measures, onset, key=lambda measure: measure.onset)
    return measures[index] if index < len(measures) and measures[index].onset == onset else measures[max(0, index - 1)]


def is_thumb(stop: Stop) -> bool:
    """Whether the stop is made in a thumb frame."""
    return stop.shape == "thumb"


def _rank(finger: Finger, hand: Hand) -> int:
    """Fingers counted by letters: in a thumb frame T-1-2-3 stand as 1-2-3-4."""
    return finger.rank + (1 if hand.thumb else 0)


def _letter_rank(stop: Stop) -> int:
    return stop.finger.rank + (1 if is_thumb(stop) else 0)


def _in_order(finger: Finger, place: int, string: int, by: Stop) -> bool:
    """On one string a higher finger lies on a higher place."""
    if string != by.string or by.harmonic:
        return True
    return (place > by.place) == (finger.rank > by.finger.rank) and (place == by.place) == (finger is by.finger)


def make_guides(
    book: Guidebook,
    pairs: Sequence[tuple[Stop, Stop]],
    steps: tuple[int, int],
    relation: Relation,
    cover: Cover,
    rule: GuideRule,
) -> tuple[Guide, ...]:
    """A guide for every pair of departure and arrival; none where the travel is silent or no finger carries it."""
    if cover in (Cover.REST, Cover.OPEN) or relation in (Relation.FROM_OPEN, Relation.TO_OPEN):
        return ()
    made = (_guide(book, departure, arrival, steps, cover, rule) for departure, arrival in pairs)
    return tuple(guide for guide in made if guide is not None)


def relation_of(departure: Stop, arrival: Stop) -> Relation:
    """How the arrival finger stands to the departure finger."""
    if departure.is_open:
        return Relation.FROM_OPEN
    if arrival.is_open:
        return Relation.TO_OPEN
    if is_thumb(departure) != is_thumb(arrival):
        return Relation.THROUGH_THUMB
    if departure.finger is arrival.finger:
        return Relation.SAME
    return Relation.TO_HIGHER if arrival.finger.rank > departure.finger.rank else Relation.TO_LOWER


def _guide(
    book: Guidebook, departure: Stop, arrival: Stop, steps: tuple[int, int], cover: Cover, rule: GuideRule
) -> Guide | None:
    relation = relation_of(departure, arrival)
    old = Hand(departure.placement or 0, is_thumb(departure), steps[0])
    new = Hand(arrival.placement or 0, is_thumb(arrival), steps[1])
    if relation is Relation.THROUGH_THUMB and old.thumb:
        return _thumb_to_neck(book, departure, arrival, old, new)
    end = DEPARTURE if cover is Cover.HARMONIC else GUIDES.get((rule, relation), DEPARTURE)
    if end == DEPARTURE:
        start: Lie | None = book.lie_of_stop(departure, old.step)
        arrives = _same_lie(book, departure, arrival, new)
        return _carried(book, departure.finger, departure.string, start, arrives)
    start = book.lie(arrival.finger, arrival.string, old, departure)
    return _carried(book, arrival.finger, arrival.string, start, book.lie_of_stop(arrival, new.step))


def _same_lie(book: Guidebook, departure: Stop, arrival: Stop, new: Hand) -> Lie | None:
    """Where the departure finger comes to on its own string."""
    if departure.finger is arrival.finger and departure.string == arrival.string:
        return book.lie_of_stop(arrival, new.step)
    return book.lie(departure.finger, departure.string, new, arrival)


def _thumb_to_neck(book: Guidebook, departure: Stop, arrival: Stop, old: Hand, new: Hand) -> Guide | None:
    """The lowest finger present in both frames: the first."""
    first = Finger.FIRST
    string = arrival.string if arrival.finger is first and departure.finger is not first else departure.string
    at_departure = departure.finger is first and departure.string == string
    at_arrival = arrival.finger is first and arrival.string == string
    start = book.lie_of_stop(departure, old.step) if at_departure else book.lie(first, string, old, departure)
    end = book.lie_of_stop(arrival, new.step) if at_arrival else book.lie(first, string, new, arrival)
    return _carried(book, first, string, start, end)


def _carried(book: Guidebook, finger: Finger, string: int, start: Lie | None, end: Lie | None) -> Guide | None:
    if start is None or end is None:
        return None
    return Guide(
        finger=finger,
        string=string,
        from_place=start.place,
        to_place=end.place,
        from_pitch=start.pitch,
        to_pitch=end.pitch,
        travel_mm=travel_mm(start.place, end.place, book.instrument.length_mm),
    )
