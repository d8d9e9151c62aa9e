"""A room's tail: how strong it is, and the pitch without it.

While the pitch moves, a room still sounds where it was. What of that tail lies near the harmonics that sound now pulls
the pitch back towards the past; what lies off them takes from the share of the sound that is on them, and so tells how
strong the tail is. In a dry room the share does not fall and the harmonics agree, and nothing is corrected.

Conventions: one value a frame; powers against the direct sound's; the tail falls exponentially, as diffuse sound does.
"""

from __future__ import annotations

import numpy as np

from truestop.listening.forgetting import Fading
from truestop.listening.frames import Floats, Frames, Plan, overlapping

TAIL_S = 0.05
"""Time in which the tail's power falls to 1/e: 0.7 s for 60 dB, a living room; a hall or a tiled one is not far off."""
HEARD_S = 0.2
"""Older sound is left out."""
MEMORY_S = 8.0
"""How long a room is remembered."""
STRONGEST = 1.5
PULL = 1.5
"""A tail pulls this much more than its power says, found on synthesised rooms."""
SPILT = 0.02
"""So much of a gliding tone lies beside its harmonics in a dry room, too."""
DISAGREEING_CENTS = 2.0
"""Standard error of frames from which harmonics disagree as in a room."""
DISAGREEING_S = 0.05
UNSURE = 0.3
"""How much must have been seen off the harmonics, in frames, before the tail is believed."""
LOUDER = 4.0
"""Most that past sound counts against the present one: a swelling note is no room."""
BLURRING_PER_S = 6.0
_REACH, _STEPS = 3.0, 300


class Tail:
    """Feed frames in order, get their pitch without the tail."""

    def __init__(self, plan: Plan) -> None:
        hop_s = plan.hop / plan.rate_hz
        self._past = max(1, int(HEARD_S / hop_s))
        falling = np.exp(-hop_s * np.arange(self._past, 0, -1) / TAIL_S)
        self._falling = falling / falling.sum()
        keep, soon = (float(np.exp(-hop_s / memory_s)) for memory_s in (MEMORY_S, DISAGREEING_S))
        self._usual, self._sums = Fading(keep), Fading(keep)
        self._disagreement = Fading(soon, weight=1.0 - soon)
        k = np.arange(1, plan.harmonics + 1)
        near = np.exp(-np.square(np.outer(np.arange(_STEPS + 1) / _STEPS * _REACH, k))).mean(axis=1)
        self._near = np.append(near[:-1], 0.0)
        self._onward = np.append(np.diff(near), 0.0)
        self._steps_s = 2.0 * np.pi * plan.sigma_s * _STEPS / _REACH
        self._hz = np.zeros(self._past)
        self._power = np.zeros(self._past)

    def feed(self, frames: Frames) -> Floats:
        """Fundamentals in Hz without the tail."""
        hz = np.concatenate((self._hz, frames.f0_hz))
        power = np.concatenate((self._power, 10.0 ** (0.1 * frames.level_db)))
        count = len(frames.f0_hz)
        self._hz, self._power = hz[count:], power[count:]
        past_hz, past_power = (overlapping(values[:-1], self._past) for values in (hz, power))
        apart = past_hz - frames.f0_hz[:, None]
        tail = self._falling * np.minimum(past_power / (power[self._past :, None] + 1e-12), LOUDER)
        near = tail * self._nearness(apart)
        strength = self._strength(frames, near.sum(axis=1), tail.sum(axis=1))
        most = 0.03 * frames.f0_hz
        pulled = np.minimum(np.maximum(np.vecdot(near, apart), -most), most)
        return np.asarray(frames.f0_hz - PULL * strength * pulled)

    def _nearness(self, apart: Floats) -> Floats:
        """How much of a tail that lies ``apart`` Hz off is on the harmonics, read off a table between its steps."""
        place = np.minimum(np.abs(apart) * self._steps_s, float(_STEPS))
        at = place.astype(np.intp)
        return np.asarray(self._near[at] + (place - at) * self._onward[at])

    def _strength(self, frames: Frames, near: Floats, whole: Floats) -> Floats:
        """The tail's power against the direct sound's: how much the share falls where the tail is off the pitch."""
        off = whole - near
        outside = 1.0 / np.maximum(frames.share, 0.2)
        still = np.square(np.square(np.maximum(1.0 - 2.0 * off, 0.0)))
        usual = self._usual.feed(np.array((still * outside, still)))
        excess = np.maximum(outside - usual[0] / np.maximum(usual[1], 1e-9) - SPILT, 0.0)
        excess = np.minimum(excess, 1.5) * (usual[1] > 1e-3)
        seen = np.maximum(off - excess * near, 0.2 * off)
        clear = 1.0 / (1.0 + np.square(frames.slope_per_s / BLURRING_PER_S))
        clear *= seen
        sums = self._sums.feed(np.array((clear * excess, clear * seen)))
        believed = np.square(np.square(np.maximum(self._disagreeing(frames), 1e-6)))
        believed /= believed + DISAGREEING_CENTS**4
        return np.asarray(believed * np.minimum(np.maximum(sums[0] / (sums[1] + UNSURE), 0.0), STRONGEST))

    def _disagreeing(self, frames: Frames) -> Floats:
        """Standard error of the frames in the last moments, in cents."""
        return np.asarray(self._disagreement.feed(np.minimum(frames.se_cents, 20.0)[None])[0])
