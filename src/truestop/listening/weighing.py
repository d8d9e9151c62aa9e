"""A landing in a room, read once more from harmonics that are weighed by what a room does to them.

The tail of the slide, and the note's own that is still growing, turn every harmonic by some hertz, each in its own way.
So the higher a harmonic, the better it knows the fundamental, and the tracker's least-squares period, which goes by
power, hears mostly the few low ones. Here every harmonic up to 8 kHz is read over the whole rest at once, as the
frequency at which it is strongest, and counts by the square of its number, by its amplitude, and the less the more of
it is left beside that frequency. Amplitude, because a recorded note's harmonics disagree among themselves and its
period is that of the strong ones: with none of it recorded notes are read worse, with power synthesised ones.
A landing under a vibrato is the centre that centring.py finds.

Conventions: those of landing.py. What is read has come when a plain landing is final, so that the number shown live is
the one that is kept.
"""

from __future__ import annotations

from dataclasses import replace
from math import hypot

import numpy as np

from truestop.listening.centring import centre_in_room
from truestop.listening.contour import Cents
from truestop.listening.frames import Floats
from truestop.listening.gliding import HIGHEST_HZ, Sound
from truestop.listening.landing import Landing
from truestop.listening.lingering import in_room
from truestop.listening.refining import standing
from truestop.listening.resting import LEAST_SE_CENTS, REST_MS, Travel, prepare
from truestop.listening.settling import correction_of
from truestop.listening.turning import Kept, Turning

RESTED_MS = 130
"""The note is read up to so long after its rest began; a plain landing is final 30 ms later."""
STILL_CENTS = 8.0
"""As long as the contour stays this near: less is what the tail does to it, more a turn."""
MOST_HARMONICS = 24
WIDE_HZ, STEPS = 12.0, 96
"""How far off the pitch found so far a harmonic is looked for, and the steps on either side."""
PASSES = 3
LATER = 1.0
"""The tail dies away: the end of the rest counts e times what its beginning does."""
LEAST_REST = 0.1
"""Share of a harmonic's power beside its frequency below which less makes it no better."""
SE_FACTOR = 2.0
"""How much more than their scatter says the harmonics are off: they share the recording's own room, and the tail."""
FARTHEST_CENTS = 8.0
"""A reading further from the tracker's is of something else."""


def weigh_again(cents: Cents, travel: Travel, first: Landing, start_ms: int, target_hz: float, sound: Kept) -> Landing:
    """``first``, in a room with its landing read again. ``cents`` begins at ``start_ms`` of the take."""
    if first.window is None or first.landing_cents is None or first.rest is None:
        return first
    if not in_room(cents, travel, first, start_ms, target_hz, sound):
        return first
    if first.window[0] == first.rest:  # its landing is the mean of a vibrato's cycles
        centre = centre_in_room(cents, first.window, start_ms, target_hz, sound)
        return first if centre is None else _centred(first, travel, centre - first.landing_cents)
    end = _rests_until(cents, travel, first.rest, first.window[1], first.landing_cents)
    hz = target_hz * 2.0 ** (first.landing_cents / 1200.0)
    beside = int(1200.0 / hz) + 4
    begin = first.window[0] - beside
    first_s, samples = sound.cut((start_ms + begin) / 1000.0, (start_ms + end + beside) / 1000.0)
    path = np.full(end + beside - begin, hz)
    harmonics = max(1, min(MOST_HARMONICS, int(min(HIGHEST_HZ, 0.45 * sound.sample_rate_hz) / hz)))
    rest = Sound(samples, sound.sample_rate_hz, 1000.0 * first_s - (start_ms + begin))
    voices, ms = standing(path, rest, harmonics, 0.9 * hz)
    inside = (ms >= beside) & (ms < len(path) - beside)
    if np.count_nonzero(inside) < 8:
        return first
    off_hz, se_hz = common_offset(voices[:, inside], ms[inside] / 1000.0)
    by_cents = 1200.0 * np.log2(1.0 + off_hz / hz)
    if not abs(by_cents) <= FARTHEST_CENTS:
        return first
    return _moved(first, travel, by_cents, SE_FACTOR * 1200.0 * np.log2(1.0 + se_hz / hz))


def _rests_until(cents: Cents, travel: Travel, rest: int, window_end: int, landing_cents: float) -> int:
    """Up to where the note that came to rest is read."""
    heard = prepare(cents, travel)
    end = min(rest + RESTED_MS, heard.end)
    begin = min(rest + REST_MS, end)
    with np.errstate(invalid="ignore"):
        moved = ~(np.abs(heard.heavy[begin:end] - landing_cents) <= STILL_CENTS)
    return max(begin + int(moved.argmax()) if moved.any() else end, min(window_end, end))


def common_offset(voices: Turning, time_s: Floats) -> tuple[float, float]:
    """How far in Hz the fundamental lies above the one turned back to, and its standard error from the scatter."""
    time_s = time_s - time_s.mean()
    share = np.exp(LATER * (time_s - time_s[0]) / (time_s[-1] - time_s[0]))
    weighted = voices * (share / share.sum())
    whole = np.square(np.abs(voices)) @ (share / share.sum()) + 1e-30
    k = np.arange(1, len(voices) + 1.0)
    off_hz, se_hz = 0.0, 0.0
    for _ in range(PASSES):
        turned = weighted * np.exp(-2j * np.pi * off_hz * k[:, None] * time_s)
        beside_hz, power = _strongest(turned, time_s)
        weight = k * k * np.sqrt(power) / (LEAST_REST + np.maximum(1.0 - power / whole, 0.0))
        weight /= weight.sum() + 1e-30
        says = off_hz + beside_hz / k
        off_hz = float(weight @ says)
        se_hz = float(np.sqrt(np.square(weight) @ np.square(says - off_hz)))
    return off_hz, se_hz


def _strongest(weighted: Floats, time_s: Floats) -> tuple[Floats, Floats]:
    """Where each voice is strongest within ``WIDE_HZ`` of standing still, read by a parabola, and its power there."""
    step = WIDE_HZ / STEPS
    hz = np.arange(-STEPS, STEPS + 1) * step
    sums = weighted @ np.exp(-2j * np.pi * time_s[:, None] * hz)
    powers = np.square(sums.real) + np.square(sums.imag)
    at, row = np.clip(powers.argmax(axis=1), 1, 2 * STEPS - 1), np.arange(len(powers))
    left, middle, right = (powers[row, at + side] for side in (-1, 0, 1))
    between = np.clip(0.5 * (left - right) / np.minimum(left - 2.0 * middle + right, -1e-30), -0.5, 0.5)
    return np.asarray(hz[at] + step * between), np.asarray(middle)


def _centred(first: Landing, travel: Travel, by_cents: float) -> Landing:
    """The landing under a vibrato read ``by_cents`` higher.

    Where it settled is still the mean of cycles that the tail pulls; so a correction must show against both landings.
    """
    moved = _moved(first, travel, by_cents, first.landing_se_cents or 0.0)
    return moved if first.correction_cents else replace(moved, correction_cents=first.correction_cents, toward=False)


def _moved(first: Landing, travel: Travel, by_cents: float, se_cents: float) -> Landing:
    """The landing read ``by_cents`` higher, and what follows from it."""
    assert first.landing_cents is not None
    assert first.window is not None
    cents = first.landing_cents + by_cents
    se = max(LEAST_SE_CENTS, se_cents)
    settled_se = hypot(first.settled_se_cents or 0.0, travel.tracker_se(*first.window))
    correction, toward = correction_of(cents, se, first.settled_cents, settled_se)
    overshoot = first.overshoot_cents
    return replace(
        first,
        landing_cents=cents,
        landing_se_cents=se,
        correction_cents=correction,
        toward=toward,
        overshoot_cents=None if overshoot is None else max(0.0, overshoot - travel.sign * by_cents),
    )
