"""Where in a long, untidy take somebody tries the shift.

An attempt is a departure note that is held, and then a pitch beyond half the interval. Everything else (tuning, talk,
other notes, a departure that is started again, the way back) opens none. The machine below reads zones, not pitches,
a run of equal zones at a time, so it does not matter how the contour is cut.

Conventions: milliseconds from the start of the take; ``up`` counts cents above the target in the direction of travel:
the departure is at −I, half-way at −I/2, the target at 0.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from truestop.listening.contour import Cents, voiced_runs

DEPARTURE_CENTS = 80.0
"""How far off its written pitch a departure may lie and still be that note."""
HELD_MS = 60
"""A departure shorter than this is a note on the way to something else."""
CONFIRMED_MS = 40
"""A zone counts from this length on: shorter ones are attacks and slips."""
RETURN_MS = 60
PAUSE_MS = 350
"""A longer silence between departure and arrival ends the attempt before it began; bow changes are shorter."""
COVER_MS = 4000
"""The same where the travel has a cover."""
SLIDE_MS = 2500
RELEASED_MS = 120
"""A longer silence ends the arrival note."""
SOUNDED_MS = 120
"""What sounded for less is the end of a slide: where a new bow may come, the arrival note is waited for."""
KEPT_MS = 6000
"""A departure note longer than this is only kept in part."""


class Zone(IntEnum):
    """Where a millisecond of the contour lies."""

    SILENT = 0
    DEPARTURE = 1
    BELOW = 2
    BEYOND = 3


@dataclass(frozen=True, slots=True)
class Begun:
    """An attempt whose arrival side has been reached at ``beyond``; its departure note began at ``start``."""

    start: int
    beyond: int


@dataclass(frozen=True, slots=True)
class Ended:
    """The attempt that was last begun is over; its arrival note was left or released at ``end``."""

    end: int


def zones(cents: Cents, interval_cents: float) -> NDArray[np.int8]:
    """The zone of every value of a contour in cents above the target."""
    up = -cents if interval_cents < 0 else cents
    wide = abs(interval_cents)
    claims = np.isfinite(up).view(np.int8) + 2 * (np.abs(up + wide) <= DEPARTURE_CENTS).view(np.int8)
    claims += 4 * (up > -0.5 * wide).view(np.int8)
    return np.asarray(_ZONES[claims])


_ZONES = np.array([Zone.SILENT, Zone.BELOW, Zone.SILENT, Zone.DEPARTURE, *[Zone.BEYOND] * 4], np.int8)
"""By what is claimed of a pitch: that it is heard, 1, that it lies near the departure, 2, beyond half-way, 4."""


class Segmenter:
    """Feed zones, get what begins and ends."""

    def __init__(self, *, silent_travel: bool = False, new_bow: bool = False) -> None:
        self._pause_ms = COVER_MS if silent_travel else PAUSE_MS
        self._silent_travel, self._new_bow = silent_travel, new_bow
        self._now = 0
        self._zone = Zone.SILENT
        self._since = 0
        self._note: int | None = None
        self._held = 0
        self._last_departure = 0
        self._open = False
        self._begun = 0
        self._left: int | None = None

    @property
    def now(self) -> int:
        """Milliseconds fed so far."""
        return self._now

    @property
    def left(self) -> int | None:
        """Since when the open attempt's arrival note has been away, perhaps for good; None while it sounds."""
        return self._left

    @property
    def needed_from(self) -> int:
        """The first millisecond that a later attempt may still ask for."""
        if self._note is None:
            return self._now - RETURN_MS - CONFIRMED_MS
        return max(self._note, self._now - KEPT_MS - self._pause_ms)

    def feed(self, zone: NDArray[np.int8]) -> list[Begun | Ended]:
        """What the next milliseconds, given as zones, begin and end."""
        found: list[Begun | Ended] = []
        left = zone.tobytes()
        while left:
            after = left.lstrip(left[:1])
            self._run(Zone(left[0]), len(left) - len(after), found)
            left = after
        return found

    def finish(self) -> list[Begun | Ended]:
        """The take is over."""
        if not self._open:
            return []
        self._open = False
        silent = self._zone is Zone.SILENT
        return [Ended(self._since if silent else self._now)]

    def _run(self, zone: Zone, length: int, found: list[Begun | Ended]) -> None:
        if zone is not self._zone:
            self._zone, self._since = zone, self._now
        before, self._now = self._now - self._since, self._now + length
        lasted = self._now - self._since
        if self._open:
            self._arriving(lasted, found)
        if not self._open:
            self._waiting(before, lasted, found)

    def _arriving(self, lasted: int, found: list[Begun | Ended]) -> None:
        """An attempt is open: it ends by a return below half-way or by silence."""
        if self._zone is Zone.BEYOND:
            if lasted >= CONFIRMED_MS:
                self._left = None
            return
        if self._left is None:
            self._left = self._since
        gone = self._now - self._left
        waits = self._new_bow and self._left - self._begun < SOUNDED_MS
        released = self._pause_ms if waits else RELEASED_MS
        limit = released if self._zone is Zone.SILENT else RETURN_MS
        if lasted >= limit or gone >= released:
            found.append(Ended(self._left))
            self._open, self._left = False, None
            self._note, self._held = None, 0

    def _waiting(self, before: int, lasted: int, found: list[Begun | Ended]) -> None:
        """No attempt is open: a held departure note is looked for, then the crossing of half-way."""
        if self._zone is Zone.DEPARTURE:
            self._depart(before, lasted)
        elif self._note is None:
            return
        elif self._zone is Zone.BEYOND and lasted >= CONFIRMED_MS:
            self._cross(found)
        elif self._now - self._last_departure > self._patience():
            self._note, self._held = None, 0

    def _patience(self) -> int:
        if self._silent_travel:
            return self._pause_ms + SLIDE_MS
        return self._pause_ms if self._zone is Zone.SILENT else SLIDE_MS

    def _depart(self, before: int, lasted: int) -> None:
        if self._note is None:
            self._note, self._held = self._since, 0
        self._held += lasted - before
        self._last_departure = self._now

    def _cross(self, found: list[Begun | Ended]) -> None:
        assert self._note is not None
        if self._held >= HELD_MS:
            found.append(Begun(max(self._note, self._since - KEPT_MS), self._since))
            self._open, self._begun = True, self._since
        elif not self._silent_travel:
            self._note, self._held = None, 0


def without_blips(cents: Cents, interval_cents: float, beyond: int) -> Cents:
    """The contour without what lies beyond half-way before ``beyond``: attacks and slips of the departure note."""
    cleaned = cents.copy()
    zone = zones(cents[:beyond], interval_cents)
    for a, b in voiced_runs(zone == Zone.BEYOND):
        cleaned[a:b] = np.nan
    return cleaned
