"""The ears of the room: the listeners of ``truestop.listening``, each as an ``Ear``.

Conventions: see ``hearing``. Times are seconds from the start of the take.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from truestop.domain.attempt import Attempt, Expectation, Verdict
from truestop.domain.fingerboard import cents_to_mm
from truestop.domain.instrument import Instrument
from truestop.domain.pitch import hz_to_cents
from truestop.domain.tuning import make_intonation
from truestop.listening.holding import HeldNote, HeldNotes
from truestop.listening.judging import Event, LandingFinal, Listener, SoundState, VerdictFinal
from truestop.listening.returning import Leg, Round, Rounds, TwoWays
from truestop.listening.singing import HIGHEST_HZ, LOWEST_HZ
from truestop.listening.strings import measure_steady
from truestop.web.hearing import (
    AttemptHeard,
    Heard,
    LandingHeard,
    NoteHeard,
    PhraseHeard,
    Pitched,
    RoundHeard,
    StringHeard,
)

TRACE_EVERY_MS = 20
PITCH_TOLERANCE_CENTS = 50.0
"""For a target that is sung or hummed."""
SUNG_HOLD_S, SETTLED_HOLD_S, STRING_HOLD_S = 0.5, 0.4, 0.9
STRING_REACH_CENTS = 150.0
OCTAVE_CENTS = 1200.0
PHRASE_PAUSE_S, SHORTEST_PHRASE_S, PHRASE_LEAD_S = 1.2, 1.0, 0.3
"""Silence that ends a phrase; what is shorter is none; what is judged begins so long before the first sound."""
QUIETEST_DB, PHRASE_DEPTH_DB, LEVEL_FORGETS_DB = -60.0, 30.0, 0.02
LEVEL_FRAMES = 1024
LONGEST_TRACE = 200
HEARD_LATER_S = 0.5
"""A verdict is there no later than this after the moment that it speaks of, however the take is cut into blocks."""
STEADY_S = 0.6
"""The end of a held string that is measured."""


class ShiftEar:
    """Hears attempts at one shift; ``direction`` is where its hand travels."""

    def __init__(self, expectation: Expectation, sample_rate_hz: int, *, direction: str = "") -> None:
        self._direction = direction
        self._listener = Listener(expectation, sample_rate_hz, level_every_ms=TRACE_EVERY_MS)

    def feed(self, samples: NDArray[np.float32]) -> list[Heard]:
        """What became clear with ``samples``."""
        return _heard(self._listener.feed(samples), self._direction)

    def finish(self) -> list[Heard]:
        """What is left when the take ends here."""
        return _heard(self._listener.finish(), self._direction)


class ReturnEar:
    """Hears attempts at one shift and at its way back; both landings together are one attempt of the run."""

    def __init__(
        self, there: Expectation, back: Expectation, sample_rate_hz: int, *, directions: tuple[str, str] = ("", "")
    ) -> None:
        self._directions = directions
        self._ways = TwoWays(there, back, sample_rate_hz, level_every_ms=TRACE_EVERY_MS)
        self._rounds = Rounds(sorted((*there.beats_s, *back.beats_s)))
        self._rate_hz = sample_rate_hz
        self._frames = 0

    def feed(self, samples: NDArray[np.float32]) -> list[Heard]:
        """What became clear with ``samples``."""
        self._frames += int(samples.size)
        heard = self._heard(self._ways.feed(samples))
        return [*heard, *self._told(self._rounds.wait(self._frames / self._rate_hz - HEARD_LATER_S))]

    def finish(self) -> list[Heard]:
        """What is left when the take ends here."""
        return [*self._heard(self._ways.finish()), *self._told(self._rounds.finish())]

    def _heard(self, events: list[tuple[Leg, Event]]) -> list[Heard]:
        heard: list[Heard] = []
        for leg, event in events:
            if isinstance(event, VerdictFinal):
                heard += self._told(self._rounds.add(leg, event.attempt, event.at_s))
            elif isinstance(event, LandingFinal):
                heard.append(_landing(event, leg))
        return _with_pitch([event for _, event in events], heard)

    def _told(self, rounds: list[Round]) -> list[Heard]:
        return [RoundHeard(round=each, directions=self._directions) for each in rounds]


def _heard(events: list[Event], direction: str) -> list[Heard]:
    heard: list[Heard] = []
    for event in events:
        if isinstance(event, LandingFinal):
            heard.append(_landing(event))
        elif isinstance(event, VerdictFinal):
            heard.append(AttemptHeard(attempt=event.attempt, direction=direction))
    return _with_pitch(events, heard)


def _landing(event: LandingFinal, leg: str = "") -> LandingHeard:
    attempt = event.attempt
    return LandingHeard(
        at_s=event.rest_s,
        landing_cents=event.landing_cents,
        landing_mm=attempt.landing_mm,
        landing_se_cents=attempt.landing_se_cents,
        leg=leg,
    )


def _with_pitch(events: Sequence[Event], heard: list[Heard]) -> list[Heard]:
    """``heard`` behind the points of the pitch trace that came with it."""
    points = [event for event in events if isinstance(event, SoundState)]
    if not points:
        return heard
    times = tuple(round(point.at_s, 3) for point in points)
    return [Pitched(times_s=times, cents=tuple(point.cents for point in points)), *heard]


class PhraseEar:
    """Hears where each phrase of a passage ends; which shifts were in it is found from the whole phrase."""

    def __init__(self, sample_rate_hz: int) -> None:
        self._rate_hz = sample_rate_hz
        self._frames = 0
        self._loudest_db = QUIETEST_DB
        self._began: int | None = None
        self._last_sound = 0

    def feed(self, samples: NDArray[np.float32]) -> list[Heard]:
        """What became clear with ``samples``."""
        heard: list[Heard] = []
        for start in range(0, samples.size, LEVEL_FRAMES):
            self._listen(samples[start : start + LEVEL_FRAMES])
            if self._began is not None and self._frames - self._last_sound > PHRASE_PAUSE_S * self._rate_hz:
                heard += self._end(self._frames)
        return heard

    def finish(self) -> list[Heard]:
        """A phrase that was cut off is judged with the whole take."""
        return []

    def _listen(self, block: NDArray[np.float32]) -> None:
        level_db = 10.0 * float(np.log10(np.mean(np.square(block)) + 1e-12)) if block.size else QUIETEST_DB
        self._frames += int(block.size)
        self._loudest_db = max(self._loudest_db - LEVEL_FORGETS_DB, level_db)
        if level_db > max(QUIETEST_DB, self._loudest_db - PHRASE_DEPTH_DB):
            self._began = self._frames if self._began is None else self._began
            self._last_sound = self._frames

    def _end(self, now: int) -> list[Heard]:
        began, self._began = self._began or 0, None
        if self._last_sound - began < SHORTEST_PHRASE_S * self._rate_hz:
            return []
        return [PhraseHeard(first_frame=max(0, began - round(PHRASE_LEAD_S * self._rate_hz)), last_frame=now)]


class DeafEar:
    """Hears nothing while the take sounds; the take is judged as a whole afterwards."""

    def feed(self, samples: NDArray[np.float32]) -> list[Heard]:
        """Nothing yet."""
        return []

    def finish(self) -> list[Heard]:
        """Nothing."""
        return []


class NoteEar:
    """Hears one note held against its target, in its own octave or in any; the exercise's other notes pass unjudged."""

    def __init__(
        self, expectation: Expectation, sample_rate_hz: int, *, any_octave: bool, others_hz: Sequence[float] = ()
    ) -> None:
        target_hz = expectation.arrival.hz
        low, high = (LOWEST_HZ, HIGHEST_HZ) if any_octave else (target_hz * 0.7, target_hz * 1.45)
        hold_s = SUNG_HOLD_S if any_octave else SETTLED_HOLD_S
        self._notes = HeldNotes(sample_rate_hz, low, high, hold_s)
        self._expectation = expectation
        self._any_octave = any_octave
        self._tolerance_cents = PITCH_TOLERANCE_CENTS if any_octave else expectation.tolerance_cents
        self._others_cents = tuple(hz_to_cents(hz, target_hz) for hz in others_hz)
        self._points: list[tuple[float, float]] = []

    def feed(self, samples: NDArray[np.float32]) -> list[Heard]:
        """What became clear with ``samples``."""
        notes = self._notes.feed(samples)
        return [*self._pitch(), *(heard for note in notes if (heard := self._judge(note)) is not None)]

    def finish(self) -> list[Heard]:
        """A note that was cut off is not judged."""
        return []

    def _pitch(self) -> list[Heard]:
        latest = self._notes.latest
        if latest is None or (self._points and latest[0] < self._points[-1][0] + TRACE_EVERY_MS / 1000.0):
            return []
        at_s, cents = round(latest[0], 3), round(self._off(latest[1])[0], 1)
        self._points = [*self._points[-LONGEST_TRACE:], (at_s, cents)]
        return [Pitched(times_s=(at_s,), cents=(cents,))]

    def _off(self, hz: float) -> tuple[float, int]:
        cents = hz_to_cents(hz, self._expectation.arrival.hz)
        octaves = round(cents / OCTAVE_CENTS) if self._any_octave else 0
        return cents - OCTAVE_CENTS * octaves, octaves

    def _is_another(self, hz: float) -> bool:
        """Whether it is one of the exercise's other notes rather than the target."""
        cents = hz_to_cents(hz, self._expectation.arrival.hz)
        off = abs(self._off(hz)[0])
        return any(self._between(cents, other) < min(off, PITCH_TOLERANCE_CENTS) for other in self._others_cents)

    def _between(self, cents: float, other: float) -> float:
        apart = abs(cents - other)
        return min(apart % OCTAVE_CENTS, -apart % OCTAVE_CENTS) if self._any_octave else apart

    def _judge(self, note: HeldNote) -> NoteHeard | None:
        if self._is_another(note.hz):
            return None
        cents, octaves = self._off(note.hz)
        good = abs(cents) <= self._tolerance_cents
        verdict = Verdict.TRUE if good else Verdict.HIGH if cents > 0 else Verdict.LOW
        return NoteHeard(octaves=octaves, attempt=self._attempt(note, cents, verdict))

    def _attempt(self, note: HeldNote, cents: float, verdict: Verdict) -> Attempt:
        """The note as an attempt of stage practice; what is sung has no place on a string."""
        expected = self._expectation
        trace = [point for point in self._points if point[0] >= note.at_s]
        place, length_mm = expected.arrival.place, expected.length_mm
        return Attempt(
            shift=expected.shift, stage=expected.stage, start_s=note.at_s, end_s=note.at_s + note.held_s,
            departure_s=None, arrival_s=note.at_s, target=expected.arrival, verdict=verdict,
            faults=(verdict.value,) if verdict.is_miss else (), landing_cents=cents, landing_se_cents=note.se_cents,
            landing_mm=None if self._any_octave else cents_to_mm(cents, place, length_mm),
            tolerance_cents=self._tolerance_cents,
            trace_s=tuple(at_s for at_s, _ in trace), trace_cents=tuple(value for _, value in trace),
        )  # fmt: skip


class StringsEar:
    """Hears open strings, one by one, in any order."""

    def __init__(self, instrument: Instrument, a4_hz: float, sample_rate_hz: int) -> None:
        intonation = make_intonation("pythagorean", instrument=instrument, a4_hz=a4_hz)
        self._wanted_hz = [intonation.open_string_hz(number) for number in range(1, len(instrument.strings) + 1)]
        self._notes = HeldNotes(sample_rate_hz, min(self._wanted_hz) / 1.1, max(self._wanted_hz) * 1.1, STRING_HOLD_S)
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
