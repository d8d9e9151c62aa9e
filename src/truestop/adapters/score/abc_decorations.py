"""What ABC decorations and annotations say about a note.

Conventions: names of the ABC music standard 2.1, sections 4.14 (decorations) and 4.19 (annotations). Decorations that
do not concern the hand, the bow or the page of a passage are passed over, as the standard allows.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from truestop.adapters.score.draft import DraftNote
from truestop.adapters.score.musicxml_marks import ALTERNATE, parse_fingering
from truestop.domain.errors import ScoreError
from truestop.domain.passage import Finger, Harmonic

_NAMES = {
    "staccato": "staccato", "accent": "accent", ">": "accent", "emphasis": "accent", "tenuto": "tenuto",
    "wedge": "staccatissimo", "fermata": "fermata", "mordent": "mordent", "lowermordent": "mordent",
    "pralltriller": "inverted-mordent", "uppermordent": "inverted-mordent", "turn": "turn",
    "turnx": "turn", "invertedturn": "inverted-turn", "invertedturnx": "inverted-turn",
    "invertedfermata": "fermata", "+": "stopped", "plus": "stopped", "snap": "snap-pizzicato", "breath": "breath-mark",
    "marcato": "strong-accent", "^": "strong-accent",
}  # fmt: skip
DYNAMICS = frozenset(("pppp", "ppp", "pp", "p", "mp", "mf", "f", "ff", "fff", "ffff", "sf", "sfz", "fp"))
_FINGERS = re.compile(r"[0-4T](\s*[-–]\s*[0-4T])*(\s*\(\s*[0-4T]\s*\))?")


@dataclass(slots=True)
class Pending:
    """What stands before a note and waits for it."""

    fingers: list[Finger] = field(default_factory=list)
    alternates: list[Finger] = field(default_factory=list)
    names: list[str] = field(default_factory=list)
    bow: str | None = None
    slide: bool = False
    trill: bool = False
    harmonic: bool = False
    dynamics: list[str] = field(default_factory=list)

    def decorate(self, text: str) -> None:
        """Take in ``!name!`` or ``+name+``. Raises ScoreError for a finger that no player has."""
        name = text[1:-1]
        if name in ("0", "1", "2", "3", "4"):
            self.fingers.append(Finger(name))
        elif name == "5":
            raise ScoreError("There is no finger 5 on a string instrument.", hint="Write !1! to !4!, !0! or !thumb!.")
        elif name in DYNAMICS:
            self.dynamics.append(name)
        else:
            self._other(name)

    def _other(self, name: str) -> None:
        if name == "open":
            self.fingers.append(Finger.OPEN)
        elif name == "thumb":
            self.fingers.append(Finger.THUMB)
        elif name in ("upbow", "downbow"):
            self.bow = name.removesuffix("bow")
        elif name in ("trill", "trill("):
            self.trill = True
        elif name == "slide":
            self.slide = True
        elif name == "harmonic":
            self.harmonic = True
        elif name in _NAMES:
            self.names.append(_NAMES[name])

    def finger_text(self, text: str) -> bool:
        """Take in an annotation that is nothing but fingers, like '3-1' or '2 (4)'; tells whether it was."""
        if _FINGERS.fullmatch(text) is None:
            return False
        for finger, kind in parse_fingering(text):
            (self.alternates if kind == ALTERNATE else self.fingers).append(finger)
        return True

    def give(self, notes: list[DraftNote]) -> None:
        """Put the marks on a note, or on the notes of a chord in the order they are written."""
        head = notes[0]
        head.articulations = (*head.articulations, *self.names)
        head.bow, head.trill = self.bow or head.bow, self.trill or head.trill
        for note in notes:
            note.slide |= self.slide
            if self.harmonic:
                note.harmonic = Harmonic.NATURAL
        if len(notes) == 1:
            head.fingers = (*head.fingers, *self.fingers)
            head.alternates = (*head.alternates, *self.alternates)
            return
        bare = [note for note in notes if not note.fingers]
        for note, finger in zip(bare, self.fingers, strict=False):
            note.fingers = (finger,)
