"""Numbers and short texts in MusicXML elements, each within its bounds.

Conventions: errors carry no place; whoever reads the measure adds it.
"""

from __future__ import annotations

import re
from fractions import Fraction
from functools import lru_cache
from xml.etree.ElementTree import Element

from truestop.adapters.score.bounds import LONGEST_DURATION_BEATS
from truestop.domain.errors import ScoreError

_DECIMAL = re.compile(r"[+-]?(\d{1,12}(\.\d{0,12})?|\.\d{1,12})")
_CORRECT = "Correct it in the notation program and export again."


def text_of(element: Element | None, default: str = "") -> str:
    """The element's own text without surrounding space."""
    return (element.text or "").strip() if element is not None else default


@lru_cache(maxsize=4096)
def decimal(text: str, what: str) -> Fraction:
    """``text`` as an exact number; ScoreError says that ``what`` is not one."""
    if _DECIMAL.fullmatch(text) is None:
        raise ScoreError(f"'{text[:30]}' is not a number for {what}.", hint=_CORRECT)
    return Fraction(text)


@lru_cache(maxsize=4096)
def whole(text: str, what: str, low: int, high: int) -> int:
    """``text`` as a whole number from ``low`` to ``high``; ScoreError says what else ``what`` was."""
    value = decimal(text, what)
    if value.denominator != 1 or not low <= value <= high:
        raise ScoreError(f"{what} is {text[:30]}; it must be a whole number from {low} to {high}.", hint=_CORRECT)
    return int(value)


@lru_cache(maxsize=65536)
def duration(text: str, divisions: Fraction, what: str) -> Fraction:
    """A ``<duration>`` in quarter notes. Raises ScoreError below 0 or beyond the bound."""
    ticks = decimal(text, f"the length of {what}")
    if ticks < 0:
        raise ScoreError(f"{what} has the negative length {text[:30]}.", hint=_CORRECT)
    beats = ticks / divisions
    if beats > LONGEST_DURATION_BEATS:
        raise ScoreError(f"{what} is {float(beats):.0f} quarter notes long.", hint=_CORRECT)
    return beats
