"""Days to the next cold test."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from fsrs import Card, Rating, Scheduler

from truestop.adapters.spacing import FsrsSpacing

DAY = date(2026, 3, 2)


def _next(results: list[tuple[date, bool]], longest: int = 60) -> int:
    return (FsrsSpacing().next_day(results, longest_gap_days=longest) - results[-1][0]).days


def test_gaps_grow_with_true_cold_attempts_and_shrink_after_a_miss() -> None:
    results = [(DAY, True)]
    gaps = [_next(results)]
    for _ in range(3):
        results.append((results[-1][0] + timedelta(days=gaps[-1]), True))
        gaps.append(_next(results))
    assert gaps == sorted(gaps)
    assert gaps[-1] > gaps[0]
    assert _next([*results, (results[-1][0] + timedelta(days=gaps[-1]), False)]) < gaps[-1]


@pytest.mark.parametrize("longest", [1, 2, 7])
def test_gaps_keep_their_limit(longest: int) -> None:
    results = [(DAY + timedelta(days=3 * n), True) for n in range(6)]
    assert _next(results, longest) <= longest


def test_the_first_gap_is_the_librarys_own() -> None:
    scheduler = Scheduler(desired_retention=0.9, learning_steps=(), relearning_steps=(), enable_fuzzing=False)
    noon = datetime(2026, 3, 2, 12, tzinfo=UTC)
    card, _ = scheduler.review_card(Card(card_id=1), Rating.Good, noon)
    assert _next([(DAY, True)]) == (card.due - noon).days


def test_no_chance_is_mixed_in() -> None:
    results = [(DAY + timedelta(days=5 * n), n % 3 > 0) for n in range(8)]
    assert len({_next(results) for _ in range(5)}) == 1
