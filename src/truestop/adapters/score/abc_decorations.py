"""What ABC decorations and annotations say about a note.

Conventions: names of the ABC music standard 2.1, sections 4.14 (decorations) and 4.19 (annotations). Decorations that
do not concern the hand, the bow or the page of a passage are passed over, as the standard allows.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from truestop.adapters.score.draft import DraftNote
from truestop.adapters.score.musicxml_marks import (
    ALTERNATE,
    PASSED_OVER,
    SUBSTITUTION,
    parse_fingering,
    parse_string_and_fingers,
)
from truestop.domain.errors import ScoreError
from truestop.domain.hand_mark import parse_hand_mark, split_reach
from truestop.domain.instrument import ROMAN
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
_NOT_OF_THE_HAND = frozenset((
    "trill)", "roll", "arpeggio", "crescendo(", "crescendo)", "<(", "<)", "diminuendo(", "diminuendo)", ">(", ">)",
    "segno", "coda", "D.S.", "D.C.", "dacoda", "dacapo", "fine", "shortphrase", "mediumphrase", "longphrase",
    "editorial", "courtesy",
))  # fmt: skip
"""Decorations of the standard (4.14) that say nothing to the hand."""


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
    string: int | None = None
    hand: str | None = None
    """Words about the hand."""
    substitutes: bool = False
    """Whether a text like '3-1' changes the finger on the sounding note."""
    dynamics: list[str] = field(default_factory=list)

    remarks: list[str] = field(default_factory=list)
    """Sentences about what was passed over."""

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
        elif name not in _NOT_OF_THE_HAND:
            meant = " T alone is a trill, !thumb! the thumb." if name.upper() == "T" else ""
            self.remarks.append(f"!{name}! is no decoration of the ABC standard; {PASSED_OVER}.{meant}")

    def finger_text(self, text: str) -> bool:
        """Take in an annotation that is nothing but a string and fingers, like 'IV', '3-1', '2 (4)' or 'III 2'; tells
        whether it was.
        """
        if parse_hand_mark(text) is not None:
            self._add_hand(text)
            return True
        reach, text = split_reach(text)
        string, fingers = parse_string_and_fingers(text)
        if (fingers or string is None) and _FINGERS.fullmatch(fingers) is None:
            return False
        self.string = string or self.string
        if reach is not None:
            self._add_hand(reach)
        for finger, kind in parse_fingering(fingers):
            (self.alternates if kind == ALTERNATE else self.fingers).append(finger)
            self.substitutes |= kind == SUBSTITUTION
        return True

    def _add_hand(self, words: str) -> None:
        self.hand = f"{self.hand}, {words}" if self.hand else words

    @property
    def waits(self) -> bool:
        """Whether anything that binds the hand or the bow still waits for its note."""
        return bool(
            self.fingers or self.alternates or self.string or self.hand or self.bow or self.slide or self.trill
            or self.harmonic
        )  # fmt: skip

    def give(self, notes: list[DraftNote]) -> None:
        """Put the marks on a note, or on the notes of a chord in the order they are written."""
        head = notes[0]
        head.articulations = (*head.articulations, *self.names)
        head.bow, head.trill, head.hand = self.bow or head.bow, self.trill or head.trill, self.hand or head.hand
        for note in notes:
            note.slide |= self.slide
            if self.harmonic:
                note.harmonic = Harmonic.NATURAL
        if len(notes) == 1:
            self._give_hand(head)
        else:
            self._spread(notes)

    def _give_hand(self, note: DraftNote) -> None:
        fingers = (*note.fingers, *self.fingers)
        if note.trill and len(fingers) == 2 and not self.substitutes:
            note.trill_finger = fingers[-1]
            fingers = fingers[:1]
        note.fingers = fingers
        note.alternates = (*note.alternates, *self.alternates)
        note.string = self.string or note.string

    def _spread(self, notes: list[DraftNote]) -> None:
        bare = [note for note in notes if not note.fingers]
        for note, finger in zip(bare, self.fingers, strict=False):
            note.fingers = (finger,)
        left = [finger.value for finger in (*self.fingers[len(bare) :], *self.alternates)]
        if left:
            self.remarks.append(f"finger {' and '.join(left)} has no note in the chord; {PASSED_OVER}.")
        if self.string is not None and self.fingers:
            self.remarks.append(
                f"string {ROMAN[self.string]} does not say which note of the chord it is for; {PASSED_OVER}."
            )
