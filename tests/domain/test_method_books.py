"""Scales of public-domain method books: completed from the finger at each change of position, and proposed.

Source: tests/oracles/method_books.txt names book, author and year beside each; from memory, not checked against the
print. The viola takes the violin's scales a fifth lower (common practice, no source).
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from fingered_text import FingeredText, parse_fingered
from truestop.domain.fingering import finger_passage
from truestop.domain.instrument import make_instrument
from truestop.domain.passage import Passage
from truestop.domain.pitch import Interval
from truestop.domain.stop import FingeredPassage

PATH = Path(__file__).parents[1] / "oracles" / "method_books.txt"
BOOKS = [parse_fingered(block) for block in PATH.read_text("utf-8").split("---\n")[1:]]
FIFTH_DOWN = Interval(-4, -7)

Hand = dict[str, tuple[int, str, str | None]]


def on_the_viola(text: FingeredText) -> FingeredText:
    """A scale of the violin a fifth lower, on the viola, with the same strings and fingers."""
    notes = tuple(
        replace(note, pitch=note.pitch.transposed(FIFTH_DOWN), written=note.written.transposed(FIFTH_DOWN))
        for note in text.passage.notes
    )
    measures = tuple(replace(one, key_fifths=one.key_fifths - 1) for one in text.passage.measures)
    passage = replace(text.passage, notes=notes, measures=measures, instrument="viola")
    return replace(text, head={**text.head, "instrument": "viola"}, passage=passage)


ALL = BOOKS + [on_the_viola(text) for text in BOOKS if text.instrument == "violin"]


def name(text: FingeredText) -> str:
    return f"{text.instrument}: {text.head['title']}"


def fingered(text: FingeredText, passage: Passage) -> FingeredPassage:
    return finger_passage(passage, make_instrument(text.instrument))


def hand(found: FingeredPassage) -> Hand:
    """String, finger and position of every note; behind an open string the position is not asked."""
    return {
        stop.note_id: (stop.string, str(stop.finger), step.position if stop.is_fingered else None)
        for step in found.steps
        for stop in step.stops
    }


def printed(book: FingeredPassage) -> set[str]:
    """The first note, and every note at which the position changes."""
    ids, position = {book.steps[0].stops[0].note_id}, None
    for step in book.steps:
        if step.fingered and step.position != position:
            ids.add(step.fingered[0].note_id)
            position = step.position
    return ids


@pytest.mark.parametrize("text", ALL, ids=name)
def test_the_finger_at_each_change_of_position_gives_the_books_scale(text: FingeredText) -> None:
    book = fingered(text, text.marked())
    assert [(stop[0], stop[1]) for stop in hand(book).values()] == [(w.string, w.finger) for w in text.written]
    assert hand(fingered(text, text.marked(printed(book), strings=False))) == hand(book)


def test_the_positions_are_those_of_the_books_titles() -> None:
    titled = {"second": "2nd", "third": "3rd", "fourth": "4th", "fifth": "5th"}
    for text in (text for text in ALL if text.head["title"].split()[0] in titled):
        positions = {position for _, _, position in hand(fingered(text, text.marked())).values()}
        assert positions == {titled[text.head["title"].split()[0]]}, name(text)


def test_proposing_without_marks_agrees_with_the_books() -> None:
    """Scales that a book sets in a high position to teach it are no proposal of a player's: they are left out."""
    texts = [text for text in ALL if text.head["title"].split()[0] not in ("second", "third", "fourth", "fifth")]
    pairs = [(hand(fingered(text, text.marked())), hand(fingered(text, text.passage))) for text in texts]
    notes = sum(len(book) for book, _ in pairs)
    agree = sum(found[note] == stop for book, found in pairs for note, stop in book.items())
    assert agree / notes >= 0.96, "measured: 254 of 262"
