"""A printed fingering reads back as the hand it was printed from, whichever fingering was chosen."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations
from pathlib import Path

import pytest
from music21 import corpus

from truestop.adapters.score.printed_marks import print_marks
from truestop.adapters.score.reading import read_score
from truestop.app.printing import extra_marks
from truestop.domain.fingering import STYLES, Pin, Proposal, Reader, finger_passage, propose_fingerings
from truestop.domain.instrument import make_instrument
from truestop.domain.passage import Finger, Passage
from truestop.domain.shift import Way
from truestop.domain.stop import FingeredPassage
from truestop.domain.way import find_way


def as_printed(fingered: FingeredPassage) -> Passage:
    """The page as an editor prints it, with the extra marks that a reader needs."""
    extra = extra_marks(fingered, print_marks)
    return print_marks(fingered, also=extra.also, hands=extra.hands)


def _way(fingered: FingeredPassage) -> Way:
    """The way of the hand, whichever of its fingers are printed."""
    steps = (replace(step, stops=tuple(replace(stop, given=False) for stop in step.stops)) for step in fingered.steps)
    return find_way(replace(fingered, steps=tuple(steps)))


def _hand(fingered: FingeredPassage) -> list[tuple[str, int, str]]:
    return [(stop.note_id, stop.string, stop.finger.value) for step in fingered.steps for stop in step.stops]


def assert_read_back(chosen: FingeredPassage) -> None:
    """Whoever reads the page has the same strings, fingers, positions, shifts, extensions and contractions."""
    read = finger_passage(as_printed(chosen), chosen.instrument)
    assert _hand(read) == _hand(chosen)
    assert [step.position for step in read.steps] == [step.position for step in chosen.steps]
    assert _way(read) == _way(chosen)


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
    assert_read_back(chosen)


@pytest.mark.parametrize("choice", range(4))
def test_no_word_is_printed_that_the_page_does_not_need(proposals: tuple[Proposal, ...], choice: int) -> None:
    chosen = proposals[choice].fingered
    extra = extra_marks(chosen, print_marks)
    for note_id in extra.hands:
        hands = {other: words for other, words in extra.hands.items() if other != note_id}
        read = finger_passage(print_marks(chosen, also=extra.also, hands=hands), chosen.instrument)
        same = [step.position for step in read.steps] == [step.position for step in chosen.steps]
        assert not (same and _hand(read) == _hand(chosen) and _way(read) == _way(chosen)), note_id


@pytest.mark.parametrize("choice", range(3))
def test_reading_again_is_reading(proposals: tuple[Proposal, ...], choice: int) -> None:
    """Whatever marks the page has, one of them a substitution too."""
    chosen = proposals[choice].fingered
    reader = Reader(chosen.passage, chosen.instrument)
    first = next(stop for step in chosen.steps for stop in step.stops if stop.finger is Finger.FIRST)
    for hands in ({}, {first.note_id: f"{chosen.steps[0].position or '1st'} pos."}):
        page = print_marks(chosen, also=frozenset({first.note_id}), hands=hands)
        assert reader.read(page) == finger_passage(page, chosen.instrument).steps
    fingers = (Finger.FIRST, Finger.FIRST)
    notes = [
        replace(note, marks=replace(note.marks, fingers=fingers)) if note.id == first.note_id else note
        for note in chosen.passage.notes
    ]
    page = replace(chosen.passage, notes=tuple(notes))
    assert reader.read(page) == finger_passage(page, chosen.instrument).steps


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
    assert_read_back(chosen)


def test_pins_read_back_as_they_were_set(passage: Passage) -> None:
    free = finger_passage(passage, make_instrument("violin"))
    able = [stop for step in free.steps for stop in step.stops if stop.string == 2 and stop.pitch.name == "F#5"][:2]
    assert len(able) == 2
    pins = {stop.note_id: Pin(string=1, finger=Finger.FIRST) for stop in able}
    chosen = finger_passage(passage, make_instrument("violin"), pins=pins)
    assert all(chosen.stop_of(note_id).string == 1 for note_id in pins)
    assert_read_back(chosen)


def test_alternatives_of_a_range_of_measures_differ_and_read_back() -> None:
    passage = _read("beethoven/opus18no1/movement1", "9-16")
    proposals = propose_fingerings(passage, make_instrument("violin"), 3)
    hands = [_hand(proposal.fingered) for proposal in proposals]
    assert len(hands) == 3
    assert all(sum(a != b for a, b in zip(one, other, strict=True)) >= 2 for one, other in combinations(hands, 2))
    for proposal, hand in zip(proposals, hands, strict=True):
        assert _hand(proposal.fingered) == hand
        assert_read_back(proposal.fingered)
