"""Position names against published tables and the violin's letter formula."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from fingered_text import parse_fingered
from truestop.domain.errors import InstrumentError
from truestop.domain.fingering import finger_passage
from truestop.domain.instrument import make_instrument
from truestop.domain.passage import Finger
from truestop.domain.pitch import Pitch, spell
from truestop.domain.position import BASS_SIMANDL, CELLO_MAJOR_SCALE, letter_position, letter_positions, ordinal

ORACLES = Path(__file__).parents[1] / "oracles"


def name_of(text: str, instrument: str, **options: str) -> str | None:
    """The position of the last step of a fully marked passage."""
    written = parse_fingered(text)
    return finger_passage(written.marked(), make_instrument(instrument), **options).steps[-1].position


def test_davydovs_numbering_is_his_table() -> None:
    """Source: K. Davydov, Violoncell-Schule, Leipzig 1888 (table of positions)."""
    rows = list(csv.DictReader((ORACLES / "davydov_1888_cello_positions.csv").read_text("utf-8").splitlines()))
    assert len(rows) == 12
    for row in rows:
        number = row["davydov_position"].replace(" 1/2", "½")
        name = ordinal(int(number)) if number.isdigit() else number
        assert CELLO_MAJOR_SCALE[int(row["first_finger_semitones_above_open"])] == name


def test_bass_positions_are_simandls_table() -> None:
    """Source: F. Simandl, Neueste Methode des Contrabass-Spiels (table of positions)."""
    rows = list(csv.DictReader((ORACLES / "simandl_bass_positions.csv").read_text("utf-8").splitlines()))
    assert len(rows) == 12
    for row in rows:
        place = int(row["first_finger_semitones_above_open"])
        assert BASS_SIMANDL[place] == row["simandl_position"].replace("-", "–")
        low = spell(43 + place)
        printed = Pitch.parse(row["first_finger_on_G_string"].split("/")[0] + "3")
        assert printed.midi % 12 == low.midi % 12
        assert name_of(f"{low.name}:I1", "bass") == row["simandl_position"].replace("-", "–")


@pytest.mark.parametrize(
    ("pitch", "open_string", "finger", "placement", "number"),
    [
        ("Bb4", "A4", "1", 1, 1),  # low first
        ("A#4", "A4", "1", 1, 0),  # half
        ("E#4", "D4", "1", 3, 2),
        ("Bb5", "E5", "1", 6, 4),
        ("A#5", "E5", "1", 6, 3),
        ("B4", "A4", "1", 2, 1),
        ("D5", "A4", "1", 5, 3),
        ("F#5", "A4", "3", 5, 3),
        ("C6", "A4", "4", 10, 6),
        ("E6", "E5", "1", 12, 7),
        ("C5", "G3", "3", 14, 8),
    ],
)
def test_letters_choose_the_violins_position(
    pitch: str, open_string: str, finger: str, placement: int, number: int
) -> None:
    """Common practice, no single source; semitone 1 to 6 cases are the usual textbook ones."""
    assert letter_position(Pitch.parse(pitch), Pitch.parse(open_string), Finger(finger), placement) == number


def test_violin_positions_repeat_seven_higher_at_the_octave() -> None:
    assert letter_positions(13) == (7, 8)
    assert letter_positions(16) == (9, 10)
    assert all(letter_positions(n + 12) == tuple(p + 7 for p in letter_positions(n)) for n in range(1, 20))


@pytest.mark.parametrize(
    ("text", "instrument", "options", "name"),
    [
        ("B4:II1 C#5:II2 D5:II3", "violin", {}, "1st"),
        ("Bb4:II1 C5:II2 D5:II3", "violin", {}, "1st"),
        ("A#4:II1 B4:II2 C#5:II3 D5:II4", "violin", {}, "half"),
        ("E#4:III1 F#4:III2 G#4:III3 A#4:III4", "violin", {}, "2nd"),
        ("Bb5:I1 C6:I2 D6:I3 Eb6:I4", "violin", {}, "4th"),
        ("D5:II1 E5:II2 F5:II3 G5:II4", "violin", {}, "3rd"),
        ("G4:II1 A4:II2", "viola", {}, "3rd"),
        ("B3:I1 C4:I2 C#4:I3 D4:I4", "cello", {}, "1st"),
        ("C4:I1 D4:I3 Eb4:I4", "cello", {}, "lower 2nd"),
        ("B#3:I1 C#4:I2 D#4:I4", "cello", {}, "upper 1st"),
        ("Eb4:I1 E4:I2", "cello", {}, "lower 4th"),
        ("D#4:I1 E4:I2", "cello", {}, "upper 3rd"),
        ("E4:I1 F4:I2 G4:I4", "cello", {}, "4th"),
        ("C4:I1 D4:I3 Eb4:I4", "cello", {"numbering": "major-scale"}, "1½"),
        ("A4:IT B4:I1 C#5:I2 D5:I3", "cello", {}, "thumb on A4"),
        ("B2:I1 C3:I2 C#3:I4", "bass", {}, "II–III"),
    ],
)  # fmt: skip
def test_runs_are_named_as_players_say(text: str, instrument: str, options: dict[str, str], name: str) -> None:
    """Common practice, no single source; the cello's respelled names likewise."""
    assert name_of(text, instrument, **options) == name


def test_an_unknown_numbering_is_refused_with_the_known_ones() -> None:
    with pytest.raises(InstrumentError, match="'roman' is not a numbering"):
        name_of("B3:I1", "cello", numbering="roman")
