"""What a run through a passage in the hand should sound like."""

from __future__ import annotations

from dataclasses import replace

from truestop.app.mainjob import InHand, expect
from truestop.domain.attempt import Expectation
from truestop.domain.expecting import stop_target
from truestop.domain.run import Crossing, Run, WrittenNote
from truestop.domain.shift import Cover, Shift
from truestop.domain.tuning import Against, tonic_of_key

STAGE = "in the passage"


def expect_run(in_hand: InHand, shifts: tuple[Shift, ...], *, steps: range | None = None) -> Run:
    """The run through ``steps`` of the hand, one after the other; all of the passage where None.

    The crossings are those of ``shifts``, which lie within them, in their order.
    """
    line, places = _written_line(in_hand, steps or range(len(in_hand.fingered.steps)))
    crossings = tuple(
        Crossing(
            expected=expect_in_passage(in_hand, shift),
            departure=places[shift.departure_step],
            arrival=places[shift.arrival_step],
            covered=shift.cover in (Cover.OPEN, Cover.HARMONIC),
        )
        for shift in shifts
    )
    return Run(line=tuple(line), crossings=crossings)


def shifts_within(in_hand: InHand, steps: range | None) -> tuple[Shift, ...]:
    """The shifts that lie within ``steps`` of the hand; all of the passage where None."""
    shifts = in_hand.way.shifts
    if not steps:
        return tuple(shifts)
    return tuple(one for one in shifts if one.departure_step in steps and one.arrival_step in steps)


def expect_in_passage(in_hand: InHand, shift: Shift) -> Expectation:
    """What a run through ``shift`` should sound like; players bow as they like."""
    return replace(expect(in_hand, shift, stage=STAGE), new_bow=True)


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
        line.append(
            WrittenNote(
                hz=hz, onset_beats=onset, duration_beats=float(step.duration), begins_bar=begins, bar=step.measure
            )
        )
        end = max(end, onset + float(step.duration))
    return line, places
