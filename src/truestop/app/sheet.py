"""Making sheets: drills to print, the part with its shifts marked, and their files.

Conventions: the sheet is made once as music and words; the format only decides how it is written down. The same input
gives the same bytes in every format.
"""

from __future__ import annotations

from collections.abc import Sequence

from truestop.app.sheet_blocks import drill_blocks, lay_out
from truestop.app.sheet_choice import USUAL, SheetChoice, SheetFormat, Stand
from truestop.app.sheet_layout import Music, text_width_mm
from truestop.app.sheet_pictures import stack_pictures
from truestop.app.sheet_ports import Picture
from truestop.app.sheet_strip import make_strip_sheet
from truestop.domain.drill import Drill, Exercise, make_drill
from truestop.domain.drill.part import mark_shifts
from truestop.domain.drill.sequence import join_exercises
from truestop.domain.errors import DrillError
from truestop.domain.guide import Guidebook
from truestop.domain.passage import Note, Passage
from truestop.domain.shift import Shift, Way
from truestop.domain.stop import FingeredPassage
from truestop.domain.wording import ENGLISH, Wording

__all__ = [
    "SheetChoice",
    "SheetFormat",
    "Stand",
    "choose_shifts",
    "engrave_exercises",
    "make_annotated_part",
    "make_drills",
    "make_sheet",
    "make_strip_sheet",
]


def make_sheet(
    fingered: FingeredPassage,
    way: Way,
    *,
    choice: SheetChoice = USUAL,
    sheet_format: SheetFormat = SheetFormat.PDF,
    stand: Stand,
    wording: Wording = ENGLISH,
) -> bytes:
    """The drill sheet for the chosen shifts of a passage, as a file's bytes.

    Raises DrillError where a chosen shift does not exist or the passage has none, EngravingError where a page fails.
    """
    drills = make_drills(fingered, way, choice=choice, wording=wording)
    exercises = [exercise for drill in drills for exercise in drill.exercises]
    if sheet_format is SheetFormat.MUSICXML:
        return stand.write_musicxml(_one_passage(fingered.passage, exercises))
    if sheet_format is SheetFormat.MIDI:
        return stand.write_midi(_one_passage(fingered.passage, exercises))
    systems = engrave_exercises(exercises, choice=choice, stand=stand)
    blocks = drill_blocks(fingered, drills, systems, choice, wording)
    if sheet_format is SheetFormat.SVG:
        return stack_pictures(blocks, width_mm=text_width_mm(choice.paper)).encode()
    return stand.make_pdf(lay_out(fingered, blocks, kind="sheet.kind.drill", choice=choice, wording=wording))


def make_annotated_part(
    fingered: FingeredPassage,
    way: Way,
    *,
    choice: SheetChoice = USUAL,
    sheet_format: SheetFormat = SheetFormat.PDF,
    stand: Stand,
    wording: Wording = ENGLISH,
) -> bytes:
    """The passage with every shift numbered and marked, guide notes small, position names above; note ids are kept."""
    marked = mark_shifts(fingered, way, wording=wording)
    musicxml = stand.write_musicxml(marked)
    if sheet_format is SheetFormat.MUSICXML:
        return musicxml
    if sheet_format is SheetFormat.MIDI:
        return stand.write_midi(fingered.passage)
    width_mm = text_width_mm(choice.paper)
    (systems,) = stand.engraver.engrave_all([musicxml], width_mm=width_mm, staff_mm=choice.staff_mm)
    block = Music(label="", heading="", instruction="", systems=systems)
    if sheet_format is SheetFormat.SVG:
        return stack_pictures([block], width_mm=width_mm).encode()
    sheet = lay_out(fingered, [block], kind="sheet.kind.part", choice=choice, wording=wording)
    return stand.make_pdf(sheet)


def make_drills(
    fingered: FingeredPassage, way: Way, *, choice: SheetChoice, wording: Wording = ENGLISH
) -> tuple[Drill, ...]:
    """The drills of the chosen shifts."""
    book = Guidebook(fingered)
    return tuple(
        make_drill(fingered, shift, stages=choice.stages, wording=wording, quarter_bpm=choice.quarter_bpm, book=book)
        for shift in choose_shifts(way, choice.shifts)
    )


def choose_shifts(way: Way, numbers: Sequence[int]) -> tuple[Shift, ...]:
    """The shifts with these numbers, all where none is named; DrillError where one does not exist."""
    if not way.shifts:
        raise DrillError("There is no shift in this passage.", hint="Choose more bars, or print other fingers.")
    by_number = {shift.number: shift for shift in way.shifts}
    for number in numbers:
        if number not in by_number:
            raise DrillError(f"There is no shift {number}.", hint=f"Shifts run from 1 to {max(by_number)}.")
    return tuple(by_number[number] for number in numbers) if numbers else way.shifts


def engrave_exercises(
    exercises: Sequence[Exercise], *, choice: SheetChoice, stand: Stand
) -> tuple[tuple[Picture, ...], ...]:
    """For each exercise, one picture per system, wide enough for the chosen paper."""
    width_mm = text_width_mm(choice.paper)
    pictures: dict[int, tuple[Picture, ...]] = {}
    for close in (True, False):
        chosen = [index for index, exercise in enumerate(exercises) if slides_need_room(exercise.passage) is not close]
        documents = [stand.write_musicxml(exercises[index].passage) for index in chosen]
        found = stand.engraver.engrave_all(documents, width_mm=width_mm, staff_mm=choice.staff_mm, close=close)
        pictures.update(zip(chosen, found, strict=True))
    return tuple(pictures[index] for index in range(len(exercises)))


def slides_need_room(passage: Passage) -> bool:
    """Whether a slide leads to an accidental beside small notes: set close, its line has no room there."""
    return any(note.small for note in passage.notes) and any(
        note.marks.slide and not _is_of_key(note, passage) for note in passage.notes
    )


def _is_of_key(note: Note, passage: Passage) -> bool:
    return -1 <= note.written.fifths - passage.measures[note.measure_index].key_fifths <= 5


def _one_passage(passage: Passage, exercises: Sequence[Exercise]) -> Passage:
    return join_exercises(exercises, title=passage.title, composer=passage.composer)
