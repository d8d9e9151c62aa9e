"""The four instruments: strings, sizes, vibrating lengths.

Conventions: strings are numbered from the highest, I = 1, as in MusicXML. Pitches are sounding pitches. Lengths are the
vibrating length from nut to bridge in mm, overwritten by the player's ruler. Each length keeps its source.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import pairwise

from truestop.domain.errors import InstrumentError
from truestop.domain.pitch import Pitch, spell

ROMAN = {1: "I", 2: "II", 3: "III", 4: "IV", 5: "V"}

STRINGS = {
    "violin": ("E5", "A4", "D4", "G3"),
    "viola": ("A4", "D4", "G3", "C3"),
    "cello": ("A3", "D3", "G2", "C2"),
    "bass": ("G2", "D2", "A1", "E1"),
}

#: Named tunings beside the usual one. Common practice, no source.
TUNINGS = {
    "bass": {
        "solo": ("A2", "E2", "B1", "F#1"),
        "five-b": ("G2", "D2", "A1", "E1", "B0"),
        "five-c": ("G2", "D2", "A1", "E1", "C1"),
        "extension": ("G2", "D2", "A1", "C1"),
    },
}

#: Vibrating lengths in mm, by size. Violins of 7/8 to 1/4: 'Scale length (string instruments)', Wikipedia. All others
#: from memory of makers' and string makers' tables, the middle of what they give; one instrument lies up to 2 % off.
#: Violas by the length of the body in mm; up to 355 they are built and strung as violins of that body.
LENGTHS_MM = {
    "violin": {
        "4/4": 328.0, "7/8": 317.0, "3/4": 307.0, "1/2": 287.0, "1/4": 267.0, "1/8": 240.0, "1/10": 222.0,
        "1/16": 207.0, "1/32": 190.0,
    },
    "viola": {
        "305": 287.0, "330": 307.0, "355": 328.0, "380": 352.0, "390": 365.0, "395": 367.0, "400": 370.0, "405": 375.0,
        "410": 375.0, "415": 380.0, "420": 385.0, "430": 395.0,
    },
    "cello": {"4/4": 690.0, "7/8": 665.0, "3/4": 625.0, "1/2": 575.0, "1/4": 515.0, "1/8": 450.0, "1/10": 415.0},
    "bass": {"4/4": 1100.0, "7/8": 1080.0, "3/4": 1050.0, "5/8": 1010.0, "1/2": 975.0, "1/4": 905.0, "1/8": 835.0},
}  # fmt: skip
#: Violas as shops name them, by the body in inches. Common practice, no source.
VIOLA_INCHES = {
    "12": "305", "13": "330", "14": "355", "15": "380", "15.5": "395", "16": "405", "16.5": "420", "17": "430",
}  # fmt: skip
MOST_STRINGS = 5
USUAL_SIZE = {"violin": "4/4", "viola": "405", "cello": "4/4", "bass": "3/4"}

#: Highest place a player is expected to stop, semitones above the open string (end of the fingerboard).
#: Common practice, no source.
HIGHEST_PLACE = {"violin": 31, "viola": 27, "cello": 31, "bass": 26}


@dataclass(frozen=True, slots=True, kw_only=True)
class Instrument:
    """One player's instrument: ``strings`` sound as given, I first, when open; ``length_mm`` is nut to bridge."""

    family: str
    size: str
    strings: tuple[Pitch, ...]
    length_mm: float

    def open_pitch(self, string: int) -> Pitch:
        """Sounding pitch of open string ``string`` (1 = I)."""
        if not 1 <= string <= len(self.strings):
            raise InstrumentError(
                f"The {self.family} has no string {string}.",
                hint=f"Strings run from I (1) to {ROMAN[len(self.strings)]} ({len(self.strings)}).",
            )
        return self.strings[string - 1]

    def place_of(self, midi: int, string: int) -> int:
        """Semitones from open string ``string`` up to MIDI note ``midi``; negative where the note lies below it."""
        return midi - self.open_pitch(string).midi

    @property
    def highest_place(self) -> int:
        """End of the fingerboard in semitones above the open string."""
        return HIGHEST_PLACE[self.family]

    @property
    def lowest_midi(self) -> int:
        """MIDI number of the lowest open string."""
        return min(pitch.midi for pitch in self.strings)

    @property
    def string_names(self) -> tuple[str, ...]:
        """Roman numerals, I first."""
        return tuple(ROMAN[number] for number in range(1, len(self.strings) + 1))

    def retuned(self, strings: tuple[Pitch, ...]) -> Instrument:
        """The same instrument with other open strings (scordatura), I first."""
        return replace(self, strings=strings)


def strings_down_to(family: str, midi: int) -> tuple[str, ...] | None:
    """Open strings of ``family`` that go down to a MIDI note, I first: a named tuning, or a fifth string a fifth below
    the lowest; None where neither goes so low.

    >>> strings_down_to("violin", 50), strings_down_to("bass", 24)[-1], strings_down_to("viola", 30)
    (('E5', 'A4', 'D4', 'G3', 'C3'), 'C1', None)
    """
    usual = STRINGS[family]
    fifth = spell(Pitch.parse(usual[-1]).midi - 7).name
    known = sorted(TUNINGS.get(family, {}).values(), key=lambda names: -Pitch.parse(names[-1]).midi)
    able = (names for names in (usual, *(known or [(*usual, fifth)])) if Pitch.parse(names[-1]).midi <= midi)
    return next(able, None)


def family_of_clefs(clefs: Iterable[str]) -> str:
    """The family that a part in these clefs is most likely for, when nothing names it. Common practice, no source.

    >>> [family_of_clefs(clefs) for clefs in (["treble"], ["treble", "alto"], ["bass", "tenor"])]
    ['violin', 'viola', 'cello']
    """
    seen = set(clefs)
    return "cello" if seen & {"bass", "tenor"} else "viola" if "alto" in seen else "violin"


def make_instrument(
    family: str,
    *,
    size: str | None = None,
    strings: tuple[Pitch, ...] | str | None = None,
    length_mm: float | None = None,
) -> Instrument:
    """An instrument from its table; ``family`` is violin, viola, cello or bass, ``strings`` a named tuning or pitches.

    >>> make_instrument("cello").length_mm
    690.0
    """
    if family not in STRINGS:
        raise InstrumentError(
            f"'{family}' is not an instrument truestop knows.", hint=f"Choose one of {', '.join(STRINGS)}."
        )
    size = USUAL_SIZE[family] if size is None else size.strip()
    if family == "viola":
        size = VIOLA_INCHES.get(size, size)
    if length_mm is None:
        if size not in LENGTHS_MM[family]:
            raise InstrumentError(
                f"'{size}' is not a {family} size truestop knows.",
                hint=f"Choose one of {', '.join(LENGTHS_MM[family])}, or give the vibrating length in mm.",
            )
        length_mm = LENGTHS_MM[family][size]
    if not 100.0 <= length_mm <= 1300.0:
        raise InstrumentError(f"A vibrating length of {length_mm:g} mm is out of range.", hint="Give 100 to 1300 mm.")
    return Instrument(family=family, size=size, strings=_open_strings(family, strings), length_mm=length_mm)


def _open_strings(family: str, strings: tuple[Pitch, ...] | str | None) -> tuple[Pitch, ...]:
    if strings is None or strings == "usual":
        return tuple(Pitch.parse(name) for name in STRINGS[family])
    if isinstance(strings, str):
        named = TUNINGS.get(family, {}).get(strings)
        names = named if named is not None else tuple(strings.replace(",", " ").split())
        pitches = tuple(Pitch.parse(name) for name in names)
        if named is None and len(pitches) > 1 and pitches[0].midi < pitches[-1].midi:
            pitches = pitches[::-1]
        strings = pitches
    usual = " ".join(STRINGS[family])
    if not len(STRINGS[family]) <= len(strings) <= MOST_STRINGS:
        count = "One open string is" if len(strings) == 1 else f"{len(strings)} open strings are"
        raise InstrumentError(
            f"{count} named, and a {family} has {len(STRINGS[family])} or {MOST_STRINGS}.",
            hint=f"Name every one from the highest to the lowest, like '{usual}'.",
        )
    if any(upper.midi <= lower.midi for upper, lower in pairwise(strings)):
        raise InstrumentError(
            "Open strings must fall from string I on.",
            hint=f"Name them from the highest to the lowest, like '{usual}'.",
        )
    return strings
