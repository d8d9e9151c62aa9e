"""Making sheets: drills to print, the part with its shifts marked, and their files.

Conventions: the sheet is made once as music and words; the format only decides how it is written down. The same input
gives the same bytes in every format.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from truestop.app.drawing import draw_shift
from truestop.app.drawing_strip import draw_ruler, draw_strip
from truestop.app.sheet_layout import (
    MARGIN_MM,
    PAPER_MM,
    STAFF_MM,
    Block,
    Heading,
    Music,
    Pair,
    Paper,
    Plate,
    Sheet,
    half_width_mm,
    text_width_mm,
)
from truestop.app.sheet_pictures import stack_pictures
from truestop.app.sheet_ports import Engraver, PageMaker, Picture, ScoreWriter
from truestop.domain.drill import ALL_STAGES, Drill, Exercise, Stage, make_drill
from truestop.domain.drill.naming import shift_kind, shift_sentences, shift_title
from truestop.domain.drill.part import mark_shifts
from truestop.domain.drill.sequence import join_exercises
from truestop.domain.errors import DrillError
from truestop.domain.instrument import ROMAN, Instrument
from truestop.domain.passage import Passage
from truestop.domain.shift import Shift, Way
from truestop.domain.stop import FingeredPassage
from truestop.domain.wording import ENGLISH, Wording

COLD_BOXES = 8


class SheetFormat(StrEnum):
    """The files a sheet can be."""

    PDF = "pdf"
    MUSICXML = "musicxml"
    SVG = "svg"
    MIDI = "mid"


@dataclass(frozen=True, slots=True, kw_only=True)
class Stand:
    """The outside parts a sheet needs: writers of MusicXML and MIDI, the engraver, the page maker."""

    write_musicxml: ScoreWriter
    write_midi: ScoreWriter
    engraver: Engraver
    make_pdf: PageMaker


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetChoice:
    """What the player chose: which shifts and stages, paper, pulse, the side the left hand is on."""

    shifts: tuple[int, ...] = ()
    """Numbers of shifts; empty: all of them."""
    stages: tuple[Stage, ...] = ALL_STAGES
    paper: Paper = Paper.A4
    staff_mm: float = STAFF_MM
    a4_hz: float = 440.0
    quarter_bpm: float | None = None
    left_handed: bool = False


def make_sheet(
    fingered: FingeredPassage,
    way: Way,
    *,
    choice: SheetChoice = SheetChoice(),
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
    blocks = _drill_blocks(fingered, drills, systems, choice, wording)
    if sheet_format is SheetFormat.SVG:
        return stack_pictures(blocks, width_mm=text_width_mm(choice.paper)).encode()
    return stand.make_pdf(lay_out(fingered, blocks, kind="sheet.kind.drill", choice=choice, wording=wording))


def make_annotated_part(
    fingered: FingeredPassage,
    way: Way,
    *,
    choice: SheetChoice = SheetChoice(),
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
    return tuple(
        make_drill(fingered, shift, stages=choice.stages, wording=wording, quarter_bpm=choice.quarter_bpm)
        for shift in choose_shifts(way, choice.shifts)
    )


def choose_shifts(way: Way, numbers: Sequence[int]) -> tuple[Shift, ...]:
    """The shifts with these numbers, all where none is named; DrillError where one does not exist."""
    if not way.shifts:
        raise DrillError("There is no shift in this passage.", hint="Choose more measures, or print other fingers.")
    by_number = {shift.number: shift for shift in way.shifts}
    for number in numbers:
        if number not in by_number:
            raise DrillError(f"There is no shift {number}.", hint=f"Shifts run from 1 to {max(by_number)}.")
    return tuple(by_number[number] for number in numbers) if numbers else way.shifts


def engrave_exercises(
    exercises: Sequence[Exercise], *, choice: SheetChoice, stand: Stand
) -> tuple[tuple[Picture, ...], ...]:
    """For each exercise, one picture per system, wide enough for the chosen paper."""
    documents = [stand.write_musicxml(exercise.passage) for exercise in exercises]
    return stand.engraver.engrave_all(documents, width_mm=text_width_mm(choice.paper), staff_mm=choice.staff_mm)


def _one_passage(passage: Passage, exercises: Sequence[Exercise]) -> Passage:
    return join_exercises(exercises, title=passage.title, composer=passage.composer)


def _drill_blocks(
    fingered: FingeredPassage,
    drills: Sequence[Drill],
    systems: Sequence[tuple[Picture, ...]],
    choice: SheetChoice,
    wording: Wording,
) -> list[Block]:
    blocks: list[Block] = []
    pictures = iter(systems)
    label = 0
    for drill in drills:
        blocks.append(_shift_heading(fingered, drill.shift, choice, wording))
        pieces = []
        for exercise in drill.exercises:
            label += 1
            pieces.append(
                Music(
                    label=str(label),
                    heading=exercise.heading,
                    instruction=exercise.instruction,
                    systems=next(pictures),
                    boxes=COLD_BOXES if exercise.stage is Stage.COLD else 0,
                )
            )
        blocks += _pair_up(pieces, widest_mm=half_width_mm(choice.paper))
    return blocks


def _pair_up(pieces: Sequence[Music], *, widest_mm: float) -> list[Block]:
    """Neighbouring short exercises side by side, the others in lines of their own."""
    blocks: list[Block] = []
    waiting: Music | None = None
    for piece in pieces:
        short = (
            len(piece.systems) == 1
            and piece.systems[0].width_mm - piece.systems[0].bleed_mm <= widest_mm
            and not piece.boxes
        )
        if waiting is not None and short:
            blocks.append(Pair(left=waiting, right=piece))
            waiting = None
            continue
        if waiting is not None:
            blocks.append(waiting)
        waiting = piece if short else None
        if not short:
            blocks.append(piece)
    return blocks if waiting is None else [*blocks, waiting]


def _shift_heading(fingered: FingeredPassage, shift: Shift, choice: SheetChoice, wording: Wording) -> Heading:
    return Heading(
        title=shift_title(shift, wording=wording),
        aside=shift_kind(shift, wording=wording),
        lines=shift_sentences(shift, wording=wording),
        picture=draw_shift(
            fingered,
            shift,
            width_mm=text_width_mm(choice.paper),
            left_handed=choice.left_handed,
            wording=wording,
        ),
    )


def lay_out(
    fingered: FingeredPassage, blocks: Sequence[Block], *, kind: str, choice: SheetChoice, wording: Wording
) -> Sheet:
    """A sheet with its title block around ``blocks``."""
    passage, instrument = fingered.passage, fingered.instrument
    return Sheet(
        title=passage.title or wording.say("sheet.untitled"),
        kind=wording.say(kind),
        credit=passage.composer,
        facts=(
            wording.say(f"sheet.instrument.{instrument.family}"),
            wording.say("sheet.strings", strings=" ".join(pitch.pretty for pitch in instrument.strings)),
            wording.say("sheet.length", mm=f"{instrument.length_mm:g}"),
            wording.say("sheet.reference", hz=f"{choice.a4_hz:g}"),
        ),
        rules=wording.say("sheet.rules" if kind == "sheet.kind.drill" else "part.legend"),
        cautions=wording.say("sheet.cautions"),
        page_words=wording.texts["sheet.page"],
        paper=choice.paper,
        blocks=tuple(blocks),
    )


def make_strip_sheet(
    instrument: Instrument,
    *,
    strings: Sequence[int] = (),
    paper: Paper = Paper.A4,
    key_fifths: int = 0,
    left_handed: bool = False,
    make_pdf: PageMaker,
    wording: Wording = ENGLISH,
) -> bytes:
    """The places of ``strings`` (all where none is named) at true scale, landscape, with a ruler to check by."""
    longest_mm = PAPER_MM[paper][1] - 2 * MARGIN_MM - 2.0
    blocks: list[Block] = [Plate(caption=wording.say("board.ruler"), pictures=(draw_ruler(),))]
    for string in strings or range(1, len(instrument.strings) + 1):
        caption = wording.say(
            "board.strip",
            string=ROMAN[string],
            open=instrument.open_pitch(string).pretty,
            mm=f"{instrument.length_mm:g}",
        )
        pieces = draw_strip(
            instrument,
            string=string,
            longest_mm=longest_mm,
            key_fifths=key_fifths,
            left_handed=left_handed,
            wording=wording,
        )
        blocks.append(Plate(caption=caption, pictures=pieces))
    sheet = Sheet(
        title=wording.say("sheet.kind.strip"),
        kind=wording.say(f"sheet.instrument.{instrument.family}"),
        credit="",
        facts=(),
        rules=wording.say("board.strip.hint"),
        cautions=wording.say("sheet.cautions"),
        page_words=wording.texts["sheet.page"],
        paper=paper,
        landscape=True,
        blocks=tuple(blocks),
    )
    return make_pdf(sheet)
