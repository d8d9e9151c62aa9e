"""Target pitch: which frequency a stop should have.

Conventions: A4 is the reference pitch in every system (380–470 Hz). Pitches lie on the line of fifths (C 0, G 1, F −1);
'the line' of a system gives the frequency of every spelled pitch, octaves pure. A target keeps the system and what it
was tuned against.

equal        twelve equal semitones, offered as 'with piano' (ISO 16 gives A4 = 440 Hz)
pythagorean  k fifths from A are k × 701.955 cents, octaves taken out
strings      the same line led through the player's own measured strings
just         a ratio against a reference note; refused without one
a scale      a Scala scale of twelve notes on A
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import isfinite, log2

from truestop.domain.attempt import Target
from truestop.domain.errors import PitchError
from truestop.domain.instrument import ROMAN, Instrument
from truestop.domain.pitch import Interval, Pitch, equal_hz
from truestop.domain.tuning_scala import Scale

FIFTH_CENTS = 1200.0 * log2(1.5)
LOWEST_A4_HZ, HIGHEST_A4_HZ = 380.0, 470.0
SYSTEMS = ("equal", "pythagorean", "strings", "just")
_FIFTHS_OF_A = 3
_A4_MIDI = 69

#: Just ratio of each spelled interval (letters, semitones) above the reference, within the octave. Classical
#: five-limit ratios; A4 is the augmented fourth, d5 the diminished fifth.
JUST_RATIOS = {
    (0, 0): (1, 1), (1, 1): (16, 15), (1, 2): (9, 8), (2, 3): (6, 5), (2, 4): (5, 4), (3, 5): (4, 3), (3, 6): (45, 32),
    (4, 6): (64, 45), (4, 7): (3, 2), (5, 8): (8, 5), (5, 9): (5, 3), (6, 10): (9, 5), (6, 11): (15, 8),
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Against:
    """What else sounds, or is in the ear, when a note is tuned. The just system takes the first that is there."""

    open_string: int | None = None
    """An open string that sounds with the note (1 = I)."""
    other: Pitch | None = None
    """The other note of the double stop."""
    drone: Pitch | None = None
    """A drone the player sets."""
    tonic: Pitch | None = None
    """The key's tonic, in any octave."""


NOTHING = Against()


def check_a4_hz(a4_hz: float) -> float:
    """``a4_hz`` if it is a reference pitch in range; PitchError otherwise."""
    if not (isfinite(a4_hz) and LOWEST_A4_HZ <= a4_hz <= HIGHEST_A4_HZ):
        raise PitchError(f"A reference pitch of {a4_hz:g} Hz is out of range.", hint="Give A4 between 380 and 470 Hz.")
    return a4_hz


def pythagorean_cents(pitch: Pitch) -> float:
    """Cents of ``pitch`` above A4 on the line of pure fifths.

    >>> round(pythagorean_cents(Pitch.parse("G#4")) - pythagorean_cents(Pitch.parse("Ab4")), 2)
    23.46
    """
    return _line_cents(pitch, _FIFTHS_OF_A, _A4_MIDI)


def _line_cents(pitch: Pitch, from_fifths: int, from_midi: int) -> float:
    """Cents from a pitch with ``from_fifths`` and ``from_midi`` to ``pitch`` over pure fifths and octaves."""
    fifths = pitch.fifths - from_fifths
    octaves = (pitch.midi - from_midi - 7 * fifths) // 12
    return fifths * FIFTH_CENTS + 1200.0 * octaves


def tonic_of_key(key_fifths: int, *, mode: str = "major") -> Pitch:
    """The tonic (in octave 4) of the key with ``key_fifths`` sharps (flats negative).

    >>> tonic_of_key(2).name, tonic_of_key(-3, mode="minor").name
    ('D4', 'C4')
    """
    fifths = key_fifths + (3 if mode == "minor" else 0)
    letter = "FCGDAEB"[(fifths + 1) % 7]
    return Pitch(letter, (fifths + 1) // 7, 4)


@dataclass(frozen=True, slots=True, kw_only=True)
class Intonation:
    """A system of target pitches for one player's instrument. Make one with ``make_intonation``."""

    system: str
    """One of ``SYSTEMS``, or a scale's name."""
    a4_hz: float
    instrument: Instrument
    open_strings_hz: tuple[float | None, ...] | None = None
    """Measured open strings, I first; None where one was not measured."""
    scale: Scale | None = None

    def target(self, pitch: Pitch, *, string: int, place: int, against: Against = NOTHING) -> Target:
        """The target of ``pitch`` stopped at ``place`` on ``string``. PitchError where *just* has no reference."""
        hz, reference = _PLACERS.get(self.system, Intonation._by_scale)(self, pitch, string, place, against)
        return Target(pitch=pitch, hz=hz, system=self.system, reference=reference, string=string, place=place)

    def open_string_hz(self, string: int) -> float:
        """Frequency of open string ``string``: as measured, else where the line of the strings puts it."""
        measured = self._measured(string)
        if measured is not None:
            return measured
        pitch = self.instrument.open_pitch(string)
        return self._by_equal(pitch)[0] if self.system == "equal" else self.line_hz(pitch)

    def line_hz(self, pitch: Pitch) -> float:
        """``pitch`` on the line of the *strings* system; pythagorean where no string was measured."""
        return self._on_strings(pitch)[0]

    def note_hz(self, pitch: Pitch) -> float:
        """A note that others are tuned to (a drone): as *equal* or the scale has it, in other systems on the line."""
        if self.system == "equal":
            return self._by_equal(pitch)[0]
        return self._by_scale(pitch)[0] if self.scale is not None else self.line_hz(pitch)

    @property
    def _a4_name(self) -> str:
        return f"A4 = {self.a4_hz:g} Hz"

    def _measured(self, string: int) -> float | None:
        if self.open_strings_hz is None or not 1 <= string <= len(self.open_strings_hz):
            return None
        return self.open_strings_hz[string - 1]

    def _by_equal(self, pitch: Pitch, *_: object) -> tuple[float, str]:
        return equal_hz(pitch.midi, a4_hz=self.a4_hz), self._a4_name

    def _by_fifths(self, pitch: Pitch, *_: object) -> tuple[float, str]:
        return self.a4_hz * 2.0 ** (pythagorean_cents(pitch) / 1200.0), self._a4_name

    def _by_strings(self, pitch: Pitch, string: int, *_: object) -> tuple[float, str]:
        return self._on_strings(pitch, string)

    def _on_strings(self, pitch: Pitch, string: int = 0) -> tuple[float, str]:
        anchors = [number for number in range(1, len(self.instrument.strings) + 1) if self._measured(number)]
        if not anchors:
            return self._by_fifths(pitch)

        def distance(number: int) -> tuple[int, bool, int]:
            anchor = self.instrument.open_pitch(number)
            return abs(anchor.fifths - pitch.fifths), number != string, abs(anchor.midi - pitch.midi)

        nearest = min(anchors, key=distance)
        anchor, measured = self.instrument.open_pitch(nearest), self._measured(nearest) or 0.0
        hz = measured * 2.0 ** (_line_cents(pitch, anchor.fifths, anchor.midi) / 1200.0)
        return hz, f"open {anchor.name} = {measured:.2f} Hz"

    def _by_ratio(self, pitch: Pitch, string: int, place: int, against: Against) -> tuple[float, str]:
        if place == 0 and pitch == self.instrument.open_pitch(string):
            return self._on_strings(pitch, string)
        if against.open_string is not None and against.open_string != string:
            note = self.instrument.open_pitch(against.open_string)
            return self._just(pitch, note, self.open_string_hz(against.open_string)), f"open {note.name}"
        if against.other is not None:
            if against.other.midi >= pitch.midi:
                return self._on_strings(pitch, string)
            return self._just(pitch, against.other, self.line_hz(against.other)), f"double stop {against.other.name}"
        if against.drone is not None:
            return self._just(pitch, against.drone, self.line_hz(against.drone)), f"drone {against.drone.name}"
        if against.tonic is not None:
            return self._just(pitch, against.tonic, self._by_fifths(against.tonic)[0]), f"tonic {against.tonic.name}"
        raise PitchError(f"Just intonation has nothing to tune {pitch.name} against.", hint=_JUST_REMEDY)

    @staticmethod
    def _just(pitch: Pitch, reference: Pitch, reference_hz: float) -> float:
        interval = Interval.between(reference, pitch)
        octaves, letters = divmod(interval.steps, 7)
        ratio = JUST_RATIOS.get((letters, interval.semitones - 12 * octaves))
        if ratio is None:
            return float(reference_hz * 2.0 ** (_line_cents(pitch, reference.fifths, reference.midi) / 1200.0))
        return float(reference_hz * ratio[0] / ratio[1] * 2.0**octaves)

    def _by_scale(self, pitch: Pitch, *_: object) -> tuple[float, str]:
        if self.scale is None:
            raise PitchError(f"'{self.system}' is not an intonation truestop knows.", hint=_CHOICES)
        return self.a4_hz * 2.0 ** (self.scale.degree_cents(pitch.midi - _A4_MIDI) / 1200.0), self._a4_name


_CHOICES = f"Choose one of {', '.join(SYSTEMS)}, or a .scl file."
_JUST_REMEDY = "Set a drone, name the key, or use the intonation 'strings'."
_PLACERS: dict[str, Callable[[Intonation, Pitch, int, int, Against], tuple[float, str]]] = {
    "equal": Intonation._by_equal,
    "pythagorean": Intonation._by_fifths,
    "strings": Intonation._by_strings,
    "just": Intonation._by_ratio,
}


def make_intonation(
    system: str,
    *,
    instrument: Instrument,
    a4_hz: float = 440.0,
    open_strings_hz: tuple[float | None, ...] | None = None,
    scale: Scale | None = None,
) -> Intonation:
    """A checked intonation. ``open_strings_hz`` are the measured strings, I first; ``scale`` goes with any other name.

    PitchError where A4 is out of range, a measured string is not that string, or the scale does not fit.
    """
    check_a4_hz(a4_hz)
    if scale is not None:
        _check_scale(scale)
        system = scale.name
    elif system not in SYSTEMS:
        raise PitchError(f"'{system}' is not an intonation truestop knows.", hint=_CHOICES)
    if open_strings_hz is not None:
        _check_open_strings(open_strings_hz, instrument, a4_hz)
    return Intonation(system=system, a4_hz=a4_hz, instrument=instrument, open_strings_hz=open_strings_hz, scale=scale)


def _check_scale(scale: Scale) -> None:
    if len(scale.cents) != 12 or abs(scale.period_cents - 1200.0) > 50.0:
        raise PitchError(
            f"The scale has {len(scale.cents)} notes in {scale.period_cents:.0f} cents.", where=scale.name,
            hint="truestop puts scales of twelve notes to the octave on A.")  # fmt: skip
    if any(abs(cents - 100.0 * degree) > 100.0 for degree, cents in enumerate(scale.cents, 1)):
        raise PitchError("The scale's degrees lie more than a semitone from the twelve notes.", where=scale.name,
                         hint="truestop puts scales of twelve ascending notes to the octave on A.")  # fmt: skip


def _check_open_strings(open_strings_hz: tuple[float | None, ...], instrument: Instrument, a4_hz: float) -> None:
    if len(open_strings_hz) != len(instrument.strings):
        raise PitchError(f"{len(open_strings_hz)} measured strings do not fit {len(instrument.strings)} strings.",
                         hint="Give one frequency for each string, I first.")  # fmt: skip
    for number, (hz, pitch) in enumerate(zip(open_strings_hz, instrument.strings, strict=True), 1):
        if hz is None:
            continue
        nominal = equal_hz(pitch.midi, a4_hz=a4_hz)
        if not (isfinite(hz) and hz > 0.0) or abs(1200.0 * log2(hz / nominal)) > 100.0:
            raise PitchError(f"String {ROMAN[number]} at {hz:g} Hz is not {pitch.name}.",
                             hint=f"{pitch.name} is near {nominal:.1f} Hz; tune it or name the strings.")  # fmt: skip
