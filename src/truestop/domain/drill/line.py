"""A line of an exercise: cells in playing order, written out as a passage.

Conventions: a cell without stops is a rest; a small cell shows an announced guide note in cue size. Cells fill the bars
of their line's metre exactly; no cell crosses a bar line.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from truestop.domain.drill.clef import choose_clef, is_at_ease
from truestop.domain.drill.metre import FREE, Metre
from truestop.domain.errors import DrillError
from truestop.domain.passage import Direction, Finger, Harmonic, Marks, Measure, Note, Passage, Tempo
from truestop.domain.pitch import Interval, Pitch
from truestop.domain.stop import Stop

#: Note values that one note head can show: (MusicXML type, dots) by length in quarter notes.
NOTE_VALUES = {
    Fraction(6): ("whole", 1),
    Fraction(4): ("whole", 0),
    Fraction(3): ("half", 1),
    Fraction(2): ("half", 0),
    Fraction(3, 2): ("quarter", 1),
    Fraction(1): ("quarter", 0),
    Fraction(3, 4): ("eighth", 1),
    Fraction(1, 2): ("eighth", 0),
    Fraction(3, 8): ("16th", 1),
    Fraction(1, 4): ("16th", 0),
    Fraction(1, 8): ("32nd", 0),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """One moment of a line. ``joined``: under the same bow as the cell before; ``slid``: a slide line leads to it."""

    stops: tuple[Stop, ...] = ()
    beats: Fraction
    small: bool = False
    joined: bool = False
    slid: bool = False
    bow: str | None = None
    text: str | None = None
    fingered: bool = True
    """Whether the fingers are printed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """What all lines of a drill share."""

    key_fifths: int
    mode: str
    family: str
    octave_shift: int
    strings: tuple[Pitch, ...] | None
    """Scordatura, None for the usual strings."""
    quarter_bpm: float
    harmonics: Mapping[str, Note]
    """The passage's harmonics by note id: they are written as the passage writes them."""
    clef: str | None = None
    """The clef that the drill keeps to where it can; None: each line has its own."""


def play(stops: tuple[Stop, ...], beats: Fraction | int, **marks: object) -> Cell:
    """A cell that sounds ``stops`` for ``beats`` quarter notes."""
    return replace(Cell(stops=stops, beats=Fraction(beats)), **marks)  # type: ignore[arg-type]


def small(stops: tuple[Stop, ...], beats: Fraction | int, **marks: object) -> Cell:
    """A cell in cue size: a note that is practised now and hidden later."""
    return play(stops, beats, small=True, **marks)


def rest(beats: Fraction | int, text: str | None = None) -> Cell:
    """A rest of ``beats`` quarter notes."""
    return Cell(beats=Fraction(beats), text=text)


def write_line(
    cells: Sequence[Cell], *, key: str, title: str, setting: Setting, metre: Metre = FREE
) -> tuple[Passage, tuple[Stop, ...]]:
    """The passage that prints ``cells`` in a metre, and the stop of each of its notes in the order of the notes."""
    columns = _columns(cells, key=key, setting=setting, bar=metre.bar)
    notes = tuple(note for column, _ in columns for note in column)
    stops = tuple(stop for _, column in columns for stop in column)
    written = [note.written for note in notes]
    keeps = setting.clef is not None and is_at_ease(setting.family, setting.clef, written)
    clef = setting.clef if setting.clef and keeps else choose_clef(setting.family, written)
    passage = Passage(
        title=title,
        notes=notes,
        measures=fill_measures(
            sum((cell.beats for cell in cells), Fraction(0)),
            metre=metre,
            clef=clef,
            key_fifths=setting.key_fifths,
            mode=setting.mode,
        ),
        tempos=(Tempo(onset=Fraction(0), quarter_bpm=setting.quarter_bpm),),
        directions=_directions(cells),
        instrument=setting.family,
        strings=setting.strings,
        octave_shift=setting.octave_shift,
    )
    return passage, stops


def _columns(
    cells: Sequence[Cell], *, key: str, setting: Setting, bar: Fraction
) -> list[tuple[list[Note], list[Stop]]]:
    columns: list[tuple[list[Note], list[Stop]]] = []
    onset, shown = Fraction(0), _Shown()
    for index, cell in enumerate(cells):
        if cell.stops:
            heads = [
                _Head(
                    stop=stop,
                    id=f"{key}-{index + 1}" + ("" if number == 0 else "abc"[number]),
                    slurs=_slur_ends(cells, index) if number == 0 else ((), ()),
                    bow=cell.bow if number == 0 else None,
                )
                for number, stop in enumerate(sorted(cell.stops, key=lambda stop: stop.pitch.midi))
            ]
            notes = [_note(head, cell, divmod(onset, bar), onset, setting, shown) for head in heads]
            columns.append((notes, [replace(head.stop, note_id=head.id) for head in heads]))
            shown.after(cell)
        else:
            shown.finger_of.clear()
        onset += cell.beats
    return columns


@dataclass(frozen=True, slots=True, kw_only=True)
class _Head:
    """One head of a cell, with what only its first head bears."""

    stop: Stop
    id: str
    slurs: tuple[tuple[int, ...], tuple[int, ...]]
    bow: str | None


class _Shown:
    """What the reader still has in mind: the string of the last note and the fingers just printed."""

    def __init__(self) -> None:
        self.strings: tuple[int, ...] = ()
        self.finger_of: dict[int, Finger] = {}

    def string_mark(self, stop: Stop) -> int | None:
        if stop.harmonic:
            return stop.string
        return None if stop.string in self.strings or stop.is_open else stop.string

    def finger_mark(self, stop: Stop) -> tuple[Finger, ...]:
        return () if self.finger_of.get(stop.pitch.midi) is stop.finger else (stop.finger,)

    def after(self, cell: Cell) -> None:
        self.strings = tuple(stop.string for stop in cell.stops)
        self.finger_of = {stop.pitch.midi: stop.finger for stop in cell.stops if cell.fingered}


def _note(
    head: _Head, cell: Cell, place: tuple[int, Fraction], onset: Fraction, setting: Setting, shown: _Shown
) -> Note:
    """``place``: in which bar, from 0, and how far from its start."""
    stop = head.stop
    value, dots = note_value(cell.beats)
    source = setting.harmonics.get(stop.note_id)
    own = Marks(harmonic=Harmonic.NATURAL) if stop.harmonic else Marks()
    harmonic = source.marks if source is not None else own
    return Note(
        id=head.id,
        pitch=stop.pitch,
        written=source.written if source is not None else written_pitch(stop.pitch, setting.octave_shift),
        onset=onset,
        duration=cell.beats,
        measure=str(place[0] + 1),
        measure_index=place[0],
        beat=place[1] + 1,
        small=cell.small,
        bow_continues=cell.joined,
        slur_starts=head.slurs[0],
        slur_stops=head.slurs[1],
        type=value,
        dots=dots,
        marks=Marks(
            fingers=shown.finger_mark(stop) if cell.fingered else (),
            string=shown.string_mark(stop) if cell.fingered else None,
            harmonic=harmonic.harmonic,
            touched=harmonic.touched,
            base=harmonic.base,
            slide=cell.slid,
            bow=head.bow,
        ),
    )


def _slur_ends(cells: Sequence[Cell], index: int) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Slur numbers that start and stop at a cell: a slur spans a run of joined cells."""
    joined_after = index + 1 < len(cells) and cells[index + 1].joined
    starts = (1,) if joined_after and not cells[index].joined else ()
    stops = (1,) if cells[index].joined and not joined_after else ()
    return starts, stops


def note_value(beats: Fraction) -> tuple[str, int]:
    """MusicXML note type and dots of a length in quarter notes that one note head can show."""
    if beats not in NOTE_VALUES:
        raise DrillError(f"No single note lasts {beats} quarter notes.", hint="Tie two notes instead.")
    return NOTE_VALUES[beats]


def written_pitch(pitch: Pitch, octave_shift: int) -> Pitch:
    """What the page shows for a sounding pitch."""
    return pitch.transposed(Interval(-7 * octave_shift, -12 * octave_shift)) if octave_shift else pitch


def fill_measures(
    total: Fraction, *, metre: Metre, clef: str, key_fifths: int = 0, mode: str = "major"
) -> tuple[Measure, ...]:
    """The measures of ``total`` quarter notes; DrillError where they do not fill the bars."""
    if total % metre.bar:
        raise DrillError(f"{total} quarter notes do not fill bars of {metre.bar}.", hint="Add a rest at the end.")
    return tuple(
        Measure(
            number=str(index + 1),
            onset=index * metre.bar,
            duration=metre.bar,
            key_fifths=key_fifths,
            mode=mode,
            beats=metre.beats,
            beat_type=metre.beat_type,
            metre_shown=metre.shown,
            clef=clef,
            final_barline=(index + 1) * metre.bar == total,
        )
        for index in range(int(total // metre.bar))
    )


def _directions(cells: Sequence[Cell]) -> tuple[Direction, ...]:
    directions, onset = [], Fraction(0)
    for cell in cells:
        if cell.text:
            directions.append(Direction(onset=onset, text=cell.text))
        onset += cell.beats
    return tuple(directions)
