"""What use cases need from outside, as protocols, and the plain values that cross.

Conventions: adapters implement these; use cases never name an adapter. Lengths end in mm.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from truestop.domain.passage import Passage

if TYPE_CHECKING:
    from truestop.app.sheet_layout import Sheet

TEXT_FAMILY = "Libertinus Serif, Libertinus, Georgia, Times New Roman, Liberation Serif, DejaVu Serif Condensed, serif"
"""Letters in pictures: those of the PDF first, then what screens have that runs no wider than half an em a letter."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A vector picture: SVG text and its size on paper."""

    svg: str
    width_mm: float
    height_mm: float
    bleed_mm: float = 0.0
    """How much of the width lies left of the staff: measure numbers hang out there."""
    staff_top_mm: float = 0.0
    """How far below the picture's top edge the staff begins, so that neighbours can stand level."""


class ScoreWriter(Protocol):
    """Writes a passage as a file: MusicXML, or MIDI."""

    def __call__(self, passage: Passage, /) -> bytes:
        """The file's bytes; the same passage gives the same bytes."""
        ...


class Engraver(Protocol):
    """Turns MusicXML into pictures of staves."""

    def engrave_all(
        self, documents: Sequence[bytes], *, width_mm: float, staff_mm: float, close: bool = False
    ) -> tuple[tuple[Picture, ...], ...]:
        """For each document one picture per system; ``close``: notes set close, for exercises that share a line."""
        ...


class PageMaker(Protocol):
    """Sets a sheet on pages."""

    def __call__(self, sheet: Sheet, /) -> bytes:
        """A PDF with embedded fonts; the same sheet gives the same bytes."""
        ...
