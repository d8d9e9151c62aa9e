"""What the ABC music standard 2.1 says and shows, section by section, and what a player types with it."""

from __future__ import annotations

import warnings
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from examples import examples
from truestop.adapters.score.abc_reading import read_abc
from truestop.adapters.score.musicxml_reading import read_musicxml
from truestop.adapters.score.musicxml_writing import write_musicxml
from truestop.adapters.score.reading import list_parts, read_score
from truestop.domain.errors import ScoreError
from truestop.domain.passage import Note, Passage

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import music21

HEADER = "M:4/4\nL:1/8\nK:C"


def tune(music: str, header: str = HEADER) -> Passage:
    return read_abc(f"X:1\n{header}\n{music}\n".encode(), name="x.abc").passages[0]


def sounds(music: str, header: str = HEADER) -> list[tuple[str, Fraction, Fraction]]:
    return [(note.pitch.name, note.onset, note.duration) for note in tune(music, header).notes if not note.grace]


def fingers(music: str, header: str = HEADER) -> list[str]:
    return ["".join(finger.value for finger in note.marks.fingers) for note in tune(music, header).notes]


def slurs(notes: tuple[Note, ...]) -> list[tuple[int, int]]:
    """First and last note of every slur."""
    begun: dict[int, int] = {}
    found = []
    for place, note in enumerate(notes):
        found += [(begun.pop(number), place) for number in note.slur_stops if number in begun]
        begun |= dict.fromkeys(note.slur_starts, place)
        found += [(begun.pop(number), place) for number in note.slur_stops if number in note.slur_starts]
    return sorted(found)


MODES = ("", "m", "Mix", "Dor", "Phr", "Lyd", "Loc")
KEYS = {
    7: "C# A# G# D# E# F# B#", 6: "F# D# C# G# A# B E#", 5: "B G# F# C# D# E A#", 4: "E C# B F# G# A D#",
    3: "A F# E B C# D G#", 2: "D B A E F# G C#", 1: "G E D A B C F#", 0: "C A G D E F B", -1: "F D C G A Bb E",
    -2: "Bb G F C D Eb A", -3: "Eb C Bb F G Ab D", -4: "Ab F Eb Bb C Db G", -5: "Db Bb Ab Eb F Gb C",
    -6: "Gb Eb Db Ab Bb Cb F", -7: "Cb Ab Gb Db Eb Fb Bb",
}  # fmt: skip
"""The table of section 3.1.14: sharps, then the tonic in every mode."""


@pytest.mark.parametrize("fifths", KEYS)
def test_every_key_of_the_table_of_modes(fifths: int) -> None:
    for tonic, mode in zip(KEYS[fifths].split(), MODES, strict=True):
        assert tune("A8", f"M:4/4\nK:{tonic}{mode}").measures[0].key_fifths == fifths, (tonic, mode)
        assert tune("A8", f"M:4/4\nK:{tonic} {mode.upper()}").measures[0].key_fifths == fifths, (tonic, mode)


def test_explicit_accidentals() -> None:
    """3.1.14: 'K:D Phr ^f could also be notated as K:D exp _b _e ^f'; 'K:D maj =c or K:D =c' is D mixolydian."""
    expected = [name for name, _, _ in sounds("DEFGABcd", "M:4/4\nL:1/8\nK:D Phr ^f")]
    assert expected == ["D4", "Eb4", "F#4", "G4", "A4", "Bb4", "C5", "D5"]
    assert [name for name, _, _ in sounds("DEFGABcd", "M:4/4\nL:1/8\nK:D exp _b _e ^f")] == expected
    for key in ("D maj =c", "D =c", "Dmix"):
        assert [name for name, _, _ in sounds("FcF", f"M:4/4\nK:{key}")] == ["F#4", "C5", "F#4"]


@pytest.mark.parametrize(
    ("key", "clef"), [("bass", "bass"), ("clef=alto", "alto"), ("Am tenor", "tenor"), ("alto1", "alto"), ("", "treble")]
)
def test_clefs(key: str, clef: str) -> None:
    """4.6: 'clef= may be omitted'; a clef alone gives no key, and leaves the key of a tune that has one."""
    found = tune("A8", f"M:4/4\nK:{key}")
    assert (found.measures[0].clef, found.measures[0].key_fifths) == (clef, 0)
    changed = tune(f"f8|[K:{key}]f8", "M:4/4\nK:D")
    assert changed.notes[1].pitch.name == ("F#5" if key and key != "Am tenor" else "F5")


def test_a_voice_has_its_own_clef_and_names_its_instrument() -> None:
    data = b'X:1\nM:4/4\nK:G\nV:1 name="Violin"\nG8|\nV:Cello clef=bass\nG,8|\n'
    assert [part.family for part in list_parts(data, "x.abc")] == ["violin", "cello"]
    assert read_score(data, name="x.abc", part="2").measures[0].clef == "bass"


def test_metre_and_unit_length() -> None:
    """3.1.6 and 3.1.7: free metre without M:, and 'a meter change within the body … will not change' the unit."""
    assert [(m.beats, m.beat_type, m.number) for m in tune("A2B2|ABc|", "K:C").measures] == [(2, 4, "1"), (3, 8, "2")]
    assert [(m.beats, m.beat_type) for m in tune("A7|", "M:(2+3+2)/8\nK:C").measures] == [(7, 8)]
    assert [length for _, _, length in sounds("A6|[M:2/4]A4|", "M:3/4\nK:C")] == [3, 2]


@pytest.mark.parametrize(
    ("tempo", "bpm"),
    [("1/2=120", 240), ('"Allegro" 1/4=120', 120), ('3/8=50 "Slowly"', 75), ("1/4 3/8 1/4 3/8=40", 200), ("C3=40", 60)],
)
def test_tempos(tempo: str, bpm: float) -> None:
    """3.1.8, and the outdated form of section 10."""
    assert tune("A8", f"M:4/4\nL:1/8\nQ:{tempo}\nK:C").tempos[0].quarter_bpm == bpm


def test_the_three_spellings_of_broken_rhythm() -> None:
    """4.4: 'The following lines all mean the same thing'; 4.12: 'A<{g}A and A{g}<A are legal and equivalent'."""
    lines = [("a3b cd3 a2b2c2d2", 16), ("a3/2b/2 c/2d3/2 abcd", 8), ("a>b c<d abcd", 8)]
    found = [sounds(line, f"M:4/4\nL:1/{unit}\nK:C") for line, unit in lines]
    assert found[0] == found[1] == found[2]
    assert sounds("A<{g}A") == sounds("A{g}<A") == sounds("A/2{g}A3/2")
    assert {note.onset for note in tune("A{g}<A").notes if note.grace} == {Fraction(1, 4)}
    assert sounds("z>A B<z c")[0][1:] == (Fraction(3, 4), Fraction(1, 4))


def test_rests_of_whole_bars() -> None:
    """4.5: 'Z4|CD EF|GA Bc' and 'z4|z4|z4|z4|CD EF|GA Bc' are musically equivalent."""
    header = "M:2/4\nL:1/8\nK:C"
    assert sounds("Z4|CD EF|GA Bc", header) == sounds("z4|z4|z4|z4|CD EF|GA Bc", header)
    assert tune("|:A8|Z2:|").measures[-1].repeat_ends


TUPLETS = ("(2AB", "(3ABc", "(4ABcd", "(5ABcde", "(6ABcdef", "(7ABcdefg", "(8ABcdefga", "(9ABcdefgab", "(3:2:2 G4c2",
           "(3:2:4 G2A2Bc", "(3 D2E2F2", "(3 D3EF2", "(3::2 A2B", "(3AzB", "(3:2 ABc", "(3z2A")  # fmt: skip


@pytest.mark.parametrize("metre", ["4/4", "6/8", "9/8"])
@pytest.mark.parametrize("text", TUPLETS)
def test_tuplets_last_as_the_standard_and_music21_say(text: str, metre: str) -> None:
    """4.13, with rests counted among 'the next r notes'."""
    header = f"M:{metre}\nL:1/8\nK:C"
    ours = sounds(f"{text} c2", header)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        stream = music21.converter.parse(f"X:1\n{header}\n{text} c2\n", format="abc")
    theirs = [note.quarterLength for note in stream.recurse().notes]
    assert [float(length) for _, _, length in ours] == pytest.approx([float(length) for length in theirs])


def test_slurs_nest_and_meet_on_one_note() -> None:
    """4.11: '(c (d e f) g a)', and slurs 'may also start and end on the same note: (c d (e) f g a)'."""
    assert slurs(tune("(c (d e f) g a)").notes) == [(0, 5), (1, 3)]
    assert slurs(tune("(c d (e) f g a)").notes) == [(0, 2), (2, 5)]
    assert slurs(tune("((AB)c) (d z)").notes) == [(0, 1), (0, 2), (3, 3)]


def test_ties_between_chords_and_unisons() -> None:
    """4.11 and 4.17: ties 'may be used into, out of and between chords'; [DD] is one note on two strings."""
    ties = [(note.tied_from_before, note.tied_to_next) for note in tune("[DD]-[DD] [DA]-|[DA] [C-E]C").notes]
    assert ties == [(False, True)] * 2 + [(True, False)] * 2 + [(False, True)] * 2 + [(True, False)] * 2 + [
        (False, True), (False, False), (True, False)
    ]  # fmt: skip


def test_chords() -> None:
    """4.17: '[C2E2G2]3 has the same meaning as [CEG]6', and the section's example."""
    assert sounds("[C2E2G2]3") == sounds("[CEG]6")
    found = tune('( "^I" !f! [CEG]- > [CEG] "^IV" [F=AC]3/2"^V"[GBD]/  H[CEG]2 )').notes
    assert sorted({(note.onset, note.duration) for note in found}) == [
        (0, Fraction(3, 4)), (Fraction(3, 4), Fraction(1, 4)), (1, Fraction(3, 4)), (Fraction(7, 4), Fraction(1, 4)),
        (2, 1),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("bars", "ends", "starts"),
    [
        ("A8|B8", 0, 0), ("A8|]B8", 0, 0), ("A8||B8", 0, 0), ("A8[|B8", 0, 0), ("A8|:B8", 0, 1), ("A8:|B8", 1, 0),
        ("A8::B8", 1, 1), ("A8:|:B8", 1, 1), ("A8:||:B8", 1, 1), ("A8|::B8", 0, 1), ("A8::|B8", 1, 0),
        ("A8.|B8", 0, 0), ("A8[|]B8", 0, 0), ("A8|[|B8", 0, 0), ("A8[|:::B8", 0, 1), ("A8|1B8:|2c8|]", 1, 0),
        ("A8|[1B8:|[2c8|]", 1, 0), ("A8 | [1,3,5-7 B8 :| [2,4,8 c8 |]", 1, 0), ("A:|B", 1, 0),
    ],
)  # fmt: skip
def test_barlines(bars: str, ends: int, starts: int) -> None:
    """4.8 to 4.10. A note before ':|' at a line's beginning is no field."""
    found = tune(bars).measures
    assert sum(measure.repeat_ends for measure in found) == ends
    assert sum(measure.repeat_starts for measure in found) == starts
    assert len(found) == 2 + ("c8" in bars)


def test_grace_chords_and_marks() -> None:
    found = tune("{!2![ac]!1!b}A").notes
    assert [(note.pitch.name, note.grace, note.grace_chord) for note in found] == [
        ("A5", True, False), ("C5", True, True), ("B5", True, False), ("A4", False, False),
    ]  # fmt: skip


def test_marks_before_bars_and_rests_belong_to_them_but_fingers_wait() -> None:
    found = tune("A4 !fermata!z4 !fermata!| !1!!f! z2 u!2!B2").notes
    assert found[1].articulations == ()
    assert (fingers("A4 !1!z2 B2")[1], found[1].marks.bow) == ("1", "up")


def test_symbol_lines() -> None:
    """4.15: matched like lyrics, grace notes and rests left out; several stack; '+:' goes on."""
    assert fingers("CDEF | {g}Gz``AB`c\ns: !1! * !3!   | !4! ** !2!") == ["1", "", "3", "", "", "4", "", "", "2"]
    found = tune('AB|cd\ns: !1! u\ns: * !2! | "^IV"\n').notes
    assert [note.marks.bow for note in found] == [None, "up", None, None]
    assert [note.marks.string for note in found] == [None, None, 4, 4]
    assert fingers("AB|cd\ns: !1! \n+: !2! | !3!") == ["1", "2", "3", ""]
    assert fingers("AB|\ns:!1!\ncd|\ns:!3!!4!") == ["1", "", "3", "4"]


def test_symbols_of_ones_own() -> None:
    """4.16: in the file's header, a tune's, or the tune; what a letter meant before is overridden."""
    assert fingers("tA", "U:t=!thumb!\nM:4/4\nK:C") == ["T"]
    assert fingers("A[U:k = !2!]kB") == ["", "2"]
    data = b'U:p="^3-1"\nM:3/4\nL:1/4\n\nX:1\nK:C\npA2 B\n\nX:2\nU:T=!4!\nK:G\nTA3\n'
    found = read_abc(data, name="x.abc").passages
    assert [[finger.value for finger in one.notes[0].marks.fingers] for one in found] == [["3", "1"], ["4"]]
    assert [one.measures[0].beats for one in found] == [3, 3]


def test_comments_continuations_and_text_blocks() -> None:
    """2.2.5 and 2.2.6: comments vanish with their lines, a backslash joins lines, fields may stand between."""
    text = (
        "%abc-2.1\n  % a comment\nX:1\n  % another\nT:x\nM:2/4\nL:1/8\nK:C\nAB\\ % and so on\n% between\n"
        "cd|[r:a remark]\\\nM:3/4\nefg`a bc|\n%%begintext\nnot music?\n%%endtext\nw: la la\nABcdef|]\n"
    )
    found = read_abc(text.encode(), name="x.abc").passages[0]
    assert [(measure.beats, measure.number) for measure in found.measures] == [(2, "1"), (3, "2"), (3, "3")]
    assert len(found.notes) == 16


def test_words_without_a_sign_of_place_are_chord_symbols_unless_they_name_a_string() -> None:
    found = tune('"Am7"A2 "C/E"B2 "IV"c2 "sul D"d2')
    assert [note.marks.string for note in found.notes] == [None, None, 4, 3]
    assert [direction.text for direction in found.directions] == ["IV", "sul D"]


PIECES = (
    "A", "B,", "c'", "^f", "_B", "=c", "A2", "B3", "d/", "e3/2", "A5", "A7", "z", "z2", "x3", "Z", "|", "|", "|", "||",
    "|]", "|:", ":|", "::", "|1", ":|2", "(3ABc", "(5AzBcd", "(3:2:2A2B", "(", ")", "-", ">", "<", "{g}", "{/ga}",
    "[DA]", "[D2A2]-", "[DD]", "!1!", "!thumb!", "!open!", "u", "T", "!f!", '"^IV"', '"^3-1"', "[K:Gm]", "[M:3/4]",
    "[L:1/16]", "[Q:1/4=60]", "[K:bass]", "[V:2]", "[V:1]", "\n", "\ns:!2!*u|!3!\n", "\nM:6/8\n",
)  # fmt: skip


@examples(150)
@given(
    st.sampled_from(("", "M:4/4\n", "M:3/4\n", "M:6/8\n", "M:none\n")),
    st.sampled_from(("C", "Bb", "F#m", "Ddor", "none")),
    st.lists(st.sampled_from(PIECES), min_size=1, max_size=14),
)
def test_whatever_is_typed_is_read_as_it_will_be_written_or_refused(metre: str, key: str, pieces: list[str]) -> None:
    """A tune that is read is the same passage after writing it as MusicXML; any other is refused at its place."""
    found = read_or_refusal(f"X:1\n{metre}K:{key}\n{' '.join(pieces)}\n")
    if isinstance(found, ScoreError):
        assert found.hint
        assert found.where or "no tune" in found.what
        return
    for passage in found:
        if passage.notes:
            assert read_musicxml(write_musicxml(passage), name="x").passages[0] == passage


def read_or_refusal(text: str) -> tuple[Passage, ...] | ScoreError:
    try:
        return read_abc(text.encode(), name="x.abc").passages
    except ScoreError as error:
        return error
