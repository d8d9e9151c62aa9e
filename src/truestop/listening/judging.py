"""From the sound of a take to judged attempts, in blocks or whole.

A listener feeds its tracker, lays the frames on the 1 ms grid, lets the segmenter find attempts, measures each and
gives the word. A file is judged by the same listener, fed at once.

Conventions: times in seconds from the start of the take; cents above the target; + is sharp, + is late.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from math import isfinite

import numpy as np

from truestop.domain.attempt import Attempt, Expectation, Verdict
from truestop.listening.contour import Cents
from truestop.listening.frames import Samples
from truestop.listening.gridding import Stretch
from truestop.listening.landing import Sighting
from truestop.listening.notes import Hearing, Notes, make_hearing, span
from truestop.listening.resting import HORIZON_MS, PROVEN_MS
from truestop.listening.segmenting import Begun, Ended, Segmenter, zones
from truestop.listening.turning import Kept

LOWEST_RATE_HZ, HIGHEST_RATE_HZ = 4000.0, 400_000.0
LONGEST_TRAVEL_MS = 8000
"""An arrival side without any rest for this long is no landing."""
STEP_MS = {True: 5, False: 240}
"""An open attempt is looked at this often, live and in a file: how soon it is told, never what."""
FIRST_LOOK_MS = {True: 110, False: HORIZON_MS + 60}
FILE_BLOCK = 1 << 18
UNSEEN_MS = 20
"""How long to wait with the next look where no landing is in sight."""
DOUBTED_MS = 20
"""The same where there is one that could not be judged if the note ended now."""
HEAR_AHEAD_MS = 260
"""When, after the rest, a slide may be heard again at the earliest: no verdict is due then, nor hardly a landing."""
AHEAD_EVERY_MS = 20
"""Hearing again is done in some dozen parts so far from one another, so that no block waits for all of them."""
LEVEL_EVERY_MS = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class DepartureHeard:
    """The departure note is held; ``at_s`` is where it began."""

    at_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LandingFinal:
    """The landing's number will not change any more. ``attempt`` holds what is known; its word may still come."""

    at_s: float
    """When it was said, in time of the take."""
    rest_s: float
    landing_cents: float
    attempt: Attempt


@dataclass(frozen=True, slots=True, kw_only=True)
class VerdictFinal:
    """The attempt is judged."""

    at_s: float
    attempt: Attempt


@dataclass(frozen=True, slots=True, kw_only=True)
class SoundState:
    """How the sound is, about ten times a second: for a level light and a pitch line."""

    at_s: float
    level_db: float
    clipped: bool
    heard: bool
    cents: float | None
    """Pitch above the target, None where none is heard."""


Event = DepartureHeard | LandingFinal | VerdictFinal | SoundState


@dataclass(slots=True)
class _Open:
    """An attempt under way."""

    begun: Begun
    due: int
    """Next moment at which it is worth measuring again."""
    told: bool = False
    heard_ahead: bool = False
    hears_ahead: bool = False
    """A part of hearing again is still to be done."""


class Listener:
    """Feed a take in blocks of float32 mono; get events. One listener, one take, one expectation.

    Listeners may share a ``hearing``: who feeds it gives each its own part by ``hear`` and ``end``.
    """

    def __init__(
        self,
        expectation: Expectation,
        sample_rate_hz: float,
        *,
        live: bool = True,
        level_every_ms: int = LEVEL_EVERY_MS,
        hearing: Hearing | None = None,
    ) -> None:
        self._expectation = expectation
        self._live = live
        self._notes = Notes(expectation)
        self._hearing: Hearing | None = None
        self._sound = Kept(sample_rate_hz)
        if usable(sample_rate_hz, span(expectation)[1]):
            self._hearing = hearing or make_hearing(expectation, sample_rate_hz, live=live)
        self._segmenter = Segmenter(silent_travel=expectation.silent, new_bow=expectation.new_bow)
        self._open: _Open | None = None
        self._level_every_ms = level_every_ms
        self._level_due = 0

    @property
    def held_ms(self) -> int:
        """How much of the contour is kept: what an attempt may still need."""
        return self._notes.lead.contour.length

    def feed(self, block: Samples) -> list[Event]:
        """What ``block`` brings to light, in order."""
        if self._hearing is None:
            return []
        return self.hear(block, self._hearing.feed(block))

    def hear(self, block: Samples, heard: tuple[Stretch, ...]) -> list[Event]:
        """The same where ``block`` was tracked elsewhere; ``heard`` is what it completed of the expected notes."""
        self._sound.add(block)
        return self._listen(heard)

    def finish(self) -> list[Event]:
        """The take is over: what is still open is judged."""
        if self._hearing is None:
            return []
        return self.end(self._hearing.finish())

    def end(self, heard: tuple[Stretch, ...]) -> list[Event]:
        """The same where the take was tracked elsewhere."""
        events = self._listen(heard)
        for mark in self._segmenter.finish():
            self._mark(mark, events)
        return events

    def _listen(self, stretches: tuple[Stretch, ...]) -> list[Event]:
        events: list[Event] = []
        stretch = self._notes.add(stretches)
        if not len(stretch.cents):
            return events
        zone = zones(stretch.cents, self._notes.lead.interval_cents)
        step = STEP_MS[self._live]
        first = -stretch.start % step
        for start, end in pairwise((0, *range(first, len(zone), step), len(zone))):
            for mark in self._segmenter.feed(zone[start:end]):
                self._mark(mark, events)
            if self._segmenter.now % step == 0:
                self._look(self._segmenter.now, events)
        if self._live:
            self._tell_level(stretch, events)
        keep = self._segmenter.needed_from if self._open is None else self._open.begun.start
        self._notes.forget(keep)
        self._sound.forget(keep / 1000.0)
        return events

    def _mark(self, mark: Begun | Ended, events: list[Event]) -> None:
        if isinstance(mark, Begun):
            self._open = _Open(mark, mark.beyond + FIRST_LOOK_MS[self._live])
            events.append(DepartureHeard(at_s=mark.start / 1000.0))
        elif self._open is not None:
            self._judge(self._open, mark.end, mark.end, events)

    def _look(self, now: int, events: list[Event]) -> None:
        """Live: tell the landing once it cannot change, judge once nothing later counts."""
        attempt = self._open
        if attempt is None:
            return
        if attempt.hears_ahead and now % AHEAD_EVERY_MS == 0:
            attempt.hears_ahead = self._notes.step()
        if now < attempt.due:
            return
        limit = attempt.begun.beyond + LONGEST_TRAVEL_MS
        found = self._sight(attempt, min(now, limit), now)
        start = attempt.begun.start
        if found is None:
            attempt.due = now + UNSEEN_MS
            if now >= limit:
                self._judge(attempt, limit, now, events)
            return
        if self._live and not attempt.told and start + found.known + PROVEN_MS <= now:
            attempt.told = self._tell(attempt, now, events)
        if start + found.rest + HORIZON_MS <= now:
            self._judge(attempt, start + found.rest + HORIZON_MS, now, events)
        elif not self._live:
            attempt.due = start + found.rest + HORIZON_MS
        elif attempt.told:
            attempt.due = self._while_waiting(attempt, start + found.rest, now)
        elif start + found.known + PROVEN_MS <= now:
            attempt.due = min(now + DOUBTED_MS, start + found.rest + HORIZON_MS)
        else:
            attempt.due = max(now + STEP_MS[True], start + found.known + PROVEN_MS)

    def _while_waiting(self, attempt: _Open, rest: int, now: int) -> int:
        """Between landing and verdict: what the verdict will need is worked out. When to look next."""
        assert self._hearing is not None
        if now < rest + HEAR_AHEAD_MS:
            return rest + HEAR_AHEAD_MS
        if not attempt.heard_ahead:
            attempt.heard_ahead = True
            self._notes.hear_ahead(attempt.begun, now, self._hearing.smoothing_ms, self._sound)
            attempt.hears_ahead = True
        return rest + HORIZON_MS

    def _sight(self, attempt: _Open, end: int, now: int) -> Sighting | None:
        """The landing of all notes that must be heard; one that does not come within the horizon is not waited for."""
        assert self._hearing is not None
        begun, smoothing_ms = attempt.begun, self._hearing.smoothing_ms
        lead = self._notes.lead.sight(begun, end, smoothing_ms)
        if lead is None or not self._notes.others:
            return lead
        others = [note.sight(begun, end, smoothing_ms) for note in self._notes.others]
        late = begun.start + lead.rest + HORIZON_MS <= now
        found = [lead, *(one for one in others if one is not None)]
        if len(found) <= len(others) and not late:
            return None
        return Sighting(rest=max(one.rest for one in found), known=max(one.known for one in found))

    def _tell(self, attempt: _Open, now: int, events: list[Event]) -> bool:
        """The landing, unless the attempt could not be judged if it ended now: then whether it was told."""
        assert self._hearing is not None
        measured = self._notes.measure(attempt.begun, now, self._hearing.smoothing_ms, self._sound)
        landing_cents = measured.attempt.landing_cents
        if measured.attempt.verdict is Verdict.UNJUDGED or measured.lead.rest is None or landing_cents is None:
            return False
        if self._notes.is_other(measured, attempt.begun, self._sound):
            return False
        rest_s = (attempt.begun.start + measured.lead.rest) / 1000.0
        events.append(
            LandingFinal(at_s=now / 1000.0, rest_s=rest_s, landing_cents=landing_cents, attempt=measured.attempt)
        )
        return True

    def _judge(self, attempt: _Open, end: int, now: int, events: list[Event]) -> None:
        assert self._hearing is not None
        self._open = None
        end = end if self._segmenter.left is None else min(end, self._segmenter.left)
        measured = self._notes.measure(attempt.begun, end, self._hearing.smoothing_ms, self._sound, last=True)
        lead = measured.lead
        if lead.landing_cents is None and lead.departure_cents is None and not self._expectation.silent:
            held = self._notes.lead.contour.cut("cents", attempt.begun.start, attempt.begun.beyond)
            if not _is_steady(held):
                return
        if self._notes.is_other(measured, attempt.begun, self._sound):
            return
        events.append(VerdictFinal(at_s=now / 1000.0, attempt=measured.attempt))

    def _tell_level(self, stretch: Stretch, events: list[Event]) -> None:
        end = stretch.start + len(stretch.cents)
        if not len(stretch.cents) or end < self._level_due:
            return
        self._level_due = end + self._level_every_ms
        cents = float(stretch.cents[-1])
        events.append(
            SoundState(
                at_s=end / 1000.0,
                level_db=round(float(stretch.level_db[-1]), 1),
                clipped=bool(stretch.clipped.any()),
                heard=isfinite(cents),
                cents=round(cents, 2) if isfinite(cents) else None,
            )
        )


def usable(sample_rate_hz: float, highest_hz: float) -> bool:
    """Whether the rate is in range and high enough to hear the highest note."""
    return LOWEST_RATE_HZ <= sample_rate_hz <= HIGHEST_RATE_HZ and highest_hz < 0.4 * sample_rate_hz


def _is_steady(cents: Cents) -> bool:
    """Whether the loudest part of a departure holds one pitch, vibrato allowed: a note and not talk."""
    heard = cents[np.isfinite(cents)]
    return len(heard) >= 80 and float(np.subtract(*np.percentile(heard, [75, 25]))) < 60.0


def judge_take(samples: Samples, sample_rate_hz: float, expectation: Expectation) -> tuple[Attempt, ...]:
    """Every attempt at the expected shift in a take, judged. ``samples`` mono float32, ±1 full scale."""
    return tuple(judge_blocks([samples], sample_rate_hz, expectation))


def judge_blocks(blocks: Iterable[Samples], sample_rate_hz: float, expectation: Expectation) -> Iterator[Attempt]:
    """The same of a take that comes in blocks of any size; each attempt as soon as it is judged."""
    listener = Listener(expectation, sample_rate_hz, live=False)
    for block in blocks:
        for a in range(0, len(block), FILE_BLOCK):
            yield from _judged(listener.feed(block[a : a + FILE_BLOCK]))
    yield from _judged(listener.finish())


def _judged(events: list[Event]) -> Iterator[Attempt]:
    return (event.attempt for event in events if isinstance(event, VerdictFinal))


__all__ = [
    "DepartureHeard",
    "Event",
    "LandingFinal",
    "Listener",
    "SoundState",
    "VerdictFinal",
    "judge_blocks",
    "judge_take",
]
