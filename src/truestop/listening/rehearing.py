"""A slide heard a second time, as a whole, for when the hand left and when it arrived, and for its line.

In a room, which lingering.py tells, the tail of the old note holds the tracker back, by 20 ms in the median. The
landing itself stays the tracker's, so that the number shown live does not change; why it is not read better from here
is in docs/accuracy.md.

Conventions: those of landing.py. The second hearing uses no sound later than SOUND_AFTER_MS after the rest or later
than the attempt: all of that has come when the verdict is made, whatever the blocks.
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from truestop.listening.contour import Cents, bridge
from truestop.listening.frames import Floats
from truestop.listening.gliding import Sound, Steps
from truestop.listening.landing import Landing, measure_landing
from truestop.listening.lingering import in_room
from truestop.listening.refining import refining
from truestop.listening.resting import Travel
from truestop.listening.turning import Kept

BEFORE_MS = 100
AFTER_MS = 140
"""So much of the contour is taken before the leaving and after the rest."""
SOUND_AFTER_MS = 174
"""So much of the sound after the rest, where the attempt lasts so long."""
LONGEST_MS = 1400
LOST_MS = 120
"""A pitch that is lost for no longer in the slide, as tails cross it, is found again: glides are told by the ends."""
JOIN_MS = 8
SAME_CENTS = 8.0
"""Two hearings of one rest lie no further apart."""
SIGMA_MS = 4.5
"""What the second hearing has smoothed, its windows following the slope: with this synthesised slides in rooms arrive
neither too soon nor too late."""


class Slide(NamedTuple):
    """The line of a slide as it was heard again, cents from ms ``at`` of the contour on."""

    at: int
    cents: Cents

    def laid_in(self, contour: Cents) -> Cents:
        """``contour`` with the slide in it, faded over at both ends."""
        whole, part = contour.copy(), slice(self.at, self.at + len(self.cents))
        fade = np.minimum(np.arange(1, len(self.cents) + 1), np.arange(len(self.cents), 0, -1)) / (JOIN_MS + 1.0)
        old = bridge(contour, LOST_MS)[part]
        whole[part] = old + np.minimum(fade, 1.0) * (self.cents - old)
        return whole


def line_of_slide(cents: Cents, landing: Landing) -> Slide | None:
    """``cents`` while the finger travels to ``landing``; None where it is not known when, or next to no time."""
    if landing.leaving is None or landing.arrival is None or landing.arrival - landing.leaving < JOIN_MS:
        return None
    begin = max(int(landing.leaving) - JOIN_MS, 0)
    return Slide(begin, cents[begin : int(landing.arrival) + JOIN_MS])


class Paths:
    """Refines paths and keeps the last one: what is worked out before the verdict is due needs no more time then."""

    def __init__(self) -> None:
        self._of: tuple[int, int, bytes] | None = None
        self._steps: Steps[tuple[int, Floats]] | None = None
        self._found: tuple[int, Floats] = 0, np.empty(0)

    def begin(self, path_hz: Floats, begin_ms: int, end_ms: int, sound: Kept) -> None:
        """Set about a path, unless it is the last one: it begins at ``begin_ms`` of the take, the sound is taken up to
        ``end_ms``."""
        heard = Sound.of(sound, begin_ms, end_ms, begin_ms)
        of = (begin_ms, len(heard.samples), path_hz.tobytes())
        if of != self._of:
            self._of, self._steps = of, refining(path_hz, heard)

    def step(self) -> bool:
        """Do a part of what is left; whether there is more."""
        if self._steps is not None:
            try:
                next(self._steps)
            except StopIteration as end:
                self._found, self._steps = end.value, None
        return self._steps is not None

    def refine(self, path_hz: Floats, begin_ms: int, end_ms: int, sound: Kept) -> tuple[int, Floats]:
        """As ``refining.refine_path``, of what ``begin`` is given."""
        self.begin(path_hz, begin_ms, end_ms, sound)
        while self.step():
            pass
        return self._found


class Stretch(NamedTuple):
    """What is heard again: from where of the contour on, up to where of the sound, and the path so far, in Hz."""

    begin: int
    sound_end: int
    path_hz: Floats


def set_about(
    cents: Cents, travel: Travel, first: Landing, start_ms: int, target_hz: float, sound: Kept, paths: Paths
) -> None:
    """Begin with what ``hear_again`` will ask of ``paths``."""
    stretch = _stretch(cents, travel, first, start_ms, target_hz, sound)
    if stretch is not None:
        paths.begin(stretch.path_hz, start_ms + stretch.begin, start_ms + stretch.sound_end, sound)


def hear_again(
    cents: Cents, travel: Travel, first: Landing, start_ms: int, target_hz: float, sound: Kept, paths: Paths
) -> tuple[Landing, Slide | None]:
    """``first``, in a room with the times of the better line, and that line up to where the landing is read.

    ``cents`` begins at ``start_ms`` of the take.
    """
    stretch = _stretch(cents, travel, first, start_ms, target_hz, sound)
    if stretch is None:
        return first, None
    at, path = paths.refine(stretch.path_hz, start_ms + stretch.begin, start_ms + stretch.sound_end, sound)
    if len(path) <= 2 * JOIN_MS:
        return first, None
    slide = Slide(stretch.begin + at, 1200.0 * np.log2(path / target_hz))
    second = measure_landing(slide.laid_in(cents), replace(travel, smoothing_ms=SIGMA_MS))
    if not _agree(first, second):
        return first, None
    again = replace(
        first, leaving=second.leaving, arrival=second.arrival, stops=second.stops, reversals=second.reversals
    )
    return again, _before_landing(slide, first)


def _stretch(
    cents: Cents, travel: Travel, first: Landing, start_ms: int, target_hz: float, sound: Kept
) -> Stretch | None:
    """What is heard again; None where it is not worth it."""
    if first.rest is None or first.leaving is None:
        return None
    begin, end = max(int(first.leaving) - BEFORE_MS, 0), first.rest + AFTER_MS
    heard = bridge(cents[begin:end], LOST_MS)
    if end - begin > LONGEST_MS or end > len(cents) or not np.isfinite(heard).all():
        return None
    if not in_room(cents, travel, first, start_ms, target_hz, sound):
        return None
    path_hz = target_hz * np.exp2(heard / 1200.0)
    return Stretch(begin, min(first.rest + SOUND_AFTER_MS, len(cents)), path_hz)


def _before_landing(slide: Slide, first: Landing) -> Slide | None:
    """The slide up to the window of the landing, which is the tracker's; None where next to nothing lies before it."""
    assert first.window is not None
    length = first.window[0] - slide.at
    return Slide(slide.at, slide.cents[:length]) if length > 2 * JOIN_MS else None


def _agree(first: Landing, second: Landing) -> bool:
    """Whether both hearings speak of the same rest."""
    if first.landing_cents is None or second.landing_cents is None or second.leaving is None:
        return False
    return abs(second.landing_cents - first.landing_cents) <= SAME_CENTS
