"""Writing MusicXML: valid against the schema, the same bytes every time, and read again as the same passage."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from lxml import etree

from examples import examples
from oracles.score_passages import passages
from oracles.score_schema import schema_errors
from truestop.adapters.score.draft import DraftMeasure, DraftNote, DraftPart
from truestop.adapters.score.finishing import finish_part
from truestop.adapters.score.musicxml_reading import read_musicxml
from truestop.adapters.score.musicxml_writing import write_musicxml
from truestop.adapters.score.note_values import length_of
from truestop.adapters.score.reading import read_score
from truestop.domain.errors import ScoreError
from truestop.domain.passage import Finger, Harmonic, Measure, Note, Passage
from truestop.domain.pitch import Pitch


@examples(15)
@given(passages())
def test_what_is_written_reads_again_as_the_same_passage(passage: Passage) -> None:
    document = write_musicxml(passage)
    assert read_musicxml(document, name="passage.musicxml").passages[0] == passage


def drafted(notes: list[DraftNote]) -> Passage:
    """One bar of common time for the violin."""
    measure = DraftMeasure(
        number="1", onset=Fraction(0), duration=Fraction(4), key_fifths=0, mode="major", beats=4, beat_type=4,
        clef="treble",
    )  # fmt: skip
    return finish_part(DraftPart(name="Violin", family="violin", notes=notes, measures=[measure]))


def drafted_note(name: str, onset: Fraction, kind: str, tuplet: tuple[int, int] | None, voice: str = "1") -> DraftNote:
    pitch = Pitch.parse(name)
    return DraftNote(
        own_id=None, written=pitch, pitch=pitch, onset=onset, duration=length_of(kind, 0, tuplet), measure_index=0,
        voice=voice, type=kind, tuplet=tuplet,
    )  # fmt: skip


def test_a_cue_size_artificial_harmonic_with_a_trill_in_a_triplet_reads_again() -> None:
    notes = [drafted_note(name, Fraction(place, 3), "eighth", (3, 2)) for place, name in enumerate(("A4", "B4", "C5"))]
    harmonic = notes[1]
    harmonic.base, harmonic.touched, harmonic.harmonic = Pitch.parse("B4"), Pitch.parse("E5"), Harmonic.ARTIFICIAL
    harmonic.pitch, harmonic.small, harmonic.trill = Pitch.parse("B6"), True, True
    harmonic.fingers, harmonic.trill_finger = (Finger.FIRST,), Finger.FOURTH
    passage = drafted(notes)
    assert read_musicxml(write_musicxml(passage), name="x").passages[0] == passage


@pytest.mark.parametrize("gap", [0, 2, 4])
def test_quintuplets_in_two_voices_with_gaps_read_again(gap: int) -> None:
    step = length_of("16th", 0, (5, 4))
    lower = [drafted_note("G4", 1 + place * step, "16th", (5, 4), "2") for place in range(5) if place != gap]
    upper = [drafted_note("E5", Fraction(place, 3), "eighth", (3, 2)) for place in (0, 2, 3, 5)]
    upper += [drafted_note("D5", 2 + place * step, "16th", (5, 4)) for place in range(5) if place != gap]
    passage = drafted([*upper, *lower])
    assert read_musicxml(write_musicxml(passage), name="x").passages[0] == passage


def test_a_chord_at_the_end_of_an_overlong_bar_does_not_lengthen_it() -> None:
    passage = read_score(b"X:1\nM:2/4\nL:1/8\nK:G\nA5[DA] [DA]2|d4|", name="x.abc")
    assert read_musicxml(write_musicxml(passage), name="x").passages[0].measures == passage.measures


@examples(8)
@given(passages())
def test_what_is_written_is_valid_musicxml_4(passage: Passage) -> None:
    assert schema_errors(write_musicxml(passage)) == []


@examples(3)
@given(passages())
def test_the_same_passage_gives_the_same_bytes(passage: Passage) -> None:
    assert write_musicxml(passage) == write_musicxml(replace(passage))


def written(text: str, header: str = "M:4/4\nL:1/8\nK:D") -> etree._Element:
    """What a line of ABC becomes."""
    passage = read_score(f"X:1\n{header}\n{text}\n".encode(), name="x.abc", family="violin")
    return etree.fromstring(write_musicxml(passage), etree.XMLParser(load_dtd=False, no_network=True))


def heads(text: str, header: str = "M:4/4\nL:1/8\nK:D") -> list[etree._Element]:
    """The ``<note>`` elements with a pitch."""
    return [note for note in written(text, header).iter("note") if note.find("pitch") is not None]


def beams(text: str, header: str = "M:4/4\nL:1/8\nK:D") -> str:
    """The outermost beam of each note: ( begin, - continue, ) end, . none; r for a rest."""
    signs = {"begin": "(", "continue": "-", "end": ")", None: "."}
    notes = [note for note in written(text, header).iter("note") if note.find("chord") is None]
    outer = [signs[note.findtext("beam[@number='1']")] for note in notes]
    return "".join("r" if note.find("rest") is not None else sign for note, sign in zip(notes, outer, strict=True))


@pytest.mark.parametrize(
    ("text", "header", "expected"),
    [
        ("ABcd efga", "M:4/4\nL:1/8\nK:D", "(--)(--)"),
        ("ABcd e2fg", "M:4/4\nL:1/8\nK:D", "(--).()"),
        ("AB/c/de fga2", "M:4/4\nL:1/8\nK:D", "(-)()()."),
        ("ABcdef", "M:3/4\nL:1/8\nK:D", "(----)"),
        ("ABcdef", "M:6/8\nL:1/8\nK:D", "(-)(-)"),
        ("ABcd", "M:2/4\nL:1/8\nK:D", "(--)"),
        ("ABc", "M:3/8\nL:1/8\nK:D", "(-)"),
        ("ABzd efga", "M:4/4\nL:1/8\nK:D", "()r.(--)"),
        ("ABcdefgab", "M:9/8\nL:1/8\nK:D", "(-)(-)(-)"),
        ("A2 Bc d2 ef", "M:4/4\nL:1/8\nK:D", ".().()"),
        ("(3ABc (3def g2 a2", "M:4/4\nL:1/8\nK:D", "(-)(-).."),
    ],
)
def test_beams_follow_the_metre(text: str, header: str, expected: str) -> None:
    assert beams(text, header) == expected


def test_inner_beams_break_at_the_beat_and_short_ones_are_hooks() -> None:
    inner = [note.findtext("beam[@number='2']") for note in heads("A3/B/ c/d/e/f/")]
    assert inner == [None, "backward hook", "begin", "continue", "continue", "end"]


def signs(text: str, header: str = "M:4/4\nL:1/4\nK:D") -> list[str | None]:
    return [note.findtext("accidental") for note in heads(text, header)]


def test_accidentals_follow_the_rules_of_the_measure() -> None:
    assert signs("f =f f ^f | f") == [None, "natural", None, "sharp", None]
    assert signs("^g g g' =g | g") == ["sharp", None, "sharp", "natural", None]
    assert signs("^g4- | g2 g2") == ["sharp", None, "natural"]
    assert signs("^g4- | g2 ^g2") == ["sharp", None, "sharp"]
    assert signs("_B __B =B ^B") == ["flat", "flat-flat", "natural", "sharp"]


def rests(text: str, header: str = "M:4/4\nL:1/8\nK:D") -> list[str | None]:
    return [note.findtext("type") for note in written(text, header).iter("note") if note.find("rest") is not None]


def test_measures_are_filled_with_rests_that_show_the_beat() -> None:
    assert rests("A z7") == ["eighth", "quarter", "half"]
    assert rests("A2 z4 B2") == ["quarter", "quarter"]
    assert rests("A2 z4", "M:3/4\nL:1/8\nK:D") == ["quarter", "quarter"]
    assert rests("A z5", "M:6/8\nL:1/8\nK:D") == ["eighth", "eighth", "quarter"]
    assert rests("z8 | A8") == [None]
    assert written("z8 | A8").find(".//rest").get("measure") == "yes"


def test_ids_are_those_of_the_notes_and_a_bad_one_is_refused() -> None:
    passage = read_score(b"X:1\nK:C\nAB", name="x.abc")
    document = etree.fromstring(write_musicxml(passage), etree.XMLParser(load_dtd=False, no_network=True))
    assert [note.get("id") for note in document.iter("note") if note.get("id")] == [note.id for note in passage.notes]
    spoilt = replace(passage, notes=(replace(passage.notes[0], id="two words"), *passage.notes[1:]))
    with pytest.raises(ScoreError, match="'two words' cannot be a note's id"):
        write_musicxml(spoilt)


def test_a_passage_without_measures_is_refused() -> None:
    with pytest.raises(ScoreError, match="without bars"):
        write_musicxml(Passage(title="", notes=(), measures=()))


def test_a_note_past_its_barline_is_tied_over_and_control_signs_are_dropped() -> None:
    measures = tuple(
        Measure(number=str(index + 1), onset=Fraction(4 * index), duration=Fraction(4)) for index in range(2)
    )
    pitch = Pitch.parse("A4")
    long = Note(
        id="a",
        pitch=pitch,
        written=pitch,
        onset=Fraction(3),
        duration=Fraction(5),
        measure="1",
        measure_index=0,
        beat=Fraction(4),
    )
    passage = Passage(title="Bell\x07", notes=(long,), measures=measures)
    found = read_musicxml(write_musicxml(passage), name="x").passages[0]
    assert found.title == "Bell"
    assert [(note.id, note.measure, note.duration, note.type) for note in found.notes] == [
        ("a", "1", 1, "quarter"), ("a.2", "2", 4, "whole"),
    ]  # fmt: skip
    assert found.notes[0].tied_to_next
    assert found.notes[1].tied_from_before
    assert found.notes[1].bow_continues


def test_slurs_numbered_through_a_passage_get_numbers_that_musicxml_has() -> None:
    passage = read_score(b"X:1\nL:1/4\nK:C\n(AB)(cd)|(ef)g2", name="x.abc")
    numbers = iter((40, 40, 41, 41, 42, 42))
    notes = tuple(
        replace(
            note,
            slur_stops=tuple(next(numbers) for _ in note.slur_stops),
            slur_starts=tuple(next(numbers) for _ in note.slur_starts),
        )
        for note in passage.notes
    )
    document = write_musicxml(replace(passage, notes=notes))
    assert schema_errors(document) == []
    assert read_musicxml(document, name="x").passages[0] == passage
