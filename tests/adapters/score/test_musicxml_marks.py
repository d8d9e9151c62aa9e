"""Every form in which an edition prints fingers, strings, harmonics and slides in MusicXML."""

from __future__ import annotations

from fractions import Fraction

import pytest

from truestop.adapters.score.reading import read_score
from truestop.domain.errors import ScoreError
from truestop.domain.passage import Finger, Harmonic, Marks, Passage

ONE, TWO, THREE, FOUR, OPEN, THUMB = (
    Finger.FIRST, Finger.SECOND, Finger.THIRD, Finger.FOURTH, Finger.OPEN, Finger.THUMB,
)  # fmt: skip


def note(pitch: str, technical: str = "", *, extra: str = "", inside: str = "", ticks: int = 2) -> str:
    alter = f"<alter>{pitch.count('#') - pitch.count('b')}</alter>" if len(pitch) > 2 else ""
    notations = f"<notations>{extra}<technical>{technical}</technical></notations>"
    return (
        f"<note>{inside}<pitch><step>{pitch[0]}</step>{alter}<octave>{pitch[-1]}</octave></pitch>"
        f"<duration>{ticks}</duration>{notations}</note>"
    )


def score(measure: str, *, name: str = "Violin", attributes: str = "", more: str = "") -> bytes:
    return (
        '<?xml version="1.0"?><!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" "x.dtd">'
        f'<score-partwise><part-list><score-part id="P1"><part-name>{name}</part-name></score-part></part-list>'
        f'<part id="P1"><measure number="1"><attributes><divisions>2</divisions>{attributes}</attributes>'
        f"{measure}</measure>"
        f"{more}</part></score-partwise>"
    ).encode()


def read(measure: str, **options: str) -> Passage:
    return read_score(score(measure, **options), name="marks.musicxml")


def marks(technical: str, pitch: str = "B4") -> Marks:
    return read(note(pitch, technical)).notes[0].marks


@pytest.mark.parametrize(
    ("technical", "fingers", "alternates"),
    [
        ("<fingering>1</fingering>", (ONE,), ()),
        ("<fingering>1</fingering><fingering substitution='yes'>3</fingering>", (ONE, THREE), ()),
        ("<fingering>1</fingering><fingering alternate='yes'>4</fingering>", (ONE,), (FOUR,)),
        ("<fingering>3-1</fingering>", (THREE, ONE), ()),
        ("<fingering>2 (4)</fingering>", (TWO,), (FOUR,)),
        ("<fingering>2/3</fingering>", (TWO,), (THREE,)),
        ("<fingering>-2</fingering>", (TWO,), ()),
        ("<fingering>(3)</fingering>", (THREE,), ()),
        ("<fingering>T</fingering>", (THUMB,), ()),
        ("<thumb-position/>", (THUMB,), ()),
        ("<thumb-position/><fingering substitution='yes'>2</fingering>", (THUMB, TWO), ()),
        ("<fingering>9</fingering>", (), ()),
        ("<fingering/>", (), ()),
    ],
)
def test_fingerings(technical: str, fingers: tuple[Finger, ...], alternates: tuple[Finger, ...]) -> None:
    found = marks(technical)
    assert (found.fingers, found.alternates) == (fingers, alternates)


def test_each_note_of_a_chord_bears_its_own_finger() -> None:
    found = read(
        note("D4", "<fingering>1</fingering>") + note("B4", "<fingering>3</fingering>", inside="<chord/>")
    ).notes
    assert [(one.pitch.name, one.marks.fingers) for one in found] == [("D4", (ONE,)), ("B4", (THREE,))]


@pytest.mark.parametrize("carrier", [0, 1])
@pytest.mark.parametrize(
    "stack",
    [
        "<fingering>1</fingering><fingering>3</fingering>",
        "<fingering default-y='20'>3</fingering><fingering default-y='10'>1</fingering>",
        "<fingering>3\n1</fingering>",
    ],
)
def test_fingers_stacked_on_one_note_of_a_chord_go_from_the_lowest_up(carrier: int, stack: str) -> None:
    stacks = [stack if index == carrier else "" for index in range(2)]
    found = read(note("D4", stacks[0]) + note("B4", stacks[1], inside="<chord/>")).notes
    assert [one.marks.fingers for one in found] == [(ONE,), (THREE,)]


def test_a_second_finger_over_a_trill_is_the_trills() -> None:
    trill = "<ornaments><trill-mark/></ornaments>"
    found = read(note("B4", "<fingering>1</fingering><fingering>2</fingering>", extra=trill)).notes[0]
    assert found.trill
    assert (found.marks.fingers, found.marks.trill_finger) == ((ONE,), TWO)


@pytest.mark.parametrize(("text", "number"), [("1", 1), ("4", 4), ("III", 3), ("0", None), ("x", None), ("99", None)])
def test_string_numbers(text: str, number: int | None) -> None:
    assert marks(f"<string>{text}</string>").string == number


def test_open_string_and_bows() -> None:
    assert marks("<open-string/>", "A4").open_string
    assert marks("<up-bow/>").bow == "up"
    assert marks("<down-bow/>").bow == "down"


def test_a_0_over_a_note_that_is_no_open_string_is_a_natural_harmonic() -> None:
    found = marks("<fingering>0</fingering>", "A5")
    assert (found.harmonic, found.fingers) == (Harmonic.NATURAL, ())
    assert marks("<fingering>0</fingering>", "A4") == Marks(fingers=(OPEN,))
    assert marks("<fingering>0</fingering>", "F5").fingers == (OPEN,), "no harmonic either: left for the hand to report"


def test_the_0_waits_for_the_instrument_where_the_score_names_none() -> None:
    data = score(note("A5", "<fingering>0</fingering>"), name="Melody")
    assert read_score(data, name="x.xml").notes[0].marks.fingers == (OPEN,)
    assert read_score(data, name="x.xml", family="violin").notes[0].marks.harmonic is Harmonic.NATURAL


def test_an_artificial_harmonic_is_one_note_that_sounds_two_octaves_up() -> None:
    base = note("A4", "<harmonic><artificial/><base-pitch/></harmonic><fingering>1</fingering>")
    touched = note("D5", "<harmonic><artificial/><touching-pitch/></harmonic>", inside="<chord/>")
    (found,) = read(base + touched).notes
    assert (found.pitch.name, found.written.name) == ("A6", "A4")
    assert found.marks.harmonic is Harmonic.ARTIFICIAL
    assert found.marks.fingers == (ONE,)
    assert found.marks.base is not None
    assert found.marks.touched is not None
    assert (found.marks.base.name, found.marks.touched.name) == ("A4", "D5")


def test_a_diamond_above_a_stopped_note_is_the_same() -> None:
    diamond = note("D5", inside="<chord/>").replace("<notations>", "<notehead>diamond</notehead><notations>", 1)
    (found,) = read(note("A4") + diamond).notes
    assert (found.pitch.name, found.marks.harmonic) == ("A6", Harmonic.ARTIFICIAL)


def test_a_touched_natural_harmonic_sounds_as_its_string_says() -> None:
    (found,) = read(note("G4", "<harmonic><natural/><touching-pitch/></harmonic><string>3</string>")).notes
    assert (found.pitch.name, found.written.name) == ("D6", "G4")


def test_slides_arrive_at_the_second_note() -> None:
    for line in ("slide", "glissando"):
        start, stop = (f"<{line} type='{kind}' number='1'/>" for kind in ("start", "stop"))
        found = read(note("A4", extra=start) + note("E5", extra=stop)).notes
        assert [one.marks.slide for one in found] == [False, True]


def test_slurs_and_ties_keep_the_bow() -> None:
    start, stop = "<slur type='start' number='1'/>", "<slur type='stop' number='1'/>"
    found = read(note("A4", extra=start) + note("B4") + note("C5", extra=stop) + note("D5")).notes
    assert [one.bow_continues for one in found] == [False, True, True, False]


def test_a_slur_that_never_ends_does_not_hold_the_bow_for_ever() -> None:
    found = read(note("A4", extra="<slur type='start' number='1'/>") + note("B4") + note("C5")).notes
    assert [one.bow_continues for one in found] == [False, False, False]


def words(text: str, more: str = "") -> str:
    return f"<direction><direction-type><words>{text}</words></direction-type>{more}</direction>"


def test_a_named_string_holds_until_another_is_named() -> None:
    found = read(note("B4") + words("sul G") + note("B4") + note("C5") + words("ordinario") + note("B4")).notes
    assert [one.marks.string for one in found] == [None, 4, 4, None]


def test_a_named_string_ends_where_it_cannot_be_played() -> None:
    found = read(words("sul A") + note("B4") + note("G4") + note("B4")).notes
    assert [one.marks.string for one in found] == [2, None, None]
    found = read(words("IV") + note("B4") + note("E5", "<open-string/>") + note("B4")).notes
    assert [one.marks.string for one in found] == [4, None, None]


def test_a_bare_numeral_ends_at_a_rest_and_a_line_ends_where_it_is_drawn() -> None:
    rest = "<note><rest/><duration>2</duration></note>"
    assert [one.marks.string for one in read(words("III") + note("B4") + rest + note("B4")).notes] == [3, None]
    assert [one.marks.string for one in read(words("sulla III") + note("B4") + rest + note("B4")).notes] == [3, 3]
    line = "<direction><direction-type><dashes type='{}'/></direction-type></direction>"
    held = words("sul D") + line.format("start") + note("B4") + line.format("stop") + note("B4")
    assert [one.marks.string for one in read(held).notes] == [3, None]


def test_which_string_sul_g_means_depends_on_the_instrument() -> None:
    for name, pitch, number in (("Violin", "B4", 4), ("Viola", "B3", 3), ("Cello", "B3", 3), ("Double Bass", "C4", 1)):
        assert read(words("sul G") + note(pitch), name=name).notes[0].marks.string == number


def test_scordatura_from_a_direction_and_from_staff_tuning() -> None:
    accord = "<accord string='4'><tuning-step>A</tuning-step><tuning-octave>3</tuning-octave></accord>"
    direction = f"<direction><direction-type><scordatura>{accord}</scordatura></direction-type></direction>"
    found = read(direction + note("B4"))
    assert found.strings is not None
    assert [string.name for string in found.strings] == ["E5", "A4", "D4", "A3"]
    tunings = "".join(
        f"<staff-tuning line='{line}'><tuning-step>{name[0]}</tuning-step>"
        f"<tuning-octave>{name[1]}</tuning-octave></staff-tuning>"
        for line, name in enumerate(("A3", "D4", "A4", "E5"), start=1)
    )
    found = read(note("B4"), attributes=f"<staff-details>{tunings}</staff-details>")
    assert found.strings is not None
    assert [string.name for string in found.strings] == ["E5", "A4", "D4", "A3"]


def test_the_double_bass_sounds_an_octave_lower_than_written() -> None:
    transpose = "<transpose><diatonic>0</diatonic><chromatic>0</chromatic><octave-change>-1</octave-change></transpose>"
    for attributes, pitch, sounding in (
        (transpose, "G3", "G2"),
        ("", "G3", "G2"),
        ("<transpose><chromatic>0</chromatic></transpose>", "G3", "G3"),
        ("", "E1", "E1"),
    ):
        found = read(note(pitch), name="Kontrabass", attributes=attributes)
        assert (found.notes[0].pitch.name, found.notes[0].written.name) == (sounding, pitch)


def test_chromatic_transposition() -> None:
    transpose = "<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose>"
    found = read(note("C5"), name="Clarinet", attributes=transpose).notes[0]
    assert (found.pitch.name, found.written.name) == ("Bb4", "C5")


def test_tempos_from_sounds_and_metronome_marks() -> None:
    sound = words("Allegro", "<sound tempo='96'/>")
    mark = (
        "<direction><direction-type><metronome><beat-unit>quarter</beat-unit><beat-unit-dot/>"
        "<per-minute>c. 60</per-minute></metronome></direction-type></direction>"
    )
    found = read(sound + note("A4") + mark + note("B4"))
    assert [(tempo.onset, tempo.quarter_bpm) for tempo in found.tempos] == [(Fraction(0), 96.0), (Fraction(1), 90.0)]
    assert found.directions[0].kind == "tempo"


def test_notes_hidden_or_cued_from_other_parts_are_not_played() -> None:
    hidden = note("B4").replace("<note>", '<note print-object="no">', 1)
    cue = note("C5", inside="<cue/>")
    assert [one.pitch.name for one in read(note("A4") + hidden + cue + note("D5")).notes] == ["A4", "D5"]


@pytest.mark.parametrize(
    ("measure", "message"),
    [
        (note("A4", ticks=-2), "negative length"),
        (note("A4").replace("<duration>2</duration>", ""), "has no length"),
        (note("A4").replace("<duration>2", "<duration>two"), "'two' is not a number"),
        (note("A4").replace("<duration>2", "<duration>999999999"), "quarter notes long"),
        (note("A4").replace("<octave>4", "<octave>44"), "must be a whole number from 0 to 9"),
        (note("A4").replace("<octave>", "<alter>0.5</alter><octave>"), "no quarter tones"),
        (note("H4"), "is not a pitch"),
        ("<backup><duration>-4</duration></backup>" + note("A4"), "negative length"),
    ],
)
def test_a_fault_names_measure_and_part(measure: str, message: str) -> None:
    with pytest.raises(ScoreError, match=message) as caught:
        read(measure)
    assert caught.value.where == "bar 1 of Violin"
    assert caught.value.hint


def test_missing_divisions_are_named() -> None:
    data = score(note("A4")).replace(b"<divisions>2</divisions>", b"")
    with pytest.raises(ScoreError, match="<divisions>"):
        read_score(data, name="x.xml")
