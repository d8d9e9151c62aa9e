"""A shift typed in words."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from truestop.adapters.score.musicxml_reading import read_musicxml
from truestop.adapters.score.musicxml_writing import write_musicxml
from truestop.adapters.score.typed_entry import looks_typed, read_typed
from truestop.domain.errors import ScoreError
from truestop.domain.fingering import finger_passage
from truestop.domain.instrument import make_instrument
from truestop.domain.passage import Harmonic


def stops(text: str, family: str | None = None) -> list[tuple[str, int | None, str]]:
    passage = read_typed(text, family=family)
    return [
        (note.pitch.name, note.marks.string, "".join(finger.value for finger in note.marks.fingers))
        for note in passage.notes
    ]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("A 1 B4 to A 3 F#5", [("B4", 2, "1"), ("F#5", 2, "3")]),
        ("III 1 A4 > III 3 E5", [("A4", 3, "1"), ("E5", 3, "3")]),
        ("iii 1 a4 -> iii 3 e5", [("A4", 3, "1"), ("E5", 3, "3")]),
        ("B4 1 II→II F♯5 3", [("B4", 2, "1"), ("F#5", 2, "3")]),
        ("violin: G 2 Bb3 > G 4 Eb4", [("Bb3", 4, "2"), ("Eb4", 4, "4")]),
        ("A4>E5", [("A4", None, ""), ("E5", None, "")]),
        ("cello: D 1 E3 to T A3", [("E3", 2, "1"), ("A3", None, "T")]),
        ("bass G 1 A2 to G 4 D3", [("A2", 1, "1"), ("D3", 1, "4")]),
        ("viola C 4 G3 > C 1 G3", [("G3", 4, "4"), ("G3", 4, "1")]),
    ],
)
def test_shifts_in_words(text: str, expected: list[tuple[str, int | None, str]]) -> None:
    assert looks_typed(text)
    assert stops(text) == expected


def test_the_instrument_settles_which_string_a_letter_means() -> None:
    assert stops("D 1 E3 > D 4 A3", "cello")[0][1] == 2
    assert stops("D 1 E4 > D 4 A4", "violin")[0][1] == 3


def test_slide_and_slur() -> None:
    passage = read_typed("A 1 B4 to A 3 F#5 slide slur")
    assert passage.notes[1].marks.slide
    assert passage.notes[1].bow_continues
    assert passage.notes[0].slur_starts == passage.notes[1].slur_stops == (1,)


def test_a_0_over_a_harmonic_asks_for_the_harmonic() -> None:
    assert read_typed("A 1 B4 to A 0 A5").notes[1].marks.harmonic is Harmonic.NATURAL


def test_a_typed_shift_is_a_whole_passage() -> None:
    for text in ("A 1 B4 to A 3 F#5", "cello: I 1 E4 > I 3 A4", "bass: I 1 A2 > I 4 D3"):
        passage = read_typed(text)
        assert passage.instrument is not None
        assert read_musicxml(write_musicxml(passage), name="typed").passages[0] == passage
        steps = finger_passage(passage, make_instrument(passage.instrument)).steps
        assert len(steps) == 2


@pytest.mark.parametrize(
    ("text", "where", "message"),
    [
        ("A 1 B4", "'A 1 B4'", "two stops"),
        ("A 9 B4 to C5", "word 2, '9'", "no part of a shift"),
        ("V 1 A4 > B4", "word 1, 'V'", "no such string"),
        ("H5 > A4", "word 1, 'H5'", "no part of a shift"),
        ("A 1 1 B4 > C5", "word 3, '1'", "a finger already"),
        ("A4 > B4 > C5", "word 4, '>'", "two stops, not more"),
        ("A 1 > B4", "'A 1 > B4'", "first stop has no pitch"),
        ("A4 C5 > B4", "word 2, 'C5'", "a pitch already"),
        ("C 1 A4 > B4", "word 1, 'C'", "no such string"),
        ("A4 > B99", "word 3, 'B99'", "out of range"),
        ("", "''", "two stops"),
    ],
)
def test_errors_point_at_the_word(text: str, where: str, message: str) -> None:
    with pytest.raises(ScoreError, match=message) as caught:
        read_typed(text)
    assert caught.value.where == where
    assert caught.value.hint


@pytest.mark.parametrize("text", ["II 1 B4 >", "II 1 H4 > II 3 F5", "cello A3", "II 1 B4", "B4 F#5", "H5 > A4"])
def test_half_a_shift_is_still_meant_as_one(text: str) -> None:
    assert looks_typed(text)


@pytest.mark.parametrize("text", ["Etude A4", "study.musicxml", "to", "A to B", "my study to read.abc", "-", ""])
def test_file_names_are_not_typed_shifts(text: str) -> None:
    assert not looks_typed(text)


@st.composite
def typed(draw: st.DrawFn) -> tuple[str, list[tuple[str, int | None, str]]]:
    """A shift on the violin in words, its parts in any order, and what it says."""
    said, parts = [], []
    for _ in range(2):
        name = draw(st.sampled_from(("A4", "Bb4", "C#5", "F#5", "G5", "Ebb5")))
        string = draw(st.sampled_from((None, "I", "ii", "III", "E", "a", "d")))
        finger = draw(st.sampled_from(("", "1", "2", "3", "4")))
        words = [word for word in (name, string, finger) if word]
        parts.append(" ".join(draw(st.permutations(words))))
        numbers = {"I": 1, "ii": 2, "III": 3, "E": 1, "a": 2, "d": 3}
        said.append((name, numbers[string] if string else None, finger))
    separator = draw(st.sampled_from((" to ", " > ", "->", "→")))
    return separator.join(parts) + draw(st.sampled_from(("", " slide", " slur slide"))), said


@given(typed())
def test_the_words_of_a_stop_stand_in_any_order(shift: tuple[str, list[tuple[str, int | None, str]]]) -> None:
    text, said = shift
    assert looks_typed(text)
    assert stops(text) == said
    passage = read_typed(text)
    assert read_musicxml(write_musicxml(passage), name="typed").passages[0] == passage


@given(st.text(alphabet="ABCabcIVT01234#>→- :,o\u266dts", max_size=24))
def test_anything_typed_is_read_or_refused_at_its_word(text: str) -> None:
    try:
        read_typed(text)
    except ScoreError as error:
        refused = error
    else:
        return
    assert refused.hint
    assert refused.where
