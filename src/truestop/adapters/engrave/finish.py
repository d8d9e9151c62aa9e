"""Engraved SVG as pages and screens take it.

Conventions: ids stay. The text family is replaced by the one that the PDF pages embed, with serif fallbacks for
screens; style sheets become attributes, so that a page that forbids inline styles shows the same; the picture is cut
to the music's own width. Words that would reach past the line's end are set back to end there; where others stand in
the way the picture is as much wider.
"""

from __future__ import annotations

import re
from math import ceil

from truestop.adapters.engrave.clearing import drop_specks, raise_fingers, set_words_back, texts_end
from truestop.app.sheet_ports import TEXT_FAMILY, Picture

#: What the library's style sheet says, as attributes of groups by class.
GROUP_LOOKS = {
    "ending": 'font-weight="bold"',
    "fing": 'font-weight="bold"',
    "reh": 'font-weight="bold"',
    "tempo": 'font-weight="bold"',
    "dir": 'font-style="italic"',
    "dynam": 'font-style="italic"',
    "mNum": 'font-style="italic"',
}
ROMAN_TEXT = re.compile(r"(<tspan )(font-size=\"[\d.]+px\">\u00a0?(?:III|II|IV|I|V)\u00a0?</tspan>)")
_STYLE = re.compile(r"\s*<style.*?</style>", re.DOTALL)
_DESCRIPTION = re.compile(r"\s*<desc>.*?</desc>", re.DOTALL)
_PLACEHOLDER = re.compile(r'<g [^>]*class="[^"]*placeholder[^"]*"[^>]*>\s*<ellipse[^>]*/>\s*</g>\s*')
_FAMILY = re.compile(r'font-family="[^"]*"')
_VIEW = re.compile(r'<svg viewBox="0 0 ([\d.]+) ([\d.]+)"')
_INNER_VIEW = re.compile(r'(<svg class="definition-scale"[^>]*viewBox=")0 0 ([\d.]+)( [\d.]+")')
_GROUP = re.compile(r'class="(ending|fing|reh|tempo|dir|dynam|mNum)"')
_SHAPE = re.compile(r"<(ellipse|path|polygon|polyline|rect) (?![^>]*stroke=)")
_MARGIN = re.compile(r'class="page-margin" transform="translate\([-\d.]+, ([-\d.]+)\)"')
_STAFF_LINE = re.compile(r'<path d="M\d+ (\d+) L(\d+) \1"')
BLEED_MM = 4.0
"""Room left of the staff for measure numbers."""
SCALE = 10.0
"""The library's inner units per outer unit."""


def finish_svg(svg: str, *, width_mm: float) -> Picture:
    """The picture of one system that was engraved for a line of ``width_mm``."""
    match = _VIEW.search(svg)
    assert match is not None, "the engraving library always states its view box"
    units, height_units = float(match.group(1)), float(match.group(2))
    scale_mm = width_mm / units
    bleed_units = round(BLEED_MM / scale_mm)
    line = _STAFF_LINE.search(svg)
    svg = raise_fingers(set_words_back(svg, right=units * SCALE), staff_y=float(line.group(1)) if line else 0.0)
    svg = drop_specks(svg)
    words_units = texts_end(svg) / SCALE
    music_units = max(_staves_end(svg) / SCALE, words_units)
    cut_units = bleed_units + max(min(units, round(music_units + 1)), ceil(words_units))
    size = f'width="{cut_units * scale_mm:.2f}mm" height="{height_units * scale_mm:.2f}mm"'
    svg = svg.replace(match.group(0), f'<svg {size} viewBox="0 0 {cut_units:g} {height_units:g}"', 1)
    left = f"{-bleed_units * SCALE:g}"
    svg = _INNER_VIEW.sub(lambda view: f"{view.group(1)}{left} 0 {cut_units * SCALE:g}{view.group(3)}", svg)
    svg = _FAMILY.sub(f'font-family="{TEXT_FAMILY}"', _DESCRIPTION.sub("", _STYLE.sub("", svg)))
    svg = _PLACEHOLDER.sub("", svg)
    svg = _GROUP.sub(lambda group: f"{group.group(0)} {GROUP_LOOKS[group.group(1)]}", svg)
    svg = ROMAN_TEXT.sub(r'\1font-weight="normal" \2', svg).replace("\u00a0", "")
    glyphs, drawing = svg.split("</defs>", 1) if "</defs>" in svg else ("", svg)
    svg = glyphs + ("</defs>" if glyphs else "") + _SHAPE.sub(r'<\1 stroke="currentColor" ', drawing)
    return Picture(
        svg=svg,
        width_mm=cut_units * scale_mm,
        height_mm=height_units * scale_mm,
        bleed_mm=bleed_units * scale_mm,
        staff_top_mm=_staff_top(svg) / SCALE * scale_mm,
    )


def _staff_top(svg: str) -> float:
    """Where the first staff's top line lies below the picture's edge, in the library's inner units."""
    margin, line = _MARGIN.search(svg), _STAFF_LINE.search(svg)
    return (float(margin.group(1)) if margin else 0.0) + (float(line.group(1)) if line else 0.0)


def _staves_end(svg: str) -> float:
    """Right end of the staves, in the library's inner units."""
    return max((float(match.group(2)) for match in _STAFF_LINE.finditer(svg)), default=0.0)
