"""A printed fingering reads back as the hand it was printed from, whichever fingering was chosen."""

from __future__ import annotations

from pathlib import Path

import pytest
from music21 import corpus

from truestop.adapters.score.printed_marks import print_marks
from truestop.adapters.score.reading import read_score
from truestop.app.printing import notes_misread
from truestop.domain.fingering import Proposal, finger_passage, propose_fingerings
from truestop.domain.instrument import make_instrument
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
