"""True-scale strips: the places of one string, 1:1 on paper, to lay beside the player's own string.

Conventions: one mm in the picture is one mm on paper. A string too long for the paper is cut into pieces that are
joined edge to edge. The nut is at the left end (at the right end for a left-handed player).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from xml.sax.saxutils import escape

from truestop.app.drawing import INK, PALE, REACH_INK
from truestop.app.sheet_ports import TEXT_FAMILY, Picture
from truestop.domain.errors import DrillError
from truestop.domain.fingerboard import place_to_mm
from truestop.domain.instrument import Instrument
from truestop.domain.pitch import spell
from truestop.domain.wording import ENGLISH, Wording

STRIP_HEIGHT_MM = 21.0
EDGE_MM = 0.6
"""Room for the frame's line outside the measured length."""
RULER_MM = 100
SEAM_MM = 6.2
"""Least distance from a seam to a place, for its name and the seam's own words."""
END_MM = 4.0
"""Paper beyond the last place."""
USUAL_HIGHEST = 24
LESS_AT_MOST = 2
NAME_MM = 3.4
"""Least distance between places whose mm stand side by side."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Piece:
    start_mm: float
    end_mm: float
    number: int
    pieces: int
    mirrored: bool

    def x(self, from_nut_mm: float) -> float:
        x = from_nut_mm - self.start_mm
        return EDGE_MM + (self.end_mm - self.start_mm - x if self.mirrored else x)

    @property
    def width_mm(self) -> float:
        return self.end_mm - self.start_mm + 2 * EDGE_MM


def draw_strip(
    instrument: Instrument,
    *,
    string: int,
    longest_mm: float,
    highest_place: int | None = None,
    key_fifths: int = 0,
    left_handed: bool = False,
    wording: Wording = ENGLISH,
) -> tuple[Picture, ...]:
    """The pieces of one string's strip, each at most ``longest_mm`` long (60–1000).

    Places run to ``highest_place`` semitones; where none is given, over two octaves and on to the end of the
    fingerboard as far as that takes no further piece.
    """
    if not 60.0 <= longest_mm <= 1000.0:
        raise DrillError(f"A strip {longest_mm:g} mm long is out of range.", hint="Give 60 to 1000 mm.")
    open_pitch = instrument.open_pitch(string)
    highest = highest_place or _highest_that_fits(instrument, longest_mm)
    places_mm = [place_to_mm(place, instrument.length_mm) for place in range(1, highest + 1)]
    seams_mm = _seams(places_mm, longest_mm)
    pictures = []
    for number, (start_mm, end_mm) in enumerate(pairwise(seams_mm), start=1):
        piece = _Piece(
            start_mm=start_mm,
            end_mm=end_mm,
            number=number,
            pieces=len(seams_mm) - 1,
            mirrored=left_handed,
        )
        body = [_frame(piece, wording)]
        for place, from_nut_mm in enumerate(places_mm, start=1):
            if piece.start_mm <= from_nut_mm < piece.end_mm:
                pitch = spell(open_pitch.midi + place, key_fifths=key_fifths)
                body.append(_place(piece, from_nut_mm, pitch.pretty, natural=pitch.alter == 0, octave=place % 12 == 0))
        pictures.append(_picture(piece.width_mm, STRIP_HEIGHT_MM + 2 * EDGE_MM, body))
    return tuple(pictures)


def _seams(places_mm: Sequence[float], longest_mm: float) -> list[float]:
    """Where pieces begin and end, never within a place's name.

    Each piece is as long as the paper allows; where that leaves a stump, all are about equally long.
    """
    end_mm = places_mm[-1] + END_MM
    stump = 0 < end_mm % longest_mm < longest_mm / 3
    length_mm = end_mm / (end_mm // longest_mm + 1) if stump and end_mm > longest_mm else longest_mm
    seams_mm = [0.0]
    while end_mm - seams_mm[-1] > longest_mm:
        latest_mm = seams_mm[-1] + length_mm
        crowd = [place for place in places_mm if latest_mm - length_mm / 3 < place < latest_mm + SEAM_MM]
        ways = [latest_mm, *(place - SEAM_MM for place in crowd)]
        clear = [at for at in ways if at <= latest_mm and all(abs(at - place) >= SEAM_MM - 1e-9 for place in crowd)]
        seams_mm.append(max(clear, default=latest_mm))
    return [*seams_mm, end_mm]


def _highest_that_fits(instrument: Instrument, longest_mm: float) -> int:
    """Two octaves, a little less where that saves a piece, or on while that takes none and the names have room."""
    places_mm = [place_to_mm(place, instrument.length_mm) for place in range(1, instrument.highest_place + 1)]
    usual = min(USUAL_HIGHEST, instrument.highest_place)
    pieces = [len(_seams(places_mm[:highest], longest_mm)) for highest in range(1, instrument.highest_place + 1)]
    fewest = pieces[usual - 1 - LESS_AT_MOST]
    roomy = [place for place in range(1, len(places_mm)) if places_mm[place] - places_mm[place - 1] >= NAME_MM]
    fitting = [place + 1 for place in roomy if pieces[place] == fewest]
    return max([usual - LESS_AT_MOST, *fitting])


def _frame(piece: _Piece, wording: Wording) -> str:
    width = piece.end_mm - piece.start_mm
    parts = [
        f'<rect x="{EDGE_MM}" y="{EDGE_MM}" width="{width:.3f}" height="{STRIP_HEIGHT_MM}" fill="#ffffff" '
        f'stroke="{PALE}" stroke-width="0.15"/>'
    ]
    if piece.number == 1:
        parts.append(_tick(piece.x(0.0), 0.0, STRIP_HEIGHT_MM, width=0.9))
    for at_mm, neighbour in ((piece.start_mm, piece.number - 1), (piece.end_mm, piece.number + 1)):
        if 1 <= neighbour <= piece.pieces:
            parts.append(_seam(piece, at_mm, neighbour, wording))
    return "".join(parts)


def _seam(piece: _Piece, at_mm: float, neighbour: int, wording: Wording) -> str:
    """A dashed edge with half a diamond at mid-height: where the halves make a whole diamond, the pieces are joined."""
    x, middle = piece.x(at_mm), EDGE_MM + STRIP_HEIGHT_MM / 2
    into = 1.0 if (at_mm == piece.start_mm) != piece.mirrored else -1.0
    letters = "".join(sorted("ABCDEFGHIJKLMNOP"[number - 1] for number in (piece.number, neighbour)))
    words = escape(f"{wording.say('board.strip.join')} {letters}")
    text_x = x + into * 2.1 + 0.7
    return (
        f'<line x1="{x:.3f}" y1="{EDGE_MM}" x2="{x:.3f}" y2="{EDGE_MM + STRIP_HEIGHT_MM}" stroke="{INK}" '
        f'stroke-width="0.3" stroke-dasharray="1.2 0.9"/>'
        f'<path d="M{x:.3f} {middle - 1.4:.3f} l{into * 1.2:.3f} 1.4 l{-into * 1.2:.3f} 1.4 z" fill="{INK}"/>'
        f'<text x="{text_x:.2f}" y="{middle:.2f}" font-size="1.9" text-anchor="middle" fill="#4a4a4a" '
        f'transform="rotate(-90 {text_x:.2f} {middle:.2f})">{words}</text>'
    )


def _place(piece: _Piece, from_nut_mm: float, name: str, *, natural: bool, octave: bool) -> str:
    """A tick across the strip; natural notes in the upper row, altered ones in the lower, mm below."""
    x = piece.x(from_nut_mm)
    top = 0.0 if natural else 7.6
    width, ink = (0.4, REACH_INK) if octave else (0.22, INK) if natural else (0.14, INK)
    label_y = 4.3 if natural else 11.2
    gap = f'<rect x="{x - 2.2:.3f}" y="{EDGE_MM + label_y - 2.6:.3f}" width="4.4" height="3.4" fill="#ffffff"/>'
    mm = _text(x, 16.2, f"{from_nut_mm:.1f}" if from_nut_mm < 100 else f"{from_nut_mm:.0f}", size=2.0, ink="#4a4a4a")
    return (
        _tick(x, top, 14.2, width=width, ink=ink)
        + gap
        + _text(x, label_y, name, size=3.0 if natural else 2.5, bold=natural)
        + mm
        + _tick(x, 17.4, STRIP_HEIGHT_MM, width=width, ink=ink)
    )


def draw_ruler() -> Picture:
    """A line of 100 mm with a tick each millimetre, to check the printer with a ruler."""
    parts = [f'<line x1="2" y1="2" x2="{2 + RULER_MM}" y2="2" stroke="{INK}" stroke-width="0.2"/>']
    for mm in range(RULER_MM + 1):
        length = 3.2 if mm % 10 == 0 else 2.2 if mm % 5 == 0 else 1.3
        parts.append(f'<line x1="{2 + mm}" y1="2" x2="{2 + mm}" y2="{2 + length}" stroke="{INK}" stroke-width="0.12"/>')
        if mm % 10 == 0:
            parts.append(_text(2.0 + mm, 7.4, str(mm), size=2.4))
    return _picture(RULER_MM + 4.0, 9.5, parts)


def _picture(width_mm: float, height_mm: float, body: list[str]) -> Picture:
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width_mm:.3f}mm" height="{height_mm:.3f}mm" '
        f'viewBox="0 0 {width_mm:.3f} {height_mm:.3f}" font-family="{TEXT_FAMILY}">{"".join(body)}</svg>'
    )
    return Picture(svg=svg, width_mm=width_mm, height_mm=height_mm)


def _tick(x: float, top: float, bottom: float, *, width: float, ink: str = INK) -> str:
    return (
        f'<line x1="{x:.3f}" y1="{EDGE_MM + top:.3f}" x2="{x:.3f}" y2="{EDGE_MM + bottom:.3f}" stroke="{ink}" '
        f'stroke-width="{width}"/>'
    )


def _text(
    x: float, y: float, text: str, *, size: float, anchor: str = "middle", bold: bool = False, ink: str = INK
) -> str:
    weight = ' font-weight="bold"' if bold else ""
    return (
        f'<text x="{x:.3f}" y="{EDGE_MM + y:.3f}" font-size="{size}" text-anchor="{anchor}" fill="{ink}"{weight}>'
        f"{escape(text)}</text>"
    )
