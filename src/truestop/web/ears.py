"""The ears of the room: the listeners of ``truestop.listening``, each as an ``Ear``.

Conventions: see ``hearing``. Times are seconds from the start of the take.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from truestop.domain.attempt import Expectation, Target
from truestop.domain.instrument import Instrument
from truestop.domain.pitch import hz_to_cents
from truestop.domain.tuning import make_intonation
from truestop.listening.judging import Event, LandingFinal, Listener, SoundState, VerdictFinal
from truestop.listening.strings import measure_steady
from truestop.web.hearing import AttemptHeard, Heard, LandingHeard, NoteHeard, Pitched, StringHeard
from truestop.web.steady import HeldNote, HeldNotes

TRACE_EVERY_MS = 20
PITCH_TOLERANCE_CENTS = 50.0
"""For a target that is sung or hummed."""
SUNG_LOW_HZ, SUNG_HIGH_HZ = 80.0, 1300.0
SUNG_HOLD_S, SETTLED_HOLD_S, STRING_HOLD_S = 0.5, 0.4, 0.9
STRING_REACH_CENTS = 150.0
STEADY_S = 0.6
"""The end of a held string that is measured."""


class ShiftEar:
    """Hears attempts at one shift."""

    def __init__(self, expectation: Expectation, sample_rate_hz: int) -> None:
        self._listener = Listener(expectation, sample_rate_hz, level_every_ms=TRACE_EVERY_MS)

    def feed(self, samples: NDArray[np.float32]) -> list[Heard]:
        """What became clear with ``samples``."""
        return _heard(self._listener.feed(samples))

    def finish(self) -> list[Heard]:
        """What is left when the take ends here."""
        return _heard(self._listener.finish())


def _heard(events: list[Event]) -> list[Heard]:
    heard: list[Heard] = []
    points: list[SoundState] = []
    for event in events:
        if isinstance(event, SoundState):
            points.append(event)
        elif isinstance(event, LandingFinal):
            attempt = event.attempt
            heard.append(
                LandingHeard(
                    at_s=event.rest_s,
                    landing_cents=event.landing_cents,
                    landing_mm=attempt.landing_mm,
                    landing_se_cents=attempt.landing_se_cents,
                )
            )
        elif isinstance(event, VerdictFinal):
            heard.append(AttemptHeard(attempt=event.attempt))
    if points:
        times = tuple(round(point.at_s, 3) for point in points)
        heard.insert(0, Pitched(times_s=times, cents=tuple(point.cents for point in points)))
    return heard


class DeafEar:
    """Hears nothing while the take sounds; the take is judged as a whole afterwards."""

    def feed(self, samples: NDArray[np.float32]) -> list[Heard]:
        """Nothing yet."""
        return []

    def finish(self) -> list[Heard]:
        """Nothing."""
        return []


class NoteEar:
    """Hears one note held against its target, in its own octave or in any."""

    def __init__(self, target: Target, sample_rate_hz: int, *, any_octave: bool, tolerance_cents: float) -> None:
        low, high = (SUNG_LOW_HZ, SUNG_HIGH_HZ) if any_octave else (target.hz * 0.7, target.hz * 1.45)
        hold_s = SUNG_HOLD_S if any_octave else SETTLED_HOLD_S
        self._notes = HeldNotes(sample_rate_hz, low, high, hold_s)
        self._target_hz = target.hz
        self._any_octave = any_octave
        self._tolerance_cents = tolerance_cents
        self._pitch_due_s = 0.0

    def feed(self, samples: NDArray[np.float32]) -> list[Heard]:
        """What became clear with ``samples``."""
        notes = self._notes.feed(samples)
        return [*self._pitch(), *(self._judge(note) for note in notes)]

    def finish(self) -> list[Heard]:
        """A note that was cut off is not judged."""
        return []

    def _pitch(self) -> list[Heard]:
        latest = self._notes.latest
        if latest is None or latest[0] < self._pitch_due_s:
            return []
        self._pitch_due_s = latest[0] + TRACE_EVERY_MS / 1000.0
        cents, _ = self._off(latest[1])
        return [Pitched(times_s=(round(latest[0], 3),), cents=(round(cents, 1),))]

    def _off(self, hz: float) -> tuple[float, int]:
        cents = hz_to_cents(hz, self._target_hz)
        octaves = round(cents / 1200.0) if self._any_octave else 0
        return cents - 1200.0 * octaves, octaves

    def _judge(self, note: HeldNote) -> NoteHeard:
        cents, octaves = self._off(note.hz)
        good = abs(cents) <= self._tolerance_cents
        return NoteHeard(at_s=note.at_s, cents=cents, octaves=octaves, good=good)


class StringsEar:
    """Hears open strings, one by one, in any order."""

    def __init__(self, instrument: Instrument, a4_hz: float, sample_rate_hz: int) -> None:
        intonation = make_intonation("pythagorean", instrument=instrument, a4_hz=a4_hz)
        self._wanted_hz = [intonation.open_string_hz(number) for number in range(1, len(instrument.strings) + 1)]
        self._notes = HeldNotes(sample_rate_hz, min(self._wanted_hz), max(self._wanted_hz), STRING_HOLD_S)
        self._rate_hz = sample_rate_hz
        self._recent = np.zeros(0, dtype=np.float32)

    def feed(self, samples: NDArray[np.float32]) -> list[Heard]:
        """What became clear with ``samples``."""
        self._recent = np.concatenate([self._recent, samples])[-round(STEADY_S * self._rate_hz) :]
        return [heard for note in self._notes.feed(samples) if (heard := self._name(note)) is not None]

    def finish(self) -> list[Heard]:
        """What is left when the take ends here."""
        return [heard for note in self._notes.finish() if (heard := self._name(note)) is not None]

    def _name(self, note: HeldNote) -> StringHeard | None:
        off = [hz_to_cents(note.hz, hz) for hz in self._wanted_hz]
        nearest = min(range(len(off)), key=lambda index: abs(off[index]))
        if abs(off[nearest]) > STRING_REACH_CENTS:
            return None
        steady = measure_steady(self._recent, self._rate_hz, note.hz)
        hz, se = (note.hz, note.se_cents) if steady is None else (steady.hz, max(note.se_cents, steady.se_cents))
        off_cents = hz_to_cents(hz, self._wanted_hz[nearest])
        return StringHeard(string=nearest + 1, hz=hz, se_cents=se, off_cents=off_cents)
