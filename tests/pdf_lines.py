"""Straight lines of a PDF page, in mm on paper; the foreign reader is pypdf."""

from __future__ import annotations

from io import BytesIO
from typing import NamedTuple

from pypdf import PdfReader

MM_PER_POINT = 25.4 / 72.0
STRAIGHT_MM = 0.004


class Line(NamedTuple):
    """From its left or lower end to its right or upper one; heights count from the foot of the page."""

    left_mm: float
    low_mm: float
    right_mm: float
    high_mm: float

    @property
    def is_level(self) -> bool:
        """Whether it lies."""
        return self.high_mm - self.low_mm < STRAIGHT_MM

    @property
    def is_upright(self) -> bool:
        """Whether it stands."""
        return self.right_mm - self.left_mm < STRAIGHT_MM

    @property
    def length_mm(self) -> float:
        """Of a level or upright line."""
        return max(self.right_mm - self.left_mm, self.high_mm - self.low_mm)


def lines_on(document: bytes, page: int = 0) -> list[Line]:
    """All straight lines that are drawn on a page."""
    lines: list[Line] = []
    last = (0.0, 0.0)

    def visit(operator: bytes, operands: list[object], matrix: list[float], _: object) -> None:
        nonlocal last
        if operator in (b"m", b"l"):
            x, y = (float(str(operand)) for operand in operands)
            across = (matrix[0] * x + matrix[2] * y + matrix[4]) * MM_PER_POINT
            up = (matrix[1] * x + matrix[3] * y + matrix[5]) * MM_PER_POINT
            if operator == b"l":
                lines.append(Line(min(across, last[0]), min(up, last[1]), max(across, last[0]), max(up, last[1])))
            last = (across, up)

    PdfReader(BytesIO(document)).pages[page].extract_text(visitor_operand_before=visit)
    return lines
