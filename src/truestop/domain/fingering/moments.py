"""A passage as the left hand meets it: one moment after another, with the time each gives.

Conventions: a moment holds the notes struck together and the notes that still sound under them. Tie continuations make
no moment; a substitution makes two, the second of ``part`` 1. Times are seconds at the passage's tempo.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import accumulate

from truestop.domain.passage import Finger, Note, Passage

UNMARKED_BPM = 72.0
"""Quarter notes a minute where the score gives no tempo, as in ``Passage.quarter_bpm_at``."""
GRACE_S = 0.09
"""Time a grace note is given; common practice, no source."""
NEIGHBOURS = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """What the hand must do at one time. ``way_s`` is the time from the moment before, rests taken in."""

    notes: tuple[Note, ...]
    held: tuple[Note, ...]
    onset: Fraction
    duration: Fraction
    """Quarter notes until the last of its notes ends."""
    sounding_s: float
    way_s: float
    rest_before: bool
    bow_continues: bool
    on_beat: bool
    grace: bool
    part: int = 0
    """Which finger of a substitution; 0 for any other note."""
    around_s: float = 0.0
    """How long the notes around it sound on average: ``NEIGHBOURS`` before, itself, and as many after."""


def make_moments(passage: Passage) -> tuple[Moment, ...]:
    """The moments of a passage in playing order."""
    ends = _sounding_ends(passage.notes)
    moments: list[Moment] = []
    sounding: list[Note] = []
    quarter_s = _tempo_walk(passage)
    before, silent_from = Fraction(0), Fraction(0)
    for column in passage.columns:
        struck = tuple(note for note in column if note.id in ends)
        if not struck:
            continue
        onset = struck[0].onset
        sounding = [note for note in sounding if ends[note.id] > onset]
        held = () if struck[0].grace else _still_held(sounding, struck)
        end = max(ends[note.id] for note in struck)
        spq = quarter_s(onset)
        moments += _with_substitutions(
            Moment(
                notes=struck, held=held, onset=onset, duration=end - onset,
                sounding_s=GRACE_S if struck[0].grace else float(min(ends[note.id] for note in struck) - onset) * spq,
                way_s=max(GRACE_S, float(onset - before) * spq) if moments else 2.0,
                rest_before=bool(moments) and onset > silent_from,
                bow_continues=bool(moments) and any(note.bow_continues for note in struck),
                on_beat=(struck[0].beat - 1).denominator == 1,
                grace=struck[0].grace,
            )
        )  # fmt: skip
        before, silent_from = onset, max(silent_from, end)
        sounding += [note for note in struck if not note.grace]
    return tuple(_with_neighbours(moments))


def _with_neighbours(moments: list[Moment]) -> Iterator[Moment]:
    """The moments, each told how long the notes around it sound."""
    sums = [0.0, *accumulate(moment.sounding_s for moment in moments)]
    for index, moment in enumerate(moments):
        first, stop = max(0, index - NEIGHBOURS), min(len(moments), index + NEIGHBOURS + 1)
        yield Moment(
            notes=moment.notes, held=moment.held, onset=moment.onset, duration=moment.duration,
            sounding_s=moment.sounding_s, way_s=moment.way_s, rest_before=moment.rest_before,
            bow_continues=moment.bow_continues, on_beat=moment.on_beat, grace=moment.grace, part=moment.part,
            around_s=(sums[stop] - sums[first]) / (stop - first),
        )  # fmt: skip


def renew_moments(moments: Sequence[Moment], notes: Mapping[str, Note]) -> tuple[Moment, ...] | None:
    """The moments of the same passage under other marks, ``notes`` by id; None where substitutions part them anew."""
    renewed: list[Moment] = []
    for moment in moments:
        struck = tuple(notes[note.id] for note in moment.notes)
        held = tuple(notes[note.id] for note in moment.held)
        if moment.part or any(len(note.marks.fingers) > 1 for note in struck):
            return None
        same = all(one is other for one, other in zip((*struck, *held), (*moment.notes, *moment.held), strict=True))
        renewed.append(moment if same else replace(moment, notes=struck, held=held))
    return tuple(renewed)


def _sounding_ends(notes: Iterable[Note]) -> dict[str, Fraction]:
    """When every note that needs a finger stops sounding, ties followed; tie continuations are left out."""
    ends: dict[str, Fraction] = {}
    tied: dict[tuple[int, Fraction], str] = {}
    for note in notes:
        root = tied.pop((note.pitch.midi, note.onset), None) if note.tied_from_before else None
        root = root or note.id
        ends[root] = note.end
        if note.tied_to_next:
            tied[note.pitch.midi, note.end] = root
    return ends


def _still_held(sounding: list[Note], struck: tuple[Note, ...]) -> tuple[Note, ...]:
    """Notes that go on under the struck ones; a note struck again is not held, nor are more than three."""
    again = {note.pitch.midi for note in struck}
    held = [note for note in sounding if note.pitch.midi not in again]
    return tuple(held[-max(0, 4 - len(struck)) :]) if len(struck) < 4 else ()


def _tempo_walk(passage: Passage) -> Callable[[Fraction], float]:
    """Seconds a quarter note lasts, asked for onsets in rising order."""
    tempos = deque(passage.tempos)
    state = [60.0 / UNMARKED_BPM]

    def seconds_per_quarter(onset: Fraction) -> float:
        while tempos and tempos[0].onset <= onset:
            state[0] = 60.0 / tempos.popleft().quarter_bpm
        return state[0]

    return seconds_per_quarter


def _with_substitutions(moment: Moment) -> list[Moment]:
    """One moment, or for a substitution one for every finger in turn."""
    parts = max((len(note.marks.fingers) for note in moment.notes), default=0)
    if parts < 2:
        return [moment]
    length, share_s = moment.duration / parts, moment.sounding_s / parts
    first = replace(moment, notes=_parts_of(moment, 0), duration=length, sounding_s=share_s)
    return [
        first,
        *(
            replace(
                first, notes=_parts_of(moment, part), part=part, onset=moment.onset + part * length,
                way_s=share_s, rest_before=False, bow_continues=True, on_beat=False,
            )
            for part in range(1, parts)
        ),
    ]  # fmt: skip


def _parts_of(moment: Moment, part: int) -> tuple[Note, ...]:
    return tuple(_part_of(note, part) for note in moment.notes)


def _part_of(note: Note, part: int) -> Note:
    fingers: tuple[Finger, ...] = note.marks.fingers
    marks = replace(note.marks, hand=None) if part and note.marks.hand else note.marks
    if len(fingers) >= 2:
        marks = replace(marks, fingers=(fingers[min(part, len(fingers) - 1)],), alternates=())
    return note if marks is note.marks else replace(note, marks=marks)
