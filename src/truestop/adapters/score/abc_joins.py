"""What joins the notes of an ABC voice: ties and slurs.

Conventions: a tie leads to the next note of its pitch; a slur to the note before its ')'. Source: the ABC music
standard 2.1, section 4.11: slurs may be nested, and one may end on the note on which the next begins.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from truestop.adapters.score.abc_tokens import AbcError, Token
from truestop.adapters.score.draft import DraftNote
from truestop.domain.errors import ScoreError

_MOST_SLURS = 16


class Ties:
    """The ties that have begun, by staff line; a unison of two heads has two on one line."""

    def __init__(self) -> None:
        self._open: dict[tuple[str, int], list[tuple[DraftNote, Token]]] = {}

    def begin(self, notes: Sequence[DraftNote], token: Token) -> None:
        """Tie the notes to what follows."""
        for note in notes:
            note.tied_to_next = True
            self._open.setdefault((note.pitch.step, note.pitch.octave), []).append((note, token))

    def alteration(self, step: str, octave: int, onset: Fraction) -> int | None:
        """The alteration that a tie brings over the barline to a note on the line at ``onset``."""
        tied = self._open.get((step, octave))
        return tied[0][0].pitch.alter if tied and _end(tied[0][0]) == onset else None

    def arrive(self, notes: Sequence[DraftNote]) -> None:
        """End the ties that lead to the notes. Raises AbcError where one leads to no note of its pitch."""
        for note in notes:
            line = (note.pitch.step, note.pitch.octave)
            tied = self._open.get(line)
            if tied and tied[0][0].pitch == note.pitch and _end(tied[0][0]) == note.onset:
                note.tied_from_before = True
                del tied[0]
                if not tied:
                    del self._open[line]
        for tied in self._open.values():
            for note, token in tied:
                if note.onset < notes[0].onset:
                    hint = "Use a slur ( ) between two pitches."
                    fault = ScoreError("The tie leads to no note of the same pitch.", hint=hint)
                    raise AbcError(fault, token.column, token.line)

    def finish(self) -> None:
        """The voice ends: what is still tied leads nowhere."""
        for tied in self._open.values():
            for note, _ in tied:
                note.tied_to_next = False


def _end(note: DraftNote) -> Fraction:
    return note.onset + note.duration


class Slurs:
    """The slurs that have begun, the outermost first: number, token and first note."""

    def __init__(self) -> None:
        self._open: list[tuple[int, Token, DraftNote]] = []
        self._waiting: list[Token] = []

    def begin(self, token: Token) -> None:
        """A slur that begins at the next note."""
        if len(self._open) + len(self._waiting) >= _MOST_SLURS:
            raise ScoreError(f"More than {_MOST_SLURS} slurs are open at once.", hint="Close them with ).")
        self._waiting.append(token)

    def arrive(self, note: DraftNote) -> None:
        """Begin at ``note`` the slurs that wait."""
        for token in self._waiting:
            taken = {number for number, _, _ in self._open}
            number = next(number for number in range(1, _MOST_SLURS + 1) if number not in taken)
            self._open.append((number, token, note))
            note.slur_starts = (*note.slur_starts, number)
        self._waiting = []

    def end(self, note: DraftNote | None) -> None:
        """End at ``note`` the innermost slur; one that begins there itself only where no other is open."""
        if not self._open or note is None:
            raise ScoreError("No slur is open that could end here.", hint="Begin it with ( before its first note.")
        earlier = [place for place, (_, _, first) in enumerate(self._open) if first is not note]
        number, _, _ = self._open.pop(earlier[-1] if earlier else -1)
        note.slur_stops = (*note.slur_stops, number)

    def finish(self) -> None:
        """Raises AbcError where a slur never ends."""
        begun = [token for _, token, _ in self._open] + self._waiting
        if begun:
            fault = ScoreError("The slur that begins here never ends.", hint="Close it with ).")
            raise AbcError(fault, begun[-1].column, begun[-1].line)
