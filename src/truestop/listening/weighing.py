"""A landing in a room, read once more from harmonics that are weighed by what a room does to them.

The tail of the slide, and the note's own that is still growing, turn every harmonic by some hertz, each in its own way.
So the higher a harmonic, the better it knows the fundamental, and the tracker's least-squares period, which goes by
power, hears mostly the few low ones. Here the sound of the whole rest is turned back along all likely fundamentals,
and that one is taken along which the harmonics up to 8 kHz stand still best, in short windows. The longer it is read,
the less is left of the tail: up to the last moment whose sound has come when the landing is told. They add up as
logarithms of what does not stand still, weighed by the square root of their amplitude, because a recorded note's
harmonics disagree among themselves and its period is that of the strong ones: with no such weights recorded notes are
read worse, with steeper ones synthesised notes.
A landing under a vibrato is the centre that centring.py finds.

Conventions: those of landing.py. What is read has come when a plain landing is final, so that the number shown live is
the one that is kept.
"""

from __future__ import annotations

from dataclasses import replace
from math import ceil, hypot

import numpy as np

from truestop.listening.centring import find_centre
from truestop.listening.contour import Cents
from truestop.listening.frames import Floats
from truestop.listening.gliding import Sound
from truestop.listening.landing import Landing, steadiness
from truestop.listening.lingering import LIKELY, in_room
from truestop.listening.refining import standing
from truestop.listening.resting import LATE_VIBRATO_MS, LEAST_SE_CENTS, PROVEN_MS, REST_MS, Travel, prepare
from truestop.listening.settling import correction_of
from truestop.listening.turning import Kept, Turning, turn_of

RESTED_MS = 190
"""A note that sounds on is read up to so long after its rest began: its sound has come when a plain landing is told."""
RELEASED_MS = 130
"""Up to where a note is read that does not sound on so long."""
STILL_CENTS = 8.0
"""As long as the contour stays this near: less is what the tail does to it, more a turn."""
CREEPING, STILL_PER_S, SETTLED_MS = 500.0, 100.0, 20
"""A note that leaves its first rest, never faster than so many cents/s, and is slower than so many in the last ms that
are known, was not yet at rest before: a correction is faster, and hardly comes so soon."""
SOON_MS = 110
"""One that leaves it otherwise and so soon was a slide's end or a vibrato's turn that the tail made seem a rest."""
MOST_HARMONICS = 24
STILL_S = 0.04
"""Windows in which a harmonic stands still where there is no tail; a recorded one wanders over a longer time."""
LATER = 1.5
"""The tail dies away: the end of the rest counts e to this power times what its beginning does."""
LOUDNESS = 0.25
"""A harmonic counts by this power of its power."""
LEAST_REST = 0.02
"""Share of a harmonic's power that does not stand still below which less makes it no better."""
FINEST = 0.1
"""Steps in which the fundamental is looked for, against what the highest harmonic resolves."""
SE_FACTOR = 2.0
"""How much more than their scatter says the harmonics are off: they share the recording's own room, and the tail."""
FARTHEST_CENTS = 8.0
"""A reading further from the tracker's is of something else."""


def weigh_again(cents: Cents, travel: Travel, first: Landing, start_ms: int, target_hz: float, sound: Kept) -> Landing:
    """``first``, in a room with its landing read again. ``cents`` begins at ``start_ms`` of the take."""
    if first.window is None or first.landing_cents is None or first.rest is None:
        return first
    if not in_room(cents, travel, first, start_ms, target_hz, sound, LIKELY):
        return first
    if first.window[0] == first.rest:  # its landing is the mean of a vibrato's cycles
        centre = find_centre(cents, first.window, start_ms, target_hz, sound)
        return first if centre is None else _centred(first, travel, centre - first.landing_cents)
    place = where_read(cents, travel, first)
    if place is None:
        return replace(first, reason="unsteady")
    begin, end, near_cents = place
    hz = target_hz * 2.0 ** (near_cents / 1200.0)
    beside = int(1200.0 / hz) + 4
    begin -= beside
    rest = Sound.of(sound, start_ms + begin, start_ms + end + beside, start_ms + begin)
    question = (start_ms + begin, len(rest.samples), hz, end - begin)
    read = sound.recall("stands still", question, lambda: _read(rest, hz, end - begin, beside))
    if read is None or not abs(read[0]) <= FARTHEST_CENTS:
        return first
    moved = _moved(first, travel, near_cents + read[0] - first.landing_cents, SE_FACTOR * read[1])
    return replace(moved, reason=steadiness(moved))


def _read(rest: Sound, hz: float, length_ms: int, beside: int) -> tuple[float, float] | None:
    """How many cents above ``hz`` the note at rest lies, and the standard error; None where too little is heard. It is
    read from ``beside`` ms to ``length_ms``, with as much beside on both sides."""
    voices, ms = standing(np.full(length_ms + beside, hz), rest, rest.harmonics_of(hz, MOST_HARMONICS), 0.9 * hz)
    inside = (ms >= beside) & (ms < length_ms)
    if np.count_nonzero(inside) < 8:
        return None
    within_hz = hz * (2.0 ** (FARTHEST_CENTS / 1200.0) - 1.0)
    off_hz, se_hz = common_offset(voices[:, inside], ms[inside] / 1000.0, within_hz)
    return float(1200.0 * np.log2(1.0 + off_hz / hz)), float(1200.0 * np.log2(1.0 + se_hz / hz))


def where_read(cents: Cents, travel: Travel, first: Landing) -> tuple[int, int, float] | None:
    """From where to where the note that came to rest is read, and near which pitch; None where it hardly rested.

    Only what is known when it is told may decide.
    """
    assert first.window is not None
    assert first.rest is not None
    assert first.landing_cents is not None
    heard, known = prepare(cents, travel), first.rest + LATE_VIBRATO_MS
    on = cents[known : known + PROVEN_MS]
    sounds_on = len(on) == PROVEN_MS and bool(np.isfinite(on).all())
    end = known if sounds_on else min(first.rest + RELEASED_MS, heard.end)
    begin = min(first.rest + REST_MS, end)
    with np.errstate(invalid="ignore"):
        moved = ~(np.abs(heard.heavy[begin:end] - first.landing_cents) <= STILL_CENTS)
    if not moved.any():
        return first.window[0], first.rest + RESTED_MS if sounds_on else end, first.landing_cents
    gone = begin + int(moved.argmax())
    if sounds_on:
        settled = _settled(heard.heavy[first.window[0] : known], known - gone)
        if settled is not None:
            return gone, first.rest + RESTED_MS, settled
        if gone < first.rest + SOON_MS and moved[-SETTLED_MS:].all():
            return None
    return first.window[0], max(gone, min(first.window[1], end)), first.landing_cents


def _settled(cents: Cents, since: int) -> float | None:
    """The pitch on which a note comes to rest that was not yet at rest: a slow end of the slide, an overshoot's."""
    speed = 1000.0 * np.abs(np.gradient(cents))
    slow = speed.max() <= CREEPING and speed[-SETTLED_MS:].mean() <= STILL_PER_S  # never where the pitch was lost
    if since < SETTLED_MS or not slow:
        return None
    return float(np.median(cents[-SETTLED_MS:]))


def common_offset(voices: Turning, time_s: Floats, within_hz: float) -> tuple[float, float]:
    """How far in Hz the fundamental lies above the one turned back to, and its standard error.

    It is looked for up to ``within_hz`` and a little more. The error is what the harmonics' own slopes there leave
    open, as of an estimate by many votes (Huber 1964, from memory).
    """
    bells, weights = _windows(time_s)
    power = np.square(np.abs(voices))
    whole = power @ bells @ weights + 1e-30
    loud = power.mean(axis=1) ** LOUDNESS
    step = FINEST / (len(voices) * STILL_S)
    count = ceil(within_hz / step) + 2
    offsets = np.arange(-count, count + 1) * step
    back = turn_of(-offsets[:, None] * (time_s - time_s.mean()))
    turned, says = back, np.empty((len(voices), len(offsets)))
    for at, voice in enumerate(voices):
        turned = turned * back if at else back
        sums = turned @ (voice[:, None] * bells).astype(np.complex64)
        still = (np.square(sums.real) + np.square(sums.imag)) @ weights / whole[at]
        says[at] = -loud[at] * np.log(LEAST_REST + np.maximum(1.0 - still, 0.0))
    return _most_likely(offsets.astype(np.float64), says)


def _windows(time_s: Floats) -> tuple[Floats, Floats]:
    """Bells of ``STILL_S`` all over the rest, one a column, and what each counts, later ones more."""
    length = min(STILL_S, float(time_s[-1] - time_s[0]))
    first, last = time_s[0] + 0.35 * length, time_s[-1] - 0.35 * length
    places = np.linspace(first, last, max(1, round((last - first) / (0.25 * length)) + 1))
    bells = np.square(np.cos(np.pi * np.clip((time_s[:, None] - places) / length, -0.5, 0.5)))
    return bells / bells.sum(axis=0), np.exp(np.linspace(0.0, LATER, len(places)))


def _most_likely(offsets: Floats, says: Floats) -> tuple[float, float]:
    """The offset at which the rows of ``says`` add up to most, read by a parabola, and its standard error."""
    total = says.sum(axis=0)
    at, step = int(np.clip(total.argmax(), 1, len(total) - 2)), float(offsets[1] - offsets[0])
    left, middle, right = total[at - 1 : at + 2].tolist()
    bend = min(left - 2.0 * middle + right, -1e-12)
    between = min(max(0.5 * (left - right) / bend, -0.5), 0.5)
    one, two, three = says[:, at - 1], says[:, at], says[:, at + 1]
    slopes = 0.5 * (three - one) + between * (one - 2.0 * two + three)
    return float(offsets[at] + step * between), step * float(np.sqrt(np.square(slopes).sum())) / -bend


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
