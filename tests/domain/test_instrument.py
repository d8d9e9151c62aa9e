"""Strings, sizes and tunings."""

from __future__ import annotations

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


def test_smaller_violins_are_shorter() -> None:
    lengths = list(LENGTHS_MM["violin"].values())
    assert lengths == sorted(lengths, reverse=True)


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
