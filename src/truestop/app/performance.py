"""A whole performance of a passage: every shift's landing and timing, wherever the player stumbled or repeated."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

import numpy as np

from truestop.app.alike import other_places, told_of_places
from truestop.app.expecting_runs import expect_run, shifts_within
from truestop.app.mainjob import InHand, SoundInBlocks
from truestop.app.pulse import Pulse, find_pulse, with_timing
from truestop.domain.attempt import Attempt
from truestop.domain.points import Points
from truestop.domain.run import Crossing, Run, WrittenNote
from truestop.domain.shift import Shift
from truestop.listening.arriving import judge_arrival
from truestop.listening.following import PlayedNote, follow
from truestop.listening.frames import Samples
from truestop.listening.judging import judge_take
from truestop.listening.wording import REASONS, unjudged

LONGEST_DEPARTURE_S = 3.0
TAIL_S = 0.15
LEAST_ARRIVAL_S = 0.03
"""What comes to rest later than this before the arrival note's end is the next note."""
NEAR_CENTS = 80.0
LEAST_KEPT, LEAST_KEPT_SHARE = 4, 0.5
"""So many notes in a row near their written pitch, in stretches of this share of the take, are the passage."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Performed:
    """One passing through one shift: its attempt, and the notes before and after for context."""

    shift: Shift
    attempt: Attempt
    passing: int
    around: tuple[PlayedNote, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Crossed:
    """One passing through one crossing of a run, as ``Performed``."""

    crossing: Crossing
    attempt: Attempt
    passing: int
    around: tuple[PlayedNote, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Passed:
    """A crossing that was played through, not yet judged."""

    crossing: Crossing
    departure: PlayedNote
    arrival: PlayedNote
    pulse: Pulse | None
    places: frozenset[int]
    """Where else it may have been."""
    around: tuple[PlayedNote, ...]

    def frames(self, sample_rate_hz: int) -> tuple[int, int]:
        """First sample and end of the stretch that is judged."""
        before_s = self.arrival.start_s - LONGEST_DEPARTURE_S
        begin_s = self.arrival.start_s if self.crossing.covered else max(self.departure.start_s, before_s)
        return max(int(begin_s * sample_rate_hz), 0), int((self.arrival.end_s + TAIL_S) * sample_rate_hz)


def judge_performance(in_hand: InHand, take: SoundInBlocks, *, steps: range | None = None) -> tuple[Performed, ...]:
    """Every shift that was played through, in time order. Empty where the passage is not heard in the take.

    ``steps`` are those of the hand that were to be played, one after the other; all of the passage where None.
    """
    shifts = shifts_within(in_hand, steps)
    run = expect_run(in_hand, shifts, steps=steps)
    shift_of = dict(zip(run.crossings, shifts, strict=True))
    return tuple(
        Performed(shift=shift_of[one.crossing], attempt=one.attempt, passing=one.passing, around=one.around)
        for one in judge_run(run, take)
    )


def judge_run(run: Run, take: SoundInBlocks) -> tuple[Crossed, ...]:
    """Every crossing that was played through, in time order. Empty where the line is not heard in the take.

    The take is gone through twice: to follow the line, and for the stretches that hold shifts.
    """
    rate_hz = take.sample_rate_hz
    played = follow(take.blocks(), rate_hz, run.line)
    if not _is_this_line(played, run.line):
        return ()
    passed = sorted(_passed(run, played), key=lambda one: one.frames(rate_hz))
    stretches = cut_stretches(take.blocks(), [one.frames(rate_hz) for one in passed])
    found = [_judge(run, one, samples, rate_hz) for one, samples in zip(passed, stretches, strict=True)]
    return tuple(sorted((one for one in found if one is not None), key=lambda one: one.attempt.start_s))


def cut_stretches(blocks: Iterable[Samples], frames: Sequence[tuple[int, int]]) -> Iterator[Samples]:
    """The stretches [first, end) of a take that comes in blocks, as far as it reaches; ``frames`` rise by ``first``."""
    source = iter(blocks)
    held, start = np.empty(0, np.float32), 0
    for first, end in frames:
        while start + len(held) < end:
            gone = min(max(first - start, 0), len(held))
            held, start = held[gone:], start + gone
            block = next(source, None)
            if block is None:
                break
            held = np.concatenate([held, block])
        yield held[max(first - start, 0) : max(end - start, 0)]


def _passed(run: Run, played: Sequence[PlayedNote]) -> Iterator[_Passed]:
    passings = list(_passings(played))
    for passing, places in zip(passings, other_places(passings, run.line), strict=True):
        by_index = {note.index: note for note in passing}
        for crossing in run.crossings:
            departure, arrival = by_index.get(crossing.departure), by_index.get(crossing.arrival)
            if departure is None or arrival is None:
                continue
            yield _Passed(
                crossing=crossing,
                departure=departure,
                arrival=arrival,
                pulse=find_pulse(passing, run.line, arrival),
                places=places,
                around=tuple(note for note in passing if abs(note.index - arrival.index) <= 3),
            )


def _judge(run: Run, one: _Passed, samples: Samples, rate_hz: int) -> Crossed | None:
    expected = one.crossing.expected
    if one.crossing.covered:
        attempt = judge_arrival(samples, rate_hz, expected)
    else:
        attempt = next(reversed(judge_take(samples, rate_hz, expected)), None)
    if attempt is None:
        return None
    attempt = moved(attempt, one.frames(rate_hz)[0] / rate_hz)
    if attempt.arrival_s is not None and attempt.arrival_s > one.arrival.end_s - LEAST_ARRIVAL_S:
        attempt = replace(unjudged(attempt, REASONS["no landing"]), arrival_s=None, slide_s=None)
    attempt = told_of_places(with_timing(attempt, one.pulse), one.crossing, run, one.places)
    return Crossed(crossing=one.crossing, attempt=attempt, passing=one.arrival.passing, around=one.around)


def _is_this_line(played: Sequence[PlayedNote], line: Sequence[WrittenNote]) -> bool:
    """Whether most of it belongs to stretches that keep to the line; another piece meets it only by chance.

    The same notes again and again are one stretch: somebody practises them.
    """
    kept_s = whole_s = 0.0
    for _, again in groupby(_passings(played), key=lambda passing: [note.index for note in passing]):
        repeats = list(again)
        length_s = sum(note.end_s - note.start_s for passing in repeats for note in passing)
        whole_s += length_s
        if _longest_kept(repeats, line) >= min(LEAST_KEPT, len(played)):
            kept_s += length_s
    return kept_s >= LEAST_KEPT_SHARE * whole_s


def _longest_kept(repeats: Sequence[Sequence[PlayedNote]], line: Sequence[WrittenNote]) -> int:
    """Most notes in a row that were near their written pitch, none left out."""
    longest = run = 0
    for passing in repeats:
        before = passing[0].index
        for note in passing:
            if any(one.hz for one in line[before + 1 : note.index]):
                run = 0
            run = run + 1 if note.cents is not None and abs(note.cents) < NEAR_CENTS else 0
            longest, before = max(longest, run), note.index
    return longest


def _passings(played: Sequence[PlayedNote]) -> Iterator[list[PlayedNote]]:
    numbers = sorted({note.passing for note in played})
    for number in numbers:
        yield [note for note in played if note.passing == number]


def moved(attempt: Attempt, by_s: float) -> Attempt:
    """The attempt of a stretch, in the take's own time."""
    return replace(
        attempt,
        start_s=attempt.start_s + by_s,
        end_s=attempt.end_s + by_s,
        departure_s=None if attempt.departure_s is None else attempt.departure_s + by_s,
        arrival_s=None if attempt.arrival_s is None else attempt.arrival_s + by_s,
        trace_s=Points((round(1000.0 * (at_s + by_s)) for at_s in attempt.trace_s), 1000),
    )
