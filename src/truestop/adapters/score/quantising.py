"""From played times to written ones, without any notation to go by.

Conventions: times are quarter notes. Every beat gets the coarsest grid that its onsets fit within the tolerance; a note
lasts to the next onset unless it is clearly shorter. A fallback for MIDI files, not a transcription of a free
performance: the tempo must be in the file.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from math import floor

GRIDS = (1, 2, 4, 3, 6, 8, 5, 7)
"""Parts into which a beat may be divided, in the order they are tried."""
RARE_GRIDS = (5, 7)
"""Taken only where the onsets fit them, never as the nearest."""
TOLERANCE_BEATS = 0.06
"""How far an onset may lie from its grid before a finer one is tried."""
SHORT_SHARE = 0.8
"""A note that sounds less than this share of the time to the next onset is written short, with a rest."""
LEGATO_SHARE = 0.5
"""A note that sounds on into less than this share of the next is bound to it; one that sounds longer is held."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Played:
    """One note as it was played: times in quarter notes, ``midi`` its number."""

    onset: float
    end: float
    midi: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """One note on the grid, in a voice in which notes do not overlap."""

    onset: Fraction
    end: Fraction
    midi: int
    voice: int


def quantise(played: Sequence[Played]) -> list[Placed]:
    """The notes on their grids, by onset and pitch."""
    by_beat: dict[int, list[float]] = defaultdict(list)
    for note in played:
        by_beat[floor(note.onset + TOLERANCE_BEATS)].append(note.onset)
    grids = {beat: _grid_of(onsets, beat) for beat, onsets in by_beat.items()}
    starts = {note: _snapped(note.onset, grids) for note in played}
    onsets = sorted(set(starts.values()))
    following = dict(pairwise(onsets))
    ordered = sorted(set(played), key=lambda note: (starts[note], note.midi, note.end))
    ends = [_end_of(note, starts[note], following, grids) for note in ordered]
    voices = _voices([(starts[note], end) for note, end in zip(ordered, ends, strict=True)])
    return [
        Placed(onset=starts[note], end=end, midi=note.midi, voice=voice)
        for note, end, voice in zip(ordered, ends, voices, strict=True)
    ]


def _grid_of(onsets: Sequence[float], beat: int) -> int:
    errors = {
        grid: max(abs((onset - beat) * grid - round((onset - beat) * grid)) / grid for onset in onsets)
        for grid in GRIDS
    }
    return next(
        (grid for grid in GRIDS if errors[grid] <= TOLERANCE_BEATS / (2 if grid > 4 else 1)),
        min((grid for grid in GRIDS if grid not in RARE_GRIDS), key=errors.__getitem__),
    )


def _snapped(time: float, grids: dict[int, int]) -> Fraction:
    beat = floor(time + TOLERANCE_BEATS)
    grid = grids.get(beat, 4)
    return beat + Fraction(round((time - beat) * grid), grid)


def _end_of(note: Played, start: Fraction, following: dict[Fraction, Fraction], grids: dict[int, int]) -> Fraction:
    end = _snapped(note.end, grids)
    shortest = start + Fraction(1, max(4, grids.get(floor(start), 4)))
    later = following.get(start)
    if later is None:
        return max(end, shortest)
    room, length = float(later - start), note.end - note.onset
    bound = LEGATO_SHARE * float(following.get(later, later + (later - start)) - later)
    if SHORT_SHARE * room <= length and note.end < float(later) + max(0.25 * room, bound):
        return later
    return max(end, min(shortest, later))


def _voices(spans: Sequence[tuple[Fraction, Fraction]]) -> list[int]:
    """A voice for each span, in order: chords of one length share a voice, overlapping notes do not."""
    busy: list[tuple[Fraction, Fraction]] = []
    voices: list[int] = []
    for span in spans:
        free = (index for index, other in enumerate(busy) if other == span or other[1] <= span[0])
        index = next(free, len(busy))
        if index == len(busy):
            busy.append(span)
        busy[index] = span
        voices.append(index + 1)
    return voices
