"""ABC 2.1: the subset for quick typing, against the ABC music standard 2.1 and against music21's own ABC reader."""

from __future__ import annotations

import warnings
from fractions import Fraction

import pytest

from truestop.adapters.score.abc_reading import read_abc
from truestop.adapters.score.musicxml_reading import read_musicxml
from truestop.adapters.score.musicxml_writing import write_musicxml
from truestop.adapters.score.reading import list_parts, read_score
from truestop.domain.errors import ScoreError
from truestop.domain.passage import Finger, Harmonic, Passage

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import music21


def tune(music: str, header: str = "M:4/4\nL:1/8\nK:C") -> Passage:
    return read_score(f"X:1\nT:Study\n{header}\n{music}\n".encode(), name="study.abc")


def names(music: str, header: str = "M:4/4\nL:1/8\nK:C") -> list[str]:
    return [note.pitch.name for note in tune(music, header).notes]


def lengths(music: str, header: str = "M:4/4\nL:1/8\nK:C") -> list[str]:
    return [str(note.duration) for note in tune(music, header).notes]


def test_octaves() -> None:
    assert names("C,, C, C c c' c''") == ["C2", "C3", "C4", "C5", "C6", "C7"]


def test_lengths() -> None:
    assert lengths("A A2 A/ A// A3/2 A/4 A3") == ["1/2", "1", "1/4", "1/8", "3/4", "1/8", "3/2"]


@pytest.mark.parametrize(
    ("header", "unit"),
    [("M:2/4\nK:C", "1/4"), ("M:3/4\nK:C", "1/2"), ("M:6/8\nK:C", "1/2"), ("M:C|\nK:C", "1/2"), ("K:C", "1/2")],
)
def test_the_unit_length_follows_the_metre_where_no_field_gives_it(header: str, unit: str) -> None:
    """ABC 2.1, 3.1.7: below 0.75 a sixteenth, else an eighth."""
    assert lengths("A", header) == [unit]


@pytest.mark.parametrize(
    ("key", "expected"),
    [
        ("G", "F#5"), ("F", "F5"), ("Bb", "F5"), ("D", "F#5"), ("Am", "F5"), ("Em", "F#5"), ("F#m", "F#5"),
        ("D dor", "F5"), ("Dmix", "F#5"), ("G minor", "F5"), ("E phr", "F5"), ("Gb", "F5"), ("C#", "F#5"),
        ("HP", "F#5"), ("none", "F5"), ("C clef=alto", "F5"), ("A maj", "F#5"), ("D =f", "F5"),
    ],
)  # fmt: skip
def test_keys_and_modes(key: str, expected: str) -> None:
    assert names("f", f"K:{key}") == [expected]


def test_a_clef_alone_leaves_the_key_and_stands_where_it_is_written() -> None:
    """music21 reads the same pitches; ABC 2.1, 4.6 gives K: the clef as a part of its own."""
    header, music = "M:4/4\nL:1/4\nK:G clef=alto", "F G [K:clef=treble] F G | [K:bass] F4 |"
    found = tune(music, header)
    foreign = music21.converter.parse(f"X:1\nT:Study\n{header}\n{music}\n", format="abc").recurse().notes
    assert [note.pitch.name for note in found.notes] == [note.pitch.nameWithOctave for note in foreign]
    assert [measure.clef for measure in found.measures] == ["alto", "bass"]
    assert [measure.key_fifths for measure in found.measures] == [1, 1]
    assert [note.clef_before for note in found.notes] == [None, None, "treble", None, None]


def test_a_voice_has_its_own_clef() -> None:
    voices = 'V:1 clef=alto name="Bass Viol"\nV:2 bass\nK:G\nV:1\nB4 | [V:1 clef=treble] B4 |\nV:2\nG,,8 |'
    first, second = read_abc(f"X:1\nM:4/4\nL:1/4\n{voices}\n".encode(), name="study.abc").passages
    assert [measure.clef for measure in first.measures] == ["alto", "treble"]
    assert [measure.clef for measure in second.measures] == ["bass"]


def test_accidentals_hold_to_the_barline_in_every_octave() -> None:
    assert names("^F F f | F") == ["F#4", "F#4", "F#5", "F4"]
    assert names("__B ^^c =d") == ["Bbb4", "C##5", "D5"]


def test_accidentals_hold_in_their_octave_or_not_at_all_where_the_tune_says_so() -> None:
    assert names("^F F f", "I:propagate-accidentals octave\nK:C") == ["F#4", "F#4", "F5"]
    assert names("^F F", "I:propagate-accidentals not\nK:C") == ["F#4", "F4"]


def test_a_tie_over_the_barline_keeps_the_accidental() -> None:
    found = tune("^f8-|f4 f4").notes
    assert [note.pitch.name for note in found] == ["F#5", "F#5", "F5"]
    assert [(note.tied_from_before, note.tied_to_next) for note in found] == [
        (False, True),
        (True, False),
        (False, False),
    ]


def test_broken_rhythm() -> None:
    """ABC 2.1, 4.4: > dots the first note and halves the second, >> double-dots it."""
    assert lengths("A>B A<B A>>B") == ["3/4", "1/4", "1/4", "3/4", "7/8", "1/8"]


def test_tuplets() -> None:
    """ABC 2.1, 4.13: (3 is three in the time of two, (2 two of three, (5 five of two, of three in compound metre."""
    assert lengths("(3ABc") == ["1/3"] * 3
    assert lengths("(2AB", "M:6/8\nL:1/8\nK:C") == ["3/4"] * 2
    assert lengths("(5ABcde") == ["1/5"] * 5
    assert lengths("(5ABcde", "M:9/8\nL:1/8\nK:C") == ["3/10"] * 5
    assert lengths("(3:2:4A2BcA d") == ["2/3", "1/3", "1/3", "1/3", "1/2"]
    assert [note.tuplet for note in tune("(3ABc d").notes] == [(3, 2)] * 3 + [None]


def test_chords_graces_slurs() -> None:
    found = tune("{ga}(A2 [DA]2) {/b}c2").notes
    assert [(note.pitch.name, note.grace, note.slashed) for note in found] == [
        ("G5", True, False), ("A5", True, False), ("A4", False, False), ("D4", False, False), ("A4", False, False),
        ("B5", True, True), ("C5", False, False),
    ]  # fmt: skip
    assert [note.bow_continues for note in found] == [False, False, False, True, True, False, False]


def test_marks_of_the_left_hand() -> None:
    found = tune(
        '!1!A !thumb!d !open!A !open!a !0!E !slide!c !1!!3!B u!2!c v"^3-1"d "^IV"B [!1!D!3!B] !1!!3![DB]'
    ).notes
    marks = [note.marks for note in found]
    assert [[finger.value for finger in mark.fingers] for mark in marks] == [
        ["1"], ["T"], ["0"], ["0"], ["0"], [], ["1", "3"], ["2"], ["3", "1"], [], ["1"], ["3"], ["1"], ["3"],
    ]  # fmt: skip
    assert marks[5].slide
    assert (marks[7].bow, marks[8].bow) == ("up", "down")
    assert marks[9].string == 4


def test_open_over_a_harmonic_is_a_harmonic_once_the_instrument_is_known() -> None:
    data = b"X:1\nK:C\n!open!a"
    assert read_score(data, name="x.abc").notes[0].marks.fingers == (Finger.OPEN,)
    assert read_score(data, name="x.abc", family="violin").notes[0].marks.harmonic is Harmonic.NATURAL


def test_measures_are_numbered_as_a_page_would() -> None:
    found = tune("A2 | B4 c4 | d4 :| d4 | e8 |]")
    assert [measure.number for measure in found.measures] == ["0", "1", "2", "2b", "3"]
    assert found.notes[0].beat == 4
    assert found.measures[2].repeat_ends
    assert found.measures[-1].final_barline


def test_tempo_metre_and_key_may_change() -> None:
    found = tune("A8 | [M:3/4][K:G] f6 | [Q:3/8=60] c6", "M:4/4\nL:1/8\nQ:1/4=100\nK:C")
    assert [(measure.beats, measure.key_fifths) for measure in found.measures] == [(4, 0), (3, 1), (3, 1)]
    assert [(tempo.onset, tempo.quarter_bpm) for tempo in found.tempos] == [(0, 100.0), (7, 90.0)]


def test_several_tunes_and_voices_are_parts() -> None:
    data = b'X:1\nT:First\nK:C\nA\n\nX:7\nT:Second\nV:1 nm="Violin"\nV:2 nm="Cello"\nK:G\n[V:1]f\n[V:2]F,\n'
    assert [(part.id, part.name, part.family, part.note_count) for part in list_parts(data, "tunes.abc")] == [
        ("1", "First", None, 1),
        ("7.1", "Second, Violin", "violin", 1),
        ("7.2", "Second, Cello", "cello", 1),
    ]
    assert read_score(data, name="tunes.abc", part="second").notes[0].pitch.name == "F#5"
    assert read_score(data, name="tunes.abc", part="3").notes[0].pitch.name == "F#3"


@pytest.mark.parametrize(
    ("text", "where", "message"),
    [
        ("X:1\nK:C\nAB?C", "line 3, character 3", "'\\?' means nothing"),
        ("X:1\nK:C\nABC\n[AB", "line 4, character 1", "not closed"),
        ("X:1\nK:C\n{AB", "line 3, character 1", "not closed"),
        ("X:1\nK:Q\nA", "line 2, character 3", "is not a key"),
        ("X:1\nM:3/5\nK:C\nA", "line 2, character 3", "is not a metre"),
        ("X:1\nL:0/8\nK:C\nA", "line 2, character 3", "is not a note length"),
        ("X:1\nK:C\nA-B", "line 3, character 2", "no note of the same pitch"),
        ("X:1\nK:C\n(AB", "line 3, character 1", "never ends"),
        ("X:1\nK:C\nAB)\nc)", "line 3, character 3", "No slur is open"),
        ("X:1\nK:C\nA !5!B", "line 3, character 3", "no finger 5"),
        ("X:1\nK:C\nA & B", "line 3, character 3", "laid over one another"),
        ("X:1\nT:x\nABC", "line 3, character 1", "before the key"),
        ("X:1\nK:C\nA0", "line 3, character 1", "length 0"),
        ("X:1\nK:C\nAB&AB", "line 3, character 3", "laid over one another"),
        ("X:1\nK:C\n(&AB&AB&)", "line 3, character 2", "laid over one another"),
        ("X:1\nK:C\nAB kc", "line 3, character 4", "'k' means nothing"),
        ("X:1\nK:C\n+GBd+", "line 3, character 1", "'\\+' means nothing"),
        ("X:1\nK:C\nA! def !", "line 3, character 2", "not closed"),
        ("X:1\nK:C\nA Z", "line 3, character 3", "inside a bar"),
        ("X:1\nK:C\n(3A(3BcB", "line 3, character 4", "inside another"),
        ("X:1\nK:C\nA><B", "line 3, character 3", "between two notes"),
        ("X:1\nK:C\nA|{g}", "line 3, character 3", "before no note"),
        ("X:1\nK:bass8x\nA", "line 2, character 3", "is not a key"),
        ("X:1\nU:x=!trill!\nK:C\nA", "line 2, character 3", "no letter a meaning"),
        ("X:1\nK:C\nAB\ns:1 2", "line 4, character 3", "line of symbols"),
    ],
)
def test_errors_point_at_line_and_character(text: str, where: str, message: str) -> None:
    with pytest.raises(ScoreError, match=message) as caught:
        read_abc(text.encode(), name="study.abc")
    assert caught.value.where == f"{where} of study.abc"
    assert caught.value.hint


COMPARED = (
    "X:1\nM:3/4\nL:1/8\nK:D\nD2|A4 B2|c>d e<f (3gfe|[DA]4 z2|^g2 a2 f2|G,2-G,2 _B2|",
    "X:2\nM:6/8\nL:1/8\nK:Bbm\nB3 c2d|efg (2ab|c'6|B,3-B,3|",
    "X:3\nM:2/4\nK:Ador\nABcd efga|^c2d2 _e4|[Ac]2[Bd]2 z4|",
)


@pytest.mark.parametrize("text", COMPARED)
def test_pitches_onsets_and_lengths_agree_with_music21(text: str) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        stream = music21.converter.parse(text, format="abc").parts[0]
        theirs = [
            (
                note.nameWithOctave.replace("-", "b"),
                Fraction(element.getOffsetInHierarchy(stream)).limit_denominator(96),
                Fraction(element.quarterLength).limit_denominator(96),
            )
            for element in stream.recurse().notes for note in sorted(element.pitches, key=lambda pitch: pitch.midi)
        ]  # fmt: skip
    ours = [
        (note.pitch.name, note.onset, note.duration) for note in read_abc(text.encode(), name="x.abc").passages[0].notes
    ]
    assert ours == theirs


def test_a_tune_written_as_musicxml_reads_as_the_same_passage() -> None:
    found = tune('{g}!1!A2 (B>c) (3def !slide!g2- | "^IV"g8 |]')
    assert read_musicxml(write_musicxml(found), name="x.musicxml").passages[0] == found


def test_lengths_that_no_head_has_are_tied() -> None:
    found = tune("A5 B3").notes
    assert [(note.id, note.duration, note.type, note.tied_to_next) for note in found] == [
        ("m1n1", 2, "half", True), ("m1n1.2", Fraction(1, 2), "eighth", False),
        ("m1n2", Fraction(3, 2), "quarter", False),
    ]  # fmt: skip


@pytest.mark.parametrize(
    "field",
    ["K:D transpose=-2", "K:D\nV:1 transpose=2", "K:D octave=-1", "K:D\n[V:1 octave=1]d", "K:D t=-2", "K:D treble-8"],
)
def test_a_field_that_moves_the_notes_is_refused(field: str) -> None:
    """``transpose=`` and ``octave=`` of the ABC music standard 2.1, section 4.6, would change what sounds."""
    with pytest.raises(ScoreError, match=r"moves the notes.*written") as raised:
        read_score(f"X:1\nL:1/4\n{field}\nd f a|\n".encode(), name="x.abc")
    assert "take '" in str(raised.value.hint)
    assert "line" in str(raised.value.where)


def test_a_field_that_moves_the_notes_by_nothing_is_read() -> None:
    assert len(read_score(b"X:1\nL:1/4\nK:D transpose=0\nd f a|\n", name="x.abc").notes) == 3
