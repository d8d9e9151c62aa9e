"""Places of a line that are alike: where pitches and lengths leave open which of them was played.

A passing that goes back into the notes of the one before is at its place: somebody repeats what was just played. So is
one with which a take begins at the line's beginning. Any other may be at every place that holds the same notes.

Conventions: a place is told by how many notes it lies further on in the line.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from truestop.domain.attempt import Attempt
from truestop.domain.run import Crossing, Run, WrittenNote
from truestop.listening.following import PlayedNote
from truestop.listening.wording import without_verdict

_SAME_HZ = 3


def other_places(passings: Sequence[Sequence[PlayedNote]], line: Sequence[WrittenNote]) -> list[frozenset[int]]:
    """For every passing in time order the other places at which it may have been played as well."""
    notes = [(tuple(round(hz, _SAME_HZ) for hz in one.hz), one.duration_beats) for one in line]
    found: list[frozenset[int]] = []
    for number, passing in enumerate(passings):
        first, last = passing[0].index, passing[-1].index
        written = notes[first : last + 1]
        places = frozenset(
            start - first
            for start in range(len(notes) - len(written) + 1)
            if start != first and notes[start : start + len(written)] == written
        )
        if number == 0:
            found.append(places if first else frozenset())
        elif passings[number - 1][0].index <= first <= passings[number - 1][-1].index:
            found.append(places & found[-1])
        else:
            found.append(places)
    return found


def told_of_places(attempt: Attempt, crossing: Crossing, run: Run, places: frozenset[int]) -> Attempt:
    """The attempt with a remark that names the bars it may be of; without a verdict where the shift is another."""
    if not places:
        return attempt
    own = run.line[crossing.arrival].bar
    bars = list(dict.fromkeys(run.line[crossing.arrival + place].bar for place in sorted({0, *places})))
    if all(any(_is_like(one, crossing, place) for one in run.crossings) for place in places):
        remark = f"bar {', '.join(bars[:-1])} or {bars[-1]}"
        return attempt if len(bars) == 1 else replace(attempt, faults=(*attempt.faults, remark))
    others = " and ".join(bar for bar in bars if bar != own) or own
    return without_verdict(
        attempt, f"Bar {own} has the same notes as {others} but not the same shift; which was played cannot be told."
    )


def _is_like(one: Crossing, crossing: Crossing, place: int) -> bool:
    """Whether ``one`` is the same movement, ``place`` notes further on."""
    if (one.departure, one.arrival) != (crossing.departure + place, crossing.arrival + place):
        return False
    return one.covered == crossing.covered and _movement(one) == _movement(crossing)


def _movement(crossing: Crossing) -> tuple[tuple[int, int], ...]:
    expected = crossing.expected
    return tuple((target.string, target.place) for target in (expected.departure, expected.arrival))


__all__ = ["other_places", "told_of_places"]
