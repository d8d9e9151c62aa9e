"""Annotating a file: the marks are those an editor would print, and not a byte of the rest changes."""

from __future__ import annotations

import io
import zipfile
from dataclasses import replace
from pathlib import PurePath

import pytest

from oracles.score_corpus import corpus_bytes
from oracles.score_schema import schema_errors
from truestop.adapters.score.annotating import annotate_musicxml
from truestop.adapters.score.container import unpack
from truestop.adapters.score.musicxml_writing import write_musicxml
from truestop.adapters.score.reading import read_score
from truestop.domain.errors import ScoreError
from truestop.domain.fingering import finger_passage
from truestop.domain.instrument import make_instrument
from truestop.domain.stop import FingeredPassage

MOVEMENT = "haydn/opus1no1/movement2.mxl"


def _fingered(data: bytes, measures: str | None = "1-24", part: str | None = None) -> FingeredPassage:
    passage = read_score(data, name=MOVEMENT, measures=measures, part=part)
    assert passage.instrument is not None
    return finger_passage(passage, make_instrument(passage.instrument))


def _hands(fingered: FingeredPassage) -> list[tuple[str, int, str]]:
    return [(stop.note_id, stop.string, stop.finger.value) for step in fingered.steps for stop in step.stops]


@pytest.fixture(scope="module")
def plain() -> bytes:
    return unpack(corpus_bytes(MOVEMENT), name=MOVEMENT)


@pytest.fixture(scope="module")
def fingered(plain: bytes) -> FingeredPassage:
    return _fingered(plain)


@pytest.fixture(scope="module")
def short(plain: bytes) -> bytes:
    return write_musicxml(read_score(plain, name=MOVEMENT, measures="1-4"))


def test_nothing_but_lines_with_marks_is_added(plain: bytes, fingered: FingeredPassage) -> None:
    annotated = annotate_musicxml(plain, MOVEMENT, fingered)
    kept = iter(annotated.splitlines(keepends=True))
    assert all(line in kept for line in plain.splitlines(keepends=True))
    added = len(annotated.splitlines()) - len(plain.splitlines())
    assert 0 < added < len(annotated.splitlines()) / 20


def test_an_editor_prints_few_fingers_and_they_suffice(plain: bytes, fingered: FingeredPassage) -> None:
    annotated = annotate_musicxml(plain, MOVEMENT, fingered)
    again = _fingered(annotated)
    printed = sum(1 for note in again.passage.notes if note.marks.fingers)
    assert 0 < printed < len(again.passage.notes) / 3
    same = sum(one == two for one, two in zip(_hands(fingered), _hands(again), strict=True))
    assert same / len(_hands(fingered)) >= 0.97


def test_every_finger_and_string_can_be_printed(plain: bytes) -> None:
    fingered = _fingered(plain, part="Cello")
    again = read_score(
        annotate_musicxml(plain, MOVEMENT, fingered, sparse=False), name=MOVEMENT, part="Cello", measures="1-24"
    )
    by_id = {note.id: note.marks for note in again.notes}
    for note_id, string, finger in _hands(fingered):
        assert by_id[note_id].string == string
        assert [mark.value for mark in by_id[note_id].fingers] == [finger]


def test_what_the_edition_prints_is_not_printed_again(plain: bytes, fingered: FingeredPassage) -> None:
    once = annotate_musicxml(plain, MOVEMENT, fingered)
    twice = annotate_musicxml(once, MOVEMENT, _fingered(once))
    marked_once, marked_twice = (
        {n.id: n.marks.fingers for n in _fingered(data).passage.notes} for data in (once, twice)
    )
    printed = {note_id for note_id, fingers in marked_once.items() if fingers}
    assert printed
    assert all(marked_twice[note_id] == marked_once[note_id] for note_id in printed)
    assert sum(bool(fingers) for fingers in marked_twice.values()) <= len(printed) + 1, "one note was read otherwise"


def test_the_annotated_file_is_valid_musicxml(plain: bytes, fingered: FingeredPassage) -> None:
    before = len(schema_errors(plain))
    assert len(schema_errors(annotate_musicxml(plain, MOVEMENT, fingered))) == before


def test_a_compressed_file_stays_compressed_with_its_other_members(fingered: FingeredPassage) -> None:
    data = corpus_bytes(MOVEMENT)
    annotated = annotate_musicxml(data, MOVEMENT, fingered)
    with zipfile.ZipFile(io.BytesIO(data)) as before, zipfile.ZipFile(io.BytesIO(annotated)) as after:
        assert before.namelist() == after.namelist()
        changed = [name for name in before.namelist() if before.read(name) != after.read(name)]
        assert [PurePath(name).suffix for name in changed] in ([".xml"], [".musicxml"])


@pytest.mark.parametrize("encoding", ["utf-16-le", "utf-16-be", "iso-8859-1"])
def test_other_encodings_are_kept(short: bytes, encoding: str) -> None:
    mark = {"utf-16-le": b"\xff\xfe", "utf-16-be": b"\xfe\xff", "iso-8859-1": b""}[encoding]
    declared = encoding.removesuffix("-le").removesuffix("-be").upper()
    document = mark + short.decode().replace('encoding="UTF-8"', f'encoding="{declared}"', 1).encode(encoding)
    annotated = annotate_musicxml(document, MOVEMENT, _fingered(document, None))
    assert read_score(annotated, name=MOVEMENT).notes[0].marks.fingers
    assert annotated.decode(encoding).count("<fingering>") > 0


def test_a_file_without_line_breaks_gets_none(short: bytes) -> None:
    flat = b"".join(line.strip() for line in short.splitlines())
    annotated = annotate_musicxml(flat, MOVEMENT, _fingered(flat, None))
    assert b"<technical><fingering>" in annotated
    assert b"\n" not in annotated


def test_an_empty_notations_element_is_left_alone(short: bytes) -> None:
    document = short.replace(b"</note>", b"<notations/></note>")
    annotated = annotate_musicxml(document, MOVEMENT, _fingered(document, None))
    assert read_score(annotated, name=MOVEMENT).notes[0].marks.fingers


def test_another_file_is_refused(plain: bytes, fingered: FingeredPassage) -> None:
    notes = (replace(fingered.passage.notes[0], id="elsewhere"), *fingered.passage.notes[1:])
    stranger = replace(fingered, passage=replace(fingered.passage, notes=notes))
    with pytest.raises(ScoreError, match="no part with the notes"):
        annotate_musicxml(plain, MOVEMENT, stranger)
