"""What stands on a drill sheet: headings with their fingerboard, exercises, the title block around them.

Conventions: exercises are numbered through; short neighbours share a line.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from truestop.app.drawing import draw_shift
from truestop.app.sheet_choice import SheetChoice
from truestop.app.sheet_layout import Block, Heading, Music, Pair, Sheet, half_width_mm, text_width_mm
from truestop.app.sheet_ports import Picture
from truestop.domain.drill import Drill, Stage
from truestop.domain.drill.naming import shift_kind, shift_sentences, shift_title
from truestop.domain.guide import Guidebook
from truestop.domain.shift import Shift
from truestop.domain.stop import FingeredPassage
from truestop.domain.wording import Wording

COLD_BOXES = 8


def drill_blocks(
    fingered: FingeredPassage,
    drills: Sequence[Drill],
    systems: Sequence[tuple[Picture, ...]],
    choice: SheetChoice,
    wording: Wording,
    *,
    first_label: int = 1,
) -> list[Block]:
    """The blocks of ``drills``; ``systems`` are the pictures of all their exercises in order."""
    blocks: list[Block] = []
    pictures = iter(systems)
    label = first_label - 1
    book = Guidebook(fingered)
    for drill in drills:
        blocks.append(_shift_heading(fingered, drill.shift, choice, wording, book))
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
                    boxes_words=wording.say("sheet.log") if exercise.stage is Stage.COLD else "",
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


def _shift_heading(
    fingered: FingeredPassage, shift: Shift, choice: SheetChoice, wording: Wording, book: Guidebook
) -> Heading:
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
            book=book,
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
            wording.say("sheet.tempo", bpm=f"{choice.quarter_bpm or passage.quarter_bpm_at(Fraction(0)):g}"),
        ),
        rules=wording.say("sheet.rules" if kind == "sheet.kind.drill" else "part.legend"),
        cautions=wording.say("sheet.cautions"),
        page_words=wording.texts["sheet.page"],
        paper=choice.paper,
        blocks=tuple(blocks),
    )
