"""Which notes need an accidental: the rules of the measure.

Conventions: an accidental holds to the barline for its own staff line and octave; a note tied over the barline shows
none, and the next note on its line shows what it is. Common practice; MusicXML names the signs.
"""

from __future__ import annotations

from collections.abc import Iterable

from truestop.domain.passage import Note
from truestop.domain.pitch import Pitch

SIGNS = {
    -3: "triple-flat", -2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp", 3: "triple-sharp",
}  # fmt: skip
_ORDER_OF_SHARPS = "FCGDAEB"


def key_alterations(fifths: int) -> dict[str, int]:
    """The alteration that a key signature gives each letter.

    >>> key_alterations(-2)["E"], key_alterations(1)["F"]
    (-1, 1)
    """
    alterations = dict.fromkeys("CDEFGAB", 0)
    order = _ORDER_OF_SHARPS if fifths > 0 else _ORDER_OF_SHARPS[::-1]
    for count in range(abs(fifths)):
        alterations[order[count % 7]] += 1 if fifths > 0 else -1
    return alterations


class AccidentalState:
    """What the staff's lines mean inside one measure."""

    def __init__(self, fifths: int) -> None:
        self._key = key_alterations(fifths)
        self._shown: dict[tuple[int, str, int], int] = {}
        self._tied_in: set[tuple[int, str, int]] = set()

    def sign_for(self, pitch: Pitch, staff: int, *, tied: bool) -> str | None:
        """The sign that ``pitch`` needs here, None where the line already means it."""
        line = (staff, pitch.step, pitch.octave)
        current = self._shown.get(line, self._key[pitch.step])
        if tied and line not in self._shown and current != pitch.alter:
            self._tied_in.add(line)
            return None
        if current == pitch.alter and line not in self._tied_in:
            return None
        self._tied_in.discard(line)
        self._shown[line] = pitch.alter
        return SIGNS[pitch.alter]


def signs_of_measure(fifths: int, heads: Iterable[tuple[Note, Pitch, str]]) -> dict[str, str]:
    """The signs of one measure's heads, in the order they sound: head id → sign. A head is note, written pitch, id."""
    state = AccidentalState(fifths)
    signs: dict[str, str] = {}
    for note, pitch, head_id in heads:
        sign = state.sign_for(pitch, note.staff, tied=note.tied_from_before)
        if sign is not None:
            signs[head_id] = sign
    return signs
