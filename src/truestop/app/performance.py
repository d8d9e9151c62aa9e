"""A whole performance of a passage: every shift's landing and timing, wherever the player stumbled or repeated."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

import numpy as np

from truestop.app.mainjob import InHand, SoundInBlocks, expect
from truestop.app.pulse import Pulse, find_pulse, with_timing
from truestop.domain.attempt import Attempt, Expectation
from truestop.domain.expecting import stop_target
from truestop.domain.points import Points
from truestop.domain.shift import Cover, Shift
from truestop.domain.tuning import Against, tonic_of_key
from truestop.listening.arriving import judge_arrival
from truestop.listening.following import PlayedNote, WrittenNote, follow
from truestop.listening.frames import Samples
from truestop.listening.judging import judge_take
from truestop.listening.wording import REASONS, unjudged

STAGE = "in the passage"
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
class _Passed:
    """A shift that was played through, not yet judged."""

    shift: Shift
    departure: PlayedNote
    arrival: PlayedNote
    pulse: Pulse | None
    around: tuple[PlayedNote, ...]

    @property
    def covered(self) -> bool:
        """Whether something else sounds in between, so that only the arrival is judged."""
        return self.shift.cover in (Cover.OPEN, Cover.HARMONIC)

    def frames(self, sample_rate_hz: int) -> tuple[int, int]:
        """First sample and end of the stretch that is judged."""
        before_s = self.arrival.start_s - LONGEST_DEPARTURE_S
        begin_s = self.arrival.start_s if self.covered else max(self.departure.start_s, before_s)
        return max(int(begin_s * sample_rate_hz), 0), int((self.arrival.end_s + TAIL_S) * sample_rate_hz)


def expect_in_passage(in_hand: InHand, shift: Shift) -> Expectation:
    """What a run through ``shift`` should sound like; players bow as they like."""
    return replace(expect(in_hand, shift, stage=STAGE), new_bow=True)


def judge_performance(in_hand: InHand, take: SoundInBlocks, *, steps: range | None = None) -> tuple[Performed, ...]:
    """Every shift that was played through, in time order. Empty where the passage is not heard in the take.

    ``steps`` are those of the hand that were to be played, one after the other; all of the passage where None. The take
    is gone through twice: to follow the line, and for the stretches that hold shifts.
    """
    line, places = _written_line(in_hand, steps or range(len(in_hand.fingered.steps)))
    rate_hz = take.sample_rate_hz
    played = follow(take.blocks(), rate_hz, line)
    if not _is_this_line(played, line):
        return ()
    passed = sorted(_passed(in_hand, played, line, places), key=lambda one: one.frames(rate_hz))
    stretches = cut_stretches(take.blocks(), [one.frames(rate_hz) for one in passed])
    found = [_judge(in_hand, one, samples, rate_hz) for one, samples in zip(passed, stretches, strict=True)]
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


def _passed(
    in_hand: InHand, played: Sequence[PlayedNote], line: Sequence[WrittenNote], places: Mapping[int, int]
) -> Iterator[_Passed]:
    for passing in _passings(played):
        by_index = {note.index: note for note in passing}
        for shift in in_hand.way.shifts:
            departure = by_index.get(places.get(shift.departure_step, -1))
            arrival = by_index.get(places.get(shift.arrival_step, -1))
            if departure is None or arrival is None:
                continue
            yield _Passed(
                shift=shift,
                departure=departure,
                arrival=arrival,
                pulse=find_pulse(passing, line, arrival),
                around=tuple(note for note in passing if abs(note.index - arrival.index) <= 3),
            )


def _judge(in_hand: InHand, one: _Passed, samples: Samples, rate_hz: int) -> Performed | None:
    expectation = expect_in_passage(in_hand, one.shift)
    if one.covered:
        attempt = judge_arrival(samples, rate_hz, expectation)
    else:
        attempt = next(reversed(judge_take(samples, rate_hz, expectation)), None)
    if attempt is None:
        return None
    attempt = moved(attempt, one.frames(rate_hz)[0] / rate_hz)
    if attempt.arrival_s is not None and attempt.arrival_s > one.arrival.end_s - LEAST_ARRIVAL_S:
        attempt = replace(unjudged(attempt, REASONS["no landing"]), arrival_s=None, slide_s=None)
    timed = with_timing(attempt, one.pulse)
    return Performed(shift=one.shift, attempt=timed, passing=one.arrival.passing, around=one.around)


def _written_line(in_hand: InHand, steps: range) -> tuple[list[WrittenNote], dict[int, int]]:
    """The line to follow, rests filled in, and for each step of the hand its index there. Graces have no time."""
    fingered = in_hand.fingered
    line: list[WrittenNote] = []
    places: dict[int, int] = {}
    end = float(fingered.steps[steps[0]].onset) if steps else 0.0
    for index in steps:
        step = fingered.steps[index]
        measure = fingered.passage.measure_at(step.onset)
        against = Against(tonic=tonic_of_key(measure.key_fifths, mode=measure.mode))
        onset = float(step.onset)
        if onset > end:
            line.append(WrittenNote(hz=(), onset_beats=end, duration_beats=onset - end))
        hz = tuple(
            stop_target(stop, step.stops, intonation=in_hand.intonation, against=against).hz for stop in step.stops
        )
        places[index] = len(line)
        begins = index == steps[0] or fingered.steps[index - 1].measure != step.measure
        line.append(WrittenNote(hz=hz, onset_beats=onset, duration_beats=float(step.duration), begins_bar=begins))
        end = max(end, onset + float(step.duration))
    return line, places


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
