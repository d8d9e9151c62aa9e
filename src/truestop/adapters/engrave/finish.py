"""Engraved SVG as pages and screens take it.

Conventions: the text family is replaced by the one that the PDF pages embed, with serif fallbacks for screens; sizes
are stated in mm; ids stay.
"""

from __future__ import annotations

import re

from truestop.app.sheet_ports import Picture

TEXT_FAMILY = "Libertinus Serif"
_FAMILY = re.compile(r'font-family="[^"]*"')
_VIEW = re.compile(r'<svg viewBox="0 0 ([\d.]+) ([\d.]+)"')


def finish_svg(svg: str, *, width_mm: float) -> Picture:
    """The picture of one system ``width_mm`` wide."""
    match = _VIEW.search(svg)
    assert match is not None, "the engraving library always states its view box"
    height_mm = width_mm * float(match.group(2)) / float(match.group(1))
    sized = svg.replace("<svg ", f'<svg width="{width_mm:.2f}mm" height="{height_mm:.2f}mm" ', 1)
    return Picture(
        svg=_FAMILY.sub(f'font-family="{TEXT_FAMILY}, Libertinus, Georgia, serif"', sized),
        width_mm=width_mm,
        height_mm=height_mm,
    )
