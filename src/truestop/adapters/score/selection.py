"""A range of measures of a passage, by the numbers printed.

Conventions: '3-8' takes both ends; '5' takes one measure; numbers are compared as text, so pickups ('0') and split
measures ('12a') can be named. Where a number is printed more than once the first counts, for the end of a range the
first after its start.
"""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction

from truestop.domain.errors import ScoreError
from truestop.domain.passage import Note, Passage, Tempo


def select_measures(passage: Passage, measures: str) -> Passage:
    """The part of ``passage`` in the range ``measures``, counted anew from 0. Ids stay. Raises ScoreError."""
    first, last = _range_of(passage, measures)
    start = passage.measures[first].onset
    kept = passage.measures[first : last + 1]
    end = kept[-1].onset + kept[-1].duration
    inside = [note for note in passage.notes if first <= note.measure_index <= last]
    return replace(
        passage,
        notes=_mended(tuple(_moved(note, start, first) for note in inside)),
        measures=tuple(replace(measure, onset=measure.onset - start) for measure in kept),
        tempos=_tempos(passage, start, end),
        directions=tuple(
            replace(direction, onset=direction.onset - start)
            for direction in passage.directions
            if start <= direction.onset < end
        ),
        remarks=tuple(
            replace(remark, onset=remark.onset - start) for remark in passage.remarks if start <= remark.onset < end
        ),
    )


def _range_of(passage: Passage, measures: str) -> tuple[int, int]:
    numbers = [measure.number for measure in passage.measures]
    text = measures.strip()
    if text in numbers:
        return numbers.index(text), numbers.index(text)
    for dash in re.finditer(r"\s*[-–—]\s*", text):
        low, high = text[: dash.start()], text[dash.end() :]
        if low in numbers and high in numbers[numbers.index(low) :]:
            first = numbers.index(low)
            return first, numbers.index(high, first)
    raise _no_such(measures, numbers)


def _no_such(measures: str, numbers: list[str]) -> ScoreError:
    ends = [part.strip() for part in re.split(r"[-–—]", measures)]
    missing = next((end for end in ends if end not in numbers), None)
    hint = f"The bars of this part run from {numbers[0]} to {numbers[-1]}; write them like 3-8 or 5."
    if missing is None:
        return ScoreError(f"Bars '{measures[:40]}' end before they begin.", hint=hint)
    return ScoreError(f"There is no bar '{missing[:40]}'.", hint=hint)


def _moved(note: Note, start: Fraction, first: int) -> Note:
    return replace(note, onset=note.onset - start, measure_index=note.measure_index - first)


def _tempos(passage: Passage, start: Fraction, end: Fraction) -> tuple[Tempo, ...]:
    before = [tempo for tempo in passage.tempos if tempo.onset <= start]
    inside = [replace(tempo, onset=tempo.onset - start) for tempo in passage.tempos if start < tempo.onset < end]
    return tuple([replace(before[-1], onset=Fraction(0)), *inside] if before else inside)


def _mended(notes: tuple[Note, ...]) -> tuple[Note, ...]:
    """Notes without the slurs, ties and slides that lead out of the range."""
    mended = list(notes)
    started: dict[tuple[str, int], int] = {}
    for index, note in enumerate(mended):
        stops = tuple(number for number in note.slur_stops if started.pop((note.voice, number), None) is not None)
        first = _is_first(mended, index)
        mended[index] = replace(
            note,
            slur_stops=stops,
            tied_from_before=note.tied_from_before and not first,
            bow_continues=note.bow_continues and not first,
            marks=replace(note.marks, slide=False) if first and note.marks.slide else note.marks,
        )
        started |= {(note.voice, number): index for number in note.slur_starts}
    for (_, number), index in started.items():
        kept = tuple(start for start in mended[index].slur_starts if start != number)
        mended[index] = replace(mended[index], slur_starts=kept)
    return _without_open_ties(mended)


def _is_first(notes: list[Note], index: int) -> bool:
    """Whether no note of the same voice stands before this one (its chord left out)."""
    note = notes[index]
    return not any(
        other.voice == note.voice and (other.onset < note.onset or (other.grace and not note.grace))
        for other in notes[max(0, index - 64) : index]
    )


def _without_open_ties(notes: list[Note]) -> tuple[Note, ...]:
    continued = {(note.pitch.midi, note.onset) for note in notes if note.tied_from_before}
    return tuple(
        replace(note, tied_to_next=False)
        if note.tied_to_next and (note.pitch.midi, note.end) not in continued
        else note
        for note in notes
    )
