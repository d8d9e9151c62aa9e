"""Symbol lines and symbols of one's own.

Conventions: the ABC music standard 2.1, sections 4.15 (``s:`` lines put decorations and annotations to the notes of the
music before them, grace notes and rests left out) and 4.16 (``U:`` gives a letter a meaning).
"""

from __future__ import annotations

import re

from truestop.adapters.score.abc_tokens import AbcError
from truestop.adapters.score.draft import DraftNote
from truestop.domain.errors import ScoreError

_SYMBOL = re.compile(r"""(?P<space>\s+)|(?P<skip>\*)|(?P<bar>\|)|(?P<mark>![^!\s]+!|"[^"]*"|[.~H-Wh-w])""")
_DEFINITION = re.compile(r"\s*([H-Wh-w~])\s*=\s*(![^!\s]+!|\+[^+\s]+\+|\"[^\"]*\")\s*")

USUAL = {
    ".": "!staccato!", "~": "!roll!", "H": "!fermata!", "L": "!accent!", "M": "!lowermordent!", "O": "!coda!",
    "P": "!uppermordent!", "S": "!segno!", "T": "!trill!", "u": "!upbow!", "v": "!downbow!",
}  # fmt: skip


def parse_definition(text: str) -> tuple[str, str]:
    """A ``U:`` field: the letter and the decoration or annotation it stands for. Raises ScoreError."""
    match = _DEFINITION.fullmatch(text)
    if match is None:
        raise ScoreError(f"'{text[:40]}' gives no letter a meaning.", hint="Write it like U:t=!thumb!, letters h to w.")
    meaning = match[2]
    return match[1], f"!{meaning[1:-1]}!" if meaning[0] == "+" else meaning


class Line:
    """The notes that a symbol line may mark; None stands for a barline."""

    def __init__(self) -> None:
        self._columns: list[list[DraftNote] | None] = []
        self._reached = 0
        self._used = False

    def add(self, notes: list[DraftNote] | None) -> None:
        """A note, a chord or a barline was read; the first one after a symbol line begins anew."""
        if self._used:
            self._columns, self._used = [], False
        self._columns.append(notes)

    def place(self, text: str, *, goes_on: bool, column: int) -> list[tuple[list[DraftNote], str]]:
        """The notes that ``text`` marks, each with its mark. Raises AbcError at a sign that is none."""
        self._reached = self._reached if goes_on else 0
        self._used = True
        placed: list[tuple[list[DraftNote], str]] = []
        position = 0
        while position < len(text):
            match = _SYMBOL.match(text, position)
            if match is None:
                hint = "It holds marks like !1! or u, * for a note without one, and | for the next bar."
                raise AbcError(ScoreError("This means nothing in a line of symbols.", hint=hint), column + position)
            if match.lastgroup == "bar":
                self._next_bar()
            elif match.lastgroup != "space":
                notes = self._next_note()
                if notes is None:
                    break
                if match.lastgroup == "mark":
                    placed.append((notes, match[0]))
            position = match.end()
        return placed

    def _next_bar(self) -> None:
        while self._reached < len(self._columns):
            self._reached += 1
            if self._columns[self._reached - 1] is None:
                return

    def _next_note(self) -> list[DraftNote] | None:
        while self._reached < len(self._columns):
            self._reached += 1
            notes = self._columns[self._reached - 1]
            if notes is not None:
                return notes
        return None
