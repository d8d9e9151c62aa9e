"""Whether a shift arrives with the performance's own pulse, where bows change and sound drops out.

A note is heard where its own sound begins. After a silence nobody hears when the finger came: with a bow for every note
all notes wait alike, and are compared as they are heard; a silence longer or shorter than those around it may have
hidden the arrival, or be a slur among detached notes. Then early or late is said only where it would be said of either,
and of what was heard of the note before the silence.

Conventions: seconds from the start of the take, beats in quarter notes; + is late.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from statistics import median

from truestop.domain.attempt import Attempt, Verdict
from truestop.domain.run import WrittenNote
from truestop.domain.timing import NEAR_BEATS, PredictedBeat, predict_beat
from truestop.listening.following import PlayedNote

LEAST_TIMING_S = 0.060
TOUCHED_S = 0.060
"""A pitch that sounds no longer than this before a silence is the slide that the silence broke off."""
ALIKE_S = 0.040
"""Silences that differ by no more are alike."""
ANOTHER_S = 0.200
"""The pulse speaks of the note as it was met first; a landing this much later is that of another try."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """Where a note comes in."""

    beat: float
    at_s: float
    """Where it is heard, after the silence."""
    silent_s: float
    """How long the silence before it lasts."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pulse:
    """The beat a shift should arrive on, and the note that arrives."""

    beat: PredictedBeat
    arrival: PlayedNote
    silent_s: float
    """The silence that the notes around it begin after, mostly."""


def find_pulse(passing: Sequence[PlayedNote], line: Sequence[WrittenNote], arrival: PlayedNote) -> Pulse | None:
    """The pulse of the notes around ``arrival``, in ``passing``; None where there are too few.

    Of the other notes only those count whose pitch shows where they begin: no repeated note, nor the first of all.
    """
    beat = line[arrival.index].onset_beats
    entries = [one for one in _entries(passing, line) if one.beat != beat and abs(one.beat - beat) <= NEAR_BEATS]
    if not entries:
        return None
    silent_s = median(one.silent_s for one in entries)
    alike = [(one.beat, one.at_s) for one in entries if abs(one.silent_s - silent_s) <= ALIKE_S]
    predicted = predict_beat(beat, alike)
    return None if predicted is None else Pulse(beat=predicted, arrival=arrival, silent_s=silent_s)


def with_timing(attempt: Attempt, pulse: Pulse | None) -> Attempt:
    """The attempt with its timing; early or late only beyond twice the pulse's error. Without timing where a silence or
    another try leaves open which word it is, or where the note as it was followed does not say the same."""
    if pulse is None or attempt.arrival_s is None or attempt.verdict is Verdict.UNJUDGED:
        return attempt
    at_s, silent_s = heard_from(attempt.arrival_s, pulse.arrival.silences_s)
    first_s, _ = heard_from(pulse.arrival.onset_s, pulse.arrival.silences_s)
    hidden_s = silent_s - pulse.silent_s
    word = _word(at_s, pulse.beat)
    perhaps_s = [at_s - hidden_s]
    if hidden_s > ALIKE_S:
        perhaps_s += [attempt.arrival_s, pulse.arrival.onset_s]
    if abs(hidden_s) > ALIKE_S and any(_word(one_s, pulse.beat) is not word for one_s in perhaps_s):
        return attempt
    if word is None:
        return replace(attempt, timing_s=at_s - pulse.beat.at_s)
    if at_s - first_s > ANOTHER_S or _word(first_s, pulse.beat) is not word:
        return attempt
    verdict = word if attempt.verdict is Verdict.TRUE else attempt.verdict
    faults = (*attempt.faults, word.value)
    return replace(attempt, timing_s=at_s - pulse.beat.at_s, verdict=verdict, faults=faults)


def heard_from(at_s: float, silences_s: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """When a note that is reached at ``at_s`` is heard to begin, and how long the silence before it lasts.

    Where silence falls on it or comes at once, it is heard from after that.
    """
    for start_s, end_s in reversed(silences_s):
        if start_s - TOUCHED_S <= at_s <= end_s + TOUCHED_S:
            return max(at_s, end_s), end_s - start_s
    return at_s, 0.0


def _word(at_s: float, beat: PredictedBeat) -> Verdict | None:
    timing_s = at_s - beat.at_s
    if abs(timing_s) <= max(LEAST_TIMING_S, 2.0 * beat.se_s):
        return None
    return Verdict.EARLY if timing_s < 0 else Verdict.LATE


def _entries(passing: Sequence[PlayedNote], line: Sequence[WrittenNote]) -> Iterator[Entry]:
    for before, note in pairwise(passing):
        written = line[note.index]
        if written.hz != line[before.index].hz and written.duration_beats > 0:
            at_s, silent_s = heard_from(note.onset_s, note.silences_s)
            yield Entry(beat=written.onset_beats, at_s=at_s, silent_s=silent_s)
