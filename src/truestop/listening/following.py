"""Where a whole performance is in the written line: free tempo, stumbles, repeats and skipped bars.

A hidden Markov model over the written notes, read every ``FRAME_S``: a note may last, give way to the next, or, at a
price, to any other. The most likely path (Viterbi 1967) says which note sounds when; onsets are then read off the
pitch contour by the 10-cent band that also defines an arrival.

Conventions: seconds from the start of the take; pitches in Hz; beats are quarter notes. A *passing* is one stretch in
which the performance goes through the line without a jump.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from truestop.domain.run import WrittenNote
from truestop.listening.contour import voiced_runs
from truestop.listening.frames import Floats, Plan, Samples
from truestop.listening.tracking import FRAMES_FILE, PitchTrack, Tracker

FRAME_S = 0.012
NEAR_CENTS = 60.0
"""How far off a written pitch still speaks for that note."""
FAR_COST = 6.0
MISTAKEN_RATIOS, MISTAKEN_COST = (3.0, 2.0, 0.5), 0.2
SILENCE_IN_NOTE, LASTING_SILENCE_IN_NOTE = 0.9, 0.15
"""Silence in a note costs less from where it is a pause on: a player stopped to begin again."""
PAUSE_FRAMES, PAUSE_WORTH, PAUSE_HOLDS_FRAMES = 10, 10.0, 3
"""A silence of so many frames is a pause; a jump costs so much less in it and for some frames after it."""
SOUND_IN_REST = 2.5
JUMP_COST = 50.0
"""Going anywhere but on: about a tenth of a second of wrong pitches, or most of a second a semitone off."""
RETURN_COST, RETURN_NOTES = 46.0, 31
"""Going back by at most so many notes, as players mostly do. This and the next decide where pitches leave open which of
two like places was gone back to."""
INTO_BAR_COST, OUT_OF_BAR_COST = 5.0, 3.0
"""More where a jump leads into the middle of a bar, or leaves one before it is over."""
BEGIN_COST = 5.0
"""Beginning anywhere but at the beginning."""
SKIP_COST = 30.0
"""Leaving out one note."""
NEXT_COST = 1.0
LEAST_FRAMES, MOST_LEAST_FRAMES, LEAST_SHARE = 3, 12, 0.35
"""A written note lasts at least so many frames, and this share of its length at the performance's own tempo."""
_NEXT, _SKIP, _JUMP, _STAYED, _BACK = 1, 2, 3, 4, 8
"""How a note was come to, in one byte: the way, whether it was stayed in, and how many notes a return went back."""
BAND_CENTS = 10.0
LEAST_NOTE_S = 0.03
LEAST_SILENCE_S, BEFORE_S = 0.03, 0.4
"""Silences of a note: no shorter, and so much before its start."""
FRAMES_AT_ONCE = 4096


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
    silences_s: tuple[tuple[float, float], ...] = ()
    """Where nothing is heard, from shortly before it to its end; no shorter silences than ``LEAST_SILENCE_S``."""


def follow(blocks: Iterable[Samples], sample_rate_hz: float, line: Sequence[WrittenNote]) -> tuple[PlayedNote, ...]:
    """The played notes of a performance that comes in blocks, in time order; rests are left out.

    Empty where the line is not heard.
    """
    if not line:
        return ()
    cents = _on_grid(_track(blocks, sample_rate_hz, line))
    if not len(cents):
        return ()
    path = _align(cents, line)
    return tuple(_played(path, cents, line))


def _track(blocks: Iterable[Samples], sample_rate_hz: float, line: Sequence[WrittenNote]) -> PitchTrack:
    sounding = [hz for note in line for hz in note.hz]
    tracker = Tracker(Plan(sample_rate_hz, min(sounding), max(sounding)), frames_at_once=FRAMES_FILE)
    parts = [tracker.feed(block) for block in blocks]
    return PitchTrack.joined([*parts, tracker.finish()])


def _on_grid(track: PitchTrack) -> Floats:
    """Absolute cents (of 1 Hz) every ``FRAME_S``, NaN where no pitch is heard."""
    if not len(track):
        return np.empty(0)
    count = int(track.times_s[-1] / FRAME_S) + 1
    nearest = np.clip(np.searchsorted(track.times_s, np.arange(count) * FRAME_S), 0, len(track) - 1)
    return np.asarray(1200.0 * np.log2(track.f0_hz[nearest]))


def _align(cents: Floats, line: Sequence[WrittenNote]) -> NDArray[np.int32]:
    """For every frame the index of the note that sounds; twice, since the first path tells how fast it was played."""
    moves = _moves(line)
    pauses = _pauses(cents)
    path = _most_likely(_frame_costs(cents, line), moves, np.full(len(line), LEAST_FRAMES), pauses)
    quarter_s = _quarter_s(path, line)
    if quarter_s is None:
        return path
    beats = np.array([note.duration_beats if note.hz else 0.0 for note in line])
    least = np.clip(np.rint(LEAST_SHARE * beats * quarter_s / FRAME_S).astype(int), LEAST_FRAMES, MOST_LEAST_FRAMES)
    return _most_likely(_frame_costs(cents, line), moves, least, pauses)


def _quarter_s(path: NDArray[np.int32], line: Sequence[WrittenNote]) -> float | None:
    """How long a quarter note mostly lasts on a path; None without notes of any length."""
    edges = [0, *(int(edge) + 1 for edge in np.flatnonzero(np.diff(path))), len(path)]
    lengths = [
        (end - start) * FRAME_S / line[path[start]].duration_beats
        for start, end in pairwise(edges)
        if line[path[start]].hz and line[path[start]].duration_beats > 0 and end - start > LEAST_FRAMES
    ]
    return float(np.median(lengths)) if lengths else None


@dataclass(frozen=True, slots=True)
class Moves:
    """What it costs to enter each note other than from the one before it, or to leave it other than for the next."""

    skip: Floats
    """From the one before the last."""
    enter: Floats
    """By a jump, beside what the jump costs."""
    leave: Floats


def _most_likely(
    costs: Iterator[Floats], moves: Moves, least: NDArray[np.int_], pauses: NDArray[np.bool_]
) -> NDArray[np.int32]:
    """Viterbi's path. Note j lasts at least ``least[j]`` frames: else running through several notes would be cheaper
    than a jump. It has as many states in a row; from the last the path stays, goes on, leaves a note out, or jumps."""
    notes, frames = len(least), len(pauses)
    states, own = int(least.max()), np.arange(notes)
    first = states - least
    total = np.full((states, notes), np.inf)
    total[first, own] = next(costs) + (BEGIN_COST + moves.enter) * (own > 0)
    came = np.zeros((frames, notes), np.uint8)
    sources = np.zeros(frames, np.int32)
    for frame, cost in enumerate(costs, 1):
        last = total[-1]
        leaving = last + moves.leave
        source = int(leaving.argmin())
        back, returning = _cheapest_return(leaving)
        jump = leaving[source] + JUMP_COST
        back[jump <= returning] = 0
        entries = np.full((4, notes), np.inf)
        entries[_NEXT, 1:] = last[:-1] + NEXT_COST
        entries[_SKIP, 2:] = last[:-2] + moves.skip[2:]
        entries[_JUMP] = np.minimum(returning, jump) + moves.enter - PAUSE_WORTH * pauses[frame]
        way = entries.argmin(axis=0)
        moved = np.concatenate([np.full((1, notes), np.inf), total[:-1]])
        moved[first, own] = entries[way, own]
        stays = last < moved[-1]
        moved[-1] = np.where(stays, last, moved[-1])
        came[frame], sources[frame] = way + _STAYED * stays + _BACK * back, source
        total = moved + cost
    return _walk_back(total, first, came, sources)


def _cheapest_return(leaving: Floats) -> tuple[NDArray[np.int_], Floats]:
    """For every note how many notes further on the cheapest return to it sets out, and what it costs."""
    beyond = np.concatenate([leaving[1:], np.full(RETURN_NOTES, np.inf)])
    reach = np.lib.stride_tricks.sliding_window_view(beyond, RETURN_NOTES)
    back = reach.argmin(axis=1)
    return back + 1, reach[np.arange(len(leaving)), back] + RETURN_COST


def _skip_costs(line: Sequence[WrittenNote]) -> Floats:
    """What it costs to enter each note from the one before the last: little over a rest, which players shorten."""
    rests = np.array([not note.hz for note in line])
    costs = np.full(len(line), SKIP_COST)
    costs[1:][rests[:-1]] = NEXT_COST
    return costs


def _moves(line: Sequence[WrittenNote]) -> Moves:
    """Jumps cost a little more into the middle of a bar, and out of it."""
    begins = np.array([note.begins_bar for note in line])
    ends = np.append(begins[1:], True)
    return Moves(skip=_skip_costs(line), enter=INTO_BAR_COST * ~begins, leave=OUT_OF_BAR_COST * ~ends)


def _walk_back(
    total: Floats, first: NDArray[np.int_], came: NDArray[np.uint8], sources: NDArray[np.int32]
) -> NDArray[np.int32]:
    last = len(total) - 1
    path = np.empty(len(came), np.int32)
    state, note = (int(at) for at in np.unravel_index(int(total.argmin()), total.shape))
    for frame in range(len(came) - 1, -1, -1):
        path[frame] = note
        if state == last and came[frame, note] & _STAYED:
            continue
        if state > first[note]:
            state -= 1
        elif frame:
            way, back = int(came[frame, note]) % _STAYED, int(came[frame, note]) // _BACK
            by_jump = note + back if back else int(sources[frame])
            note, state = by_jump if way == _JUMP else note - way, last
    return path


def _frame_costs(cents: Floats, line: Sequence[WrittenNote]) -> Iterator[Floats]:
    """Frame by frame the cost of every note: how far its pitch is off. Worked out for some frames at a time."""
    silence = _silence_costs(cents)
    for start in range(0, len(cents), FRAMES_AT_ONCE):
        part = slice(start, start + FRAMES_AT_ONCE)
        yield from _costs(cents[part], silence[part], line)


def _silence_costs(cents: Floats) -> Floats:
    """What every frame costs in a note where it is silent."""
    costs = np.full(len(cents), SILENCE_IN_NOTE)
    for start, end in voiced_runs(np.isnan(cents)):
        costs[start + PAUSE_FRAMES : end] = LASTING_SILENCE_IN_NOTE
    return costs


def _pauses(cents: Floats) -> NDArray[np.bool_]:
    """The frames in pauses and just after them."""
    found = np.zeros(len(cents), np.bool_)
    for start, end in voiced_runs(np.isnan(cents)):
        if end - start >= PAUSE_FRAMES:
            found[start : end + PAUSE_HOLDS_FRAMES] = True
    return found


def _costs(cents: Floats, silence: Floats, line: Sequence[WrittenNote]) -> Floats:
    costs = np.empty((len(cents), len(line)))
    silent = np.isnan(cents)
    known: dict[tuple[float, ...], Floats] = {}
    for column, note in enumerate(line):
        if not note.hz:
            costs[:, column] = np.where(silent, 0.0, SOUND_IN_REST)
            continue
        if note.hz not in known:
            misses = [_miss(_off(cents, hz)) for hz in note.hz]
            known[note.hz] = np.where(silent, silence, np.min(misses, axis=0))
        costs[:, column] = known[note.hz]
    return costs


def _off(cents: Floats, hz: float) -> tuple[Floats, Floats]:
    """Cents off the note, and the price where the frame is a strong partial of it, or the note one of the frame's:
    over the range of a whole passage a tracker may take a low note's twelfth for it."""
    plain = cents - 1200.0 * np.log2(hz)
    off, price = plain, np.zeros_like(plain)
    for ratio in MISTAKEN_RATIOS:
        other = plain - 1200.0 * np.log2(ratio)
        nearer = np.abs(other) < np.minimum(np.abs(off), NEAR_CENTS)
        off, price = np.where(nearer, other, off), np.where(nearer, MISTAKEN_COST, price)
    return off, price


def _miss(off_and_price: tuple[Floats, Floats]) -> Floats:
    off, price = off_and_price
    return np.asarray(np.minimum(0.5 * (off / NEAR_CENTS) ** 2 + price, FAR_COST))


def _played(path: NDArray[np.int32], cents: Floats, line: Sequence[WrittenNote]) -> list[PlayedNote]:
    edges = [0, *(int(edge) + 1 for edge in np.flatnonzero(np.diff(path))), len(path)]
    found: list[PlayedNote] = []
    passing, before = 0, -1
    silences_s = _silences_s(cents)
    for start, end in pairwise(edges):
        index = int(path[start])
        if before >= 0 and not 0 < index - before <= 2:
            passing += 1
        before = index
        note = line[index]
        if not note.hz or (end - start) * FRAME_S < LEAST_NOTE_S:
            continue
        near = (start * FRAME_S - BEFORE_S, end * FRAME_S)
        silent = tuple(one for one in silences_s if one[0] < near[1] and one[1] > near[0])
        found.append(replace(_measure(note, index, passing, cents[start:end], start), silences_s=silent))
    return [note for note in found if note.cents is not None]


def _silences_s(cents: Floats) -> list[tuple[float, float]]:
    silent = [(start * FRAME_S, end * FRAME_S) for start, end in voiced_runs(np.isnan(cents))]
    return [(start_s, end_s) for start_s, end_s in silent if end_s - start_s >= LEAST_SILENCE_S]


def _measure(note: WrittenNote, index: int, passing: int, cents: Floats, start: int) -> PlayedNote:
    off = min((_off(cents, hz)[0] for hz in note.hz), key=lambda one: _middle(np.abs(one)))
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
