"""Pitches and intervals against closed forms and published values."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from truestop.domain.errors import PitchError
from truestop.domain.pitch import Interval, Pitch, equal_hz, hz_to_cents, spell

PITCHES = st.builds(
    Pitch, st.sampled_from("CDEFGAB"), st.integers(min_value=-2, max_value=2), st.integers(min_value=0, max_value=8)
)

# ISO 16:1975 fixes A4 at 440 Hz; the other values are the equal-tempered scale as tabulated in B. H. Suits,
# "Frequencies for equal-tempered scale, A4 = 440 Hz", Michigan Technological University (2 decimals, from memory).
EQUAL_TEMPERED_HZ = {
    "C0": 16.35,
    "E1": 41.20,
    "A1": 55.00,
    "C2": 65.41,
    "G2": 98.00,
    "D3": 146.83,
    "G3": 196.00,
    "C4": 261.63,
    "A4": 440.00,
    "E5": 659.26,
    "A5": 880.00,
    "C8": 4186.01,
}


@pytest.mark.parametrize(("name", "hz"), EQUAL_TEMPERED_HZ.items())
def test_equal_temperament_matches_the_published_table(name: str, hz: float) -> None:
    assert equal_hz(Pitch.parse(name).midi) == pytest.approx(hz, abs=0.005)


# Names of intervals: common practice of music theory, no source.
INTERVALS = [
    ("G4", "G4", "P1"),
    ("B4", "D5", "+m3"),
    ("D5", "B4", "-m3"),
    ("C4", "F#4", "+A4"),
    ("F#4", "C5", "+d5"),
    ("B3", "C5", "+m9"),
    ("G3", "G5", "+P15"),
    ("C4", "Cb4", "-A1"),
    ("C4", "C#4", "+A1"),
    ("E4", "Fb4", "+d2"),
    ("A4", "Bbb4", "+d2"),
    ("C4", "Bbb4", "+d7"),
]


@pytest.mark.parametrize(("low", "high", "name"), INTERVALS)
def test_intervals_are_named_by_quality_and_number(low: str, high: str, name: str) -> None:
    assert Interval.between(Pitch.parse(low), Pitch.parse(high)).name == name


@given(PITCHES)
def test_a_name_reads_back_as_the_same_pitch(pitch: Pitch) -> None:
    assert Pitch.parse(pitch.name) == pitch
    assert Pitch.parse(pitch.pretty.replace("♯𝄪", "###")) == pitch


@given(PITCHES, PITCHES)
def test_transposing_by_the_interval_between_reaches_the_other_pitch(first: Pitch, second: Pitch) -> None:
    assert first.transposed(Interval.between(first, second)) == second


@given(st.integers(min_value=21, max_value=108), st.integers(min_value=-7, max_value=7))
def test_spelling_keeps_the_sound(midi: int, key_fifths: int) -> None:
    assert spell(midi, key_fifths=key_fifths).midi == midi


def test_spelling_follows_the_key() -> None:
    flats = [spell(midi, key_fifths=-4).name for midi in (61, 63, 66, 68, 70)]
    sharps = [spell(midi, key_fifths=4).name for midi in (61, 63, 66, 68, 70)]
    assert flats == ["Db4", "Eb4", "Gb4", "Ab4", "Bb4"]
    assert sharps == ["C#4", "D#4", "F#4", "G#4", "A#4"]


# Ratios of classical intervals in cents: e.g. Helmholtz, On the Sensations of Tone (transl. Ellis 1885), appendix XX.
@pytest.mark.parametrize(("ratio", "cents"), [(3 / 2, 701.955), (5 / 4, 386.314), (6 / 5, 315.641), (81 / 80, 21.506)])
def test_cents_of_classical_ratios(ratio: float, cents: float) -> None:
    assert hz_to_cents(440 * ratio, 440) == pytest.approx(cents, abs=0.001)


@pytest.mark.parametrize("text", ["", "H4", "4C", "C", "C#b", "Cb#x4x", "C99", "C####4"])
def test_what_is_no_pitch_is_refused(text: str) -> None:
    with pytest.raises(PitchError, match=r"is not a pitch|out of range"):
        Pitch.parse(text)
