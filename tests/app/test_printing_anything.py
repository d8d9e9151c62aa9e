"""What truestop prints over a passage is read back as the same way of the hand: string, finger, position, shifts.

Passages: random walks of quick and slow notes, slurred and not, in the range of each instrument, and the passages of
``tests/oracles/fingering``; ways: every style, and the fingerings offered beside the easiest.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from examples import examples
from fingered_text import read_fingered
from truestop.adapters.score.annotating import annotate_musicxml
from truestop.adapters.score.musicxml_writing import write_musicxml
from truestop.adapters.score.printed_marks import print_marks
from truestop.adapters.score.reading import read_score
from truestop.app.printing import extra_marks
from truestop.domain.fingering import STYLES, finger_passage, propose_fingerings
from truestop.domain.instrument import make_instrument
from truestop.domain.passage import Measure, Note, Passage
from truestop.domain.pitch import spell
from truestop.domain.stop import FingeredPassage
from truestop.domain.way import find_way

SET = sorted((Path(__file__).parents[1] / "oracles" / "fingering").glob("*.txt"))
CLEFS = {"violin": "treble", "viola": "alto", "cello": "bass", "bass": "bass"}
SEMITONES_ABOVE = {"violin": 29, "viola": 26, "cello": 28, "bass": 24}
"""How far above the top string the walks go."""
MOST_ALTERNATIVES = 3


@st.composite
def walks(draw: st.DrawFn) -> Passage:
    """A line of single notes that steps and leaps through the range of an instrument."""
    family = draw(st.sampled_from(tuple(CLEFS)))
    instrument = make_instrument(family)
    low, high = instrument.lowest_midi, instrument.strings[0].midi + SEMITONES_ABOVE[family]
    midi, onset, key = draw(st.integers(low, high)), Fraction(0), draw(st.integers(-4, 4))
    notes: list[Note] = []
    for number in range(draw(st.integers(2, 24))):
        length = draw(st.sampled_from((Fraction(1, 4), Fraction(1, 2), Fraction(1, 2), Fraction(1), Fraction(2))))
        pitch = spell(midi, key_fifths=key)
        notes.append(
            Note(
                id=f"n{number}", pitch=pitch, written=pitch, onset=onset, duration=length, measure="1",
                measure_index=0, beat=onset + 1, bow_continues=number > 0 and draw(st.booleans()),
            )
        )  # fmt: skip
        onset += length
        midi += draw(st.sampled_from((-12, -7, -4, -3, -2, -2, -1, -1, 0, 1, 1, 2, 2, 3, 4, 5, 7, 12)))
        midi = min(max(midi, low), high)
    measure = Measure(number="1", onset=Fraction(0), duration=onset, key_fifths=key, clef=CLEFS[family])
    return Passage(title="", notes=tuple(notes), measures=(measure,), instrument=family)


@st.composite
def hands(draw: st.DrawFn) -> FingeredPassage:
    """A passage in the hand, in any style, or another fingering of it."""
    passage = draw(walks()) if draw(st.booleans()) else read_fingered(draw(st.sampled_from(SET))).passage
    instrument = make_instrument(passage.instrument or "violin")
    choice = draw(st.sampled_from((*STYLES, *range(1, MOST_ALTERNATIVES))))
    if isinstance(choice, str):
        return finger_passage(passage, instrument, style=STYLES[choice])
    found = propose_fingerings(passage, instrument, choice + 1)
    return found[min(choice, len(found) - 1)].fingered


def told(fingered: FingeredPassage) -> list[object]:
    """Everything that a player is told of the way, but which fingers are printed."""
    steps = [replace(step, stops=tuple(replace(stop, given=False) for stop in step.stops)) for step in fingered.steps]
    stops = [(stop.note_id, stop.string, stop.finger) for step in steps for stop in step.stops]
    return [stops, [step.position for step in steps], find_way(replace(fingered, steps=tuple(steps)))]


@examples(60)
@given(hands())
def test_the_way_printed_is_the_way_read(written: FingeredPassage) -> None:
    extra = extra_marks(written, print_marks)
    printed = print_marks(written, also=extra.also, hands=extra.hands)
    assert told(finger_passage(printed, written.instrument)) == told(written)


@pytest.mark.parametrize("path", SET[::6], ids=lambda path: path.stem)
@pytest.mark.parametrize("choice", range(2))
def test_the_way_added_to_a_file_is_the_way_read(path: Path, choice: int) -> None:
    text = read_fingered(path)
    instrument = make_instrument(text.instrument)
    plain = write_musicxml(replace(text.passage, instrument=text.instrument))
    passage = read_score(plain, name="plain.musicxml", family=text.instrument)
    found = propose_fingerings(passage, instrument, choice + 1)
    written = found[min(choice, len(found) - 1)].fingered
    extra = extra_marks(written, print_marks)
    marked = annotate_musicxml(plain, "plain.musicxml", written, also=extra.also, hands=extra.hands)
    read = read_score(marked, name="plain.musicxml", family=text.instrument)
    assert told(finger_passage(read, instrument)) == told(written)
