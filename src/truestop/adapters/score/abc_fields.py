"""Keys, metres, lengths and tempos of ABC information fields.

Conventions: the ABC music standard 2.1, section 3 (information fields). Errors carry no place; the reader adds it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from fractions import Fraction

from truestop.adapters.score.accidentals import key_alterations
from truestop.adapters.score.bounds import HIGHEST_BPM, LOWEST_BPM
from truestop.domain.errors import ScoreError
from truestop.domain.pitch import FIFTHS_FROM_C

_MODES = {
    "maj": ("major", 0), "ion": ("ionian", 0), "m": ("minor", -3), "min": ("minor", -3), "aeo": ("aeolian", -3),
    "mix": ("mixolydian", -1), "dor": ("dorian", -2), "phr": ("phrygian", -4), "lyd": ("lydian", 1),
    "loc": ("locrian", -5), "": ("major", 0),
}  # fmt: skip
_KEY = re.compile(r"([A-Ga-g])([#b♯♭]?)\s*([A-Za-z]*)\s*(.*)")
_CLEF = re.compile(r"(?:clef=)?(treble|alto|tenor|bass|perc)\d?|clef=\S*", re.IGNORECASE)
_SETTING = re.compile(r"[A-Za-z][\w:-]*=\S*")
_SIGN = re.compile(r"(\^\^|\^|__|_|=)\s*([a-gA-G])")
_SHIFTED = re.compile(r"(?<![\w])(transpose|octave|t)\s*=\s*([+-]?\d+)", re.IGNORECASE)
_OCTAVE_SIGN = re.compile(r"(?<![\w])((?:clef=)?(?:treble|alto|tenor|bass)\d?)([+^_-]8)", re.IGNORECASE)
_SIGNS = {"^^": 2, "^": 1, "=": 0, "_": -1, "__": -2}


@dataclass(frozen=True, slots=True, kw_only=True)
class AbcKey:
    """A key signature; ``alterations`` holds the alteration of every letter, explicit ones included."""

    fifths: int = 0
    mode: str = "major"
    alterations: dict[str, int] = field(default_factory=lambda: key_alterations(0))
    clef: str | None = None
    given: bool = True
    """False where the field tells a clef alone."""


def refuse_shifted(text: str) -> None:
    """ScoreError where a ``K:`` or ``V:`` field moves its notes: passages are read at the pitch they are written."""
    match = _SHIFTED.search(text)
    if match is not None and int(match[2]) != 0:
        raise ScoreError(
            f"'{match[0][:40]}' moves the notes away from where they are written, which is not read.",
            hint=f"Write the notes as they sound and take '{match[1]}=' away.",
        )
    sign = _OCTAVE_SIGN.search(text)
    if sign is not None:
        raise ScoreError(
            f"'{sign[0][:40]}' moves the notes an octave away from where they are written, which is not read.",
            hint=f"Write the notes as they sound and take '{sign[2]}' away.",
        )


def parse_clef(text: str) -> str | None:
    """The clef that a ``K:`` or ``V:`` field names; None where it names none that is known."""
    found = (_CLEF.fullmatch(word) for word in text.replace("clef =", "clef=").replace("= ", "=").split())
    names = [match[1].lower() for match in found if match is not None and match[1]]
    return next((name for name in names if name != "perc"), None)


def parse_key(text: str) -> AbcKey:
    """A ``K:`` field: 'G', 'F#m', 'Bb dorian', 'D exp _b ^f', 'D clef=alto', 'HP', 'none'. Raises ScoreError."""
    refuse_shifted(text)
    clef = parse_clef(text)
    rest = " ".join(word for word in text.split() if not (_CLEF.fullmatch(word) or _SETTING.fullmatch(word)))
    if rest.lower() in ("", "none") or rest.lower().startswith("none "):
        return AbcKey(clef=clef, given=bool(rest) or not text.strip())
    if rest[:2] in ("HP", "Hp"):
        return AbcKey(fifths=2 if rest[:2] == "Hp" else 0, alterations=key_alterations(2), clef=clef)
    match = _KEY.fullmatch(rest)
    mode = (match[3].lower() if match[3].lower() == "m" else match[3].lower()[:3]) if match else ""
    attached = match is not None and rest[match.end(2) : match.start(3)] == ""
    if match is None or (attached and mode not in (*_MODES, "exp")):
        raise ScoreError(f"'{text[:40]}' is not a key.", hint="Write a letter and a mode, like K:G, K:F#m or K:Ddor.")
    name, offset = _MODES.get(mode, ("major", 0))
    fifths = FIFTHS_FROM_C[match[1].upper()] + 7 * {"#": 1, "♯": 1, "b": -1, "♭": -1}.get(match[2], 0) + offset
    fifths = 0 if mode == "exp" else fifths
    if not -7 <= fifths <= 7:
        raise ScoreError(f"The key '{text[:40]}' needs more than seven sharps or flats.", hint="Respell it.")
    alterations = key_alterations(fifths)
    for accidental, letter in _SIGN.findall(match[4]):
        alterations[letter.upper()] = _SIGNS[accidental]
    return AbcKey(fifths=fifths, mode=name, alterations=alterations, clef=clef)


def parse_metre(text: str) -> tuple[int, int] | None:
    """An ``M:`` field as beats and beat type; None for free metre. Raises ScoreError."""
    text = text.strip()
    named = {"C": (4, 4), "C|": (2, 2), "none": None, "": None}
    if text in named:
        return named[text]
    match = re.fullmatch(r"\(?\s*(\d{1,3}(?:\s*\+\s*\d{1,3})*)\s*\)?\s*/\s*(\d{1,3})", text)
    if match is not None:
        beats, beat_type = sum(int(beat) for beat in match[1].split("+")), int(match[2])
        if 1 <= beats <= 256 and beat_type in (1, 2, 4, 8, 16, 32, 64):
            return beats, beat_type
    raise ScoreError(f"'{text[:40]}' is not a metre.", hint="Write it like M:3/4, M:6/8 or M:C.")


def parse_length(text: str) -> Fraction:
    """An ``L:`` field in quarter notes. Raises ScoreError."""
    match = re.fullmatch(r"\s*(\d{1,3})\s*(?:/\s*(\d{1,3}))?\s*", text)
    if match is None or int(match[2] or 1) == 0 or int(match[1]) == 0:
        raise ScoreError(f"'{text[:40]}' is not a note length.", hint="Write it like L:1/8.")
    return 4 * Fraction(int(match[1]), int(match[2] or 1))


def usual_length(metre: tuple[int, int] | None) -> Fraction:
    """The unit length where no ``L:`` gives one: a 16th below three quarters of a whole note, else an eighth."""
    short = metre is not None and Fraction(metre[0], metre[1]) < Fraction(3, 4)
    return Fraction(1, 4) if short else Fraction(1, 2)


def parse_tempo(text: str, unit: Fraction) -> tuple[float | None, str]:
    """A ``Q:`` field as quarter notes a minute (None where it gives none) and its words. Raises ScoreError."""
    words = " ".join(re.findall(r'"([^"]*)"', text))
    rest = re.sub(r'"[^"]*"', "", text).strip()
    if not rest:
        return None, words
    match = re.fullmatch(r"((?:\d{1,3}/\d{1,3}\s*)+)=\s*(\d{1,4}(?:\.\d{1,3})?)", rest)
    bare = re.fullmatch(r"(?:C(\d?)\s*=\s*)?(\d{1,4})", rest)
    if match is not None and not re.search(r"/0+\b", match[1]):
        beat = sum((4 * Fraction(part) for part in match[1].split()), Fraction(0))
        bpm = float(Fraction(match[2]) * beat)
    elif bare is not None:
        bpm = float(int(bare[2]) * int(bare[1] or 1) * unit)
    else:
        raise ScoreError(f"'{text[:40]}' is not a tempo.", hint="Write it like Q:1/4=96.")
    if not LOWEST_BPM <= bpm <= HIGHEST_BPM:
        raise ScoreError(f"A tempo of {bpm:g} quarter notes a minute is out of range.", hint="Use 1 to 1000.")
    return bpm, words
