"""Strings, sizes and tunings."""

from __future__ import annotations

from pathlib import Path

import pytest

from truestop.domain.errors import InstrumentError
from truestop.domain.instrument import LENGTHS_MM, STRINGS, make_instrument

# General MIDI note numbers of the open strings as every orchestration handbook gives them (e.g. Rimsky-Korsakov,
# Principles of Orchestration, ch. I): violin G3 D4 A4 E5, viola and cello in fifths from C, bass in fourths from E1.
OPEN_MIDI = {"violin": (76, 69, 62, 55), "viola": (69, 62, 55, 48), "cello": (57, 50, 43, 36), "bass": (43, 38, 33, 28)}


@pytest.mark.parametrize("family", STRINGS)
def test_open_strings_fall_from_string_one(family: str) -> None:
    instrument = make_instrument(family)
    assert tuple(pitch.midi for pitch in instrument.strings) == OPEN_MIDI[family]
    assert instrument.place_of(instrument.open_pitch(1).midi + 7, 1) == 7


@pytest.mark.parametrize(
    ("tuning", "lowest"), [("solo", "F#1"), ("five-b", "B0"), ("five-c", "C1"), ("extension", "C1")]
)
def test_named_bass_tunings(tuning: str, lowest: str) -> None:
    assert make_instrument("bass", strings=tuning).strings[-1].name == lowest


def test_scordatura_may_be_named_from_either_side() -> None:
    high_first = make_instrument("violin", strings="E5 A4 D4 A3")
    low_first = make_instrument("violin", strings="A3 D4 A4 E5")
    assert high_first == low_first


@pytest.mark.parametrize("family", STRINGS)
def test_smaller_instruments_are_shorter(family: str) -> None:
    lengths = list(LENGTHS_MM[family].values())
    assert lengths == sorted(lengths, reverse=family != "viola")


def test_lengths_of_small_violins() -> None:
    """'Scale length (string instruments)', Wikipedia: 317, 307, 287 and 267 mm."""
    assert [LENGTHS_MM["violin"][size] for size in ("7/8", "3/4", "1/2", "1/4")] == [317.0, 307.0, 287.0, 267.0]


def test_the_half_size_cello_has_half_the_volume_of_the_full_one() -> None:
    """'Violoncello', Wikipedia: half the volume, not half the length; within 6 % of the length."""
    lengths = LENGTHS_MM["cello"]
    assert lengths["1/2"] / lengths["4/4"] == pytest.approx(0.5 ** (1 / 3), rel=0.06)
    assert lengths["7/8"] / lengths["4/4"] == pytest.approx(670 / 690, rel=0.01)  # 5stringcello.com, meeting 5


@pytest.mark.parametrize(("size", "length_mm"), [("16", 375.0), ("15.5", 367.0), ("405", 375.0), (" 12 ", 287.0)])
def test_a_viola_is_named_by_its_body_in_mm_or_inches(size: str, length_mm: float) -> None:
    assert make_instrument("viola", size=size).length_mm == length_mm


def test_the_documentation_lists_the_lengths_in_use() -> None:
    text = (Path(__file__).parents[2] / "docs" / "measures.md").read_text("utf-8")
    for family, sizes in LENGTHS_MM.items():
        assert f"| {family} | {', '.join(f'{size}: {mm:g}' for size, mm in sizes.items())} |" in text


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"family": "lute"}, "not an instrument"),
        ({"family": "violin", "size": "9/8"}, "not a violin size"),
        ({"family": "violin", "length_mm": 20.0}, "out of range"),
        ({"family": "violin", "strings": "E5 A4 A4 G3"}, "must fall"),
        ({"family": "violin", "strings": "E5 A4 D4 G3 C3 F2"}, "named, and a violin has 4 or 5"),
    ],
)
def test_what_is_no_instrument_is_refused(arguments: dict[str, str], message: str) -> None:
    with pytest.raises(InstrumentError, match=message):
        make_instrument(**arguments)  # type: ignore[arg-type]
