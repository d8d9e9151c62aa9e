"""What stands on a drill sheet: headings with their fingerboard, exercises, the title block around them.

Conventions: exercises are numbered through; short neighbours share a line.
"""

from __future__ import annotations

from collections.abc import Sequence

from truestop.app.drawing import draw_shift
from truestop.app.sheet_choice import SheetChoice
from truestop.app.sheet_layout import GUTTER_MM, Block, Heading, Music, Row, Sheet, text_width_mm
from truestop.app.sheet_ports import Picture
from truestop.domain.drill import Drill, Stage
from truestop.domain.drill.naming import shift_kind, shift_sentences, shift_title, tempo_words
from truestop.domain.guide import Guidebook
from truestop.domain.passage import Passage
from truestop.domain.shift import Shift
from truestop.domain.stop import FingeredPassage
from truestop.domain.wording import Wording

COLD_BOXES = 8
MOST_IN_A_ROW = 3
HEADING_LETTER_MM, WORDS_LETTER_MM = 1.85, 1.5
"""Average width of a letter in headings and in instructions."""
HEADING_WORDS_MM, HEADING_GAP_MM = 62.0, 4.0
"""The words of a shift's heading, and the room between them and the fingerboard."""


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
        blocks += _set_in_rows(pieces, width_mm=text_width_mm(choice.paper))
    return blocks


def _set_in_rows(pieces: Sequence[Music], *, width_mm: float) -> list[Block]:
    """Short exercises side by side in as few lines as their order allows, the others in lines of their own."""
    needs = [_needed_mm(piece) for piece in pieces]
    # For every number of pieces: lines, sum of the squares of their empty ends, and where the last line begins.
    best: list[tuple[int, float, int]] = [(0, 0.0, 0)]
    for end in range(1, len(pieces) + 1):
        alone_mm = max(width_mm - needs[end - 1], 0.0)
        ways = [(best[end - 1][0] + 1, best[end - 1][1] + alone_mm**2, end - 1)]
        for start in range(end - 2, max(end - MOST_IN_A_ROW, 0) - 1, -1):
            empty_mm = width_mm - sum(needs[start:end]) - GUTTER_MM * (end - start - 1)
            if empty_mm < 0 or not all(_is_short(piece) for piece in pieces[start:end]):
                break
            ways.append((best[start][0] + 1, best[start][1] + empty_mm**2, start))
        best.append(min(ways))
    blocks: list[Block] = []
    end = len(pieces)
    while end:
        start = best[end][2]
        row = tuple(pieces[start:end])
        widths_mm = _share_out(needs[start:end], width_mm)
        blocks.insert(0, row[0] if len(row) == 1 else Row(items=row, widths_mm=widths_mm))
        end = start
    return blocks


def _is_short(piece: Music) -> bool:
    return len(piece.systems) == 1 and not piece.boxes


def _needed_mm(piece: Music) -> float:
    """What a piece takes of a shared line: its music, its heading, its instruction on two lines."""
    music_mm = max(picture.width_mm - picture.bleed_mm for picture in piece.systems)
    heading_mm = HEADING_LETTER_MM * (len(piece.label) + len(piece.heading) + 2)
    return max(music_mm, heading_mm, WORDS_LETTER_MM * len(piece.instruction) / 2 + 8.0)


def _share_out(needs: Sequence[float], width_mm: float) -> tuple[float, ...]:
    """The columns of a line: equal ones where all pieces fit, else the last piece at the right margin."""
    column_mm = (width_mm + GUTTER_MM) / len(needs)
    if all(need + GUTTER_MM <= column_mm for need in needs):
        widths = [column_mm] * len(needs)
    else:
        spare_mm = (width_mm - sum(needs) - GUTTER_MM * (len(needs) - 1)) / max(len(needs) - 1, 1)
        widths = [need + GUTTER_MM + spare_mm for need in needs]
    return (*widths[:-1], width_mm - sum(widths[:-1]))


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
            width_mm=text_width_mm(choice.paper) - HEADING_WORDS_MM - HEADING_GAP_MM,
            left_handed=choice.left_handed,
            wording=wording,
            book=book,
        ),
    )


def _tempo_fact(passage: Passage, choice: SheetChoice, wording: Wording) -> str:
    start = passage.measures[0].onset
    ours = choice.quarter_bpm is None and not passage.names_tempo_at(start)
    bpm, beat_beats = choice.quarter_bpm or passage.quarter_bpm_at(start), passage.measures[0].beat_beats
    tempo = tempo_words(wording, bpm, beat_beats=beat_beats, ours=ours)
    return wording.say("sheet.tempo.none", tempo=tempo) if ours else tempo


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
            _tempo_fact(passage, choice, wording),
        ),
        rules=wording.say("sheet.rules" if kind == "sheet.kind.drill" else "part.legend"),
        cautions=wording.say("sheet.cautions"),
        page_words=wording.texts["sheet.page"],
        paper=choice.paper,
        blocks=tuple(blocks),
    )
