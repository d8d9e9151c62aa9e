"""Measures cut out of a fingered passage, with the fingers a player needs printed.

Conventions: onsets count from the excerpt's start; measures keep their printed numbers; note ids get the excerpt's key
in front. Slurs and ties that begin or end outside are cut.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import groupby

from truestop.domain.instrument import ROMAN
from truestop.domain.passage import Direction, Finger, Harmonic, Marks, Note, Passage, Tempo
from truestop.domain.shift import Shift
from truestop.domain.stop import FingeredPassage, Stop


def take_excerpt(
    fingered: FingeredPassage, *, first: int, last: int, key: str, marked: Sequence[Shift], arrows: Sequence[str] = ()
) -> tuple[Passage, tuple[Stop, ...]]:
    """Measures ``first`` to ``last`` (indices from 0, clipped to the passage), and the stop of each note in them.

    Printed are the edition's own fingers, those at both ends of the ``marked`` shifts, the first note's, and the string
    wherever a marked shift changes it; over each arrival the text in ``arrows``, if there is one.
    """
    passage = fingered.passage
    first, last = max(0, first), min(last, len(passage.measures) - 1)
    inside = [note for note in passage.notes if first <= note.measure_index <= last]
    start = passage.measures[first].onset
    end = passage.measures[last].onset + passage.measures[last].duration
    printed = printed_marks(fingered, marked, also=tuple(note.id for note in inside[:1]))
    slurs = _whole_slurs(inside)
    texts = [direction for direction in passage.directions if start <= direction.onset < end]
    texts += [
        Direction(onset=fingered.steps[shift.arrival_step].onset, text=arrow)
        for shift, arrow in zip(marked, arrows, strict=False)
    ]
    cut = thin_strings([_cut_note(note, inside, start, first, key, slurs, printed) for note in inside])
    texts = [replace(text, onset=text.onset - start) for text in sorted(texts, key=lambda text: text.onset)]
    excerpt = replace(
        passage,
        notes=cut,
        measures=tuple(
            replace(measure, onset=measure.onset - start, new_system=False)
            for measure in passage.measures[first : last + 1]
        ),
        tempos=(Tempo(onset=start - start, quarter_bpm=passage.quarter_bpm_at(start)),),
        directions=without_repeated_numerals(texts, cut),
    )
    return excerpt, _stops_of(fingered, {note.id for note in inside}, key)


def _cut_note(
    note: Note,
    inside: Sequence[Note],
    start: Fraction,
    first: int,
    key: str,
    slurs: set[tuple[str, int]],
    printed: Mapping[str, Marks],
) -> Note:
    return replace(
        note,
        id=f"{key}-{note.id}",
        onset=note.onset - start,
        measure_index=note.measure_index - first,
        tied_from_before=note.tied_from_before and _tie_partner(inside, note, before=True),
        tied_to_next=note.tied_to_next and _tie_partner(inside, note, before=False),
        slur_starts=tuple(number for number in note.slur_starts if (note.id, number) in slurs),
        slur_stops=tuple(number for number in note.slur_stops if (note.id, -number) in slurs),
        marks=printed.get(note.id, note.marks),
    )


def printed_marks(
    fingered: FingeredPassage, marked: Sequence[Shift], *, also: tuple[str, ...] = ()
) -> dict[str, Marks]:
    """The marks of every note at which more is to be printed than the edition has."""
    wanted = {stop.note_id: stop for shift in marked for stop in (*shift.departure, *shift.arrival)}
    for note_id in also:
        stop = _first_stop(fingered, note_id)
        if stop is not None:
            wanted.setdefault(note_id, stop)
    wanted |= {stop.note_id: stop for step in fingered.steps for stop in step.stops if stop.harmonic}
    strings = {
        stop.note_id: stop.string for shift in marked if shift.crossing for stop in shift.arrival if not stop.is_open
    }
    arrivals = {stop.note_id for shift in marked for stop in shift.arrival}
    marks = {}
    for note_id, stop in wanted.items():
        old = fingered.passage.note(note_id).marks
        marks[note_id] = replace(
            old,
            fingers=old.fingers or _fingers_of(fingered, note_id) or (stop.finger,),
            string=old.string or (stop.string if stop.harmonic else strings.get(note_id)),
            harmonic=Harmonic.NATURAL if stop.harmonic and old.harmonic is Harmonic.NONE else old.harmonic,
            hand=None if note_id in arrivals else old.hand,
        )
    return marks


def thin_strings(notes: Sequence[Note]) -> tuple[Note, ...]:
    """String marks only where the string changes: a mark that repeats one of the moment before is taken off."""
    thinned: list[Note] = []
    before: set[int | None] = set()
    for _, moment in groupby(notes, key=lambda note: (note.onset, note.grace)):
        together = tuple(moment)
        for note in together:
            kept = note.marks.open_string or note.marks.harmonic is not Harmonic.NONE
            repeats = note.marks.string is not None and note.marks.string in before and not kept
            thinned.append(replace(note, marks=replace(note.marks, string=None)) if repeats else note)
        before = {note.marks.string for note in together}
    return tuple(thinned)


def without_repeated_numerals(directions: Sequence[Direction], notes: Sequence[Note]) -> tuple[Direction, ...]:
    """The directions without those that are nothing but the numeral of a string marked at a note below them."""
    marked = {(note.onset, ROMAN[note.marks.string]) for note in notes if note.marks.string is not None}
    return tuple(direction for direction in directions if (direction.onset, direction.text.strip()) not in marked)


def _first_stop(fingered: FingeredPassage, note_id: str) -> Stop | None:
    try:
        return fingered.stop_of(note_id)
    except KeyError:
        return None


def _fingers_of(fingered: FingeredPassage, note_id: str) -> tuple[Finger, ...]:
    """All fingers that sound a note in turn: more than one in a substitution."""
    return tuple(stop.finger for step in fingered.steps for stop in step.stops if stop.note_id == note_id)


def _stops_of(fingered: FingeredPassage, ids: set[str], key: str) -> tuple[Stop, ...]:
    seen: dict[str, Stop] = {}
    for step in fingered.steps:
        for stop in step.stops:
            if stop.note_id in ids:
                seen.setdefault(stop.note_id, replace(stop, note_id=f"{key}-{stop.note_id}"))
    return tuple(seen.values())


def _tie_partner(inside: Sequence[Note], note: Note, *, before: bool) -> bool:
    if before:
        return any(other.end == note.onset and other.pitch == note.pitch and other.tied_to_next for other in inside)
    return any(other.onset == note.end and other.pitch == note.pitch and other.tied_from_before for other in inside)


def _whole_slurs(inside: Sequence[Note]) -> set[tuple[str, int]]:
    """(note id, number) of the starts and (note id, −number) of the stops of all slurs that lie wholly inside."""
    kept: set[tuple[str, int]] = set()
    opened: dict[tuple[str, int], str] = {}
    for note in inside:
        for number in note.slur_stops:
            start = opened.pop((note.voice, number), None)
            if start is not None:
                kept |= {(start, number), (note.id, -number)}
        for number in note.slur_starts:
            opened[(note.voice, number)] = note.id
    return kept
