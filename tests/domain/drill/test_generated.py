"""Drills in any key and metre, under any school of guiding, at any choice of stages: written, read, nothing lost."""

from __future__ import annotations

from itertools import product

from hypothesis import given
from hypothesis import strategies as st

from examples import examples
from oracles.drill_matrix import FAMILIES
from oracles.score_schema import schema_errors
from truestop.adapters.score.musicxml_reading import read_musicxml
from truestop.adapters.score.musicxml_writing import write_musicxml
from truestop.domain.drill import ALL_STAGES, make_drill
from truestop.domain.drill.metre import Metre
from truestop.domain.drill.part import mark_shifts
from truestop.domain.drill.sequence import join_exercises
from truestop.domain.drill.specimens import Specimen, kinds_of, make_specimen
from truestop.domain.passage import Passage
from truestop.domain.shift import GuideRule
from truestop.domain.way import find_way

METRES = tuple(Metre(beats=beats, beat_type=unit) for beats, unit in product((2, 3, 4, 6, 9, 12), (4, 8, 16)))


@st.composite
def specimens(draw: st.DrawFn) -> tuple[Specimen, GuideRule]:
    family = draw(st.sampled_from(FAMILIES))
    kind = draw(st.sampled_from(kinds_of(family)))
    rule = draw(st.sampled_from(list(GuideRule)))
    metre = draw(st.sampled_from(METRES))
    return make_specimen(family, kind, guide_rule=rule, key_fifths=draw(st.integers(-7, 7)), metre=metre), rule


def read_again(passage: Passage) -> Passage:
    return read_musicxml(write_musicxml(passage), name="drill.musicxml").passages[0]


@examples(15)
@given(specimens(), st.sets(st.sampled_from(ALL_STAGES), min_size=1), st.floats(20.0, 300.0))
def test_drills_are_read_again_exactly(made: tuple[Specimen, GuideRule], stages: set[str], bpm: float) -> None:
    specimen, _ = made
    chosen = [stage for stage in ALL_STAGES if stage in stages]
    drill = make_drill(specimen.fingered, specimen.shift, stages=chosen, quarter_bpm=round(bpm, 1))
    for exercise in drill.exercises:
        assert read_again(exercise.passage) == exercise.passage, exercise.key
    if drill.exercises:
        joined = join_exercises(drill.exercises, title=specimen.name)
        assert read_again(joined) == joined
        assert schema_errors(write_musicxml(joined)) == []


@examples(8)
@given(specimens())
def test_marked_parts_are_read_again_exactly(made: tuple[Specimen, GuideRule]) -> None:
    specimen, rule = made
    part = mark_shifts(specimen.fingered, find_way(specimen.fingered, guide_rule=rule))
    assert read_again(part) == part
    assert schema_errors(write_musicxml(part)) == []
