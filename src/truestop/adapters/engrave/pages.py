"""Sheets set on pages: PDF with embedded fonts.

Conventions: every text reaches the typesetter as JSON data, never as markup. No dates and no system fonts go in, so the
same sheet gives the same bytes.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import typst

from truestop.app.sheet_layout import GUTTER_MM, MARGIN_MM, Block, Heading, Music, Row, Sheet
from truestop.app.sheet_ports import Picture
from truestop.domain.errors import EngravingError

TEMPLATE = Path(__file__).with_name("sheet.typ")


def make_pdf(sheet: Sheet) -> bytes:
    """The sheet as a PDF."""
    files: dict[str, bytes] = {"main": TEMPLATE.read_bytes()}
    files["sheet.json"] = json.dumps(_describe(sheet, files), sort_keys=True).encode()
    compile_pages: Any = typst.compile
    try:
        return bytes(compile_pages(files, ignore_system_fonts=True, format="pdf"))
    except typst.TypstError as error:
        raise EngravingError(
            f"The pages could not be set: {error}.", hint="Make the sheet with fewer exercises."
        ) from error


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
    files[name] = picture.svg.encode()
    return {
        "file": name,
        "width_mm": picture.width_mm,
        "height_mm": picture.height_mm,
        "bleed_mm": picture.bleed_mm,
        "staff_top_mm": picture.staff_top_mm,
    }
