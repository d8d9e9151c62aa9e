"""A printed fingering reads back as the hand it was printed from, whichever fingering was chosen."""

from __future__ import annotations

from itertools import combinations
from pathlib import Path

import pytest
from music21 import corpus

from truestop.adapters.score.printed_marks import print_marks
from truestop.adapters.score.reading import read_score
from truestop.app.printing import notes_misread
from truestop.domain.fingering import STYLES, Pin, Proposal, finger_passage, propose_fingerings
from truestop.domain.instrument import make_instrument
from truestop.domain.passage import Finger, Passage
from truestop.domain.stop import FingeredPassage


def _hand(fingered: FingeredPassage) -> list[tuple[str, int, str]]:
    return [(stop.note_id, stop.string, stop.finger.value) for step in fingered.steps for stop in step.stops]


@pytest.fixture(scope="module")
def proposals() -> tuple[Proposal, ...]:
    """Haydn op. 74/1 ii, first violin (music21's corpus): its fourth fingering takes many readings to print."""
    found = corpus.getWork("haydn/opus74no1/movement2")
    path = next(Path(one) for one in (found if isinstance(found, list) else [found]) if str(one).endswith(".mxl"))
    passage = read_score(path.read_bytes(), name=path.name, part="1", family="violin")
    return propose_fingerings(passage, make_instrument("violin"), 4)


@pytest.mark.parametrize("choice", range(4))
def test_every_alternative_reads_back_as_it_was_chosen(proposals: tuple[Proposal, ...], choice: int) -> None:
    chosen = proposals[choice].fingered
    printed = print_marks(chosen, also=notes_misread(chosen, print_marks))
    assert _hand(finger_passage(printed, chosen.instrument)) == _hand(chosen)


def _read(work: str, measures: str) -> Passage:
    found = corpus.getWork(work)
    path = next(Path(one) for one in (found if isinstance(found, list) else [found]) if str(one).endswith(".mxl"))
    return read_score(path.read_bytes(), name=path.name, part="1", family="violin", measures=measures)


@pytest.fixture(scope="module")
def passage() -> Passage:
    """Beethoven op. 18/1 i, first violin, a few lines (music21's corpus)."""
    return _read("beethoven/opus18no1/movement1", "1-48")


@pytest.mark.parametrize("style", list(STYLES))
def test_every_style_reads_back_as_it_was_chosen(passage: Passage, style: str) -> None:
    """The page is read in the usual style, whatever style chose the hand."""
    chosen = finger_passage(passage, make_instrument("violin"), style=STYLES[style])
    printed = print_marks(chosen, also=notes_misread(chosen, print_marks))
    assert _hand(finger_passage(printed, chosen.instrument)) == _hand(chosen)


def test_pins_read_back_as_they_were_set(passage: Passage) -> None:
    free = finger_passage(passage, make_instrument("violin"))
    able = [stop for step in free.steps for stop in step.stops if stop.string == 1 and stop.place == 2][:2]
    assert len(able) == 2
    pins = {stop.note_id: Pin(string=2, finger=Finger.THIRD) for stop in able}
    chosen = finger_passage(passage, make_instrument("violin"), pins=pins)
    assert all(chosen.stop_of(note_id).string == 2 for note_id in pins)
    printed = print_marks(chosen, also=notes_misread(chosen, print_marks))
    assert _hand(finger_passage(printed, chosen.instrument)) == _hand(chosen)


def test_alternatives_of_a_range_of_measures_differ_and_read_back() -> None:
    passage = _read("beethoven/opus18no1/movement1", "9-16")
    proposals = propose_fingerings(passage, make_instrument("violin"), 3)
    hands = [_hand(proposal.fingered) for proposal in proposals]
    assert len(hands) == 3
    assert all(sum(a != b for a, b in zip(one, other, strict=True)) >= 2 for one, other in combinations(hands, 2))
    for proposal, hand in zip(proposals, hands, strict=True):
        printed = print_marks(proposal.fingered, also=notes_misread(proposal.fingered, print_marks))
        assert _hand(finger_passage(printed, proposal.fingered.instrument)) == hand
