"""Choosing part and measures; what is refused, and how."""

from __future__ import annotations

import io
import time
import zipfile
from fractions import Fraction

import pytest

from oracles.score_corpus import corpus_bytes
from oracles.score_mutations import damaged
from truestop.adapters.score.container import unpack
from truestop.adapters.score.reading import list_parts, read_score
from truestop.domain.errors import ScoreError, TruestopError
from truestop.domain.passage import Note

QUARTET = "haydn/opus1no1/movement2.mxl"


@pytest.fixture(scope="module")
def quartet() -> bytes:
    return corpus_bytes(QUARTET)


def part_of_measures(*measures: tuple[str, str], attributes: str = "") -> bytes:
    """A part whose measures are given as number and notes, each note a letter for a quarter on the staff."""
    body = ""
    for place, (number, letters) in enumerate(measures):
        first = f"<attributes><divisions>1</divisions>{attributes}</attributes>" if place == 0 else ""
        notes = "".join(
            f"<note><pitch><step>{letter}</step><octave>5</octave></pitch><duration>1</duration></note>"
            for letter in letters
        )
        body += f'<measure number="{number}">{first}{notes}</measure>'
    return (
        '<score-partwise><part-list><score-part id="P1"><part-name>Violin</part-name></score-part></part-list>'
        f'<part id="P1">{body}</part></score-partwise>'
    ).encode()


def test_parts_are_listed_with_instrument_and_notes(quartet: bytes) -> None:
    parts = list_parts(quartet, QUARTET)
    assert [(part.id, part.name, part.family) for part in parts] == [
        ("P1", "Violin I", "violin"), ("P2", "Violin II", "violin"), ("P3", "Viola", "viola"), ("P4", "Cello", "cello"),
    ]  # fmt: skip
    assert [part.note_count for part in parts] == [153, 131, 122, 116]


@pytest.mark.parametrize(
    ("wanted", "family", "name"),
    [
        (None, None, "Violin I"), (None, "cello", "Cello"), (None, "bass", "Violin I"), ("P3", None, "Viola"),
        ("violin ii", None, "Violin II"), ("2", None, "Violin II"), ("Vio", None, "Violin I"), ("viola", None, "Viola"),
    ],
)  # fmt: skip
def test_a_part_is_chosen_by_id_name_place_or_instrument(
    quartet: bytes, wanted: str | None, family: str | None, name: str
) -> None:
    assert read_score(quartet, name=QUARTET, part=wanted, family=family).part == name


def test_a_part_that_is_not_there_is_refused_with_the_list(quartet: bytes) -> None:
    with pytest.raises(ScoreError, match="no part 'Oboe'") as caught:
        read_score(quartet, name=QUARTET, part="Oboe")
    assert caught.value.hint == "Choose one of: 1 Violin I, 2 Violin II, 3 Viola, 4 Cello."


NUMBERED = (("0", "A"), ("1", "ABCD"), ("2", "BBBB"), ("12a", "CCCC"), ("12b", "DDDD"))


@pytest.mark.parametrize(
    ("measures", "numbers"),
    [
        ("1", ["1"]), ("0-2", ["0", "1", "2"]), ("2-12a", ["2", "12a"]), ("12a", ["12a"]), (" 1 – 2 ", ["1", "2"]),
        ("12b-12b", ["12b"]),
    ],
)  # fmt: skip
def test_measures_are_chosen_as_printed(measures: str, numbers: list[str]) -> None:
    found = read_score(part_of_measures(*NUMBERED), name="x.xml", measures=measures)
    assert [measure.number for measure in found.measures] == numbers
    assert found.measures[0].onset == found.notes[0].onset == 0
    assert {note.measure_index for note in found.notes} == set(range(len(numbers)))


@pytest.mark.parametrize(
    ("measures", "message"),
    [
        ("99", "no bar '99'"),
        ("2-1", "end before they begin"),
        ("1-", "no bar ''"),
        ("", "no bar ''"),
        ("a-b", "no bar 'a'"),
    ],
)
def test_measures_that_are_not_there_are_refused(measures: str, message: str) -> None:
    with pytest.raises(ScoreError, match=message) as caught:
        read_score(part_of_measures(*NUMBERED), name="x.xml", measures=measures)
    assert "0 to 12b" in caught.value.hint


def test_ids_and_notes_of_a_range_are_those_of_the_whole(quartet: bytes) -> None:
    whole = read_score(quartet, name=QUARTET)
    some = read_score(quartet, name=QUARTET, measures="10-20")
    start = next(measure.onset for measure in whole.measures if measure.number == "10")

    def key(note: Note, shift: Fraction) -> tuple[str, Fraction, Fraction, str, Fraction]:
        return note.id, note.onset - shift, note.duration, note.pitch.name, note.beat

    inside = [key(note, start) for note in whole.notes if 10 <= int(note.measure) <= 20]
    assert [key(note, Fraction(0)) for note in some.notes] == inside


def test_ties_slurs_and_slides_that_lead_out_of_a_range_are_cut() -> None:
    text = b"X:1\nM:2/4\nL:1/4\nK:C\n(AB|!slide!c)d-|d(e|f)g|"
    found = read_score(text, name="x.abc", measures="2-3")
    assert [(note.tied_from_before, note.tied_to_next) for note in found.notes[1:3]] == [(False, True), (True, False)]
    assert not found.notes[0].bow_continues
    assert not found.notes[0].marks.slide
    assert all(not note.slur_starts and not note.slur_stops for note in found.notes)
    alone = read_score(text, name="x.abc", measures="3")
    assert not any(note.tied_from_before or note.bow_continues for note in alone.notes)
    assert not any(note.tied_to_next for note in read_score(text, name="x.abc", measures="2").notes)


def test_the_tempo_in_force_goes_with_a_range() -> None:
    found = read_score(b"X:1\nM:2/4\nL:1/4\nQ:1/4=66\nK:C\nAB|cd|[Q:1/4=90]ef|", name="x.abc", measures="2-3")
    assert [(tempo.onset, tempo.quarter_bpm) for tempo in found.tempos] == [(0, 66.0), (2, 90.0)]


def test_a_pickup_is_counted_to_its_downbeat() -> None:
    time_signature = "<time><beats>4</beats><beat-type>4</beat-type></time>"
    found = read_score(part_of_measures(("0", "A"), ("1", "ABCD"), attributes=time_signature), name="x.xml")
    assert [note.beat for note in found.notes] == [4, 1, 2, 3, 4]
    assert found.measures[1].onset == 1


def test_ids_are_the_files_own_or_made_from_measure_and_place() -> None:
    data = part_of_measures(("1", "AB"), ("2", "CD")).replace(b"<note>", b'<note id="own">', 1)
    assert [note.id for note in read_score(data, name="x.xml").notes] == ["own", "m1n2", "m2n1", "m2n2"]
    twice = data.replace(b"<note>", b'<note id="own">', 1)
    assert [note.id for note in read_score(twice, name="x.xml").notes] == ["m1n1", "m1n2", "m2n1", "m2n2"]


def test_timewise_scores_are_read_alike() -> None:
    note = "<note><pitch><step>A</step><octave>4</octave></pitch><duration>1</duration></note>"
    first = f'<part id="P1"><attributes><divisions>1</divisions></attributes>{note}</part>'
    data = (
        '<score-timewise><part-list><score-part id="P1"><part-name>Viola</part-name></score-part></part-list>'
        f'<measure number="5">{first}</measure><measure number="6"><part id="P1">{note}</part></measure>'
        "</score-timewise>"
    )
    assert [(one.measure, one.onset) for one in read_score(data.encode(), name="x.xml").notes] == [("5", 0), ("6", 1)]


def packed(members: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    return out.getvalue()


BILLION = b'<!DOCTYPE x [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;">]><score-partwise>&b;</score-partwise>'
OUTSIDE = b'<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/passwd">]><score-partwise>&a;</score-partwise>'
WHOLE = part_of_measures(("1", "ABCD"))


@pytest.mark.parametrize(
    ("name", "data", "message"),
    [
        ("x.musicxml", b"", "is empty"),
        ("x.txt", b"hello", "not a score"),
        ("x.pdf", b"%PDF-1.7", "is a PDF"),
        ("x.xml", b"<html><body/></html>", "root is 'html'"),
        ("x.xml", b"<opus/>", "root is 'opus'"),
        ("x.xml", WHOLE[:200], "ends in the middle"),
        ("x.xml", WHOLE.replace(b"</pitch>", b"</pitsch>", 1), "not well-formed XML at line 1, column"),
        ("x.xml", BILLION, "entities"),
        ("x.xml", OUTSIDE, "entities"),
        ("x.xml", b'<?xml version="1.0" encoding="klingon"?><score-partwise/>', "encoding"),
        ("x.xml", b"<score-partwise/>", "no part"),
        ("x.xml", part_of_measures(), "no <measure>"),
        ("x.xml", part_of_measures(("1", "")), "no notes"),
        ("x.xml", b"<score-partwise>" + b"<a>" * 100_000, "nests"),
        ("x.mxl", b"PK\x03\x04rubbish", "damaged .mxl"),
        ("x.mxl", packed({"readme.txt": b"x"}), "holds no score"),
        ("x.mxl", packed({"score.xml": b"0" * 20_000_000}), "unpacks to more than"),
        ("x.mid", b"MThd\x00\x00", "not a whole MIDI file"),
        ("x.abc", b"just words", "holds no tune"),
    ],
)
def test_what_is_no_score_is_refused_in_one_sentence(name: str, data: bytes, message: str) -> None:
    with pytest.raises(ScoreError, match=message) as caught:
        read_score(data, name=name)
    assert str(caught.value).endswith(".")
    assert "\n" not in str(caught.value)
    assert caught.value.hint


def test_a_compressed_file_may_lack_its_container_or_name(quartet: bytes) -> None:
    document = unpack(quartet, name=QUARTET)
    bare = packed({"score.xml": document})
    assert read_score(bare, name="x.mxl").notes == read_score(document, name="whatever.bin").notes


def test_text_in_utf_16_is_read(quartet: bytes) -> None:
    text = unpack(quartet, name=QUARTET).decode("utf-8-sig")
    text = text.replace('encoding="UTF-8"', 'encoding="UTF-16"', 1)
    assert read_score(text.encode("utf-16"), name="x.xml").notes == read_score(quartet, name=QUARTET).notes


@pytest.mark.slow
def test_300_damaged_scores_give_a_passage_or_one_clear_sentence() -> None:
    slowest_s, read, refused = 0.0, 0, 0
    for name, data in damaged(300, seed=20):
        start = time.process_time()
        error = _fault_in(data, name)
        slowest_s = max(slowest_s, time.process_time() - start)
        read += error is None
        refused += error is not None
        assert error is None or (str(error).endswith(".") and error.hint)
    assert read > 30
    assert refused > 30
    assert slowest_s < 2.0


def _fault_in(data: bytes, name: str) -> TruestopError | None:
    try:
        assert read_score(data, name=name).notes
    except TruestopError as error:
        return error
    return None
