"""What stands on a sheet, before it is set on pages.

Conventions: texts are ready to print; pictures carry their size in mm. Blocks are printed in order; a block's heading
never stands apart from its first picture.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from truestop.app.sheet_ports import Picture


class Paper(StrEnum):
    """Paper sizes."""

    A4 = "a4"
    LETTER = "us-letter"


#: Width and height of each paper in mm. Source: ISO 216; ANSI/ASME Y14.1 (8.5 × 11 in).
PAPER_MM = {Paper.A4: (210.0, 297.0), Paper.LETTER: (215.9, 279.4)}
MARGIN_MM = 15.0
STAFF_MM = 7.0
"""Height of a staff: what a player reads at arm's length from a stand. Common practice, no source."""
GUTTER_MM = 5.0
"""Least room between neighbours on a line."""


def text_width_mm(paper: Paper) -> float:
    """Width between the margins."""
    return PAPER_MM[paper][0] - 2 * MARGIN_MM


@dataclass(frozen=True, slots=True, kw_only=True)
class Heading:
    """Begins a shift: its name, what kind it is, where it leads, and the fingerboard."""

    title: str
    aside: str
    lines: tuple[str, ...]
    picture: Picture | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Music:
    """An exercise or the part itself: heading, one line of instruction, one picture per system."""

    label: str
    heading: str
    instruction: str
    systems: tuple[Picture, ...]
    boxes: int = 0
    """Boxes to fill in by pencil, one a day."""
    boxes_words: str = ""
    """What to write in them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plate:
    """Pictures at true size, never scaled and never broken, with a caption."""

    caption: str
    pictures: tuple[Picture, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """Short exercises of one system each, side by side with their staves level."""

    items: tuple[Music, ...]
    widths_mm: tuple[float, ...]
    """From the start of each to the start of the next, or to the right margin."""


Block = Heading | Music | Row | Plate


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """Everything on one sheet."""

    title: str
    kind: str
    credit: str
    facts: tuple[str, ...]
    rules: str
    cautions: str
    page_words: str
    """Like '{page} of {pages}'."""
    paper: Paper
    landscape: bool = False
    blocks: tuple[Block, ...]
