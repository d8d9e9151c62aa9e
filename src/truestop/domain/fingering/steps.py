"""From the chosen grips to a fingered passage: stops, steps and the names of positions.

Conventions: a run is a stretch of steps made from one hand; open strings inside it do not break it. Every step of a run
bears the run's name.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from truestop.domain.fingering.choices import Grip
from truestop.domain.fingering.moments import Moment
from truestop.domain.frame import RESTING, reach_of
from truestop.domain.instrument import Instrument
from truestop.domain.passage import Finger, Note, Passage
from truestop.domain.position import name_placement
from truestop.domain.stop import Step, Stop


def make_steps(
    passage: Passage, moments: Sequence[Moment], grips: Sequence[Grip], instrument: Instrument, numbering: str
) -> tuple[Step, ...]:
    """Steps with named positions, one for every moment."""
    settled = settle(grips, instrument.family)
    steps = [_step(moment, grip) for moment, grip in zip(moments, settled, strict=True)]
    named: list[Step] = []
    for run in _runs(steps):
        stops = [stop for step in run for stop in step.fingered]
        if not stops:
            named += run
            continue
        key = passage.measure_at(run[0].onset).key_fifths if passage.measures and stops[0].shape == "thumb" else 0
        name = name_placement(stops, instrument, numbering=numbering, key_fifths=key)
        named += [replace(step, position=name) if step.fingered else step for step in run]
    return tuple(named)


def settle(grips: Sequence[Grip], family: str) -> list[Grip]:
    """The grips with the hand left where it is for as long as the fingers lie in its frame.

    Where the placement changes by a semitone, the first stops after the change often fit the old placement too: the
    hand has not moved before the first stop that does not.
    """
    settled: list[Grip] = []
    hand: tuple[int, bool] | None = None
    for grip in grips:
        if grip.placement is None or all(touch.finger is Finger.OPEN for touch in grip.touches):
            settled.append(grip)
            continue
        kept = _kept(grip, hand, family) if hand else None
        settled.append(kept or grip)
        hand = (settled[-1].placement or 0, grip.thumb)
    return settled


def _kept(grip: Grip, hand: tuple[int, bool], family: str) -> Grip | None:
    """The grip in the old hand, a semitone away, where every finger lies in its resting place there; else None."""
    placement, thumb = hand
    if grip.thumb != thumb or abs((grip.placement or 0) - placement) != 1:
        return None
    shapes = []
    for touch in grip.touches:
        reach = reach_of(family, placement, touch.finger, touch.place, thumb)
        if touch.finger is not Finger.OPEN and (reach is None or reach.shape not in RESTING):
            return None
        shapes.append(reach.shape if reach else "open")
    return replace(grip, placement=placement, shapes=tuple(shapes))


def _step(moment: Moment, grip: Grip) -> Step:
    stops = tuple(_stop(note, grip, index) for index, note in enumerate(moment.notes))
    return Step(
        onset=moment.onset, duration=moment.duration, measure=moment.notes[0].measure, stops=stops, position=None,
        rest_before=moment.rest_before, bow_continues=moment.bow_continues, grace=moment.grace,
    )  # fmt: skip


def _stop(note: Note, grip: Grip, index: int) -> Stop:
    touch = grip.touches[index]
    is_open = touch.finger is Finger.OPEN
    return Stop(
        note_id=note.id, pitch=note.pitch, string=touch.string, finger=touch.finger, place=touch.place,
        placement=None if is_open else grip.placement, shape=grip.shapes[index], harmonic=touch.harmonic,
        given=bool(note.marks.fingers),
    )  # fmt: skip


def _runs(steps: Sequence[Step]) -> list[list[Step]]:
    runs: list[list[Step]] = []
    hand: tuple[int, bool] | None = None
    for step in steps:
        lead = next(iter(step.fingered), None)
        now = None if lead is None else (lead.placement or 0, lead.shape == "thumb")
        if not runs or (now is not None and hand is not None and now != hand):
            runs.append([])
        runs[-1].append(step)
        hand = now or hand
    return runs
