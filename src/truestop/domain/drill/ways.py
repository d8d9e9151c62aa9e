"""A shift with all that its exercises need, and the writing of exercises.

Conventions: ``Ways`` holds both ends of a shift, the guide at both ends and the passage around; makers of exercises
take it and return ``Made``, music without its words, or None where the exercise makes no sense for the shift.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from truestop.domain.drill.clef import choose_clef
from truestop.domain.drill.line import Cell, Setting, rest, write_line, written_pitch
from truestop.domain.drill.metre import FREE, Metre, metre_of
from truestop.domain.drill.stages import Travel
from truestop.domain.guide import Guidebook
from truestop.domain.instrument import make_instrument
from truestop.domain.passage import Harmonic, Passage
from truestop.domain.pitch import Pitch
from truestop.domain.shift import Guide, Shift
from truestop.domain.stop import FingeredPassage, Stop

MOST_COVER_NOTES = 2
Stops = tuple[Stop, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Ways:
    """A shift with everything its exercises need: both ends, guide at both ends, and the passage around it."""

    fingered: FingeredPassage
    shift: Shift
    book: Guidebook
    setting: Setting
    metre: Metre
    """What the exercises with a pulse are written in."""
    departure: Stops
    arrival: Stops
    guide_from: Stops
    guide_to: Stops
    covers: tuple[Stops, ...]

    @property
    def guided(self) -> bool:
        """Whether a finger carries the hand from one place to another."""
        return bool(self.guide_from) and [stop.place for stop in self.guide_from] != [
            stop.place for stop in self.guide_to
        ]

    @property
    def guide_is_written(self) -> bool:
        """Whether the guide starts on the departure and ends on the arrival (same finger): nothing to announce."""
        return not self.set_down and not self.dropped

    @property
    def set_down(self) -> Stops:
        """Guide stops set down in the old frame that are not written notes."""
        return tuple(stop for stop in self.guide_from if not among(stop, self.departure))

    @property
    def dropped(self) -> Stops:
        """Guide stops reached in the new frame that are not written notes."""
        return tuple(stop for stop in self.guide_to if not among(stop, self.arrival))


def among(stop: Stop, others: Stops) -> bool:
    return any((stop.string, stop.place, stop.finger) == (other.string, other.place, other.finger) for other in others)


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """An exercise's notes before they get their words."""

    key: str
    passage: Passage
    stops: Stops
    travels: tuple[Travel, ...]
    fields: dict[str, str]
    case: str = ""
    """What the usual instruction does not fit, part of the name of the one that does: 'unguided'."""


def ways_of(fingered: FingeredPassage, shift: Shift, quarter_bpm: float | None, book: Guidebook) -> Ways:
    """Everything that the exercises of a shift need."""
    passage = fingered.passage
    step = fingered.steps[shift.arrival_step]
    measure = passage.measure_at(step.onset)
    between = fingered.steps[shift.departure_step + 1 : shift.arrival_step]
    guide_from = tuple(_guide_stop(guide, shift.departure, start=True) for guide in shift.guide)
    guide_to = tuple(_guide_stop(guide, shift.arrival, start=False) for guide in shift.guide)
    setting = Setting(
        key_fifths=measure.key_fifths,
        mode=measure.mode,
        family=fingered.instrument.family,
        octave_shift=passage.octave_shift,
        strings=_scordatura(fingered),
        quarter_bpm=quarter_bpm or passage.quarter_bpm_at(step.onset),
        harmonics={note.id: note for note in passage.notes if note.marks.harmonic is not Harmonic.NONE},
        clef=_clef_of((*shift.departure, *shift.arrival, *guide_from, *guide_to), fingered),
    )
    return Ways(
        fingered=fingered,
        shift=shift,
        book=book,
        setting=setting,
        metre=metre_of(measure),
        departure=shift.departure,
        arrival=shift.arrival,
        guide_from=guide_from,
        guide_to=guide_to,
        covers=tuple(step.stops for step in between)[-MOST_COVER_NOTES:],
    )


def _clef_of(stops: Stops, fingered: FingeredPassage) -> str:
    harmonics = {note.id: note.written for note in fingered.passage.notes if note.marks.touched is not None}
    written = [
        harmonics.get(stop.note_id) or written_pitch(stop.pitch, fingered.passage.octave_shift) for stop in stops
    ]
    return choose_clef(fingered.instrument.family, written)


def _scordatura(fingered: FingeredPassage) -> tuple[Pitch, ...] | None:
    """The open strings, where they are not the usual ones."""
    instrument = fingered.instrument
    return None if instrument.strings == make_instrument(instrument.family).strings else instrument.strings


def _guide_stop(guide: Guide, beside: Stops, *, start: bool) -> Stop:
    """The guide finger's stop at one end of its way, in the frame of the written stops ``beside``."""
    pitch, place = (guide.from_pitch, guide.from_place) if start else (guide.to_pitch, guide.to_place)
    for stop in beside:
        if (stop.string, stop.place, stop.finger) == (guide.string, place, guide.finger) and not stop.harmonic:
            return stop
    anchor = next((stop for stop in beside if stop.placement is not None), beside[0])
    return Stop(
        note_id="",
        pitch=pitch,
        string=guide.string,
        finger=guide.finger,
        place=place,
        placement=anchor.placement,
        shape=anchor.shape,
    )


def write(
    ways: Ways,
    key: str,
    cells: Sequence[Cell],
    travels: Sequence[tuple[int, int, int | None]],
    *,
    silent: bool = False,
    metre: Metre = FREE,
    **fields: str,
) -> Made:
    """An exercise from cells; ``travels`` are (departure, arrival, announced guide note) as indices of cells."""
    title = ways.fingered.passage.title
    passage, stops = write_line(cells, key=key, title=title, setting=ways.setting, metre=metre)
    by_cell: dict[int, Stops] = {}
    taken = 0
    for index, cell in enumerate(cells):
        by_cell[index] = stops[taken : taken + len(cell.stops)]
        taken += len(cell.stops)
    return Made(
        key=key,
        passage=passage,
        stops=stops,
        travels=tuple(
            Travel(
                departure=by_cell[departure],
                arrival=by_cell[arrival],
                guide=() if guide is None else by_cell[guide],
                silent=silent,
            )
            for departure, arrival, guide in travels
        ),
        fields=fields,
    )


def again_and_again(
    ways: Ways,
    key: str,
    once: list[Cell],
    travel: tuple[int, int, int | None],
    *,
    silent: bool = False,
    metre: Metre = FREE,
) -> Made:
    """The same three times, twice where it takes two bars, with a rest to lift and begin anew."""
    bars = (sum(cell.beats for cell in once) + metre.beat) / metre.bar
    length = len(once) + 1
    cells: list[Cell] = []
    travels = []
    for turn in range(3 if bars == 1 else 2):
        cells += [*once, rest(metre.beat)]
        departure, arrival, guide = travel
        shift_by = turn * length
        travels.append((departure + shift_by, arrival + shift_by, None if guide is None else guide + shift_by))
    return write(ways, key, cells, travels, silent=silent, metre=metre)
