"""Where a whole performance is in the written line: free tempo, stumbles, repeats and skipped bars.

A hidden Markov model over the written notes, read every ``FRAME_S``: a note may last, give way to the next, or, at a
price, to any other. The most likely path (Viterbi 1967) says which note sounds when; onsets are then read off the
pitch contour by the 10-cent band that also defines an arrival.

Conventions: seconds from the start of the take; pitches in Hz; beats are quarter notes. A *passing* is one stretch in
which the performance goes through the line without a jump.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from truestop.listening.frames import Floats, Plan, Samples
from truestop.listening.tracking import FRAMES_FILE, PitchTrack, Tracker

FRAME_S = 0.012
NEAR_CENTS = 90.0
"""How far off a written pitch still speaks for that note."""
FAR_COST = 6.0
SILENCE_IN_NOTE = 0.9
SOUND_IN_REST = 2.5
JUMP_COST = 40.0
"""Going anywhere but on: about half a second of wrong pitches."""
SKIP_COST = 14.0
"""Leaving out one note."""
NEXT_COST = 1.0
BAND_CENTS = 10.0
LEAST_NOTE_S = 0.03
BLOCK_S = 30


@dataclass(frozen=True, slots=True, kw_only=True)
class WrittenNote:
    """One moment of the line: what sounds and for how long; ``hz`` is empty for a rest."""

    hz: tuple[float, ...]
    onset_beats: float
    duration_beats: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PlayedNote:
    """One written note as it was played. ``index`` into the line; ``passing`` counts the stretches without a jump."""

    index: int
    passing: int
    start_s: float
    end_s: float
    onset_s: float
    """Where its pitch is reached: within 10 cents of the pitch it keeps."""
    cents: float | None
    """Median above the written pitch, None where nothing was heard."""


def follow(samples: Samples, sample_rate_hz: float, line: Sequence[WrittenNote]) -> tuple[PlayedNote, ...]:
    """The played notes of a performance, in time order; rests are left out. Empty where the line is not heard."""
    if not line or not len(samples):
        return ()
    track = _track(samples, sample_rate_hz, line)
    cents = _on_grid(track)
    path = _align(cents, line)
    return tuple(_played(path, cents, line))


def _track(samples: Samples, sample_rate_hz: float, line: Sequence[WrittenNote]) -> PitchTrack:
    sounding = [hz for note in line for hz in note.hz]
    tracker = Tracker(Plan(sample_rate_hz, min(sounding), max(sounding)), frames_at_once=FRAMES_FILE)
    block = int(BLOCK_S * sample_rate_hz)
    parts = [tracker.feed(samples[start : start + block]) for start in range(0, len(samples), block)]
    return PitchTrack.joined([*parts, tracker.finish()])


def _on_grid(track: PitchTrack) -> Floats:
    """Absolute cents (of 1 Hz) every ``FRAME_S``, NaN where no pitch is heard."""
    if not len(track):
        return np.empty(0)
    count = int(track.times_s[-1] / FRAME_S) + 1
    nearest = np.clip(np.searchsorted(track.times_s, np.arange(count) * FRAME_S), 0, len(track) - 1)
    return np.asarray(1200.0 * np.log2(track.f0_hz[nearest]))


def _align(cents: Floats, line: Sequence[WrittenNote]) -> NDArray[np.int32]:
    """For every frame the index of the note that sounds (Viterbi); a free jump costs ``JUMP_COST``."""
    costs = _frame_costs(cents, line)
    frames, notes = costs.shape
    total = costs[0] + JUMP_COST * (np.arange(notes) > 0)
    back = np.empty((frames, notes), np.int32)
    own = np.arange(notes, dtype=np.int32)
    for frame in range(1, frames):
        best, came = total.copy(), own.copy()
        for steps, price in ((1, NEXT_COST), (2, SKIP_COST)):
            on = np.full(notes, np.inf)
            on[steps:] = total[:-steps] + price
            better = on < best
            best, came = np.where(better, on, best), np.where(better, own - steps, came)
        source = int(total.argmin())
        jump = total[source] + JUMP_COST
        better = jump < best
        total = np.where(better, jump, best) + costs[frame]
        back[frame] = np.where(better, source, came)
    path = np.empty(frames, np.int32)
    path[-1] = int(total.argmin())
    for frame in range(frames - 1, 0, -1):
        path[frame - 1] = back[frame, path[frame]]
    return path


def _frame_costs(cents: Floats, line: Sequence[WrittenNote]) -> Floats:
    """Cost of every frame in every note: how far its pitch is off; shape (frames, notes)."""
    costs = np.empty((len(cents), len(line)))
    silent = np.isnan(cents)
    for column, note in enumerate(line):
        if not note.hz:
            costs[:, column] = np.where(silent, 0.0, SOUND_IN_REST)
            continue
        off = np.min([np.abs(cents - 1200.0 * np.log2(hz)) for hz in note.hz], axis=0)
        costs[:, column] = np.where(silent, SILENCE_IN_NOTE, np.minimum(0.5 * (off / NEAR_CENTS) ** 2, FAR_COST))
    return costs


def _played(path: NDArray[np.int32], cents: Floats, line: Sequence[WrittenNote]) -> list[PlayedNote]:
    edges = [0, *(int(edge) + 1 for edge in np.flatnonzero(np.diff(path))), len(path)]
    found: list[PlayedNote] = []
    passing, before = 0, -1
    for start, end in pairwise(edges):
        index = int(path[start])
        if before >= 0 and not 0 < index - before <= 2:
            passing += 1
        before = index
        note = line[index]
        if not note.hz or (end - start) * FRAME_S < LEAST_NOTE_S:
            continue
        found.append(_measure(note, index, passing, cents[start:end], start))
    return [note for note in found if note.cents is not None]


def _measure(note: WrittenNote, index: int, passing: int, cents: Floats, start: int) -> PlayedNote:
    off = min((cents - 1200.0 * np.log2(hz) for hz in note.hz), key=lambda one: _middle(np.abs(one)))
    heard = np.isfinite(off) & (np.abs(off) < 2 * NEAR_CENTS)
    level = float(np.median(off[heard])) if heard.any() else None
    onset = 0
    if level is not None:
        within = np.flatnonzero(heard & (np.abs(off - level) <= 2 * BAND_CENTS))
        onset = int(within[0]) if len(within) else 0
    return PlayedNote(
        index=index,
        passing=passing,
        start_s=start * FRAME_S,
        end_s=(start + len(cents)) * FRAME_S,
        onset_s=(start + onset) * FRAME_S,
        cents=level,
    )


def _middle(values: Floats) -> float:
    heard = values[np.isfinite(values)]
    return float(np.median(heard)) if len(heard) else np.inf
