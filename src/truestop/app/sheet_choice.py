"""What a player chooses of a sheet, and the outside parts that make it.

Conventions: lengths end in mm, the pulse is in quarter notes a minute.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from truestop.app.sheet_layout import STAFF_MM, Paper
from truestop.app.sheet_ports import Engraver, PageMaker, ScoreWriter
from truestop.domain.drill import ALL_STAGES, Stage


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


USUAL = SheetChoice()
