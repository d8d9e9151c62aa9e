"""Making every note of a passage writable: values for lengths that have none, ties where one head cannot do.

Conventions: a note that outlasts its measure, or whose length no single head has, becomes tied notes; the first keeps
the id, the others get '.2', '.3' appended. Notes that already have a value and fit are left as they are.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from truestop.adapters.score.finishing import beats_before
from truestop.adapters.score.note_values import beat_unit, split_length, tuplet_of, value_of
from truestop.domain.passage import Marks, Measure, Note, Passage

_MOST_SLURS = 16


@dataclass(frozen=True, slots=True)
class _Bars:
    """The measures with their onsets and the part of the metre before each."""

    measures: tuple[Measure, ...]
    onsets: list[Fraction]
    before: list[Fraction]

    def index_at(self, onset: Fraction) -> int:
        """Which measure holds ``onset``."""
        return max(0, bisect_right(self.onsets, onset) - 1)


def make_writable(passage: Passage) -> Passage:
    """``passage`` with a value at every note, and long notes tied over."""
    bars = _Bars(passage.measures, [measure.onset for measure in passage.measures], beats_before(passage.measures))
    notes = [written for note in passage.notes for written in _written(note, bars)]
    if len(notes) > len(passage.notes):
        notes.sort(key=lambda note: (note.onset, not note.grace, 0 if note.grace else note.pitch.midi))
    return replace(passage, notes=_with_slurs_in_range(notes))


def _with_slurs_in_range(notes: list[Note]) -> tuple[Note, ...]:
    """Notes whose slurs bear numbers that MusicXML has (1 to 16); numbers already in range stay."""
    if all(1 <= number <= _MOST_SLURS for note in notes for number in note.slur_starts + note.slur_stops):
        return tuple(notes)
    numbers: dict[int, int] = {}
    renumbered: list[Note] = []
    for note in notes:
        stops = tuple(numbers.pop(number) for number in note.slur_stops if number in numbers)
        starts: list[int] = []
        for number in note.slur_starts:
            free = (candidate for candidate in range(1, _MOST_SLURS + 1) if candidate not in numbers.values())
            numbers[number] = next(free, _MOST_SLURS)
            starts.append(numbers[number])
        renumbered.append(replace(note, slur_starts=tuple(starts), slur_stops=stops))
    return tuple(renumbered)


def _written(note: Note, bars: _Bars) -> list[Note]:
    if note.grace:
        return [note if note.type else replace(note, type="eighth")]
    measure = bars.measures[note.measure_index]
    fits = note.end <= measure.onset + measure.duration
    if note.type is not None and fits:
        return [note]
    value = value_of(note.duration, note.tuplet)
    if fits and value is not None:
        return [replace(note, type=value[0], dots=value[1])]
    pieces = [piece for start, end in _inside_measures(note, bars) for piece in _pieces(start, end - start, bars)]
    return [_piece(note, count, pieces, bars) for count in range(len(pieces))]


def _inside_measures(note: Note, bars: _Bars) -> list[tuple[Fraction, Fraction]]:
    """Where the note starts and ends in each measure it sounds in; what lies past the last measure stays in it."""
    last = bars.index_at(note.end)
    cuts = [
        note.onset,
        *(onset for onset in bars.onsets[note.measure_index + 1 : last + 1] if onset < note.end),
        note.end,
    ]
    return list(pairwise(cuts))


def _pieces(start: Fraction, length: Fraction, bars: _Bars) -> list[tuple[Fraction, Fraction]]:
    if value_of(length) is not None or tuplet_of(length) is not None:
        return [(start, length)]
    index = bars.index_at(start)
    measure = bars.measures[index]
    parts = split_length(start - measure.onset + bars.before[index], length, beat_unit(measure))
    return [(start + sum(parts[:count], Fraction(0)), part) for count, part in enumerate(parts)]


def _piece(note: Note, count: int, pieces: list[tuple[Fraction, Fraction]], bars: _Bars) -> Note:
    first, last = count == 0, count == len(pieces) - 1
    onset, length = pieces[count]
    index = note.measure_index if first else bars.index_at(onset)
    tuplet = tuplet_of(length)
    value = value_of(length, tuplet)
    piece = replace(
        note,
        onset=onset,
        duration=length,
        type=value[0] if value else None,
        dots=value[1] if value else 0,
        tuplet=tuplet,
        tied_to_next=note.tied_to_next or not last,
        slur_stops=note.slur_stops if last else (),
    )
    if first:
        return piece
    return replace(
        piece,
        id=f"{note.id}.{count + 1}",
        measure=bars.measures[index].number,
        measure_index=index,
        beat=onset - bars.onsets[index] + bars.before[index] + 1,
        tied_from_before=True,
        bow_continues=True,
        slur_starts=(),
        articulations=(),
        trill=False,
        clef_before=None,
        marks=Marks(),
    )
