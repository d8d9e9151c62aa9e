"""One shift typed in a few words: 'III 1 A4 > III 3 E5', 'cello: D 1 E3 to D 4 A3 slide'.

Conventions: a shift is two stops with 'to', '>', '->' or '→' between them. A stop is a pitch, and where wanted a string
and a finger, in any order: the string a numeral (I is the highest) or the letter of its open note, the finger 0 to 4 or
T, the pitch a letter, sharps or flats and an octave (A4 is the reference pitch), as it sounds. 'slide' asks for a slide
line, 'slur' for one bow. An instrument may stand before it all. The grammar is our own, from standard note names and
string numerals.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from fractions import Fraction

from truestop.adapters.score.harmonics import is_open_or_harmonic
from truestop.domain.errors import PitchError, ScoreError
from truestop.domain.instrument import ROMAN, STRINGS
from truestop.domain.passage import Finger, Harmonic, Marks, Measure, Note, Passage
from truestop.domain.pitch import Pitch

GRAMMAR = """\
shift      = [ instrument [ ":" ] ] stop separator stop { "slide" | "slur" }
instrument = "violin" | "viola" | "cello" | "bass"
separator  = "to" | ">" | "->" | "→"
stop       = pitch and, in any order, at most one string and one finger
string     = "I" | "II" | "III" | "IV" | "V" | letter of the open note
finger     = "0" | "1" | "2" | "3" | "4" | "T"
pitch      = letter { "#" | "b" } octave
"""
_ARROWS = frozenset((">", "->", "→", "=>"))
_SEPARATORS = _ARROWS | {"to"}
_NUMERALS = {numeral.lower(): number for number, numeral in ROMAN.items()}
_BESIDE_A_PITCH = frozenset(("to", *_NUMERALS, *STRINGS, *"01234t"))
_PITCH = re.compile(r"[A-Ga-g](#|b|♯|♭|x)*-?\d{1,2}")
EXAMPLE = "'III 1 A4 > III 3 E5'"
_HINT = f"Write two stops like {EXAMPLE}: string, finger and pitch."
_HALF = Fraction(2)


@dataclass(slots=True)
class _Stop:
    """One stop while its words are read."""

    pitch: Pitch | None = None
    string: int | None = None
    finger: Finger | None = None


def looks_typed(text: str) -> bool:
    """Whether ``text`` is meant as a typed shift, whole or not, rather than as a file's name.

    An arrow between words says so, and a pitch beside 'to', another pitch, an instrument, a string or a finger.

    >>> looks_typed("A 1 B4 to A 3 F#5"), looks_typed("II 1 B4"), looks_typed("study.musicxml")
    (True, True, False)
    """
    words = [word.lower() for word in _words(text)]
    if len(words) < 2:
        return False
    pitches = sum(1 for word in words if _PITCH.fullmatch(word))
    others = sum(1 for word in words if word in _BESIDE_A_PITCH)
    return bool(set(words) & _ARROWS) or pitches > 1 or (pitches == 1 and others > 0)


def read_typed(text: str, *, family: str | None = None) -> Passage:
    """The two-note passage that ``text`` describes, for ``family`` unless the text names an instrument (violin).

    Raises ScoreError that points at the word it cannot read.
    """
    words = _words(text[:400])
    place = 0
    if words and words[0].lower() in STRINGS:
        family, place = words[0].lower(), 1
    family = family or "violin"
    stops = [_Stop()]
    extras: set[str] = set()
    for number, word in enumerate(words[place:], start=place + 1):
        _take(word, number, stops, extras, family)
    if len(stops) != 2:
        raise ScoreError("A shift needs two stops.", hint=_HINT, where=f"'{text[:60]}'")
    for name, stop in zip(("first", "second"), stops, strict=True):
        if stop.pitch is None:
            raise ScoreError(f"The {name} stop has no pitch.", hint=_HINT, where=f"'{text[:60]}'")
    return _passage(" ".join(words), stops, extras, family)


def _words(text: str) -> list[str]:
    """The words of ``text``; separators and colons stand apart even where no space divides them."""
    return re.sub(r"(=>|->|→|>)", r" \1 ", text.replace(":", " ").replace(",", " ")).split()


def _take(word: str, number: int, stops: list[_Stop], extras: set[str], family: str) -> None:
    where = f"word {number}, '{word[:30]}'"
    stop = stops[-1]
    key = word.lower()
    if key in _SEPARATORS:
        if len(stops) == 2:
            raise ScoreError("One shift has two stops, not more.", hint="Type one shift at a time.", where=where)
        stops.append(_Stop())
    elif key in ("slide", "slur"):
        extras.add(key)
    elif key in _NUMERALS or (len(word) <= 2 and word[:1].upper() in "ABCDEFG" and not word[1:].isdecimal()):
        _once(stop.string, "string", where)
        stop.string = _string_of(word, family, where)
    elif key in ("0", "1", "2", "3", "4", "t"):
        _once(stop.finger, "finger", where)
        stop.finger = Finger(word.upper())
    elif _PITCH.fullmatch(word):
        _once(stop.pitch, "pitch", where)
        stop.pitch = _pitch_of(word, where)
    else:
        hint = (
            "Words are a pitch like F#4, a string like III or A, a finger 0 to 4 or T, 'to', 'slide' and 'slur', and "
            "at the beginning violin, viola, cello or bass."
        )
        raise ScoreError("This word is no part of a shift.", hint=hint, where=where)


def _once(already: object, what: str, where: str) -> None:
    if already is not None:
        raise ScoreError(f"This stop has a {what} already.", hint="Write 'to' or > between the two stops.", where=where)


def _pitch_of(word: str, where: str) -> Pitch:
    try:
        return Pitch.parse(word)
    except PitchError as error:
        raise ScoreError(error.what, hint=error.hint, where=where) from error


def _string_of(word: str, family: str, where: str) -> int:
    names = STRINGS[family]
    number = _NUMERALS.get(word.lower())
    if number is None:
        number = next(
            (place for place, name in enumerate(names, 1) if name.rstrip("0123456789") == word.capitalize()), 0
        )
    most = 5 if family == "bass" else len(names)
    if not 1 <= number <= most:
        hint = f"Its strings are {', '.join(f'{ROMAN[place]} ({name})' for place, name in enumerate(names, 1))}."
        raise ScoreError(f"The {family} has no such string.", hint=hint, where=where)
    return number


def _passage(title: str, stops: list[_Stop], extras: set[str], family: str) -> Passage:
    octave = -1 if family == "bass" else 0
    notes = [_note(stop, place, family, octave) for place, stop in enumerate(stops)]
    if "slur" in extras:
        notes[0] = replace(notes[0], slur_starts=(1,))
        notes[1] = replace(notes[1], slur_stops=(1,), bow_continues=True)
    if "slide" in extras:
        notes[1] = replace(notes[1], marks=replace(notes[1].marks, slide=True))
    clef = _clef_for(family, max(note.pitch.midi for note in notes))
    measure = Measure(number="1", onset=Fraction(0), duration=Fraction(4), clef=clef)
    return Passage(
        title=title, notes=tuple(notes), measures=(measure,), part=family.capitalize(), instrument=family,
        octave_shift=octave,
    )  # fmt: skip


def _note(stop: _Stop, place: int, family: str, octave: int) -> Note:
    assert stop.pitch is not None
    written = Pitch(stop.pitch.step, stop.pitch.alter, stop.pitch.octave - octave)
    onset = place * _HALF
    return Note(
        id=f"m1n{place + 1}", pitch=stop.pitch, written=written, onset=onset, duration=_HALF, measure="1",
        measure_index=0, beat=onset + 1, type="half", marks=_marks(stop, family),
    )  # fmt: skip


def _marks(stop: _Stop, family: str) -> Marks:
    """A 0 over a pitch that is a natural harmonic and no open string asks for the harmonic."""
    assert stop.pitch is not None
    strings = tuple(Pitch.parse(name) for name in STRINGS[family])
    if stop.finger is Finger.OPEN and is_open_or_harmonic(stop.pitch.midi, strings) == "harmonic":
        return Marks(string=stop.string, harmonic=Harmonic.NATURAL)
    return Marks(fingers=(stop.finger,) if stop.finger else (), string=stop.string)


def _clef_for(family: str, highest_midi: int) -> str:
    """The clef that keeps the shift near the staff. Common practice of the four instruments, no source."""
    ranges = {
        "violin": ((200, "treble"),),
        "viola": ((79, "alto"), (200, "treble")),
        "cello": ((64, "bass"), (72, "tenor"), (200, "treble")),
        "bass": ((55, "bass"), (62, "tenor"), (200, "treble")),
    }
    return next(clef for most, clef in ranges[family] if highest_midi <= most)
