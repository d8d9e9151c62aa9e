"""Sheets set on pages: PDF with embedded fonts.

Conventions: every text reaches the typesetter as JSON data, never as markup. No dates go in, and this machine's fonts
only where the typesetter's own lack a letter (Chinese, emoji): every other sheet gives the same bytes everywhere.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import typst

from truestop.app.sheet_layout import GUTTER_MM, MARGIN_MM, Block, Heading, Music, Row, Sheet
from truestop.app.sheet_ports import Picture
from truestop.domain.errors import EngravingError

TEMPLATE = Path(__file__).with_name("sheet.typ")
COMMON_LETTERS = re.compile("[\0-\u04ff\u1e00-\u1fff\u2000-\u2040\u2190-\u22ff\u2669-\u266f]*")
"""Latin, Greek, Cyrillic, punctuation, arrows, signs and accidentals: the typesetter's own fonts have them all."""
WHOLE = "a-2u"
"""A standard that allows no box in the place of a letter (ISO 19005-2, level U: every glyph maps to Unicode)."""
_BOX = re.compile("the text `(.*)` could not be displayed")
_DOUBLE = {ord("\U0001d12a"): "\u266f\u266f", ord("\U0001d12b"): "\u266d\u266d"}
"""Double sharp and double flat, which hardly any text font has."""


def make_pdf(sheet: Sheet, *, tell: Callable[[str], None] = lambda sentence: None) -> bytes:
    """The sheet as a PDF; ``tell`` is given one sentence where letters are printed as boxes, since no font has them."""
    files: dict[str, bytes] = {"main": TEMPLATE.read_bytes()}
    texts = json.dumps(_describe(sheet, files), sort_keys=True, ensure_ascii=False)
    files["sheet.json"] = texts.translate(_DOUBLE).encode()
    own = all(COMMON_LETTERS.fullmatch(text.decode()) for text in files.values()) or _box(files, own=True) is None
    box = None if own else _box(files, own=False)
    if box is not None:
        tell(f"No font on this machine has {box}: boxes are printed instead. Install a font that has these letters.")
    return _compile(files, own=own)


def _compile(files: dict[str, bytes], *, own: bool, standard: str | None = None) -> bytes:
    """``own``: with the typesetter's own fonts alone."""
    compile_pages: Any = typst.compile
    asked = {"pdf_standards": standard} if standard else {}
    try:
        return bytes(compile_pages(files, ignore_system_fonts=own, format="pdf", **asked))
    except typst.TypstError as error:
        raise EngravingError(
            f"The pages could not be set: {error}.", hint="Make the sheet with fewer exercises."
        ) from error


def _box(files: dict[str, bytes], *, own: bool) -> str | None:
    """The first text in the place of which boxes are printed; None where there is none."""
    try:
        _compile(files, own=own, standard=WHOLE)
    except EngravingError as error:
        found = _BOX.search(str(error))
        return found[1] if found else None
    return None


def _describe(sheet: Sheet, files: dict[str, bytes]) -> dict[str, Any]:
    return {
        "title": sheet.title,
        "kind": sheet.kind,
        "credit": sheet.credit,
        "facts": list(sheet.facts),
        "rules": sheet.rules,
        "cautions": sheet.cautions,
        "page_words": sheet.page_words,
        "paper": str(sheet.paper),
        "landscape": sheet.landscape,
        "margin_mm": MARGIN_MM,
        "gutter_mm": GUTTER_MM,
        "blocks": [_describe_block(block, files) for block in sheet.blocks],
    }


def _describe_block(block: Block, files: dict[str, bytes]) -> dict[str, Any]:
    if isinstance(block, Heading):
        pictures = [] if block.picture is None else [block.picture]
        return {
            "is": "heading",
            "title": block.title,
            "aside": block.aside,
            "lines": list(block.lines),
            "pictures": [_add_picture(picture, files) for picture in pictures],
        }
    if isinstance(block, Music):
        return {
            "is": "music",
            "label": block.label,
            "heading": block.heading,
            "instruction": block.instruction,
            "boxes": block.boxes,
            "boxes_words": block.boxes_words,
            "pictures": [_add_picture(picture, files) for picture in block.systems],
        }
    if isinstance(block, Row):
        items = [_describe_block(item, files) for item in block.items]
        return {"is": "row", "items": items, "widths_mm": list(block.widths_mm)}
    plates = [_add_picture(picture, files) for picture in block.pictures]
    return {"is": "plate", "caption": block.caption, "pictures": plates}


def _add_picture(picture: Picture, files: dict[str, bytes]) -> dict[str, Any]:
    name = f"picture-{len(files)}.svg"
    files[name] = picture.svg.translate(_DOUBLE).encode()
    return {
        "file": name,
        "width_mm": picture.width_mm,
        "height_mm": picture.height_mm,
        "bleed_mm": picture.bleed_mm,
        "staff_top_mm": picture.staff_top_mm,
    }
