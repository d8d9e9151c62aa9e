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
_KEY = re.compile(r"([A-G])([#b]?)\s*(maj|ion|min|aeo|mix|dor|phr|lyd|loc|exp|m(?![a-z]))?[a-z]*\s*(.*)", re.IGNORECASE)
_CLEF = re.compile(r"(?:clef\s*=\s*)?\b(treble|alto|tenor|bass)\b", re.IGNORECASE)
_SIGN = re.compile(r"(\^\^|\^|__|_|=)\s*([a-gA-G])")
_SHIFTED = re.compile(r"\b(transpose|octave)\s*=\s*([+-]?\d+)", re.IGNORECASE)
_SIGNS = {"^^": 2, "^": 1, "=": 0, "_": -1, "__": -2}


@dataclass(frozen=True, slots=True, kw_only=True)
class AbcKey:
    """A key signature; ``alterations`` holds the alteration of every letter, explicit ones included."""

    fifths: int = 0
    mode: str = "major"
    alterations: dict[str, int] = field(default_factory=lambda: key_alterations(0))
    clef: str | None = None


def refuse_shifted(text: str) -> None:
    """ScoreError where a ``K:`` or ``V:`` field moves its notes: passages are read at the pitch they are written."""
    match = _SHIFTED.search(text)
    if match is not None and int(match[2]) != 0:
        raise ScoreError(
            f"'{match[0][:40]}' moves the notes away from where they are written, which is not read.",
            hint=f"Write the notes as they sound and take '{match[1]}=' away.",
        )


def parse_key(text: str) -> AbcKey:
    """A ``K:`` field: 'G', 'F#m', 'Bb dorian', 'D clef=alto', 'HP', 'none'. Raises ScoreError."""
    refuse_shifted(text)
    clef_match = _CLEF.search(text)
    clef = clef_match[1].lower() if clef_match else None
    rest = _CLEF.sub("", text).strip()
    if rest.lower() in ("", "none") or rest.lower().startswith("none "):
        return AbcKey(clef=clef)
    if rest[:2] in ("HP", "Hp"):
        return AbcKey(fifths=2 if rest[:2] == "Hp" else 0, alterations=key_alterations(2), clef=clef)
    match = _KEY.match(rest)
    if match is None and "=" in rest.split()[0]:
        return AbcKey(clef=clef)
    if match is None:
        raise ScoreError(f"'{text[:40]}' is not a key.", hint="Write a letter and a mode, like K:G, K:F#m or K:Ddor.")
    tonic, sign, mode, explicit = match.groups()
    name, offset = _MODES.get((mode or "").lower(), ("major", 0))
    fifths = FIFTHS_FROM_C[tonic.upper()] + 7 * {"#": 1, "b": -1}.get(sign, 0) + offset
    if not -7 <= fifths <= 7:
        raise ScoreError(f"The key '{text[:40]}' needs more than seven sharps or flats.", hint="Respell it.")
    alterations = key_alterations(fifths)
    for accidental, letter in _SIGN.findall(explicit):
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
    bare = re.fullmatch(r"(?:C\d?\s*=\s*)?(\d{1,4})", rest)
    if match is not None and not re.search(r"/0+\b", match[1]):
        beat = sum((4 * Fraction(part) for part in match[1].split()), Fraction(0))
        bpm = float(Fraction(match[2]) * beat)
    elif bare is not None:
        bpm = float(int(bare[1]) * unit)
    else:
        raise ScoreError(f"'{text[:40]}' is not a tempo.", hint="Write it like Q:1/4=96.")
    if not LOWEST_BPM <= bpm <= HIGHEST_BPM:
        raise ScoreError(f"A tempo of {bpm:g} quarter notes a minute is out of range.", hint="Use 1 to 1000.")
    return bpm, words
