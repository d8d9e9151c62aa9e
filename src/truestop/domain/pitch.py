"""Spelled pitches and intervals.

Conventions: a pitch is a letter, an alteration in semitones and an octave (scientific: A4 is the reference pitch, C4 is
middle C, MIDI 60). Spelling is kept everywhere: G#4 and Ab4 are different pitches that sound alike only in equal
temperament. Intervals are named by quality and number ('P5', 'm3', 'A4'), with a sign for the direction ('+P5', '-m3').
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from math import log2

from truestop.domain.errors import PitchError

STEPS = "CDEFGAB"
SEMITONES_ABOVE_C = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
FIFTHS_FROM_C = {"F": -1, "C": 0, "G": 1, "D": 2, "A": 3, "E": 4, "B": 5}
ACCIDENTALS = {-3: "bbb", -2: "bb", -1: "b", 0: "", 1: "#", 2: "##", 3: "###"}
_PRETTY = {-3: "♭♭♭", -2: "𝄫", -1: "♭", 0: "", 1: "♯", 2: "𝄪", 3: "♯𝄪"}
_PATTERN = re.compile(r"([A-Ga-g])((?:#|b|♯|♭|x|𝄪|𝄫)*)(-?\d{1,2})")
_ALTER = {"#": 1, "♯": 1, "b": -1, "♭": -1, "x": 2, "𝄪": 2, "𝄫": -2}
LOWEST_OCTAVE, HIGHEST_OCTAVE = -1, 10


@dataclass(frozen=True, slots=True, order=False)
class Pitch:
    """A spelled pitch: ``step`` A–G, ``alter`` in semitones −3…3, ``octave`` −1…10."""

    step: str
    alter: int
    octave: int

    def __post_init__(self) -> None:
        if self.step not in SEMITONES_ABOVE_C or not -3 <= self.alter <= 3:
            raise PitchError(
                f"'{self.step}' altered by {self.alter} semitones is not a pitch.",
                hint="Write a letter A to G, up to three sharps or flats and an octave, like F#4 or Bb3.",
            )
        if not LOWEST_OCTAVE <= self.octave <= HIGHEST_OCTAVE:
            raise PitchError(
                f"Octave {self.octave} is out of range.", hint=f"Octaves run from {LOWEST_OCTAVE} to {HIGHEST_OCTAVE}."
            )

    @classmethod
    def parse(cls, text: str) -> Pitch:
        """The pitch written as ``text``, like 'F#4', 'Bb3', 'C♯5'.

        >>> Pitch.parse("F#4").midi
        66
        """
        match = _PATTERN.fullmatch(text.strip())
        if match is None:
            raise PitchError(
                f"'{text}' is not a pitch.", hint="Write a letter, sharps or flats and an octave: F#4, Bb3."
            )
        step, accidentals, octave = match.groups()
        return cls(step.upper(), sum(_ALTER[sign] for sign in accidentals), int(octave))

    @property
    def name(self) -> str:
        """The pitch as files write it: 'F#4', 'Bb3'."""
        return f"{self.step}{ACCIDENTALS[self.alter]}{self.octave}"

    @property
    def pretty(self) -> str:
        """The pitch as a page shows it: 'F♯4', 'B♭3'."""
        return f"{self.step}{_PRETTY[self.alter]}{self.octave}"

    @property
    def midi(self) -> int:
        """MIDI note number; C4 is 60, A4 is 69."""
        return 12 * (self.octave + 1) + SEMITONES_ABOVE_C[self.step] + self.alter

    @property
    def diatonic(self) -> int:
        """Staff degree: C0 is 0, one more for every letter upwards; A4 is 33."""
        return 7 * self.octave + STEPS.index(self.step)

    @property
    def fifths(self) -> int:
        """Place on the line of fifths, C is 0, G 1, F −1, F# 6, Bb −2; the octave is left out."""
        return FIFTHS_FROM_C[self.step] + 7 * self.alter

    def __str__(self) -> str:
        return self.name

    def transposed(self, interval: Interval) -> Pitch:
        """This pitch moved by ``interval``, spelled by it."""
        diatonic = self.diatonic + interval.steps
        octave, index = divmod(diatonic, 7)
        step = STEPS[index]
        natural = 12 * (octave + 1) + SEMITONES_ABOVE_C[step]
        return Pitch(step, self.midi + interval.semitones - natural, octave)


def spell(midi: int, *, key_fifths: int = 0) -> Pitch:
    """The usual spelling of MIDI note ``midi`` in the key with ``key_fifths`` sharps (flats negative).

    The spelling nearest to the key on the line of fifths: from five fifths below the tonic's side to six above.

    >>> spell(70, key_fifths=-3).name, spell(70, key_fifths=4).name
    ('Bb4', 'A#4')
    """
    candidates = (
        Pitch(step, alter, (midi - alter) // 12 - 1)
        for step in STEPS
        for alter in (-2, -1, 0, 1, 2)
        if (midi - alter) % 12 == SEMITONES_ABOVE_C[step]
    )
    return min(candidates, key=lambda pitch: abs(pitch.fifths - (key_fifths + 2)))


@dataclass(frozen=True, slots=True)
class Interval:
    """A spelled interval: ``steps`` letters and ``semitones``, both + upwards. A perfect fifth up is (4, 7)."""

    steps: int
    semitones: int

    @classmethod
    def between(cls, low: Pitch, high: Pitch) -> Interval:
        """The interval that leads from the first pitch to the second.

        >>> Interval.between(Pitch.parse("C4"), Pitch.parse("G4")).name
        '+P5'
        """
        return cls(high.diatonic - low.diatonic, high.midi - low.midi)

    @property
    def name(self) -> str:
        """Direction, quality and number: '+P5', '-m3', 'P1'."""
        downwards = self.steps < 0 or (self.steps == 0 and self.semitones < 0)
        steps, semitones = (-self.steps, -self.semitones) if downwards else (self.steps, self.semitones)
        octaves, degree = divmod(steps, 7)
        deviation = semitones - 12 * octaves - (0, 2, 4, 5, 7, 9, 11)[degree]
        perfect = degree in (0, 3, 4)
        if perfect:
            quality = "P" if deviation == 0 else "A" * deviation if deviation > 0 else "d" * -deviation
        else:
            quality = (
                "M"
                if deviation == 0
                else "A" * deviation
                if deviation > 0
                else "m"
                if deviation == -1
                else ("d" * (-deviation - 1))
            )
        sign = "" if steps == 0 and semitones == 0 else "-" if downwards else "+"
        return f"{sign}{quality}{steps + 1}"

    def __neg__(self) -> Interval:
        return Interval(-self.steps, -self.semitones)


def hz_to_cents(hz: float, reference_hz: float) -> float:
    """Cents by which ``hz`` lies above ``reference_hz``; both > 0."""
    return 1200.0 * log2(hz / reference_hz)


def equal_hz(midi: float, *, a4_hz: float = 440.0) -> float:
    """Equal-tempered frequency of a (possibly fractional) MIDI note number. Source: ISO 16, A4 = 440 Hz."""
    return float(a4_hz * 2.0 ** ((midi - 69.0) / 12.0))
