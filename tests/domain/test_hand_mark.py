"""Words about the hand: how they are understood, and that the reading follows them.

The wordings and what they mean are common practice of editions and methods, no single source.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from truestop.adapters.score.musicxml_reading import read_musicxml
from truestop.adapters.score.musicxml_writing import write_musicxml
from truestop.adapters.score.reading import read_score
from truestop.domain.fingering import finger_passage
from truestop.domain.hand_mark import HandMark, hands_named, parse_hand_mark, split_reach
from truestop.domain.instrument import make_instrument
from truestop.domain.passage import Passage
from truestop.domain.stop import FingeredPassage
from truestop.domain.way import find_way

VIOLIN, CELLO, BASS = (make_instrument(family) for family in ("violin", "cello", "bass"))


@pytest.mark.parametrize(
    ("words", "mark"),
    [
        ("x", HandMark("extended")), ("ext.", HandMark("extended")), ("Streckung", HandMark("extended")),
        ("contr.", HandMark("contracted")), ("3rd pos.", HandMark(None, "3rd")), ("pos. III", HandMark(None, "3rd")),
        ("III. Lage", HandMark(None, "3rd")), ("third position", HandMark(None, "3rd")),
        ("half position", HandMark(None, "half")), ("lower 2nd pos.", HandMark(None, "lower 2nd")),
        ("pos. II-III", HandMark(None, "II–III")), ("thumb on C♯4", HandMark(None, "thumb on C#4")),
        ("high 3rd pos., ext.", HandMark("extended", "high 3rd")),
    ],
)  # fmt: skip
def test_words_are_understood(words: str, mark: HandMark) -> None:
    assert parse_hand_mark(words) == mark


@pytest.mark.parametrize("words", ["dolce", "III", "3rd", "sul G", "x dolce", "", "pos.", "positively", "41st pos. x"])
def test_other_words_are_left_alone(words: str) -> None:
    assert parse_hand_mark(words) is None


def test_a_stretch_beside_a_finger() -> None:
    assert split_reach("x4") == ("x", "4")
    assert split_reach("4 ext.") == ("ext.", "4")
    assert split_reach("III 2") == (None, "III 2")


def test_positions_by_name() -> None:
    assert {placement for placement, _ in hands_named("3rd", VIOLIN)} == {4, 5, 6}
    assert hands_named("low 3rd", VIOLIN) == {(4, False)}
    assert hands_named("upper 2nd", CELLO) == {(4, False)}
    assert hands_named("2nd", CELLO) == {(3, False), (4, False)}
    assert hands_named("II–III", BASS) == {(4, False)}
    assert (12, True) in hands_named("thumb on A4", CELLO)
    assert hands_named("lower 2nd", VIOLIN) == hands_named("low 2nd", VIOLIN) == {(3, False)}
    assert hands_named("41st", VIOLIN) == hands_named("low 3rd", CELLO) == frozenset()


def _read(body: str, family: str = "violin") -> FingeredPassage:
    clef = " clef=bass" if family == "cello" else ""
    data = f"X:1\nT:t\nM:4/4\nL:1/4\nK:C{clef}\nV:1 name={family}{clef}\n{body}|]\n".encode()
    return finger_passage(read_score(data, name="t.abc", family=family), make_instrument(family))


def _kinds(fingered: FingeredPassage) -> tuple[int, list[str]]:
    way = find_way(fingered)
    return len(way.shifts), [motion.kind for motion in way.other]


@pytest.mark.parametrize("words", ['"^ext."!4!', '"^4 ext."', '"^x4"'])
def test_a_stretch_keeps_the_position_and_words_may_change_it(words: str) -> None:
    """C6 under the fourth finger after A5 with the third: reached from first position, or in second."""
    assert _kinds(_read(f"!1!f !2!g !3!a {words}c'")) == (0, ["extension"])
    moved = _read('!1!f !2!g !3!a "^2nd pos."!4!c\'')
    assert _kinds(moved) == (0, ["creep"])
    assert [step.position for step in moved.steps] == ["1st", "1st", "1st", "2nd"]


def test_the_cello_reads_x_before_a_finger() -> None:
    """E, F♯ and G♯ on the D string: 1, and 4 reached out from the half step; or the hand moves up."""
    assert _kinds(_read('!1!E, !2!^F, "^x4"^G,', "cello")) == (0, ["extension", "extension"])
    assert _kinds(_read('!1!E, "^upper 2nd pos."!1!^F, !3!^G,', "cello"))[0] == 1


def _again(passage: Passage) -> Passage:
    return read_musicxml(write_musicxml(passage), name="again.musicxml").passages[0]


def test_words_are_written_before_their_note_and_read_back() -> None:
    written = _read('!1!f "^ext."!3!^a {!1!a}"^x"!4!^d\' [EB]').passage
    assert [note.marks.hand for note in written.notes] == [None, "ext.", None, "x", None, None]
    assert _again(written) == written
    told = {2: "3rd pos.", 4: "1st pos., ext."}  # a grace note, and the lower note of a chord
    notes = [
        replace(note, marks=replace(note.marks, hand=told.get(index, note.marks.hand)))
        for index, note in enumerate(written.notes)
    ]
    more = replace(written, notes=tuple(notes))
    assert _again(more) == more


def test_words_that_no_hand_follows_are_told() -> None:
    fingered = _read('"^12th pos."!1!B c d2')
    assert fingered.remarks == ("bar 1: '12th pos.' does not fit B4 as it is taken; it is passed over.",)
    at_no_note = _read("B c d2").passage
    assert at_no_note.remarks == ()
