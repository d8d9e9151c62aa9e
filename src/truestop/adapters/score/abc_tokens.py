"""A line of ABC music as tokens, each with the column it stands in.

Conventions: columns count from 1. Source of the symbols: the ABC music standard 2.1, section 4 (the tune body).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from truestop.domain.errors import ScoreError

_LENGTH = r"\d{0,5}(?:/\d{1,5}|/{1,6})?"
_NOTE = r"(?:\^\^|\^|__|_|=)?[A-Ga-g][,']{0,6}"
_OLD_NAMES = (
    "[0-5]|trill|lowermordent|uppermordent|mordent|pralltriller|roll|turn|invertedturn|accent|emphasis|fermata|tenuto"
    "|snap|slide|wedge|upbow|downbow|open|thumb|breath|p{1,4}|f{1,4}|mp|mf|sfz|plus|segno|coda|fine|dacapo|dacoda"
)
"""Decorations between plus signs, as ABC 2.0 wrote them; nothing else, because chords were once written so."""
_KINDS = (
    ("comment", r"%.*"),
    ("space", r"[\s`\\$]+"),
    ("field", r"\[[A-Za-z]:[^\]\n]*\]"),
    ("ending", r"\[\s*\d[\d,.-]*|(?<=[|\]:])\d[\d,.-]*"),
    ("bar", r"\.?:*(?:\[?\|+\]?)+:*|::+|\[\]"),
    ("decoration", rf"![^!\s]{{1,40}}!|\+(?:{_OLD_NAMES})\+"),
    ("text", r'"[^"\n]*"'),
    ("grace", r"\{/?[^}\n]*\}"),
    ("chord", rf"\[[^\]\n]*\]{_LENGTH}"),
    ("tuplet", r"\(\d{1,3}(?::\d{0,3}(?::\d{0,3})?)?"),
    ("slur", r"\.?\((?!\d)"),
    ("slur end", r"\)"),
    ("note", rf"{_NOTE}{_LENGTH}"),
    ("rest", rf"[zxZX]{_LENGTH}"),
    ("spacer", rf"y{_LENGTH}"),
    ("broken", r">{1,3}|<{1,3}"),
    ("tie", r"\.?-"),
    ("sign", r"[.~H-Wh-w]"),
)  # fmt: skip
_TOKEN = re.compile("|".join(f"(?P<k{index}>{pattern})" for index, (_, pattern) in enumerate(_KINDS)))
NOTE = re.compile(rf"(?P<sign>\^\^|\^|__|_|=)?(?P<letter>[A-Ga-g])(?P<octave>[,']{{0,6}})(?P<length>{_LENGTH})")


@dataclass(frozen=True, slots=True)
class Token:
    """One symbol: what it is, its text and the column of its first character."""

    kind: str
    text: str
    column: int
    line: int = 0


def tokens_of(line: str, *, start: int = 1, number: int = 0) -> Iterator[Token]:
    """The tokens of one line of music, spaces and comments left out. Raises AbcError at a character that is none."""
    position = 0
    while position < len(line):
        match = _TOKEN.match(line, position)
        if match is None:
            raise AbcError(_fault_at(line, position), start + position)
        kind = _KINDS[int(str(match.lastgroup)[1:])][0]
        if kind not in ("space", "comment", "spacer"):
            yield Token(kind, match[0], start + position, number)
        position = match.end()


_UNCLOSED = {"[": "chord or field", "{": "group of grace notes", '"': "text", "!": "decoration"}


def _fault_at(line: str, position: int) -> ScoreError:
    sign = line[position]
    if sign in _UNCLOSED:
        return ScoreError(f"The {_UNCLOSED[sign]} that begins here is not closed.", hint="Close it on the same line.")
    if sign == "&":
        return ScoreError(
            "Voices laid over one another with & are not read.", hint="Write the part alone, or use V: fields."
        )
    return ScoreError(
        f"'{sign}' means nothing here.", hint="Notes are written A to G and a to g; see the ABC standard 2.1."
    )


class AbcError(Exception):
    """A fault at a column; the reader adds the line, unless the fault lies on an earlier one."""

    def __init__(self, error: ScoreError, column: int, line: int | None = None) -> None:
        self.error = error
        self.column = column
        self.line = line
        super().__init__(str(error))


def parse_factor(text: str) -> tuple[int, int]:
    """A note's length as a factor: '' is 1/1, '3/2', '/' 1/2, '//' 1/4, '4' 4/1. Raises ScoreError for 0."""
    numerator, slash, denominator = text.partition("/")
    top = int(numerator or 1)
    bottom = 1 if not slash else int(denominator) if denominator.isdecimal() else 2 ** (1 + len(denominator))
    if top == 0 or bottom == 0:
        raise ScoreError("A note cannot have the length 0.", hint="Leave the length out for the unit length.")
    return top, bottom
