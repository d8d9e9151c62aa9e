"""What we write, read by others: music21 and verovio find the same notes, fingers, strings, slurs and slides."""

from __future__ import annotations

import warnings
from collections.abc import Iterator

import pytest
import verovio
from lxml import etree

from truestop.adapters.score.musicxml_writing import write_musicxml
from truestop.adapters.score.reading import read_score
from truestop.domain.passage import Passage

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import music21

MEI = "{http://www.music-encoding.org/ns/mei}"
STUDY = """X:1
T:Study
M:3/4
L:1/8
Q:1/4=72
K:D
(!1!D4 !3!F2)|"^sulla III"!1!A2 !slide!!3!c4|[!1!D!2!A]4 z2|(3!1!e!2!f!3!g !4!a2 !0!e2|{f}!2!^g4 (!3!a2|!slide!!1!d'6)|]
"""


@pytest.fixture(scope="module")
def study() -> Passage:
    return read_score(STUDY.encode(), name="study.abc", family="violin")


@pytest.fixture(scope="module")
def stream(study: Passage) -> Iterator[music21.stream.Stream]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        yield music21.converter.parseData(write_musicxml(study).decode(), format="musicxml")


@pytest.fixture(scope="module")
def encoded(study: Passage) -> etree._Element:
    toolkit = verovio.toolkit()
    assert toolkit.loadData(write_musicxml(study).decode())
    return etree.fromstring(toolkit.getMEI({"removeIds": False}).encode())


def test_music21_finds_the_same_notes(study: Passage, stream: music21.stream.Stream) -> None:
    theirs = [pitch.nameWithOctave for element in stream.recurse().notes for pitch in element.pitches]
    assert sorted(theirs) == sorted(note.written.name for note in study.notes)


def test_music21_finds_the_same_fingers_and_strings(study: Passage, stream: music21.stream.Stream) -> None:
    marks = [mark for element in stream.recurse().notes for mark in element.articulations]
    fingers = sorted(str(mark.fingerNumber) for mark in marks if isinstance(mark, music21.articulations.Fingering))
    strings = [mark.number for mark in marks if isinstance(mark, music21.articulations.StringIndication)]
    assert fingers == sorted(finger.value for note in study.notes for finger in note.marks.fingers)
    assert strings == [note.marks.string for note in study.notes if note.marks.string is not None]
    assert len(strings) > 3


def _ends(stream: music21.stream.Stream, kind: str) -> list[tuple[str, str]]:
    lines = stream.recurse().getElementsByClass(kind)
    return [(line.getFirst().nameWithOctave, line.getLast().nameWithOctave) for line in lines]


def test_music21_finds_the_same_slurs_and_slides(stream: music21.stream.Stream) -> None:
    assert _ends(stream, "Slur") == [("D4", "F#4"), ("A5", "D6")]
    assert _ends(stream, "Glissando") == [("A4", "C#5"), ("A5", "D6")]


def test_verovio_finds_the_same_notes_under_the_same_ids(study: Passage, encoded: etree._Element) -> None:
    ids = [note.get("{http://www.w3.org/XML/1998/namespace}id") for note in encoded.iter(f"{MEI}note")]
    assert sorted(ids) == sorted(note.id for note in study.notes)
    steps = {
        note.get("{http://www.w3.org/XML/1998/namespace}id"): f"{note.get('pname').upper()}{note.get('oct')}"
        for note in encoded.iter(f"{MEI}note")
    }
    assert steps == {note.id: f"{note.written.step}{note.written.octave}" for note in study.notes}


def test_verovio_finds_the_same_fingers_slurs_and_slides(study: Passage, encoded: etree._Element) -> None:
    fingers = sorted("".join(element.itertext()).strip() for element in encoded.iter(f"{MEI}fing"))
    assert fingers == sorted(finger.value for note in study.notes for finger in note.marks.fingers)
    first = {note.id for note in study.notes if note.slur_starts}
    assert {element.get("startid").lstrip("#") for element in encoded.iter(f"{MEI}slur")} == first
    arrivals = {note.id for note in study.notes if note.marks.slide}
    assert {element.get("endid").lstrip("#") for element in encoded.iter(f"{MEI}gliss")} == arrivals
