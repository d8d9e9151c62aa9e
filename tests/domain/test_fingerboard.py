"""Places, mm and cents on a string."""

from __future__ import annotations

from math import log2

import pytest
from hypothesis import given
from hypothesis import strategies as st

from truestop.domain.fingerboard import cents_to_mm, place_to_mm, travel_mm

# The monochord division: the octave halves the string, the fifth takes a third, the fourth a quarter, the whole tone
# (9/8) a ninth (Euclid, Sectio canonis; Mersenne 1636). Exact, from the ratios.
MONOCHORD = [(2 / 1, 1 / 2), (3 / 2, 1 / 3), (4 / 3, 1 / 4), (9 / 8, 1 / 9), (5 / 4, 1 / 5)]


@pytest.mark.parametrize(("ratio", "share"), MONOCHORD)
def test_just_intervals_divide_the_string_like_the_monochord(ratio: float, share: float) -> None:
    assert place_to_mm(12 * log2(ratio), 690.0) == pytest.approx(690.0 * share, abs=1e-9)


# Equal-tempered stop distances for the usual lengths, computed once with the formula of fret spacing (the 17.817 rule:
# each semitone takes 1/17.817 of what is left; lutherie handbooks, from memory) to the nearest 0.01 mm.
STOPS_MM = [
    (328.0, {2: 35.79, 5: 82.28, 7: 109.09, 12: 164.00}),
    (690.0, {2: 75.28, 5: 173.08, 7: 229.48, 12: 345.00}),
    (1050.0, {2: 114.56, 5: 263.39, 7: 349.21, 12: 525.00}),
]


@pytest.mark.parametrize(("length_mm", "stops_mm"), STOPS_MM)
def test_stops_lie_where_the_seventeen_point_eight_rule_puts_them(length_mm: float, stops_mm: dict[int, float]) -> None:
    left_mm = length_mm
    for place in range(1, 13):
        left_mm -= left_mm / 17.817154
        assert place_to_mm(place, length_mm) == pytest.approx(length_mm - left_mm, abs=1e-3)
        if place in stops_mm:
            assert place_to_mm(place, length_mm) == pytest.approx(stops_mm[place], abs=0.005)


@pytest.mark.parametrize(
    ("cents", "place", "length_mm", "mm"),
    [(100, 2, 328, 16.40), (15, 2, 328, 2.5), (15, 24, 328, 0.7), (15, 2, 1050, 8.1)],
)
def test_an_error_in_cents_is_a_distance(cents: float, place: float, length_mm: float, mm: float) -> None:
    assert cents_to_mm(cents, place, length_mm) == pytest.approx(mm, abs=0.05)


LENGTHS = st.floats(min_value=200, max_value=1100)
PLACES = st.floats(min_value=0, max_value=31)


@given(st.floats(min_value=-50, max_value=50), PLACES, LENGTHS)
def test_what_is_left_of_the_string_sounds_the_pitch(cents: float, place: float, length_mm: float) -> None:
    """Mersenne 1636: the frequency is as the length to the inverse."""
    left_mm = length_mm - place_to_mm(place, length_mm) - cents_to_mm(cents, place, length_mm)
    assert 12 * log2(length_mm / left_mm) == pytest.approx(place + cents / 100.0, abs=1e-8)


@given(PLACES, PLACES, LENGTHS)
def test_travel_is_towards_the_bridge_when_positive(start: float, end: float, length_mm: float) -> None:
    assert (travel_mm(start, end, length_mm) > 0) == (end > start) or start == end or abs(end - start) < 1e-9
