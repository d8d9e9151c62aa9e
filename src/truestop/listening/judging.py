"""From the sound of a take to judged attempts, in blocks or whole.

A listener feeds its tracker, lays the frames on the 1 ms grid, lets the segmenter find attempts, measures each and
gives the word. A file is judged by the same listener, fed at once.

Conventions: times in seconds from the start of the take; cents above the target; + is sharp, + is late.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite

import numpy as np

from truestop.domain.attempt import Attempt, Expectation, Target
from truestop.domain.pitch import hz_to_cents
from truestop.listening.contour import Cents, smooth
from truestop.listening.frames import Plan, Samples
from truestop.listening.gridding import Grid, Stretch
from truestop.listening.landing import Landing, measure_landing, sight_landing
from truestop.listening.resting import HORIZON_MS, NEW_FINGER_CENTS, Travel
from truestop.listening.segmenting import Begun, Ended, Segmenter, without_blips, zones
from truestop.listening.tracking import FRAMES_FILE, FRAMES_LIVE, PitchTrack, Tracker
from truestop.listening.wording import make_attempt

LOWEST_RATE_HZ, HIGHEST_RATE_HZ = 4000.0, 400_000.0
SMOOTHING_MS = 16
"""What the turns' smoothing needs beyond the moment it speaks about; the rest weighs next to nothing."""
LONGEST_TRAVEL_MS = 8000
"""An arrival side without any rest for this long is no landing."""
STEP_MS = {True: 10, False: 240}
"""An open attempt is looked at this often, live and in a file: how soon it is told, never what."""
FIRST_LOOK_MS = {True: 110, False: HORIZON_MS + 60}
FILE_BLOCK = 1 << 18
UNSEEN_MS = 20
"""How long to wait with the next look where no landing is in sight."""
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


class Listener:
    """Feed a take in blocks of float32 mono; get events. One listener, one take, one expectation."""

    def __init__(
        self,
        expectation: Expectation,
        sample_rate_hz: float,
        *,
        live: bool = True,
        level_every_ms: int = LEVEL_EVERY_MS,
    ) -> None:
        self._expectation = expectation
        self._live = live
        self._interval_cents = hz_to_cents(expectation.arrival.hz, expectation.departure.hz)
        low, high = _range(expectation)
        self._tracker: Tracker | None = None
        if usable(sample_rate_hz, high):
            at_once = FRAMES_LIVE if live else FRAMES_FILE
            self._tracker = Tracker(Plan(sample_rate_hz, low, high), frames_at_once=at_once)
        self._grid = Grid(expectation.arrival.hz)
        self._segmenter = Segmenter(silent_travel=expectation.silent)
        self._contour = _Contour()
        self._open: _Open | None = None
        self._level_every_ms = level_every_ms
        self._level_due = 0

    @property
    def held_ms(self) -> int:
        """How much of the contour is kept: what an attempt may still need."""
        return self._contour.length

    def feed(self, block: Samples) -> list[Event]:
        """What ``block`` brings to light, in order."""
        if self._tracker is None:
            return []
        track = self._tracker.feed(block)
        return self._listen(self._grid.feed(track)) if len(track) else []

    def finish(self) -> list[Event]:
        """The take is over: what is still open is judged."""
        if self._tracker is None:
            return []
        events = self._listen(self._grid.feed(self._tracker.finish(), last=True))
        for mark in self._segmenter.finish():
            self._mark(mark, events)
        return events

    def _listen(self, stretch: Stretch) -> list[Event]:
        events: list[Event] = []
        self._contour.add(stretch)
        zone = zones(stretch.cents, self._interval_cents)
        step = STEP_MS[self._live]
        first = -stretch.start % step
        for part in np.split(zone, range(first, len(zone), step)):
            for mark in self._segmenter.feed(part):
                self._mark(mark, events)
            if self._segmenter.now % step == 0:
                self._look(self._segmenter.now, events)
        if self._live:
            self._tell_level(stretch, events)
        keep = self._segmenter.needed_from if self._open is None else self._open.begun.start
        self._contour.forget(keep)
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
        if attempt is None or now < attempt.due:
            return
        limit = attempt.begun.beyond + LONGEST_TRAVEL_MS
        found = sight_landing(self._heard(attempt, min(now, limit)), self._travel(attempt, now))
        start = attempt.begun.start
        if found is None:
            attempt.due = now + UNSEEN_MS
            if now >= limit:
                self._judge(attempt, limit, now, events)
            return
        if self._live and not attempt.told and start + found.known + SMOOTHING_MS <= now:
            attempt.told = True
            self._tell(attempt, now, events)
        if start + found.rest + HORIZON_MS <= now:
            self._judge(attempt, start + found.rest + HORIZON_MS, now, events)
        elif attempt.told or not self._live:
            attempt.due = start + found.rest + HORIZON_MS
        else:
            attempt.due = max(now + STEP_MS[True], start + found.known + SMOOTHING_MS)

    def _tell(self, attempt: _Open, now: int, events: list[Event]) -> None:
        landing = self._measure(attempt, now)
        if landing.rest is None or landing.landing_cents is None:
            return
        made = self._attempt(landing, attempt, now)
        rest_s = (attempt.begun.start + landing.rest) / 1000.0
        events.append(LandingFinal(at_s=now / 1000.0, rest_s=rest_s, landing_cents=landing.landing_cents, attempt=made))

    def _judge(self, attempt: _Open, end: int, now: int, events: list[Event]) -> None:
        self._open = None
        end = end if self._segmenter.left is None else min(end, self._segmenter.left)
        landing = self._measure(attempt, end)
        if landing.landing_cents is None and landing.departure_cents is None and not self._expectation.silent:
            held = self._contour.between(attempt.begun.start, attempt.begun.beyond)
            if not _is_steady(held):
                return
        events.append(VerdictFinal(at_s=now / 1000.0, attempt=self._attempt(landing, attempt, end)))

    def _measure(self, attempt: _Open, end: int) -> Landing:
        cents = self._heard(attempt, end)
        travel = self._travel(attempt, end)
        landing = measure_landing(cents, travel)
        left = _next_note(cents, landing)
        return landing if left is None else measure_landing(cents[:left], travel)

    def _heard(self, attempt: _Open, end: int) -> Cents:
        start, beyond = attempt.begun.start, attempt.begun.beyond - attempt.begun.start
        return without_blips(self._contour.between(start, end), self._interval_cents, beyond)

    def _travel(self, attempt: _Open, end: int) -> Travel:
        expectation = self._expectation
        guide = expectation.guide
        assert self._tracker is not None
        return Travel(
            interval_cents=self._interval_cents,
            guide_cents=None if guide is None else hz_to_cents(guide.hz, expectation.arrival.hz),
            silent=expectation.silent,
            lowest_hz=min(expectation.arrival.hz, expectation.departure.hz),
            smoothing_ms=self._tracker.plan.smoothing_ms,
            tracker_se_cents=self._contour.tracker_se(attempt.begun.start, end),
        )

    def _attempt(self, landing: Landing, attempt: _Open, end: int) -> Attempt:
        start = attempt.begun.start
        return make_attempt(
            self._expectation,
            landing,
            start_ms=start,
            end_ms=end,
            cents=self._contour.between(start, end),
            level_db=self._contour.level(start, end),
            clipped=self._contour.clipped(start, end),
        )

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


class _Contour:
    """The contour as far as it is still needed, with what the tracker knew beside the pitch."""

    def __init__(self) -> None:
        self._parts: list[Stretch] = []

    @property
    def length(self) -> int:
        return sum(len(part.cents) for part in self._parts)

    def add(self, stretch: Stretch) -> None:
        if len(stretch.cents):
            self._parts.append(stretch)

    def forget(self, before: int) -> None:
        while self._parts and self._parts[0].start + len(self._parts[0].cents) <= before:
            self._parts.pop(0)

    def between(self, start: int, end: int) -> Cents:
        return self._cut("cents", start, end)

    def level(self, start: int, end: int) -> Cents:
        return self._cut("level_db", start, end)

    def clipped(self, start: int, end: int) -> Cents:
        return self._cut("clipped", start, end)

    def tracker_se(self, start: int, end: int) -> Cents:
        return self._cut("se_cents", start, end)

    def _cut(self, name: str, start: int, end: int) -> Cents:
        pieces = []
        for part in self._parts:
            a, b = max(start - part.start, 0), min(end - part.start, len(part.cents))
            if a < b:
                pieces.append(getattr(part, name)[a:b])
        return np.concatenate(pieces) if pieces else np.empty(0)


def _range(expectation: Expectation) -> tuple[float, float]:
    """Lowest and highest pitch that the attempt is made of."""
    wanted = (expectation.departure, expectation.arrival, expectation.guide)
    pitches = [target.hz for target in wanted if isinstance(target, Target)]
    return min(pitches), max(pitches)


def usable(sample_rate_hz: float, highest_hz: float) -> bool:
    """Whether the rate is in range and high enough to hear the highest note."""
    return LOWEST_RATE_HZ <= sample_rate_hz <= HIGHEST_RATE_HZ and highest_hz < 0.4 * sample_rate_hz


def _is_steady(cents: Cents) -> bool:
    """Whether the loudest part of a departure holds one pitch, vibrato allowed: a note and not talk."""
    heard = cents[np.isfinite(cents)]
    return len(heard) >= 80 and float(np.subtract(*np.percentile(heard, [75, 25]))) < 60.0


def _next_note(cents: Cents, landing: Landing) -> int | None:
    """Where the arrival note is left for another one, or None: what follows is no correction."""
    if landing.landing_cents is None or landing.window is None:
        return None
    after = landing.window[1]
    margin = NEW_FINGER_CENTS + (landing.vibrato.extent_cents if landing.vibrato else 0.0)
    low, high = min(landing.landing_cents, 0.0) - margin, max(landing.landing_cents, 0.0) + margin
    tail = smooth(cents[after:], 8.0)
    with np.errstate(invalid="ignore"):
        away = (tail < low) | (tail > high)
    if not away.any():
        return None
    gone = int(away.argmax())
    speed = np.abs(np.gradient(tail[: gone + 1])) * 1000.0 if gone > 0 else np.zeros(1)
    with np.errstate(invalid="ignore"):
        slow = np.flatnonzero(speed < 100.0)
    return after + (int(slow[-1]) if len(slow) else 0)


def judge_take(samples: Samples, sample_rate_hz: float, expectation: Expectation) -> tuple[Attempt, ...]:
    """Every attempt at the expected shift in a take, judged. ``samples`` mono float32, ±1 full scale."""
    listener = Listener(expectation, sample_rate_hz, live=False)
    events: list[Event] = []
    for a in range(0, len(samples), FILE_BLOCK):
        events += listener.feed(samples[a : a + FILE_BLOCK])
    events += listener.finish()
    return tuple(event.attempt for event in events if isinstance(event, VerdictFinal))


__all__ = [
    "DepartureHeard",
    "Event",
    "LandingFinal",
    "Listener",
    "PitchTrack",
    "SoundState",
    "VerdictFinal",
    "judge_take",
]
