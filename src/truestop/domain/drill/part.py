"""The part itself with every shift marked, as a teacher would by pencil.

Conventions: the passage's own note ids stay; marks that are added have ids of their own ('guide-3-1' for a guide note
of shift 3). Guide notes are small notes before the arrival.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from truestop.domain.drill.excerpt import printed_marks, thin_strings, without_repeated_numerals
from truestop.domain.drill.line import written_pitch
from truestop.domain.hand_mark import parse_hand_mark
from truestop.domain.passage import Direction, Marks, Note, Passage
from truestop.domain.pitch import Pitch
from truestop.domain.shift import Guide, Shift, Way
from truestop.domain.stop import FingeredPassage, Step, Stop
from truestop.domain.wording import ENGLISH, Wording

GUIDE_TYPE = "quarter"


def mark_shifts(fingered: FingeredPassage, way: Way, *, wording: Wording = ENGLISH) -> Passage:
    """The passage with shifts numbered, positions named, guide notes small, and the fingers of both ends printed."""
    passage = fingered.passage
    printed = printed_marks(fingered, way.shifts, also=tuple(note.id for note in passage.notes[:1]))
    guides = {_first_note(passage, shift.arrival): _guide_notes(passage, shift) for shift in way.shifts}
    hands = _begins_in(fingered, way, wording)
    notes: list[Note] = []
    for note in passage.notes:
        small = guides.get(note.id, [])
        notes += small
        marks = printed.get(note.id, note.marks)
        slides = any(note.id in _ids(shift.arrival) and _is_drawn_to_arrival(shift) for shift in way.shifts)
        marks = replace(marks, hand=hands.get(note.id, marks.hand))
        clef = None if small else note.clef_before
        notes.append(replace(note, marks=replace(marks, slide=marks.slide or slides), clef_before=clef))
    thinned = thin_strings(notes)
    directions = without_repeated_numerals(_directions(fingered, way, wording), thinned)
    return replace(passage, notes=thinned, directions=directions)


def _ids(stops: Sequence[Stop]) -> tuple[str, ...]:
    return tuple(stop.note_id for stop in stops)


def _first_note(passage: Passage, stops: Sequence[Stop]) -> str:
    """Id of the stop's note that comes first in the passage: small notes go before it."""
    ids = _ids(stops)
    return next(note.id for note in passage.notes if note.id in ids)


def _dropped(shift: Shift) -> tuple[Guide, ...]:
    """Guides that come to rest on a note that is not written."""
    arrivals = {(stop.string, stop.place) for stop in shift.arrival}
    return tuple(guide for guide in shift.guide if (guide.string, guide.to_place) not in arrivals)


def _set_down(shift: Shift) -> tuple[Guide, ...]:
    """Guides that start on a note that is not written."""
    departures = {(stop.string, stop.place) for stop in shift.departure}
    return tuple(guide for guide in shift.guide if (guide.string, guide.from_place) not in departures)


def _is_drawn_to_arrival(shift: Shift) -> bool:
    return bool(shift.guide) and not shift.silent and not _dropped(shift)


def _guide_notes(passage: Passage, shift: Shift) -> list[Note]:
    if shift.silent:
        return []
    at = passage.note(_first_note(passage, shift.arrival))
    start = [(guide, guide.from_pitch, False) for guide in _set_down(shift)]
    end = [(guide, guide.to_pitch, True) for guide in _dropped(shift)]
    notes: list[Note] = []
    for group in (start, end):
        for number, (guide, pitch, slid) in enumerate(sorted(group, key=lambda item: item[1].midi)):
            name = f"guide-{shift.number}-{len(notes) + 1}"
            notes.append(_guide_note(at, name, guide, pitch, passage, slid=slid, chord=number > 0))
            at = replace(at, clef_before=None)
    return notes


def _guide_note(at: Note, name: str, guide: Guide, pitch: Pitch, passage: Passage, *, slid: bool, chord: bool) -> Note:
    return replace(
        at,
        id=name,
        pitch=pitch,
        written=written_pitch(pitch, passage.octave_shift),
        duration=Fraction(0),
        grace=True,
        slashed=False,
        grace_chord=chord,
        tied_from_before=False,
        tied_to_next=False,
        slur_starts=(),
        slur_stops=(),
        type=GUIDE_TYPE,
        dots=0,
        tuplet=None,
        trill=False,
        articulations=(),
        marks=Marks(fingers=(guide.finger,), slide=slid),
    )


def _first_position(fingered: FingeredPassage, way: Way, wording: Wording) -> tuple[Step, str] | None:
    """Where the hand is first of all, and its position's name; None where a shift's mark says it."""
    first = next((step for step in fingered.steps if step.position), None)
    arrivals = {fingered.steps[shift.arrival_step].onset for shift in way.shifts}
    if first is None or not first.position or first.onset in arrivals:
        return None
    return first, wording.place_name(first.position)


def _begins_in(fingered: FingeredPassage, way: Way, wording: Wording) -> dict[str, str]:
    """The first position's name at its note, where a reader takes it for what it says of the hand."""
    begins = _first_position(fingered, way, wording)
    if begins is None or not parse_hand_mark(begins[1]):
        return {}
    return {_first_note(fingered.passage, begins[0].fingered): begins[1]}


def _directions(fingered: FingeredPassage, way: Way, wording: Wording) -> tuple[Direction, ...]:
    begins = _first_position(fingered, way, wording)
    added = [Direction(onset=begins[0].onset, text=begins[1])] if begins and not parse_hand_mark(begins[1]) else []
    for shift in way.shifts:
        text = wording.say(
            "part.shift",
            number=shift.number,
            arrow=wording.say(f"part.arrow.{shift.direction}"),
            position=wording.place_name(shift.to_position),
        )
        added.append(Direction(onset=fingered.steps[shift.arrival_step].onset, text=text))
    return tuple(sorted((*fingered.passage.directions, *added), key=lambda direction: direction.onset))
