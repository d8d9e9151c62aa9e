"""Local days and cold attempts."""

from __future__ import annotations

from datetime import date

import pytest

from keeping_samples import instant
from truestop.domain.errors import StoreError
from truestop.domain.record import Touch, is_cold, local_day, mark_cold, parse_attempt_id


@pytest.mark.parametrize(
    ("hour", "offset_h", "day"),
    [(4.0, 0, 2), (3.99, 0, 1), (23.9, 0, 2), (1.0, 3, 2), (0.99, 3, 1), (8.0, -5, 1), (9.0, -5, 2)],
)
def test_a_day_begins_at_four_on_the_players_clock(hour: float, offset_h: int, day: int) -> None:
    assert local_day(instant(2, hour), offset_h * 3600) == date(2026, 3, day)


def test_cold_needs_another_day_and_six_hours() -> None:
    late_evening = (instant(2, 23.5), date(2026, 3, 2))
    assert is_cold(instant(2, 9), 0, None)
    assert not is_cold(instant(3, 4.5), 0, late_evening)  # next day, five hours
    assert is_cold(instant(3, 5.5), 0, late_evening)  # next day, six hours
    assert not is_cold(instant(2, 23.9), 0, (instant(2, 5), date(2026, 3, 2)))  # same day, nineteen hours


def test_one_cold_attempt_a_day_at_most_and_practice_uses_it_up() -> None:
    touches = [
        Touch(at_s=instant(day, hour), utc_offset_s=0, stage=stage)
        for day, hour, stage in [(2, 9, "plain"), (2, 9.1, "plain"), (3, 9, "guide"), (3, 17, "plain"), (4, 9, "cold")]
    ]
    assert mark_cold(touches) == ((True, 1), (False, 2), (False, 1), (False, 2), (True, 1))


def test_an_attempt_number_is_a_take_and_a_number() -> None:
    assert parse_attempt_id("20260302-1f3a9c.12") == ("20260302-1f3a9c", 12)
    for wrong in ("", "7", ".7", "take", "take.x"):
        with pytest.raises(StoreError, match="not the number of an attempt"):
            parse_attempt_id(wrong)
