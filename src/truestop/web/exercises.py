"""What is practised at a stage in the room: the drill's exercises, the one that the player chose, what it expects.

Conventions: a stage may have several exercises, its *ways*; a way bears the name of the exercise's variant. Beats are
those of the exercise's metre. Everything comes from the drill; the room only cuts and chooses.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import groupby
from typing import Any

from truestop.app.mainjob import InHand, expect
from truestop.domain.attempt import Expectation, Target
from truestop.domain.drill import Exercise, Stage, Travel, make_drill
from truestop.domain.drill.metre import metre_of
from truestop.domain.errors import DrillError
from truestop.domain.pitch import Pitch
from truestop.domain.shift import Shift
from truestop.domain.stop import Stop
from truestop.domain.tuning import Against, tonic_of_key

#: The way of a stage that comes first in the room, where it is not the drill's first.
FAVOURED = {Stage.IN_TIME: "one bow"}
#: Exercises whose rounds differ: they are shown whole.
WHOLE = {"rhythms", "return", "bars", "phrase"}
THERE_AND_BACK = "return"
REST_BEATS = 3
"""Beats of rest at least before the exercise begins again, with the click, in whole bars."""


def ways_of_stages(in_hand: InHand, shift: Shift) -> dict[str, tuple[Exercise, ...]]:
    """For each stage that the shift calls for, its exercises, the favoured one first."""
    made = make_drill(in_hand.fingered, shift).exercises
    found = {}
    for stage, group in groupby(made, key=lambda each: each.stage):
        ordered = sorted(group, key=lambda each: each.variant != FAVOURED.get(stage, each.variant))
        found[stage.value] = tuple(once(each) for each in ordered)
    return found


def ways_of(in_hand: InHand, shift: Shift, stage: str) -> tuple[Exercise, ...]:
    """The exercises of one stage; DrillError where the shift does not call for it."""
    found = ways_of_stages(in_hand, shift).get(stage)
    if not found:
        raise DrillError(f"This shift has no stage '{stage}'.", hint="Go on to the next stage.")
    return found


def exercise_of(in_hand: InHand, shift: Shift, stage: str, way: str = "") -> Exercise:
    """What is practised at a stage: the way that was chosen, else the first."""
    ways = ways_of(in_hand, shift, stage)
    return next((each for each in ways if each.variant == way), ways[0])


def once(exercise: Exercise) -> Exercise:
    """An exercise that asks for the same travel again and again, cut to its first round: the stand shows it large."""
    ends = {tuple((stop.string, stop.place) for stop in (*each.departure, *each.arrival)) for each in exercise.travels}
    if len(exercise.travels) < 2 or len(ends) > 1 or exercise.variant in WHOLE:
        return exercise
    last = max(exercise.passage.note(stop.note_id).measure_index for stop in exercise.travels[0].arrival)
    kept = tuple(note for note in exercise.passage.notes if note.measure_index <= last)
    end = exercise.passage.measures[last].onset + exercise.passage.measures[last].duration
    passage = replace(
        exercise.passage,
        notes=kept,
        measures=exercise.passage.measures[: last + 1],
        directions=tuple(each for each in exercise.passage.directions if each.onset < end),
    )
    return replace(exercise, passage=passage, travels=exercise.travels[:1], stops=exercise.stops[: len(kept)])


def goes_back(exercise: Exercise) -> bool:
    """Whether the way back counts, as a shift of its own; the guide's slow slides go back as well, to begin again."""
    return exercise.variant == THERE_AND_BACK


def _backwards(exercise: Exercise) -> list[bool]:
    """For each travel of the exercise, whether it is a way back."""
    return [_ends(travel) != _ends(exercise.travels[0]) for travel in exercise.travels]


def _ends(travel: Travel) -> tuple[tuple[int, int], ...]:
    return tuple((stop.string, stop.place) for stop in (*travel.departure, *travel.arrival))


def expect_exercise(
    in_hand: InHand, shift: Shift, exercise: Exercise, *, beats_s: tuple[float, ...] = ()
) -> Expectation:
    """What the way asks for: the stage's expectation, with the travel and the small notes that this way sounds."""
    there_s = beats_of_leg(exercise, beats_s, back=False)
    expected = expect(in_hand, shift, stage=exercise.stage.value, beats_s=there_s)
    if not exercise.travels or exercise.stage in (Stage.NAME, Stage.HEAR):
        return expected
    first = exercise.travels[0]
    guide = expected.guide
    if guide is None and first.guide:
        guide = target_of(in_hand, shift, first.guide[0])
    return replace(expected, guide=guide, silent=expected.silent or first.silent)


def expect_back(
    in_hand: InHand, shift: Shift, exercise: Exercise, *, beats_s: tuple[float, ...] = ()
) -> Expectation | None:
    """What the way back asks for, as a shift of its own; None where the exercise has none."""
    if not goes_back(exercise):
        return None
    back_s = beats_of_leg(exercise, beats_s, back=True)
    return expect(in_hand, in_hand.way_back(shift), stage=exercise.stage.value, beats_s=back_s)


def beats_of_leg(exercise: Exercise, beats_s: tuple[float, ...], *, back: bool) -> tuple[float, ...]:
    """Of the click's arrivals, which come round by round, those of the ways there or those of the ways back."""
    if not goes_back(exercise):
        return () if back else beats_s
    backwards = _backwards(exercise)
    return tuple(at for index, at in enumerate(sorted(beats_s)) if backwards[index % len(backwards)] is back)


def target_of(in_hand: InHand, shift: Shift, stop: Stop) -> Target:
    """Where a stop of the exercise should sound."""
    measure = in_hand.fingered.passage.measure_at(in_hand.fingered.steps[shift.arrival_step].onset)
    against = Against(tonic=tonic_of_key(measure.key_fifths, mode=measure.mode))
    return in_hand.intonation.target(stop.pitch, string=stop.string, place=stop.place, against=against)


def other_pitches_hz(in_hand: InHand, shift: Shift, exercise: Exercise, target: Target) -> tuple[float, ...]:
    """The exercise's notes that are not the target, in any octave: a listener lets them pass."""
    stops: dict[Pitch, Stop] = {}
    for stop in (*shift.departure, *exercise.stops):
        if (stop.pitch.midi - target.pitch.midi) % 12:
            stops.setdefault(stop.pitch, stop)
    return tuple(target_of(in_hand, shift, stop).hz for stop in stops.values())


def beats_of(exercise: Exercise) -> dict[str, Any]:
    """What a click needs, in beats of the exercise's metre: which beats of the repeated exercise the arrivals fall on,
    counted from 0, how long one round is, rest included, and how many beats a bar has."""
    onsets = {note.id: note.onset for note in exercise.passage.notes}
    arrivals = sorted({onsets[stop.note_id] for each in exercise.travels for stop in each.arrival[:1]})
    last = exercise.passage.measures[-1]
    metre = metre_of(last)
    bars = len(exercise.passage.measures) + -(-REST_BEATS // metre.counted)
    return {
        "arrivals": [float(onset / metre.beat) for onset in arrivals],
        "length": bars * metre.counted,
        "bar": metre.counted,
    }


def steps_played(in_hand: InHand, exercise: Exercise) -> range:
    """The steps of the passage that an exercise cut out of it holds; their notes bear its key and their own id."""
    inside = {stop.note_id.removeprefix(f"{exercise.key}-") for stop in exercise.stops}
    indices = [
        index for index, step in enumerate(in_hand.fingered.steps) if any(stop.note_id in inside for stop in step.stops)
    ]
    return range(indices[0], indices[-1] + 1) if indices else range(0)


def arrival_ids(exercise: Exercise, shifts: Sequence[Shift]) -> dict[int, list[str]]:
    """For each shift of the passage, the ids of its arrival's notes in the exercise."""
    inside = {stop.note_id for stop in exercise.stops}
    found = {
        shift.number: [name for stop in shift.arrival if (name := f"{exercise.key}-{stop.note_id}") in inside]
        for shift in shifts
    }
    return {number: names for number, names in found.items() if names}
