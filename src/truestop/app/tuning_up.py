"""Tuning up before practice: the open strings as they are, the system of target pitches they make, and their drift.

Conventions: cents above what a string should be at the reference pitch, in pure fifths from A; + is sharp.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from truestop.app.mainjob import Sound
from truestop.domain.errors import SoundError
from truestop.domain.instrument import ROMAN, Instrument
from truestop.domain.pitch import Pitch
from truestop.domain.tuning import make_intonation
from truestop.listening.melody import other_notes_s
from truestop.listening.singing import SungNote, check_singing
from truestop.listening.strings import (
    SEARCH_CENTS,
    Drift,
    HeardString,
    measure_drift,
    measure_open_strings,
    tuned_strings,
)

WORTH_TUNING_CENTS = 4.0
"""A string further off than this is named for tuning: a setting of ours."""
DOUBTFUL_CENTS = 50.0
"""Further off than this it is nearer to a stopped note in tune."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TuneUp:
    """What was heard of the open strings."""

    instrument: Instrument
    a4_hz: float
    expected_hz: tuple[float, ...]
    readings: tuple[HeardString, ...]
    """All of them, in time; ``start_s`` on the session's clock."""
    drift: Drift | None

    @property
    def strings_hz(self) -> tuple[float | None, ...]:
        """Each string as last heard, I first; None where it was not. Goes into ``Setup.open_strings_hz``."""
        return tuned_strings(self.readings, len(self.expected_hz))

    def latest(self, string: int) -> HeardString | None:
        """The last reading of a string."""
        return next((reading for reading in reversed(self.readings) if reading.string == string), None)


def hear_tune_up(takes: Sequence[tuple[float, Sound]], instrument: Instrument, *, a4_hz: float = 440.0) -> TuneUp:
    """The open strings in takes that began at the given session times. SoundError where none is heard."""
    intonation = make_intonation("pythagorean", instrument=instrument, a4_hz=a4_hz)
    expected = tuple(intonation.open_string_hz(number) for number in range(1, len(instrument.strings) + 1))
    readings: list[HeardString] = []
    stopped = False
    for at_s, take in sorted(takes, key=lambda pair: pair[0]):
        heard = measure_open_strings(take.samples, take.sample_rate_hz, expected)
        if heard and _is_melody(take, heard, expected):
            heard, stopped = (), True
        readings += [replace(one, start_s=at_s + one.start_s, end_s=at_s + one.end_s) for one in heard]
    if not readings:
        raise SoundError(
            "Other notes are heard longer than open strings, so that none can be told from a stopped note."
            if stopped
            else "No open string is heard alone and steady.",
            hint="Bow each open string by itself for a second or two; a string may be up to 90 cents off.",
        )
    return TuneUp(instrument=instrument, a4_hz=a4_hz, expected_hz=expected, readings=tuple(readings),
                  drift=measure_drift(readings))  # fmt: skip


def _is_melody(take: Sound, heard: Sequence[HeardString], expected_hz: Sequence[float]) -> bool:
    """Whether other notes sound for longer than the strings: those may be stopped notes of a scale too."""
    others_s = other_notes_s(take.samples, take.sample_rate_hz, expected_hz, apart_cents=SEARCH_CENTS)
    return others_s > sum(one.end_s - one.start_s for one in heard)


def tune_up_sentences(tuned: TuneUp) -> tuple[str, ...]:
    """What to do about it, in plain words."""
    sentences = []
    for number, pitch in enumerate(tuned.instrument.strings, 1):
        reading = tuned.latest(number)
        if reading is None:
            sentences.append(f"String {ROMAN[number]} ({pitch.pretty}) was not heard alone and steady.")
        elif abs(reading.cents) > WORTH_TUNING_CENTS:
            side = "high" if reading.cents > 0 else "low"
            doubt = ", if it was the open string" if abs(reading.cents) > DOUBTFUL_CENTS else ""
            sentences.append(
                f"String {ROMAN[number]} ({pitch.pretty}) is {abs(reading.cents):.0f} cents {side}{doubt}."
            )
    if tuned.drift is not None and tuned.drift.noticed:
        side = "up" if tuned.drift.cents > 0 else "down"
        minutes = max(round(tuned.drift.over_s / 60.0), 1)
        span = "a minute" if minutes == 1 else f"{minutes} minutes"
        sentences.append(
            f"Your strings went {side} by {abs(tuned.drift.cents):.0f} cents in {span}: tune again, "
            "and measure the strings again if they are your intonation."
        )
    return tuple(sentences)


def describe_tune_up(tuned: TuneUp) -> dict[str, Any]:
    """Schema ``truestop.tune/1``."""
    drift = tuned.drift
    return {
        "schema": "truestop.tune/1",
        "a4_hz": tuned.a4_hz,
        "strings": [
            _described(number, pitch, tuned.expected_hz[number - 1], tuned.latest(number))
            for number, pitch in enumerate(tuned.instrument.strings, 1)
        ],
        "drift": None
        if drift is None
        else {
            "cents": round(drift.cents, 3),
            "se_cents": round(drift.se_cents, 3),
            "over_s": round(drift.over_s, 3),
            "noticed": drift.noticed,
        },
        "remarks": list(tune_up_sentences(tuned)),
    }


def _described(number: int, pitch: Pitch, expected_hz: float, reading: HeardString | None) -> dict[str, Any]:
    return {
        "string": number,
        "pitch": pitch.name,
        "expected_hz": round(expected_hz, 4),
        "hz": None if reading is None else round(reading.hz, 4),
        "cents": None if reading is None else round(reading.cents, 3),
        "se_cents": None if reading is None else round(reading.se_cents, 3),
        "at_s": None if reading is None else round(reading.start_s, 3),
    }


def hear_sung(take: Sound, target_hz: float) -> SungNote:
    """A sung or hummed note against a target, in any octave."""
    return check_singing(take.samples, take.sample_rate_hz, target_hz)


def describe_sung(note: SungNote, pitch: Pitch, target_hz: float) -> dict[str, Any]:
    """Schema ``truestop.sing/1``."""
    return {
        "schema": "truestop.sing/1",
        "target": {"pitch": pitch.name, "hz": round(target_hz, 4)},
        "word": note.word,
        "reason": note.reason,
        "hz": None if note.hz is None else round(note.hz, 3),
        "cents": None if note.cents is None else round(note.cents, 2),
        "se_cents": None if note.se_cents is None else round(note.se_cents, 2),
        "octaves": note.octaves,
        "start_s": None if note.start_s is None else round(note.start_s, 3),
        "end_s": None if note.end_s is None else round(note.end_s, 3),
    }
