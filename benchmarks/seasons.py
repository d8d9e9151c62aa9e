"""Simulated seasons measure the plan against other ways of practising.

    python -m benchmarks.seasons             printed
    python -m benchmarks.seasons --write     into docs/practice.md

Everything is seeded: the same command gives the same tables.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from functools import lru_cache, partial
from pathlib import Path

import numpy as np
from benchmarks.learners import Learner, Learning
from benchmarks.practice import make_card
from benchmarks.tables import replace_section, table

from truestop.adapters.spacing import FsrsSpacing
from truestop.domain.diagnosis import Cause, Diagnosis
from truestop.domain.plan import USUAL_SESSION, Candidate, PlanSettings, gap_trust, longest_gap, plan_session
from truestop.domain.progress import ShiftProgress, summarise
from truestop.domain.record import PassageCard, ShiftCard
from truestop.domain.statistics import Standing, make_share, run_sequential_test

START = date(2026, 1, 5)
PASSAGE = PassageCard(key="p", title="Simulated")
NO_WORDS = Diagnosis(cause=Cause.NONE, sentence="", evidence="", exercise="", stage=None, attempts=0)
NOTHING = summarise([], "")
_SPACING = FsrsSpacing()
_share = lru_cache(maxsize=None)(make_share)


@dataclass(slots=True)
class Count:
    """What the record holds of one shift, as far as the plan reads it."""

    cold: list[tuple[date, bool]] = field(default_factory=list)
    judged: int = 0
    true: int = 0
    today: int = 0
    secure: bool = False
    next_test: tuple[int, int, date] = (0, 0, START)
    """Cold results and longest gap that the day was worked out for, and the day."""

    def due(self, longest_gap_days: int) -> date:
        """The day of the next cold test, worked out when something has changed."""
        if self.next_test[:2] != (len(self.cold), longest_gap_days):
            day = _SPACING.next_day(self.cold, longest_gap_days=longest_gap_days)
            self.next_test = (len(self.cold), longest_gap_days, day)
        return self.next_test[2]


@dataclass(slots=True)
class Season:
    """A player, their shifts and what was played."""

    learner: Learner
    cards: list[ShiftCard]
    counts: list[Count]
    day: date = START
    last: int = -1
    played_s: float = 0.0

    @classmethod
    def make(cls, seed: int, learning: Learning, shifts: int) -> Season:
        rng = np.random.default_rng([seed, 1])
        cards = [make_card(number + 1, rng) for number in range(shifts)]
        return cls(learner=Learner.make(seed, shifts, learning), cards=cards, counts=[Count() for _ in cards])

    def play(self, shift: int) -> bool:
        """One attempt; returns whether it was true."""
        cold, true = self.learner.attempt(shift)
        count = self.counts[shift]
        count.judged += 1
        count.true += true
        count.today += 1
        if cold:
            count.cold.append((self.day, true))
            count.secure = run_sequential_test([one for _, one in count.cold]).standing is Standing.SECURE
        self.played_s += USUAL_SESSION.attempt_s + (USUAL_SESSION.change_s if shift != self.last else 0.0)
        self.last = shift
        return true

    def sleep(self) -> None:
        """Until the next day."""
        self.learner.sleep()
        self.day += timedelta(days=1)
        self.last = -1
        for count in self.counts:
            count.today = 0

    @property
    def secure(self) -> int:
        return sum(count.secure for count in self.counts)


def candidate(
    card: ShiftCard, count: Count, today: date, settings: PlanSettings = USUAL_SESSION, trust: float = 1.0
) -> Candidate:
    """A shift as the plan sees it; of its progress only the numbers that the plan reads."""
    results = [true for _, true in count.cold]
    progress = replace(
        NOTHING,
        all=_share(count.true, count.judged),
        cold=_share(sum(results), len(results)),
        tested=run_sequential_test(results),
    )
    gap = longest_gap(progress, count.cold, None, today, settings, trust)
    due = START
    if count.cold:
        due = count.due(gap) if gap > 1 else count.cold[-1][0] + timedelta(days=1)
    return Candidate(
        shift=ShiftProgress(card=card, progress=progress), diagnosis=NO_WORDS, passage=PASSAGE, due=due,
        cold=tuple(results), attempts_today=count.today,
    )  # fmt: skip


def planned_day(season: Season, minutes: float, settings: PlanSettings = USUAL_SESSION) -> None:
    """Play what the plan made that day says, to its end."""
    trust = gap_trust([count.cold for count in season.counts], settings)
    candidates = [
        candidate(card, count, season.day, settings, trust)
        for card, count in zip(season.cards, season.counts, strict=True)
    ]
    plan = plan_session(candidates, today=season.day, minutes=minutes, settings=settings)
    for item in plan.items:
        for _ in range(item.attempts):
            assert item.shift is not None
            season.play(item.shift.card.number - 1)


def _cold_round(season: Season) -> None:
    for shift in season.learner.rng.permutation(len(season.cards)):
        season.play(int(shift))


def blocked_day(season: Season, minutes: float, *, cold_first: bool = False) -> None:
    """One shift after the other in blocks of twenty, going on where the day before stopped."""
    start_s = season.played_s
    if cold_first:
        _cold_round(season)
    block_s = USUAL_SESSION.change_s + 20 * USUAL_SESSION.attempt_s
    shift = sum(count.judged - cold_first * len(count.cold) for count in season.counts) // 20 % len(season.cards)
    while season.played_s - start_s + block_s <= 60 * minutes:
        for _ in range(20):
            season.play(shift)
        shift = (shift + 1) % len(season.cards)


def random_day(season: Season, minutes: float, *, cold_first: bool = False) -> None:
    """Every attempt at a shift drawn by lot."""
    start_s = season.played_s
    if cold_first:
        _cold_round(season)
    while season.played_s - start_s + USUAL_SESSION.change_s + USUAL_SESSION.attempt_s <= 60 * minutes:
        season.play(int(season.learner.rng.integers(len(season.cards))))


WAYS: dict[str, Callable[[Season, float], None]] = {
    "plan": planned_day,
    "uniform random": random_day,
    "blocked": blocked_day,
    "cold round, then random": partial(random_day, cold_first=True),
    "cold round, then blocked": partial(blocked_day, cold_first=True),
}

ASSUMPTIONS: dict[str, Learning] = {
    "as described": Learning(),
    "order makes no difference": Learning(fast_gain=0.0, slow_gain=0.02),
    "blocks teach more": Learning(fast_gain=0.0, slow_gain=0.012, run_bonus=0.25),
    "learns half as fast": Learning(slow_gain=0.0175),
    "forgets twice as fast": Learning(overnight=0.97),
    "forgets less with each day": Learning(overnight=0.97, steadying=0.2),
    "shifts unlike, up to 3 times": Learning(unlike=3.0),
    "all shifts new": Learning(first_skill=(0.0, 0.1)),
    "most shifts half known": Learning(first_skill=(0.4, 0.8)),
}


@dataclass(frozen=True, slots=True)
class Result:
    attempts: float
    """Until all shifts were secure at once, or in all days."""
    minutes: float
    days: int
    done: bool
    all_attempts: int
    shares: tuple[float, ...]
    """Mean true chance of a cold landing after a week's rest, at each of the CHECKS."""


#: Not those on which the settings of the plan were chosen.
SEEDS = range(1000, 2000)
CHECKS = (14, 30, 60, 120)


def run_season(
    way: Callable[[Season, float], None], learning: Learning, seed: int, *, shifts: int = 12, minutes: float = 30.0,
    most_days: int = 120,
) -> Result:  # fmt: skip
    """Practise every day; notes when all shifts were secure for the first time."""
    season = Season.make(seed, learning, shifts)
    done: tuple[int, float, int] | None = None
    shares = []
    for day in range(1, most_days + 1):
        way(season, minutes)
        season.sleep()
        if done is None and season.secure == shifts:
            done = (season.learner.attempts, season.played_s / 60, day)
        if day in CHECKS:
            shares.append(float(np.mean(season.learner.rested_shares(7))))
    attempts, played, days = done or (season.learner.attempts, season.played_s / 60, most_days)
    return Result(attempts, played, days, done is not None, season.learner.attempts, tuple(shares))


def _interval(values: Sequence[float]) -> str:
    """Mean with its 95 % interval (normal)."""
    a = np.array(values, dtype=float)
    return f"{a.mean():.0f} ± {1.96 * a.std(ddof=1) / len(a) ** 0.5:.0f}"


def measure_plan(players: int = 30) -> Iterator[str]:
    """Attempts, minutes and days until every shift is secure, by way of practising and by assumption."""
    heads = [
        "assumption",
        "way",
        "attempts",
        "fewer by plan",
        "days",
        "all secure",
        "after 14 days",
        "30",
        "120",
        "all attempts",
    ]
    rows = []
    for words, learning in ASSUMPTIONS.items():
        found = {name: [run_season(way, learning, seed) for seed in SEEDS[:players]] for name, way in WAYS.items()}
        for name, results in found.items():
            saved = [one.attempts - own.attempts for one, own in zip(results, found["plan"], strict=True)]
            shares = np.mean([one.shares for one in results], axis=0)
            rows.append(
                [words, name, _interval([one.attempts for one in results]), "" if name == "plan" else _interval(saved),
                 _interval([one.days for one in results]), f"{sum(one.done for one in results)}/{players}",
                 f"{shares[0]:.2f}", f"{shares[1]:.2f}", f"{shares[3]:.2f}",
                 f"{np.mean([one.all_attempts for one in results]):.0f}"]
            )  # fmt: skip
            print(rows[-1], file=sys.stderr, flush=True)
    yield f"### {players} players for each line, twelve shifts, 30 minutes a day, 120 days"
    yield ""
    yield from table(heads, rows)


def main(arguments: Sequence[str]) -> None:
    """Measure and print; with --write into the page."""
    lines = list(measure_plan())
    print("\n".join(lines))
    if "--write" in arguments:
        note = "`python -m benchmarks.seasons --write`"
        replace_section(Path("docs/practice.md"), "seasons", [lines[0], "", note, *lines[1:]])


if __name__ == "__main__":
    main(sys.argv[1:])
