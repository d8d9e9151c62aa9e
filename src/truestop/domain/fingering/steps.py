"""From the chosen grips to a fingered passage: stops, steps and the names of positions.

Conventions: a run is a stretch of steps made from one hand; open strings inside it do not break it. Every step of a run
bears the run's name.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from truestop.domain.fingering.choices import departure
from truestop.domain.fingering.grips import Grip
from truestop.domain.fingering.moments import Moment
from truestop.domain.fingering.touches import Touch
from truestop.domain.frame import RESTING, reach_of
from truestop.domain.hand_mark import HandMark, parse_hand_mark
from truestop.domain.instrument import Instrument
from truestop.domain.passage import Finger, Note, Passage
from truestop.domain.position import LETTER_FAMILIES, name_placement
from truestop.domain.stop import Step, Stop

Hand = tuple[int, bool]
"""Placement, and whether a thumb frame."""


def make_steps(
    passage: Passage, moments: Sequence[Moment], grips: Sequence[Grip], instrument: Instrument, numbering: str
) -> tuple[Step, ...]:
    """Steps with named positions, one for every moment."""
    settled = settle(grips, [_told(moment) for moment in moments], instrument)
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


def _told(moment: Moment) -> HandMark | None:
    """What the page says of the hand."""
    words = next((note.marks.hand for note in moment.notes if note.marks.hand), None)
    return parse_hand_mark(words) if words else None


def settle(grips: Sequence[Grip], told: Sequence[HandMark | None], instrument: Instrument) -> list[Grip]:
    """The grips with the hand where a player would say it is, and where the page says it is.

    Where the placement changes by a semitone, the first stops after the change often fit the old placement too: the
    hand has not moved before the first stop that does not. Then each run takes the placement, a semitone up or down at
    most, in which its fingers lie easiest.
    """
    settled: list[Grip] = []
    hand: Hand | None = None
    for grip, mark in zip(grips, told, strict=True):
        kept = _moved(grip, hand, instrument.family) if hand and _stopped(grip) and _near(grip, hand) else None
        settled.append(kept[0] if kept and _still_so(grip, kept[0], mark, instrument) else grip)
        hand = (settled[-1].placement or 0, grip.thumb) if _stopped(grip) else hand
    return _eased(settled, told, instrument) if instrument.family in LETTER_FAMILIES else settled


def _still_so(grip: Grip, moved: Grip, mark: HandMark | None, instrument: Instrument) -> bool:
    """Whether a grip in another hand is no less as the page's words say than it was before."""
    if mark is None or (before := departure(grip, mark, instrument)) is None:
        return True
    after = departure(moved, mark, instrument)
    return after is not None and after <= before


def _near(grip: Grip, hand: Hand) -> bool:
    return grip.thumb == hand[1] and abs((grip.placement or 0) - hand[0]) == 1


def _stopped(grip: Grip) -> list[Touch]:
    return [touch for touch in grip.touches if touch.finger is not Finger.OPEN] if grip.placement is not None else []


def _moved(grip: Grip, hand: Hand, family: str, *, resting: bool = True) -> tuple[Grip, float] | None:
    """The grip in another hand with its strain there; None where a finger has no (resting) place in it."""
    placement, thumb = hand
    shapes, strain = [], 0.0
    for touch in grip.touches:
        reach = None if touch.finger is Finger.OPEN else reach_of(family, placement, touch.finger, touch.place, thumb)
        if touch.finger is not Finger.OPEN and (reach is None or (resting and reach.shape not in RESTING)):
            return None
        shapes.append(reach.shape if reach else "open")
        strain += reach.strain if reach else 0.0
    return replace(grip, placement=placement, shapes=tuple(shapes)), strain


def _eased(grips: list[Grip], told: Sequence[HandMark | None], instrument: Instrument) -> list[Grip]:
    """Every run in the placement, at most a semitone away, in which its fingers lie easiest."""
    runs = _grip_runs(grips)
    hands = [_hand_of(grips[run[0]]) for run in runs]
    eased = list(grips)
    for number, run in enumerate(runs):
        placement, thumb = hands[number]
        beside = {hands[other] for other in (number - 1, number + 1) if 0 <= other < len(runs)}
        options = [
            (placement, thumb),
            *(hand for hand in ((placement - 1, thumb), (placement + 1, thumb)) if hand not in beside),
        ]
        tried = [
            (made, hand)
            for hand in options
            if (made := _run_in(grips, run, hand, instrument.family)) is not None
            and all(_still_so(grips[i], one, told[i], instrument) for i, one in zip(run, made[0], strict=True))
        ]
        if tried:
            (moved, _), hands[number] = min(tried, key=lambda item: item[0][1])
            for index, grip in zip(run, moved, strict=True):
                eased[index] = grip
    return eased


def _run_in(grips: list[Grip], run: list[int], hand: Hand, family: str) -> tuple[list[Grip], float] | None:
    made = [_moved(grips[index], hand, family, resting=False) for index in run]
    if hand[0] < 1 or any(item is None for item in made):
        return None
    return [item[0] for item in made if item], round(sum(item[1] for item in made if item), 6)


def _grip_runs(grips: list[Grip]) -> list[list[int]]:
    """Indices of the stopped grips, split where the hand changes."""
    runs: list[list[int]] = []
    for index, grip in enumerate(grips):
        if not _stopped(grip):
            continue
        if not runs or _hand_of(grips[runs[-1][0]]) != _hand_of(grip):
            runs.append([])
        runs[-1].append(index)
    return runs


def _hand_of(grip: Grip) -> Hand:
    return (grip.placement or 0, grip.thumb)


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
        given=note.marks.names_fingers,
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
