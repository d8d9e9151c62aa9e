"""There and back: the travel and the way back of one exercise, heard in one take, and the two landings of each round.

Conventions: the way there is a *leg*, the way back another, each a shift of its own with its own expectation. Times are
seconds from the start of the take.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

from truestop.domain.attempt import Attempt, Expectation, Verdict
from truestop.listening.frames import Samples
from truestop.listening.judging import Event, Listener, SoundState, usable
from truestop.listening.notes import Hearing, make_hearing, span
from truestop.listening.wording import severity

PATIENCE_S = 4.0
"""So long after the word on the way there the way back is waited for; in time, two rounds of the click's arrivals."""
JOINED_S = 1.0
"""The way back departs from the note that the way there reached: it begins no later than this after it."""


class Leg(StrEnum):
    """Which of the two ways."""

    THERE = "there"
    BACK = "back"


class TwoWays:
    """Hears both legs in one take; where both end on as many notes, the sound is tracked once for both."""

    def __init__(self, there: Expectation, back: Expectation, sample_rate_hz: float, *, level_every_ms: int) -> None:
        shared = (there.upper_arrival is None) == (back.upper_arrival is None)
        self._hearing: Hearing | None = None
        if shared and usable(sample_rate_hz, span(there)[1]):
            self._hearing = make_hearing(there, sample_rate_hz, live=True, also=back)
        self._listeners = [
            Listener(one, sample_rate_hz, level_every_ms=level_every_ms, hearing=self._hearing) for one in (there, back)
        ]

    def feed(self, block: Samples) -> list[tuple[Leg, Event]]:
        """What ``block`` brings to light, in order; how the sound is, is told for the way there alone."""
        if self._hearing is None:
            return _in_order([listener.feed(block) for listener in self._listeners])
        heard = self._hearing.feed(block)
        half = len(heard) // 2
        parts = zip(self._listeners, (heard[:half], heard[half:]), strict=True)
        return _in_order([listener.hear(block, part) for listener, part in parts])

    def finish(self) -> list[tuple[Leg, Event]]:
        """The take is over."""
        if self._hearing is None:
            return _in_order([listener.finish() for listener in self._listeners])
        heard = self._hearing.finish()
        half = len(heard) // 2
        parts = zip(self._listeners, (heard[:half], heard[half:]), strict=True)
        return _in_order([listener.end(part) for listener, part in parts])


def _in_order(heard: Sequence[Sequence[Event]]) -> list[tuple[Leg, Event]]:
    events = [
        (leg, event)
        for leg, found in zip(Leg, heard, strict=True)
        for event in found
        if leg is Leg.THERE or not isinstance(event, SoundState)
    ]
    return sorted(events, key=lambda one: one[1].at_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class Round:
    """One time there and back; None where a leg was not heard."""

    there: Attempt | None
    back: Attempt | None

    @property
    def attempts(self) -> tuple[Attempt, ...]:
        """What was heard, in its order."""
        return tuple(one for one in (self.there, self.back) if one is not None)

    @property
    def decides(self) -> tuple[Leg, Attempt | None]:
        """The leg that decides: a miss before what could not be judged, the worse of two misses; of two true landings
        the one further off. None where it was not heard."""
        legs = ((Leg.THERE, self.there), (Leg.BACK, self.back))
        misses = [(leg, one) for leg, one in legs if one is not None and one.verdict.is_miss]
        if misses:
            return min(misses, key=lambda one: severity(one[1]))
        open_legs = [(leg, one) for leg, one in legs if one is None or one.verdict is Verdict.UNJUDGED]
        if open_legs:
            return open_legs[0]
        return min(((leg, one) for leg, one in legs if one is not None), key=lambda one: severity(one[1]))


class Rounds:
    """Pairs the verdicts of both legs, as they come, into rounds."""

    def __init__(self, beats_s: Sequence[float] = ()) -> None:
        widest = max((after - before for before, after in pairwise(beats_s)), default=0.0)
        self._patience_s = max(PATIENCE_S, 2.0 * widest)
        self._there: Attempt | None = None
        self._until_s = 0.0

    def add(self, leg: Leg, attempt: Attempt, at_s: float) -> list[Round]:
        """What the next verdict, given at ``at_s``, completes."""
        done = self.wait(at_s)
        if leg is Leg.THERE:
            done += self.finish()
            self._there, self._until_s = attempt, at_s + self._patience_s
            return done
        there = self._there
        if there is not None and attempt.start_s <= there.end_s + JOINED_S:
            self._there = None
            return [*done, Round(there=there, back=attempt)]
        return [*done, *self.finish(), Round(there=None, back=attempt)]

    def wait(self, now_s: float) -> list[Round]:
        """A way there whose way back does not come is a round by itself."""
        return self.finish() if now_s > self._until_s else []

    def finish(self) -> list[Round]:
        """The take is over."""
        there, self._there = self._there, None
        return [] if there is None else [Round(there=there, back=None)]
