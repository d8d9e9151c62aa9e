"""Harmonics that are not printed: where players take the octave's, and where they do not.

Source: common practice, no source; the passages of tests/oracles/fingering state their reasons.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from fingered_text import FingeredText, parse_fingered, read_fingered
from truestop.adapters.score.printed_marks import print_marks
from truestop.domain.fingering import STYLES, Pin, finger_passage
from truestop.domain.instrument import make_instrument
from truestop.domain.passage import Finger, Harmonic
from truestop.domain.stop import FingeredPassage

FOLDER = Path(__file__).parents[1] / "oracles" / "fingering"
TAKEN = ("violin_harmonic_reach", "viola_harmonic_reach", "cello_harmonic_top", "bass_harmonic_top")
STOPPED = ("violin_stopped_top", "cello_stopped_top")


def finger(text: FingeredText, style: str = "usual") -> FingeredPassage:
    """The passage without marks, in the hand."""
    return finger_passage(text.passage, make_instrument(text.instrument), style=STYLES[style])


def harmonics(fingered: FingeredPassage) -> list[str]:
    """Ids of the notes taken as harmonics."""
    return [stop.note_id for step in fingered.steps for stop in step.stops if stop.harmonic]


@pytest.mark.parametrize("name", TAKEN)
@pytest.mark.parametrize("style", ["usual", "secure", "brilliant"])
def test_a_harmonic_is_taken_where_players_take_it(name: str, style: str) -> None:
    text = read_fingered(FOLDER / f"{name}.txt")
    assert harmonics(finger(text, style)) == [written.note_id for written in text.written if written.harmonic]


@pytest.mark.parametrize("name", STOPPED)
@pytest.mark.parametrize("style", list(STYLES))
def test_the_top_of_a_slow_line_is_stopped(name: str, style: str) -> None:
    assert harmonics(finger(read_fingered(FOLDER / f"{name}.txt"), style)) == []


@pytest.mark.parametrize("name", TAKEN)
def test_beginners_get_none(name: str) -> None:
    assert harmonics(finger(read_fingered(FOLDER / f"{name}.txt"), "beginner")) == []


@pytest.mark.parametrize("name", TAKEN)
def test_it_is_printed_with_its_circle_and_read_again_in_the_same_hand(name: str) -> None:
    fingered = finger(read_fingered(FOLDER / f"{name}.txt"))
    printed = print_marks(fingered)
    (ringing,) = harmonics(fingered)
    marks = printed.note(ringing).marks
    assert marks.harmonic is Harmonic.NATURAL
    assert marks.fingers
    assert marks.string == fingered.stop_of(ringing).string
    again = finger_passage(printed, fingered.instrument)
    assert [replace(stop, given=False) for step in again.steps for stop in step.stops] == [
        stop for step in fingered.steps for stop in step.stops
    ]


def test_an_edition_with_fingers_and_a_pinned_note_get_none() -> None:
    text = read_fingered(FOLDER / "cello_harmonic_top.txt")
    cello = make_instrument("cello")
    fingers_only = text.marked({text.written[1].note_id})
    assert harmonics(finger_passage(fingers_only, cello)) == []
    (ringing,) = harmonics(finger(text))
    assert harmonics(finger_passage(text.passage, cello, pins={ringing: Pin(finger=Finger.THIRD)})) == []


def test_a_peak_from_which_the_line_steps_down_is_stopped() -> None:
    text = parse_fingered("instrument: cello\ntempo: 100\nd=1/2 A3 B3 C4 D4 | A4 G4 F4 E4 | D4 C4 B3 A3 |")
    assert harmonics(finger(text)) == []
