"""Exercises one after another as one piece of music, for files that hold a whole sheet.

Conventions: measures are numbered through from 1; every exercise begins a new line, with its heading over it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from truestop.domain.drill.stages import Exercise
from truestop.domain.errors import DrillError
from truestop.domain.passage import Direction, Measure, Note, Passage, Tempo


def join_exercises(exercises: Sequence[Exercise], *, title: str, composer: str = "") -> Passage:
    """All exercises in a row; DrillError where there is none."""
    if not exercises:
        raise DrillError("No exercise was chosen.", hint="Choose at least one stage that this shift has.")
    notes: list[Note] = []
    measures: list[Measure] = []
    tempos: list[Tempo] = []
    directions: list[Direction] = []
    onset = Fraction(0)
    for label, exercise in enumerate(exercises, start=1):
        passage = exercise.passage
        first = len(measures)
        directions.append(Direction(onset=onset, text=f"{label}. {exercise.heading}", kind="tempo"))
        directions += [replace(direction, onset=direction.onset + onset) for direction in passage.directions]
        tempos += [replace(tempo, onset=tempo.onset + onset) for tempo in passage.tempos]
        notes += [_moved(note, onset, first) for note in passage.notes]
        measures += [_renumbered(measure, onset, first + index) for index, measure in enumerate(passage.measures)]
        onset += sum((measure.duration for measure in passage.measures), Fraction(0))
    return replace(
        exercises[0].passage,
        title=title,
        composer=composer,
        notes=tuple(notes),
        measures=tuple(measures),
        tempos=tuple(tempos),
        directions=tuple(directions),
    )


def _moved(note: Note, onset: Fraction, first_measure: int) -> Note:
    index = note.measure_index + first_measure
    return replace(note, onset=note.onset + onset, measure_index=index, measure=str(index + 1))


def _renumbered(measure: Measure, onset: Fraction, index: int) -> Measure:
    begins = measure.onset == 0 and index > 0
    return replace(measure, onset=measure.onset + onset, number=str(index + 1), new_system=begins or measure.new_system)
