"""A whole sheet as one tall SVG for screens, with the ids of all notes kept.

Conventions: units are mm. Texts are escaped and broken into lines, which SVG does not do by itself; headings are real
text.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator, Sequence
from xml.sax.saxutils import escape

from truestop.app.sheet_layout import Block, Heading, Music, Plate, Row
from truestop.app.sheet_ports import TEXT_FAMILY, Picture

_UNIT = re.compile(r'\b(width|height)="([\d.]+)mm"')
HEADING_MM, LINE_MM, GAP_MM, EDGE_MM = 5.0, 3.6, 4.0, 4.5
WIDEST_LETTERS_EMS = 0.5
"""Average width of letters in the widest of the fonts that a screen may take instead."""


def stack_pictures(blocks: Sequence[Block], *, width_mm: float) -> str:
    """All blocks below one another as one SVG document."""
    parts: list[str] = []
    y_mm = GAP_MM
    for block in _one_by_one(blocks):
        for text, size_mm, style in _lines_of(block, width_mm):
            y_mm += size_mm * 1.25
            parts.append(
                f'<text x="0" y="{y_mm:.2f}" font-size="{size_mm:g}" font-family="{TEXT_FAMILY}" {style}>'
                f"{escape(text)}</text>"
            )
        for picture in _pictures_of(block):
            y_mm += 1.0
            parts.append(_nested(picture, y_mm))
            y_mm += picture.height_mm
        y_mm += GAP_MM
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width_mm + 2 * EDGE_MM:g}mm" height="{y_mm:.2f}mm" '
        f'viewBox="{-EDGE_MM:g} 0 {width_mm + 2 * EDGE_MM:g} {y_mm:.2f}">' + "".join(parts) + "</svg>\n"
    )


def _one_by_one(blocks: Sequence[Block]) -> Iterator[Heading | Music | Plate]:
    for block in blocks:
        if isinstance(block, Row):
            yield from block.items
        else:
            yield block


def _lines_of(block: Heading | Music | Plate, width_mm: float) -> Iterator[tuple[str, float, str]]:
    for text, size_mm, style in _texts_of(block):
        for line in textwrap.wrap(text, max(int(width_mm / (WIDEST_LETTERS_EMS * size_mm)), 1)):
            yield line, size_mm, style


def _texts_of(block: Heading | Music | Plate) -> list[tuple[str, float, str]]:
    if isinstance(block, Heading):
        texts = [(f"{block.title} · {block.aside}", HEADING_MM, 'font-weight="bold"')]
        return texts + [(line, LINE_MM, "") for line in block.lines]
    if isinstance(block, Music):
        heading = f"{block.label}  {block.heading}".strip()
        texts = [(heading, LINE_MM * 1.1, 'font-weight="bold"')] if heading else []
        return texts + ([(block.instruction, LINE_MM, 'font-style="italic"')] if block.instruction else [])
    return [(block.caption, LINE_MM, "")] if block.caption else []


def _pictures_of(block: Heading | Music | Plate) -> tuple[Picture, ...]:
    if isinstance(block, Music):
        return block.systems
    if isinstance(block, Plate):
        return block.pictures
    return () if block.picture is None else (block.picture,)


def _nested(picture: Picture, y_mm: float) -> str:
    """The picture inside another one whose units are mm: there a length with a unit would be scaled once more."""
    start = picture.svg.index("<svg ")
    outer, rest = picture.svg[start:].split(">", 1)
    outer = _UNIT.sub(r'\1="\2"', outer)
    return outer.replace("<svg ", f'<svg x="{-picture.bleed_mm:.2f}" y="{y_mm:.2f}" ', 1) + ">" + rest
