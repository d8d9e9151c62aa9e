"""A measure's voices as runs of columns and rests, ready to be written one after the other.

Conventions: positions count from the measure's start in quarter notes. The first voice that plays fills the measure
with rests; the others leave their gaps empty.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby

from truestop.adapters.score.beaming import Beams, Beat, beams_of, grace_beams, tuplet_ends
from truestop.adapters.score.note_values import is_dyadic, rest_length, value_of
from truestop.domain.passage import Measure, Note


@dataclass(slots=True, kw_only=True)
class Event:
    """One column of a voice (its first note is the longest), or a rest where ``notes`` is empty."""

    position: Fraction
    length: Fraction
    notes: tuple[Note, ...] = ()
    type: str | None = None
    dots: int = 0
    tuplet: tuple[int, int] | None = None
    whole_measure: bool = False
    beams: Beams = ()
    tuplet_end: str = ""
    bracket: bool = False
    """Whether the tuplet that starts here needs a bracket: no single beam joins it."""

    @property
    def grace(self) -> bool:
        """Whether it takes no time."""
        return bool(self.notes) and self.notes[0].grace


@dataclass(slots=True, kw_only=True)
class Voice:
    """One voice of one measure."""

    name: str
    staff: int
    events: list[Event]


def voices_of(notes: Sequence[Note], measure: Measure, before: Fraction) -> list[Voice]:
    """The voices of ``measure``. ``before`` is the part of its metre that has gone when it begins."""
    grouped: dict[str, list[Note]] = {}
    for note in notes:
        grouped.setdefault(note.voice, []).append(note)
    if not grouped:
        return [Voice(name="1", staff=1, events=[_whole_rest(measure)])]
    names = sorted(grouped, key=_voice_order)
    return [_voice(name, grouped[name], measure, before, filled=place == 0) for place, name in enumerate(names)]


def _voice_order(name: str) -> tuple[int, str]:
    return (int(name) if name.isascii() and name.isdecimal() and len(name) < 6 else 1_000_000, name)


def _voice(name: str, notes: list[Note], measure: Measure, before: Fraction, *, filled: bool) -> Voice:
    events: list[Event] = []
    reached = Fraction(0)
    for column in _columns(notes):
        position = column[0].onset - measure.onset
        if filled and position > reached:
            events.extend(_rests(reached, position, measure, before, _near_tuplet(events, column)))
        events.append(_event(position, column))
        reached = max(reached, position + column[0].duration)
    if filled and reached < measure.duration:
        events.extend(_rests(reached, measure.duration, measure, before, _near_tuplet(events, ())))
    _beam(events, measure, before)
    return Voice(name=name, staff=notes[0].staff, events=events)


def _columns(notes: Sequence[Note]) -> list[tuple[Note, ...]]:
    columns: list[list[Note]] = []
    for note in notes:
        head = columns[-1][0] if columns else None
        joins = head is not None and head.onset == note.onset and head.grace == note.grace
        if joins and (not note.grace or note.grace_chord):
            columns[-1].append(note)
        else:
            columns.append([note])
    return [tuple(sorted(column, key=lambda note: -note.duration)) for column in columns]


def _event(position: Fraction, column: tuple[Note, ...]) -> Event:
    head = column[0]
    return Event(
        position=position, length=head.duration, notes=column, type=head.type, dots=head.dots, tuplet=head.tuplet
    )


def _near_tuplet(events: Sequence[Event], column: Sequence[Note]) -> tuple[int, int] | None:
    before = events[-1].tuplet if events else None
    return before or (column[0].tuplet if column else None)


def _whole_rest(measure: Measure) -> Event:
    return Event(position=Fraction(0), length=measure.duration, whole_measure=True)


def _rests(
    start: Fraction, end: Fraction, measure: Measure, before: Fraction, tuplet: tuple[int, int] | None
) -> list[Event]:
    if start == 0 and end == measure.duration:
        return [_whole_rest(measure)]
    rests: list[Event] = []
    position = start
    while position < end:
        length, own = _next_rest(position, end, measure, before, tuplet)
        value = value_of(length, own)
        rests.append(
            Event(
                position=position,
                length=length,
                tuplet=own if value else None,
                type=value[0] if value else None,
                dots=value[1] if value else 0,
            )
        )
        position += length
    return rests


def _next_rest(
    position: Fraction, end: Fraction, measure: Measure, before: Fraction, tuplet: tuple[int, int] | None
) -> tuple[Fraction, tuple[int, int] | None]:
    start, length = position + before, end - position
    if is_dyadic(start) and is_dyadic(length):
        return rest_length(start, length, measure), None
    if tuplet is not None:
        unit = Fraction(tuplet[1], tuplet[0])
        to_grid = next((step * unit / 4 for step in range(1, 64) if is_dyadic(start + step * unit / 4)), length)
        for part in (length, to_grid, unit, unit / 2, unit / 4):
            if part <= length and value_of(part, tuplet) is not None and not (is_dyadic(start) and part > length):
                return part, tuplet
    return length, None


def _beam(events: list[Event], measure: Measure, before: Fraction) -> None:
    timed = [event for event in events if not event.grace]
    beats = [
        Beat(
            position=event.position + before, length=event.length, type=event.type, tuplet=event.tuplet,
            rest=not event.notes,
        )
        for event in timed
    ]  # fmt: skip
    for event, beams, end in zip(timed, beams_of(beats, measure), tuplet_ends(beats), strict=True):
        event.beams, event.tuplet_end = beams, end
    _bracket(timed)
    for is_grace, group in groupby(events, key=lambda event: event.grace):
        run = list(group)
        if is_grace:
            for event, beams in zip(run, grace_beams([event.type for event in run]), strict=True):
                event.beams = beams


def _bracket(timed: Sequence[Event]) -> None:
    start: Event | None = None
    for event in timed:
        if event.tuplet_end == "start":
            start = event
            start.bracket = event.beams[:1] != ("begin",)
        elif start is not None:
            wanted = "end" if event.tuplet_end == "stop" else "continue"
            start.bracket |= event.beams[:1] != (wanted,)
            start = None if event.tuplet_end == "stop" else start
