"""Days to the next cold test, by the FSRS model of forgetting (package fsrs)."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta

from fsrs import Card, Rating, Scheduler

#: Chance of a true landing at which the next cold test should fall.
WANTED_SHARE = 0.90


class FsrsSpacing:
    """app.ports.Spacing: a true cold attempt counts as remembered, a miss as forgotten; no chance is mixed in."""

    def __init__(self, *, wanted_share: float = WANTED_SHARE) -> None:
        self._wanted_share = wanted_share

    def next_day(self, results: Sequence[tuple[date, bool]], *, longest_gap_days: int) -> date:
        scheduler = Scheduler(
            desired_retention=self._wanted_share,
            learning_steps=(),
            relearning_steps=(),
            maximum_interval=max(1, longest_gap_days),
            enable_fuzzing=False,
        )
        card = Card(card_id=1)
        for day, true in results:
            noon = datetime(day.year, day.month, day.day, 12, tzinfo=UTC)
            card, _ = scheduler.review_card(card, Rating.Good if true else Rating.Again, noon)
        last = results[-1][0]
        return max((card.due.astimezone(UTC)).date(), last + timedelta(days=1))
