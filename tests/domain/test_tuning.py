"""Target pitches against published tables and against a foreign implementation."""

import itertools

import music21
import pytest

from truestop.domain.errors import PitchError
from truestop.domain.instrument import make_instrument
from truestop.domain.pitch import Pitch, hz_to_cents
from truestop.domain.tuning import JUST_RATIOS, Against, make_intonation, pythagorean_cents, tonic_of_key

VIOLIN = make_instrument("violin")
MEASURED = (661.2, 441.0, 294.2, 195.9)
SPELLED = [f"{step}{accidental}{octave}" for step in "ABCDEFG" for accidental in ("b", "", "#") for octave in (2, 4, 6)]


def hz(name, system, *, instrument=VIOLIN, string=2, place=3, against=None, **settings):
    intonation = make_intonation(system, instrument=instrument, **settings)
    extra = {} if against is None else {"against": against}
    return intonation.target(Pitch.parse(name), string=string, place=place, **extra).hz


@pytest.mark.parametrize(
    ("name", "expected"),
    # Equal temperament at A4 = 440 Hz (ISO 16:1975), as tabulated by B. H. Suits, Physics of Music, MTU; from memory.
    [("A4", 440.0), ("C0", 16.35), ("E1", 41.20), ("C2", 65.41), ("G3", 196.00), ("D4", 293.66), ("E5", 659.26),
     ("C8", 4186.01)],
)  # fmt: skip
def test_equal_temperament_table(name, expected):
    assert hz(name, "equal") == pytest.approx(expected, abs=0.005)


@pytest.mark.parametrize("name", SPELLED)
def test_equal_temperament_against_music21(name):
    assert hz(name, "equal") == pytest.approx(music21.pitch.Pitch(name.replace("b", "-")).frequency, rel=1e-6)


@pytest.mark.parametrize(
    ("low", "high", "cents"),
    # Ellis's table of intervals in Helmholtz, On the Sensations of Tone (1885), appendix XX; from memory.
    [("E4", "F4", 90.225), ("F4", "F#4", 113.685), ("C4", "E4", 407.820), ("A4", "C5", 294.135), ("Ab4", "G#4", 23.460),
     ("D4", "A4", 701.955), ("C4", "D4", 203.910), ("F4", "B4", 611.730), ("C4", "B4", 1109.775)],
)  # fmt: skip
def test_pythagorean_intervals(low, high, cents):
    difference = pythagorean_cents(Pitch.parse(high)) - pythagorean_cents(Pitch.parse(low))
    assert difference == pytest.approx(cents, abs=0.001)


def test_pythagorean_tuning_has_pure_octaves_and_its_a4():
    assert hz("A4", "pythagorean", a4_hz=442.0) == 442.0
    assert hz("E5", "pythagorean") == pytest.approx(660.0)
    assert hz("G3", "pythagorean") == pytest.approx(440.0 * 4 / 9)
    assert hz("Bb5", "pythagorean") == pytest.approx(2 * hz("Bb4", "pythagorean"))


CENTS_OF_RATIOS = {  # The same table of Ellis; from memory.
    "P1": 0.0, "m2": 111.731, "M2": 203.910, "m3": 315.641, "M3": 386.314, "P4": 498.045, "A4": 590.224, "d5": 609.776,
    "P5": 701.955, "m6": 813.686, "M6": 884.359, "m7": 1017.596, "M7": 1088.269,
}  # fmt: skip
ABOVE_D = {"P1": "D4", "m2": "Eb4", "M2": "E4", "m3": "F4", "M3": "F#4", "P4": "G4", "A4": "G#4", "d5": "Ab4",
           "P5": "A4", "m6": "Bb4", "M6": "B4", "m7": "C5", "M7": "C#5"}  # fmt: skip


@pytest.mark.parametrize("interval", CENTS_OF_RATIOS)
def test_just_intervals_above_a_drone(interval):
    drone = Against(drone=Pitch.parse("D4"))
    d4 = hz("D4", "pythagorean")
    assert hz_to_cents(hz(ABOVE_D[interval], "just", against=drone), d4) == pytest.approx(
        CENTS_OF_RATIOS[interval], abs=0.001
    )


def test_every_just_ratio_is_tested():
    assert len(JUST_RATIOS) == len(CENTS_OF_RATIOS)


def test_first_finger_e_against_two_open_strings():
    # The classical example: E on the D string, pure with the open A and pure with the open G, 21.5 cents apart.
    with_a = hz("E4", "just", string=3, place=2, against=Against(open_string=2))
    with_g = hz("E4", "just", string=3, place=2, against=Against(open_string=4))
    assert with_a == pytest.approx(330.0, abs=0.005)
    assert with_g == pytest.approx(325.93, abs=0.005)
    assert hz_to_cents(with_a, with_g) == pytest.approx(21.506, abs=0.001)


def test_just_takes_the_first_reference_there_is():
    d, g = Pitch.parse("D4"), Pitch.parse("G4")
    intonation = make_intonation("just", instrument=VIOLIN)
    words = [
        intonation.target(Pitch.parse("B4"), string=2, place=2, against=against).reference
        for against in (Against(open_string=3, other=g, drone=d, tonic=g), Against(other=g, drone=d, tonic=g),
                        Against(drone=d, tonic=g), Against(tonic=g))
    ]  # fmt: skip
    assert words == ["open D4", "double stop G4", "drone D4", "tonic G4"]


def test_lower_note_of_a_just_double_stop_lies_on_the_strings():
    low = hz("D4", "just", string=4, place=7, against=Against(other=Pitch.parse("F#4")))
    high = hz("F#4", "just", string=3, place=4, against=Against(other=Pitch.parse("D4")))
    assert low == pytest.approx(440 * 2 / 3)
    assert high / low == pytest.approx(5 / 4)


def test_other_spellings_are_pythagorean_from_the_reference():
    drone = Against(drone=Pitch.parse("C4"))
    augmented_fifth = hz_to_cents(hz("G#4", "just", against=drone), hz("C4", "pythagorean"))
    assert augmented_fifth == pytest.approx(8 * 701.955 - 4 * 1200, abs=0.001)


def test_just_without_reference_is_refused():
    with pytest.raises(PitchError, match="nothing to tune B4 against") as error:
        hz("B4", "just")
    assert "drone" in error.value.hint


def test_measured_strings_lead_the_line():
    def at(name, string=2):
        return hz(name, "strings", string=string, open_strings_hz=MEASURED)

    assert (at("E5"), at("A4"), at("D4"), at("G3")) == pytest.approx(MEASURED)
    assert at("D6") == pytest.approx(4 * 294.2)
    assert at("B4") == pytest.approx(661.2 * 1.5 / 2)
    assert at("C4") == pytest.approx(195.9 * 2 / 3 * 2)
    assert at("F4") == pytest.approx(195.9 * 4 / 9 * 4)


def test_strings_not_measured_are_pythagorean():
    for name in SPELLED:
        assert hz(name, "strings") == pytest.approx(hz(name, "pythagorean"))
    partly = hz("C4", "strings", open_strings_hz=(None, 442.0, None, None))
    assert partly == pytest.approx(hz("C4", "pythagorean", a4_hz=442.0))


def test_the_target_says_what_it_was_tuned_against():
    intonation = make_intonation("strings", instrument=VIOLIN, open_strings_hz=MEASURED)
    target = intonation.target(Pitch.parse("D5"), string=2, place=5)
    assert target.system == "strings"
    assert target.reference == "open D4 = 294.20 Hz"


@pytest.mark.parametrize("a4_hz", [379.9, 470.1, float("nan"), float("inf"), -440.0])
def test_reference_pitch_out_of_range(a4_hz):
    with pytest.raises(PitchError, match="out of range"):
        make_intonation("equal", instrument=VIOLIN, a4_hz=a4_hz)


def test_a_string_that_is_another_string_is_refused():
    with pytest.raises(PitchError, match="String III at 392 Hz is not D4"):
        make_intonation("strings", instrument=VIOLIN, open_strings_hz=(659.0, 440.0, 392.0, 196.0))
    with pytest.raises(PitchError, match="do not fit"):
        make_intonation("strings", instrument=VIOLIN, open_strings_hz=(659.0, 440.0))
    with pytest.raises(PitchError, match="not an intonation"):
        make_intonation("meantime", instrument=VIOLIN)


@pytest.mark.parametrize("system", ["equal", "pythagorean"])
def test_octaves_are_pure_in_every_system(system):
    for family, name in itertools.product(("viola", "cello", "bass"), ("C#4", "Bb4", "F4")):
        instrument = make_instrument(family)
        high = name[:-1] + "5"
        assert hz(high, system, instrument=instrument) == pytest.approx(2 * hz(name, system, instrument=instrument))


@pytest.mark.parametrize(
    ("fifths", "mode", "tonic"),
    [(0, "major", "C4"), (-1, "major", "F4"), (6, "major", "F#4"), (-6, "major", "Gb4"), (7, "major", "C#4"),
     (-7, "major", "Cb4"), (0, "minor", "A4"), (4, "minor", "C#4"), (-5, "minor", "Bb4")],
)  # fmt: skip
def test_tonics(fifths, mode, tonic):
    assert tonic_of_key(fifths, mode=mode).name == tonic
