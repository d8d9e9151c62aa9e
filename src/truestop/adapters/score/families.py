"""Which instrument a part is for, guessed from its names and sounds.

Conventions: names in English, Italian, German, French and Spanish as printed on parts, with their usual abbreviations
(common practice, no source). General MIDI programs 41–44 and MusicXML sound ids name the same four instruments.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

_NAMES = {
    "bass": r"double[ -]?bass(es)?|string bass|contra ?bass(i|o|es)?|contrabbass[oi]|kontrab(a|ä)(ss|ß)e?|contrebasses?"
    r"|contrabajos?|upright bass|d\.? ?b\.?|c\.? ?b\.?|kb\.?|db\.",
    "cello": r"(violon)?cell(o|i|os)|violoncelles?|violonchelos?|vcl?\.?|vlc\.?|celli|vc[ls]?\.?",
    "viola": r"violas?|viole|bratschen?|altos?|vla\.?|va\.?|br\.?|vle\.?",
    "violin": r"violin(e|en|i|o|s)?|violins?|violons?|geigen?|vln\.?|vl\.?|vn\.?|viol\.?|fiddle",
}
_NOT_STRINGS = re.compile(
    r"voice|choir|chorus|sax|flute|flöte|clarinet|clarinette|klarinette|guitar|bassoon|bass drum|recorder|trombone|horn"
    r"|soprano|tenor|singer|gamba|d'amore|da gamba|oboe|tuba",
    re.IGNORECASE,
)
_PATTERNS = {
    family: re.compile(rf"(?<![a-zäöüß])({names})(?![a-zäöüß])", re.IGNORECASE) for family, names in _NAMES.items()
}
#: General MIDI Level 1 programs, counted from 1. Source: MIDI Association, General MIDI 1 sound set.
_PROGRAMS = {41: "violin", 42: "viola", 43: "cello", 44: "bass"}
#: Standard sounds of MusicXML 4.0 (sounds.xml).
_SOUNDS = {
    "strings.violin": "violin",
    "strings.viola": "viola",
    "strings.cello": "cello",
    "strings.contrabass": "bass",
}


def family_of_names(names: Iterable[str]) -> str | None:
    """The instrument family that one of ``names`` says, the first name first.

    >>> [family_of_names([name]) for name in ("Violino I", "Vc.", "Kontrabass", "Oboe")]
    ['violin', 'cello', 'bass', None]
    """
    for name in names:
        if not name or _NOT_STRINGS.search(name):
            continue
        for family, pattern in _PATTERNS.items():
            if pattern.search(name):
                return family
    return None


def family_of_sound(sound: str) -> str | None:
    """The family of a MusicXML sound id like 'strings.violin'."""
    return _SOUNDS.get(".".join(sound.strip().split(".")[:2]))


def family_of_program(program: int) -> str | None:
    """The family of a General MIDI program counted from 1."""
    return _PROGRAMS.get(program)
