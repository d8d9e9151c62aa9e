"""What the drill tells the ear, stage by stage."""

import pytest

from truestop.domain.expecting import expect_shift
from truestop.domain.instrument import make_instrument
from truestop.domain.passage import Finger
from truestop.domain.pitch import Interval, Pitch
from truestop.domain.shift import Cover, Guide, Relation, Shift
from truestop.domain.stop import Stop
from truestop.domain.tuning import Against, make_intonation

VIOLIN = make_instrument("violin")
EQUAL = make_intonation("equal", instrument=VIOLIN)


def stop(name, string, finger, *, harmonic=False):
    pitch = Pitch.parse(name)
    return Stop(note_id=name, pitch=pitch, string=string, finger=Finger(finger), placement=2, harmonic=harmonic,
                place=VIOLIN.place_of(pitch.midi, string))  # fmt: skip


def shift(departure, arrival, *, guide=(), cover=Cover.NONE):
    return Shift(
        number=1, departure=departure, arrival=arrival, departure_step=0, arrival_step=1, measure="1", direction="up",
        relation=Relation.TO_HIGHER, crossing=False, cover=cover, from_position="1", to_position="3", guide=guide,
        interval=Interval.between(departure[0].pitch, arrival[0].pitch),
    )  # fmt: skip


# 1 on B4 to 3 on F#5, A string: the first finger leads over D5.
GUIDE = Guide(finger=Finger.FIRST, string=2, from_place=2, to_place=5, from_pitch=Pitch.parse("B4"),
              to_pitch=Pitch.parse("D5"), travel_mm=46.5)  # fmt: skip
TO_HIGHER = shift((stop("B4", 2, "1"),), (stop("F#5", 2, "3"),), guide=(GUIDE,))


def expect(of, stage="plain", **settings):
    return expect_shift(of, key="k", stage=stage, instrument=VIOLIN, intonation=EQUAL, **settings)


def test_plain_hides_the_guide_note():
    expected = expect(TO_HIGHER, tolerance_cents=10.0, beats_s=(2.0,))
    assert (expected.departure.pitch.name, expected.arrival.pitch.name) == ("B4", "F#5")
    assert expected.guide is None
    assert expected.tolerance_cents == 10.0
    assert expected.beats_s == (2.0,)
    assert expected.length_mm == 328.0
    assert expected.open_strings_hz == pytest.approx((659.255, 440.0, 293.665, 195.998), abs=1e-3)


def test_land_announces_the_guide_note():
    assert expect(TO_HIGHER, "land").guide.pitch.name == "D5"


def test_guide_stage_expects_the_guide_finger_alone():
    expected = expect(TO_HIGHER, "guide")
    assert (expected.departure.pitch.name, expected.arrival.pitch.name) == ("B4", "D5")
    assert expected.guide is None


def test_a_guide_that_sets_out_from_a_note_not_written_is_announced_there():
    guide = Guide(finger=Finger.FIRST, string=2, from_place=2, to_place=5, from_pitch=Pitch.parse("B4"),
                  to_pitch=Pitch.parse("D5"), travel_mm=46.5)  # fmt: skip
    to_lower = shift((stop("D5", 2, "3"),), (stop("D5", 2, "1"),), guide=(guide,))
    assert expect(to_lower, "land").guide.pitch.name == "B4"


def test_same_finger_has_no_note_to_announce():
    guide = Guide(finger=Finger.FIRST, string=2, from_place=2, to_place=5, from_pitch=Pitch.parse("B4"),
                  to_pitch=Pitch.parse("D5"), travel_mm=46.5)  # fmt: skip
    same = shift((stop("B4", 2, "1"),), (stop("D5", 2, "1"),), guide=(guide,))
    assert expect(same, "land").guide is None


def test_covers_open_strings_and_harmonics():
    covered = shift((stop("B4", 2, "1"),), (stop("F#5", 2, "3"),), cover=Cover.OPEN)
    assert expect(covered).silent
    to_open = shift((stop("D5", 2, "1"),), (stop("E5", 1, "0"),))
    assert expect(to_open).arrival_open
    assert not expect(to_open).departure_open
    to_harmonic = shift((stop("B4", 2, "1"),), (stop("A5", 2, "4", harmonic=True),))
    assert expect(to_harmonic).arrival_open


def test_double_stop_gives_both_notes_lower_first():
    double = shift((stop("B4", 2, "1"), stop("G4", 3, "3")), (stop("F5", 2, "2"), stop("D5", 3, "4")))
    expected = expect(double)
    assert (expected.departure.pitch.name, expected.upper_departure.pitch.name) == ("G4", "B4")
    assert (expected.arrival.pitch.name, expected.upper_arrival.pitch.name) == ("D5", "F5")


def test_just_double_stop_tunes_the_upper_note_to_the_lower():
    just = make_intonation("just", instrument=VIOLIN)
    double = shift((stop("B4", 2, "1"), stop("G4", 3, "3")), (stop("F5", 2, "2"), stop("D5", 3, "4")))
    expected = expect_shift(double, key="k", stage="plain", instrument=VIOLIN, intonation=just, against=Against())
    assert expected.upper_departure.hz / expected.departure.hz == pytest.approx(5 / 4)
    assert expected.upper_arrival.hz / expected.arrival.hz == pytest.approx(6 / 5)
    assert expected.upper_arrival.reference == "double stop D5"


def test_just_uses_an_open_string_that_sounds():
    just = make_intonation("just", instrument=VIOLIN)
    with_open_a = shift((stop("B4", 2, "1"),), (stop("E5", 3, "4"), stop("A4", 2, "0")))
    expected = expect_shift(with_open_a, key="k", stage="plain", instrument=VIOLIN, intonation=just,
                            against=Against(tonic=Pitch.parse("A4")))  # fmt: skip
    assert expected.arrival.reference == "open A4"
    assert expected.arrival.hz == pytest.approx(660.0)
    assert expected.upper_arrival.pitch.name == "A4"
    assert not expected.arrival_open
