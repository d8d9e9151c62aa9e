"""True-scale strips on sheets.

Conventions: see ``drawing_strip``.
"""

from __future__ import annotations

from collections.abc import Sequence

from truestop.app.drawing_strip import draw_ruler, draw_strip
from truestop.app.sheet_layout import MARGIN_MM, PAPER_MM, Block, Paper, Plate, Sheet
from truestop.app.sheet_ports import PageMaker
from truestop.domain.instrument import ROMAN, Instrument
from truestop.domain.wording import ENGLISH, Wording


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
