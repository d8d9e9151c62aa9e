"""What the page draws of a passage: engraved music, boards, and the places of a stage.

Conventions: music is engraved to a width in mm that the page asks for; it is scaled on the screen. Places are semitones
above the open string.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from truestop.app.describing import describe_way
from truestop.app.drawing import REACH, Mark, draw_board, draw_shift
from truestop.app.mainjob import InHand
from truestop.app.room_rules import STAGE_RULES, STAND_CUES, STAND_LINES
from truestop.app.sheet import Stand, choose_shifts
from truestop.app.sheet_layout import Music
from truestop.app.sheet_pictures import stack_pictures
from truestop.app.sheet_ports import Picture
from truestop.domain.attempt import Expectation, Target
from truestop.domain.drill import Stage
from truestop.domain.drill.metre import metre_of
from truestop.domain.drill.naming import shift_kind
from truestop.domain.drill.part import mark_shifts
from truestop.domain.errors import DrillError
from truestop.domain.instrument import ROMAN
from truestop.domain.passage import Passage
from truestop.domain.pitch import hz_to_cents
from truestop.domain.shift import Shift, Way
from truestop.domain.stop import FingeredPassage, Stop
from truestop.domain.wording import ENGLISH
from truestop.web.ears import PITCH_TOLERANCE_CENTS
from truestop.web.exercises import exercise_of, expect_exercise, ways_of
from truestop.web.music import OpenPassage

View = dict[str, Any]
STAFF_MM = 8.0
NARROWEST_MM, WIDEST_MM = 60, 260
WIDER = (1.0, 1.25, 1.5, 2.0)
"""How much wider than the frame music may be set to be drawn larger in it, on fewer systems."""
NARROWEST_BOARD_MM, WIDEST_BOARD_MM = 62, 170


def engrave_svg(passage: Passage, stand: Stand, *, width_mm: int) -> str:
    """``passage`` engraved, all systems below one another; without tempo marks, whose note needs a music font."""
    return _stacked(_systems(passage, stand, width_mm))


def engrave_to_fit(passage: Passage, stand: Stand, *, width_mm: int, height_mm: int) -> str:
    """``passage`` engraved for a frame of this shape, on as many systems as let it be drawn largest."""
    best: tuple[Picture, ...] = ()
    largest = 0.0
    for factor in WIDER:
        systems = _systems(passage, stand, round(width_mm * factor))
        across = width_mm / max(picture.width_mm for picture in systems)
        down = height_mm / sum(picture.height_mm for picture in systems)
        if min(across, down) > largest:
            best, largest = systems, min(across, down)
        if len(systems) == 1 or across <= down:
            break
    return _stacked(best)


def _systems(passage: Passage, stand: Stand, width_mm: int) -> tuple[Picture, ...]:
    width = float(max(NARROWEST_MM, min(WIDEST_MM, width_mm)))
    written = stand.write_musicxml(replace(passage, tempos=()))
    (systems,) = stand.engraver.engrave_all([written], width_mm=width, staff_mm=STAFF_MM)
    return systems


def _stacked(systems: tuple[Picture, ...]) -> str:
    block = Music(label="", heading="", instruction="", systems=systems)
    return stack_pictures([block], width_mm=max((picture.width_mm for picture in systems), default=NARROWEST_MM))


def part_svg(fingered: FingeredPassage, way: Way, stand: Stand, *, width_mm: int) -> str:
    """The part with its shifts marked."""
    return engrave_svg(mark_shifts(fingered, way), stand, width_mm=width_mm)


def view_passage(opened: OpenPassage, stand: Stand, *, width_mm: int) -> View:
    """Everything the page shows of a passage."""
    in_hand = opened.in_hand
    described = describe_way(in_hand.fingered, in_hand.way)
    shifts = [
        {**each, "short": shift_name(shift), "label": f"{shift_name(shift)} · {shift_kind(shift, wording=ENGLISH)}"}
        for each, shift in zip(described["shifts"], in_hand.way.shifts, strict=True)
    ]
    return {
        **described,
        "shifts": shifts,
        "id": opened.card.id,
        "title": in_hand.fingered.passage.title,
        "changed": bool(opened.card.pins),
        "svg": part_svg(in_hand.fingered, in_hand.way, stand, width_mm=width_mm),
    }


def shift_name(shift: Shift) -> str:
    """What a player recognises a shift by: notes, fingers, positions."""
    ends = " → ".join(
        " ".join(f"{stop.pitch.pretty} {stop.finger}" for stop in stops) for stops in (shift.departure, shift.arrival)
    )
    return f"{ends}, {shift.from_position} to {shift.to_position}"


def board_svg(
    in_hand: InHand, *, shift: int | None, note: str | None, mirrored: bool, bare: bool, width_mm: int
) -> str:
    """The fingerboard with a shift or with one note's stop; ``bare`` for a small screen."""
    width = float(max(NARROWEST_BOARD_MM, min(WIDEST_BOARD_MM, width_mm)))
    if shift is not None:
        (chosen,) = choose_shifts(in_hand.way, (shift,))
        return draw_shift(in_hand.fingered, chosen, width_mm=width, left_handed=mirrored, bare=bare).svg
    try:
        stop = in_hand.fingered.stop_of(note or "")
    except KeyError as error:
        raise DrillError("There is no such note in this passage.", hint="Touch a note of the passage.") from error
    mark = Mark(
        kind=REACH,
        string=stop.string,
        place=stop.place,
        label="" if stop.is_open else str(stop.finger),
        harmonic=stop.harmonic,
    )
    return draw_board(in_hand.instrument, marks=(mark,), width_mm=width, left_handed=mirrored, bare=bare).svg


def view_stage(
    in_hand: InHand, shift: Shift, stage: str, way: str, stand: Stand, *, width_mm: int, height_mm: int
) -> View:
    """A stage's notes in the way that was chosen, its words and places, and the ways there are."""
    ways = ways_of(in_hand, shift, stage)
    exercise = exercise_of(in_hand, shift, stage, way)
    expectation = expect_exercise(in_hand, shift, exercise)
    guide = expectation.guide
    tolerance = PITCH_TOLERANCE_CENTS if stage == Stage.HEAR.value else expectation.tolerance_cents
    alone = stage == Stage.GUIDE.value and bool(shift.guide)
    fingers = (
        (shift.guide[0].finger.value,) * 2
        if alone
        else (finger_at(shift.departure, expectation.departure), finger_at(shift.arrival, expectation.arrival))
    )
    return {
        "stage": stage,
        "way": exercise.variant,
        "ways": [{"name": each.variant, "heading": each.heading} for each in ways],
        "heading": exercise.heading,
        "instruction": exercise.instruction,
        "line": STAND_LINES[stage, exercise.variant],
        "beat": ENGLISH.say(f"note.{metre_of(exercise.passage.measures[0]).beat}"),
        "cue": STAND_CUES.get((stage, exercise.variant), STAGE_RULES[stage].cue),
        "svg": engrave_to_fit(exercise.passage, stand, width_mm=width_mm, height_mm=height_mm),
        "departure": view_place(expectation.departure, fingers[0], expectation.length_mm, tolerance),
        "arrival": view_place(expectation.arrival, fingers[1], expectation.length_mm, tolerance),
        "guide": guide
        and view_place(guide, shift.guide[0].finger.value if shift.guide else "", expectation.length_mm, tolerance),
        "interval_cents": round(interval_cents(expectation), 1),
    }


def interval_cents(expectation: Expectation) -> float:
    """From departure to arrival, + upwards."""
    return hz_to_cents(expectation.arrival.hz, expectation.departure.hz)


def finger_at(stops: Sequence[Stop], target: Target) -> str:
    """The finger that stops the target."""
    return next((stop.finger.value for stop in stops if stop.string == target.string), "")


def view_place(target: Target, finger: str, length_mm: float, tolerance_cents: float) -> View:
    """Where a finger should come down."""
    return {
        "finger": finger,
        "string": target.string,
        "string_name": ROMAN[target.string],
        "place": target.place,
        "pitch": target.pitch.name,
        "hz": round(target.hz, 3),
        "system": target.system,
        "reference": target.reference,
        "length_mm": length_mm,
        "tolerance_cents": tolerance_cents,
    }
