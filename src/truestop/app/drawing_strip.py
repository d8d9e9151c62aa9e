"""True-scale strips: the places of one string, 1:1 on paper, to lay beside the player's own string.

Conventions: one mm in the picture is one mm on paper. A string too long for the paper is cut into pieces that are
joined edge to edge; the nut is at the left end (at the right end for a left-handed player).
"""

from __future__ import annotations

from dataclasses import dataclass
from xml.sax.saxutils import escape

from truestop.app.drawing import INK, PALE, REACH_INK, TEXT_FAMILY
from truestop.app.sheet_ports import Picture
from truestop.domain.errors import DrillError
from truestop.domain.fingerboard import place_to_mm
from truestop.domain.instrument import Instrument
from truestop.domain.pitch import spell
from truestop.domain.wording import ENGLISH, Wording

STRIP_HEIGHT_MM = 21.0
EDGE_MM = 0.6
"""Room for the frame's line outside the measured length."""
RULER_MM = 100
END_MM = 4.0
"""Paper beyond the last place."""
USUAL_HIGHEST = 24


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
    end_mm = place_to_mm(highest, instrument.length_mm) + END_MM
    count = _pieces(end_mm, longest_mm)
    length = end_mm / count
    pictures = []
    for number in range(count):
        piece = _Piece(
            start_mm=number * length,
            end_mm=(number + 1) * length,
            number=number + 1,
            pieces=count,
            mirrored=left_handed,
        )
        body = [_frame(piece, wording)]
        for place in range(1, highest + 1):
            from_nut_mm = place_to_mm(place, instrument.length_mm)
            if piece.start_mm <= from_nut_mm < piece.end_mm:
                pitch = spell(open_pitch.midi + place, key_fifths=key_fifths)
                body.append(_place(piece, from_nut_mm, pitch.pretty, natural=pitch.alter == 0, octave=place % 12 == 0))
        pictures.append(_picture(piece.width_mm, STRIP_HEIGHT_MM + 2 * EDGE_MM, body))
    return tuple(pictures)


def _pieces(end_mm: float, longest_mm: float) -> int:
    return max(1, -int(-end_mm // longest_mm))


def _highest_that_fits(instrument: Instrument, longest_mm: float) -> int:
    highest = min(USUAL_HIGHEST, instrument.highest_place)
    pieces = _pieces(place_to_mm(highest, instrument.length_mm) + END_MM, longest_mm)
    while (
        highest < instrument.highest_place
        and place_to_mm(highest + 1, instrument.length_mm) + END_MM <= pieces * longest_mm
    ):
        highest += 1
    return highest


def _frame(piece: _Piece, wording: Wording) -> str:
    width = piece.end_mm - piece.start_mm
    parts = [
        f'<rect x="{EDGE_MM}" y="{EDGE_MM}" width="{width:.3f}" height="{STRIP_HEIGHT_MM}" fill="#ffffff" '
        f'stroke="{PALE}" stroke-width="0.15"/>'
    ]
    if piece.number == 1:
        parts.append(_tick(piece.x(0.0), 0.0, STRIP_HEIGHT_MM, width=0.9))
    if piece.pieces > 1:
        for at_mm, neighbour in ((piece.start_mm, piece.number - 1), (piece.end_mm, piece.number + 1)):
            if 1 <= neighbour <= piece.pieces:
                letters = "".join(sorted("ABCDEFGH"[n - 1] for n in (piece.number, neighbour)))
                inwards = 2.0 if (at_mm == piece.start_mm) != piece.mirrored else -0.7
                join = escape(wording.say("board.strip.join"))
                x, y = piece.x(at_mm) + inwards, EDGE_MM + STRIP_HEIGHT_MM / 2
                parts.append(
                    f'<text x="{x:.2f}" y="{y:.2f}" font-size="1.9" text-anchor="middle" fill="#4a4a4a" '
                    f'transform="rotate(-90 {x:.2f} {y:.2f})">{join} {letters}</text>'
                )
    return "".join(parts)


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
