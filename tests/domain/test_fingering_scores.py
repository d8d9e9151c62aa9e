"""Whole parts of the repertoire, and odd textures without a crash.

Scores: the public-domain quartet movements of music21's corpus (PyPI).
"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from music21 import corpus

from examples import examples
from truestop.adapters.score.reading import read_score
from truestop.domain.fingering import finger_passage
from truestop.domain.frame import RESTING
from truestop.domain.instrument import make_instrument
from truestop.domain.passage import Measure, Note, Passage
from truestop.domain.pitch import spell
from truestop.domain.way import find_way


def corpus_file(work: str) -> Path:
    """The file of a corpus work."""
    found = corpus.getWork(work)
    paths = [Path(path) for path in (found if isinstance(found, list) else [found])]
    return next(path for path in paths if path.suffix == ".mxl")


BEETHOVEN = corpus_file("beethoven/opus18no1/movement1")


@pytest.mark.parametrize(
    ("work", "part", "family"),
    [
        ("beethoven/opus18no1/movement2", 0, "violin"),
        ("haydn/opus74no1/movement1", 2, "viola"),
        ("haydn/opus74no1/movement2", 3, "cello"),
    ],
)
def test_parts_of_the_repertoire_come_out_whole(work: str, part: int, family: str) -> None:
    path = corpus_file(work)
    passage = read_score(path.read_bytes(), name=path.name, part=str(part + 1), family=family)
    fingered = finger_passage(passage, make_instrument(family))
    stopped = {stop.note_id for step in fingered.steps for stop in step.stops}
    assert stopped == {note.id for note in passage.notes if not note.tied_from_before}
    named = [step.position for step in fingered.steps if step.fingered]
    assert all(named)
    low = sum(step.placement in (1, 2) for step in fingered.steps if step.fingered)
    assert low / len(named) > 0.5, "a quartet part lies mostly in first position"


LENGTHS = [Fraction(1, 2), Fraction(1), Fraction(2)]
ONE_IN_TEN = st.integers(0, 9).map(lambda number: number == 0)


@st.composite
def textures(draw: st.DrawFn) -> tuple[Passage, str]:
    """Chords, overlapping voices, grace notes and trills anywhere on an instrument."""
    family = draw(st.sampled_from(["violin", "viola", "cello", "bass"]))
    lowest = make_instrument(family).lowest_midi
    notes: list[Note] = []
    for index in range(draw(st.integers(1, 14))):
        onset = Fraction(index, 2)
        for up in draw(st.sets(st.integers(0, 36), min_size=1, max_size=5)):
            pitch, grace = spell(lowest + up), draw(ONE_IN_TEN)
            notes.append(
                Note(
                    id=f"n{len(notes)}", pitch=pitch, written=pitch, onset=onset, measure="1", measure_index=0,
                    duration=Fraction(0) if grace else draw(st.sampled_from(LENGTHS)), beat=onset + 1, grace=grace,
                    trill=draw(ONE_IN_TEN), bow_continues=draw(st.booleans()),
                )
            )  # fmt: skip
    ordered = tuple(sorted(notes, key=lambda note: (note.onset, not note.grace, note.pitch.midi)))
    bar = Measure(number="1", onset=Fraction(0), duration=Fraction(8))
    return Passage(title="", notes=ordered, measures=(bar,)), family


@examples(60)
@given(textures())
def test_any_texture_on_the_instrument_is_fingered(drawn: tuple[Passage, str]) -> None:
    passage, family = drawn
    instrument = make_instrument(family)
    fingered = finger_passage(passage, instrument)
    find_way(fingered)
    assert {stop.note_id for step in fingered.steps for stop in step.stops} == {note.id for note in passage.notes}
    for step in fingered.steps:
        for stop in step.stops:
            assert stop.place == stop.pitch.midi - instrument.open_pitch(stop.string).midi
            assert stop.is_open == (stop.place == 0)


def test_stops_of_one_position_lie_in_its_frame() -> None:
    """Of a whole part, nearly all stops lie where the frame puts them: stretches are the exception."""
    passage = read_score(BEETHOVEN.read_bytes(), name=BEETHOVEN.name, family="violin")
    stops = [s for step in finger_passage(passage, make_instrument("violin")).steps for s in step.fingered]
    assert sum(stop.shape in RESTING for stop in stops) / len(stops) > 0.95


PRINTED = """<?xml version="1.0" encoding="UTF-8"?>
<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Violin</part-name></score-part></part-list>
<part id="P1"><measure number="1"><attributes><divisions>1</divisions><key><fifths>0</fifths></key>
<time><beats>3</beats><beat-type>4</beat-type></time><clef><sign>G</sign><line>2</line></clef></attributes>
<note><pitch><step>F</step><octave>5</octave></pitch><duration>1</duration><type>quarter</type>
<notations><technical><fingering>3</fingering><string>2</string></technical></notations></note>
<note><pitch><step>D</step><octave>5</octave></pitch><duration>1</duration><type>quarter</type>
<notations><technical><fingering>3</fingering><fingering {kind}="yes">1</fingering></technical></notations></note>
<note><pitch><step>F</step><octave>5</octave></pitch><duration>1</duration><type>quarter</type>
<notations><technical><fingering>3</fingering><string>2</string></technical></notations></note>
</measure></part></score-partwise>"""


@pytest.mark.parametrize(("kind", "taken"), [("alternate", ["3", "1", "3"]), ("substitution", ["3", "3", "1", "3"])])
def test_a_second_printed_finger_is_an_option_or_a_substitution(kind: str, taken: list[str]) -> None:
    """Source: MusicXML 4.0, element ``fingering``: attributes ``substitution`` and ``alternate``."""
    passage = read_score(PRINTED.replace("{kind}", kind).encode(), name="printed.musicxml", family="violin")
    steps = finger_passage(passage, make_instrument("violin")).steps
    assert [step.stops[0].finger.value for step in steps] == taken
