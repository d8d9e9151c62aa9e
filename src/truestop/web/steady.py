"""Notes that are held: sung, hummed, settled, or open strings; each told once, when it has stood long enough.

Conventions: Hz and seconds from the start of the take. A held note is a stretch in which the pitch stays within
``BAND_CENTS`` of its own median, vibrato included; its pitch is that median, its error the usual one of a median.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import log2, sqrt

import numpy as np

from truestop.listening.frames import Plan, Samples
from truestop.listening.tracking import PitchTrack, Tracker

BAND_CENTS = 60.0
ONSET_S = 0.06
"""The beginning of a note is left out of its pitch."""
LONGEST_GAP_S = 0.06
LEAST_SHARE = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldNote:
    """A note that stood."""

    at_s: float
    hz: float
    se_cents: float
    held_s: float


@dataclass(slots=True)
class HeldNotes:
    """Finds held notes between two pitches; feed it blocks of any size."""

    sample_rate_hz: int
    low_hz: float
    high_hz: float
    hold_s: float
    """How long a note must stand before it is told."""
    _tracker: Tracker = field(init=False)
    _times_s: list[float] = field(init=False, default_factory=list)
    _octaves: list[float] = field(init=False, default_factory=list)
    _told: bool = field(init=False, default=False)
    latest: tuple[float, float] | None = field(init=False, default=None)
    """Time and pitch of the last frame in which a pitch was heard."""

    def __post_init__(self) -> None:
        self._tracker = Tracker(Plan(self.sample_rate_hz, self.low_hz, self.high_hz))

    def feed(self, samples: Samples) -> list[HeldNote]:
        """Held notes that became sure with ``samples``."""
        return self._take(self._tracker.feed(samples))

    def finish(self) -> list[HeldNote]:
        """Held notes that became sure at the end."""
        return self._take(self._tracker.finish())

    def _take(self, track: PitchTrack) -> list[HeldNote]:
        found = []
        for time_s, hz, share in zip(track.times_s, track.f0_hz, track.share, strict=True):
            if not np.isfinite(hz) or share < LEAST_SHARE:
                continue
            self.latest = (float(time_s), float(hz))
            note = self._add(float(time_s), log2(float(hz)))
            if note is not None:
                found.append(note)
        return found

    def _add(self, time_s: float, octaves: float) -> HeldNote | None:
        gap = bool(self._times_s) and time_s - self._times_s[-1] > LONGEST_GAP_S
        moved = bool(self._octaves) and abs(octaves - float(np.median(self._octaves[-40:]))) * 1200.0 > BAND_CENTS
        if gap or moved:
            self._times_s, self._octaves, self._told = [], [], False
        self._times_s.append(time_s)
        self._octaves.append(octaves)
        held_s = time_s - self._times_s[0]
        if self._told or held_s < self.hold_s + ONSET_S:
            return None
        self._told = True
        return self._measure(held_s)

    def _measure(self, held_s: float) -> HeldNote:
        first = int(np.searchsorted(np.asarray(self._times_s), self._times_s[0] + ONSET_S))
        steady = np.asarray(self._octaves[first:])
        middle = float(np.median(steady))
        scatter = 1.4826 * float(np.median(np.abs(steady - middle))) * 1200.0
        return HeldNote(
            at_s=self._times_s[0],
            hz=2.0**middle,
            held_s=held_s,
            se_cents=1.25 * scatter / sqrt(max(1, steady.size / 4)),
        )
