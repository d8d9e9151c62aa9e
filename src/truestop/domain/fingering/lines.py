"""Where a note stands in its line: what the notes around it tell of how the hand takes it.

Conventions: moments and wishes are those of one passage in playing order; pitches are sounding semitones, of a chord
the upper note's.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from truestop.domain.fingering.moments import Moment
from truestop.domain.fingering.touches import OCTAVE, Wish
from truestop.domain.instrument import Instrument
from truestop.domain.passage import Harmonic
from truestop.domain.position import LETTER_FAMILIES

WIDE_FALL = 7
"""Semitones: a line that falls further from its top under a new bow has left it."""
FIRST_REACHES = 7
"""Semitones above the open top string to which the fourth finger gets in first position."""
THIRD_BEGINS = 5
"""Semitones above the open second string at which the first finger lies in third position."""
WITHIN = 8
"""From so many moments on a note beyond first position does not draw the hand up."""
NEAREST = 4
"""Level of the moment next to it; the levels fall evenly to 0."""


def let_ring(
    moments: Sequence[Moment], wishes: Sequence[tuple[Wish, ...]], instrument: Instrument
) -> Iterator[tuple[Wish, ...]]:
    """The wishes, with those told that may be a harmonic of our own: single notes an octave above an open string that
    end a line at its top. An edition that prints fingers prints its harmonics too, so its passages get none.
    """
    octaves = {pitch.midi + OCTAVE for pitch in instrument.strings}
    for index, group in enumerate(wishes):
        wish = group[0]
        free = len(group) == 1 and not (wish.bound or wish.trill or moments[index].grace)
        rings = free and wish.harmonic is Harmonic.NONE and wish.midi in octaves and _ends_line(moments, wishes, index)
        yield (replace(wish, may_ring=True),) if rings else group


def _ends_line(moments: Sequence[Moment], wishes: Sequence[tuple[Wish, ...]], index: int) -> bool:
    """Whether a line has climbed to the note and leaves it: by a rest, the end, or a wide fall under a new bow."""
    here, before, after = wishes[index][0].midi, index - 1, index + 1
    if before >= 0 and not moments[index].rest_before and _top(wishes[before]) >= here:
        return False
    if after >= len(moments) or moments[after].rest_before:
        return True
    return not moments[after].bow_continues and _top(wishes[after]) < here - WIDE_FALL


def _top(wishes: Sequence[Wish]) -> int:
    return max(wish.midi for wish in wishes)


def under_high(moments: Sequence[Moment], instrument: Instrument) -> list[int]:
    """How near a note beyond first position is to each that third position can take on the upper two strings: from
    ``NEAREST`` beside it down to 0, ``WITHIN`` moments off or behind a rest. Violin and viola; 0 on others.
    """
    if instrument.family not in LETTER_FAMILIES:
        return [0] * len(moments)
    highest, least = instrument.strings[0].midi + FIRST_REACHES, instrument.strings[1].midi + THIRD_BEGINS
    tops = [moment.notes[-1].pitch.midi for moment in moments]
    beyond = [top > highest for top in tops]
    rests = [moment.rest_before for moment in moments]
    since = _since(beyond, rests)
    until = _since(beyond[::-1], [False, *rests[:0:-1]])[::-1]
    away = [min(pair) for pair in zip(since, until, strict=True)]
    return [
        -(-NEAREST * (WITHIN - far) // WITHIN) if far and top >= least else 0
        for far, top in zip(away, tops, strict=True)
    ]


def _since(marked: Sequence[bool], broken: Sequence[bool]) -> list[int]:
    """How many moments ago the last marked one was, ``WITHIN`` at most; ``broken`` ones begin anew."""
    found, away = [], WITHIN
    for here, anew in zip(marked, broken, strict=True):
        away = 0 if here else WITHIN if anew else min(WITHIN, away + 1)
        found.append(away)
    return found
