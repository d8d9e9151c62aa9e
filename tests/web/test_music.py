"""The room's passages: for which instrument a part is read, and what of the choices goes with an instrument."""

from __future__ import annotations

from pathlib import Path

import pytest

from truestop.domain.errors import FingeringError, TruestopError
from truestop.domain.fingering import Pin
from truestop.domain.passage import Finger
from truestop.web.choices import Choices, change
from truestop.web.music import Music, OpenPassage

ALTO = b"X:1\nM:4/4\nL:1/4\nK:F clef=alto\n!1!F!2!G!3!A!1!B|!2!c4|]\n"
TENOR = b'X:1\nM:4/4\nL:1/4\nK:G clef=tenor\n"^I"!2!C!4!D!1!G!3!B|"^I"!thumb!A!1!B!2!c2|]\n'
BASS = b"X:1\nM:4/4\nL:1/4\nK:C clef=bass\nG,,A,,B,,C,|D,4|]\n"
LOW = b"X:1\nM:4/4\nL:1/4\nK:C clef=bass\nB,,,,C,,,E,,,G,,,|C,,4|]\n"
DEEP = b"X:1\nM:4/4\nL:1/4\nK:C clef=bass\nE,,,F,,,G,,,A,,,|C,,4|]\n"
TREBLE = b"X:1\nM:4/4\nL:1/4\nK:D\nDFAd|f4|]\n"
NAMED = b'X:1\nM:4/4\nL:1/4\nV:1 name="Viola"\nK:D\nDFAd|f4|]\n'


@pytest.fixture
def music(tmp_path: Path) -> Music:
    return Music(tmp_path / "passages")


def add(music: Music, data: bytes, choices: Choices) -> OpenPassage:
    return music.add_file(data, "part.abc", part=None, measures=None, choices=choices)


@pytest.mark.parametrize(
    ("part", "chosen", "family"),
    [
        (ALTO, "violin", "viola"), (ALTO, "viola", "viola"), (TENOR, "violin", "cello"), (TENOR, "cello", "cello"),
        (BASS, "violin", "cello"), (BASS, "bass", "bass"), (TREBLE, "violin", "violin"), (TREBLE, "viola", "viola"),
        (NAMED, "violin", "viola"),
    ],
)  # fmt: skip
def test_a_part_is_for_the_player_who_reads_its_clefs(music: Music, part: bytes, chosen: str, family: str) -> None:
    """Where it names nobody. Which clefs an instrument reads: common practice, no source."""
    opened = add(music, part, Choices(instrument=chosen))
    assert (opened.card.family, opened.in_hand.instrument.family) == (family, family)
    again = Music(music._folder).get(opened.card.id, Choices(instrument=chosen))
    assert again.in_hand.fingered == opened.in_hand.fingered


def test_a_part_goes_to_another_instrument_with_the_choice(music: Music) -> None:
    """Opened again or while it is open; fingers that were fixed for the other instrument go."""
    violin, viola, cello = (Choices(instrument=name) for name in ("violin", "viola", "cello"))
    opened = add(music, TREBLE, violin)
    music.pin(opened.card.id, {opened.passage.notes[3].id: Pin(finger=Finger.FOURTH)}, violin)
    assert add(music, TREBLE, violin).card.pins
    assert add(music, TREBLE, viola).card.family == "viola"
    changed = music.for_instrument(opened.card.id, cello)
    assert (changed.card.family, changed.card.pins) == ("cello", {})


def test_a_part_stays_where_the_other_instrument_cannot_play_it(music: Music) -> None:
    with pytest.raises(FingeringError, match="lies below the cello's lowest string"):
        add(music, DEEP, Choices(instrument="violin"))
    opened = add(music, DEEP, Choices(instrument="bass"))
    left = music.for_instrument(opened.card.id, Choices(instrument="cello"))
    assert left.card.family == "bass"


def test_a_low_string_reaches_low_notes(music: Music) -> None:
    four = Choices(instrument="bass")
    with pytest.raises(FingeringError, match="lies below the bass's lowest string"):
        add(music, LOW, four)
    opened = add(music, LOW, change(four, {"strings": "five-b"}))
    assert len(opened.in_hand.instrument.strings) == 5


def test_strings_and_size_stay_with_their_instrument() -> None:
    """A bass with five strings, then a cello: its size and strings are its own."""
    bass = change(Choices(), {"instrument": "bass", "strings": "five-b", "size": "3/4", "length_mm": 1060.0})
    cello = change(bass, {"instrument": "cello"})
    assert (cello.strings, cello.size, cello.length_mm) == (None, None, None)
    assert change(bass, {"instrument": "bass"}) == bass
    with pytest.raises(TruestopError):
        change(bass, {"strings": "five-x"})
