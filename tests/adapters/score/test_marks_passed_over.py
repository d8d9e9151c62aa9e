"""Every printed mark is taken in, refused at its note, or told with its bar: nothing is dropped without a word."""

from __future__ import annotations

import pytest

from truestop.adapters.score.reading import read_score
from truestop.adapters.score.selection import select_measures
from truestop.app.mainjob import Setup, take_in_hand
from truestop.app.printing import without_fingers
from truestop.domain.errors import FingeringError
from truestop.domain.passage import Finger, Harmonic, Passage

from .test_musicxml_marks import note, read


def tune(music: str, *, metre: str = "4/4") -> Passage:
    return read_score(f"X:1\nT:Study\nM:{metre}\nL:1/4\nK:C\n{music}\n".encode(), name="study.abc")


def told(passage: Passage) -> list[str]:
    """What the player is told of a violin passage."""
    return list(take_in_hand(passage, Setup(family="violin")).fingered.remarks)


@pytest.mark.parametrize(
    ("music", "expected"),
    [
        ("!T!G4|", "bar 1: !T! is no decoration of the ABC standard"),
        ("G4|!tr!A4|", "bar 2: !tr! is no decoration"),
        ("G4|[!lift!GB]4|", "bar 2: !lift! is no decoration"),
        ("G4|{!lift!A}G4|", "bar 2: !lift! is no decoration"),
        ('"^sul G"e\'4|', "bar 1: 'sul G' cannot hold for E6, which does not lie on string IV"),
        ('"^sul C"G4|', "bar 1: 'sul C' names no string here (I to IV are E5 A4 D4 G3)"),
        ('G4|"^sul D"!open!A4|', "bar 2: 'sul D' stands at A4, which is marked as an open string that is another"),
        ('G4|"^IV"[GB]4|', "bar 2: 'IV' does not say which note of the chord"),
        ("G4|!1!!2!!3![GB]4|", "bar 2: finger 3 has no note in the chord"),
        ("!slide!G4|", "bar 1: the slide to G4 comes from no note"),
        ("G4|A4 !2!|", "bar 2: a mark at the end of the music stands before no note"),
    ],
)
def test_abc_tells_what_it_passes_over(music: str, expected: str) -> None:
    found = [one for one in told(tune(music)) if "no hand holds" not in one]
    assert len(found) == 1
    assert found[0].startswith(expected)


@pytest.mark.parametrize(
    ("music", "expected"),
    [
        ('"^IV"e\'4|', r"string IV \(G3\) cannot sound it; the note lies beyond its fingerboard"),
        ('"^V"G4|', "no string V"),
        ('"^II"G4|', r"string II \(A4\) cannot sound it; the note lies below it"),
        ('"^IV"!open!A4|', "finger 0 and string IV do not go together"),
        ("!open!F4|", "no string gives this note so"),
        ("!harmonic!f4|", "none of the strings E5 A4 D4 G3 sounds it so"),
        ("!thumb!A4|", "the violin has no thumb position"),
        ("!1!G,4|", "finger 1 cannot stop it on any string"),
    ],
)
def test_abc_refuses_what_no_hand_does_at_its_bar(music: str, expected: str) -> None:
    with pytest.raises(FingeringError, match=expected) as caught:
        told(tune(f"G4|{music}"))
    assert caught.value.where.startswith("bar 2, ")
    assert caught.value.hint


def test_abc_takes_in_every_mark_of_the_hand_and_the_bow() -> None:
    music = '!2!G "^IV"A !open!d !trill!e | !upbow!e !downbow!d !slide!"^3-1"B "^III 2"A | "^2 (4)"A !harmonic!a2 z |'
    passage = tune(music)
    by_place = [(n.marks.fingers, n.marks.string, n.trill, n.marks.bow, n.marks.slide) for n in passage.notes]
    one, two, three, zero = Finger.FIRST, Finger.SECOND, Finger.THIRD, Finger.OPEN
    assert by_place[:4] == [
        ((two,), None, False, None, False), ((), 4, False, None, False), ((zero,), None, False, None, False),
        ((), None, True, None, False),
    ]  # fmt: skip
    assert [(mark[0], mark[3], mark[4]) for mark in by_place[4:8]] == [
        ((), "up", False), ((), "down", False), ((three, one), None, True), ((two,), None, False),
    ]  # fmt: skip
    assert by_place[7][1] == 3
    assert passage.notes[8].marks.alternates == (Finger.FOURTH,)
    assert passage.notes[9].marks.harmonic is Harmonic.NATURAL
    assert passage.remarks == ()


def test_two_fingers_at_an_abc_trill_are_the_note_and_the_trill() -> None:
    """As in MusicXML: two plain fingerings at a trilled note."""
    trilled, changed = tune('!1!!2!!trill!A2 !trill!"^3-1"A2|').notes
    assert (trilled.marks.fingers, trilled.marks.trill_finger) == ((Finger.FIRST,), Finger.SECOND)
    assert (changed.marks.fingers, changed.marks.trill_finger) == ((Finger.THIRD, Finger.FIRST), None)


@pytest.mark.parametrize("text", ["IV1", "IV 1", "1/IV", "1 IV"])
def test_a_string_and_a_finger_in_one_text(text: str) -> None:
    (in_abc,) = tune(f'"^{text}"G4|').notes
    (in_xml,) = read(note("G4", f"<fingering>{text}</fingering>")).notes
    assert (in_abc.marks.string, in_abc.marks.fingers) == (4, (Finger.FIRST,))
    assert (in_xml.marks.string, in_xml.marks.fingers) == (4, (Finger.FIRST,))


def test_inside_a_chord_every_note_has_its_own_string_and_finger() -> None:
    lower, upper = tune('["^IV1"G"^III"!2!B]4|').notes
    assert (lower.marks.string, lower.marks.fingers) == (4, (Finger.FIRST,))
    assert (upper.marks.string, upper.marks.fingers) == (3, (Finger.SECOND,))


@pytest.mark.parametrize(
    ("technical", "extra", "expected"),
    [
        ("<fingering>5</fingering>", "", "bar 1: B4: the fingering '5' is none of 0 to 4 and T"),
        ("<string>x</string>", "", "bar 1: B4: 'x' is no string number"),
        ("<tap/>", "", "bar 1: the mark <tap> is none of those that truestop reads"),
        ("<other-technical>buzz</other-technical>", "", "bar 1: 'buzz' is none of those that truestop reads"),
        ("", "<ornaments><tremolo>3</tremolo></ornaments>", "bar 1: the mark <tremolo> is none of those"),
        ("", "<slide type='start' number='1'/>", "bar 1: the slide from B4 ends at no note"),
    ],
)
def test_musicxml_tells_what_it_passes_over(technical: str, extra: str, expected: str) -> None:
    (found,) = told(read(note("B4", technical, extra=extra)))
    assert found.startswith(expected)


def test_a_slide_that_ends_is_no_matter_for_a_remark() -> None:
    start, stop = "<slide type='start' number='1'/>", "<slide type='stop' number='1'/>"
    passage = read(note("B4", extra=start) + note("D5", extra=stop))
    assert passage.notes[1].marks.slide
    assert passage.remarks == ()


def test_words_that_no_string_answers_are_told_in_musicxml() -> None:
    words = "<direction><direction-type><words>sul G</words></direction-type></direction>"
    (found,) = told(read(words + note("E6")))
    assert found.startswith("bar 1: 'sul G' cannot hold for E6")


def test_remarks_follow_the_bars_that_are_chosen_and_go_with_the_marks() -> None:
    passage = tune("!lift!G4|A4|!drop!B4|")
    assert [told(select_measures(passage, bars)) for bars in ("2", "2-3")] == [
        [], ["bar 3: !drop! is no decoration of the ABC standard; it is passed over."]
    ]  # fmt: skip
    assert without_fingers(passage).remarks == ()


def test_a_mark_that_comes_often_is_told_once() -> None:
    tremolo = "<ornaments><tremolo>3</tremolo></ornaments>"
    (found,) = told(read(note("B4", extra=tremolo) + note("C5", extra=tremolo) + note("D5", extra=tremolo)))
    assert found.startswith("bar 1: the mark <tremolo> is none of those")
    assert found.endswith("it is passed over (3 times).")


def test_braces_in_a_text_of_the_file_do_no_harm() -> None:
    (found,) = told(read(note("B4", "<fingering>{x!r:9}</fingering>")))
    assert found.startswith("bar 1: B4: the fingering '{x!r:9}'")
    (other,) = told(read(note("B4", "<x:tap xmlns:x='urn:y'/>")))
    assert other.startswith("bar 1: the mark <tap> is none of those")
