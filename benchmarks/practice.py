"""Simulated players measure the diagnosis, the sequential test and the plan.

    python -m benchmarks.practice                  all three, printed
    python -m benchmarks.practice diagnosis        one of them: diagnosis, test, plan
    python -m benchmarks.practice --write          into docs/accuracy.md

Everything is seeded: the same command gives the same tables.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import partial
from pathlib import Path

import numpy as np
from benchmarks.players import Habits, Learner, Learning, play
from benchmarks.tables import replace_section, table

from truestop.adapters.spacing import FsrsSpacing
from truestop.domain.attempt import Verdict
from truestop.domain.diagnosis import ALONE, Cause, find_kin
from truestop.domain.diagnosis_words import diagnose
from truestop.domain.plan import USUAL_SESSION, Candidate, PlanSettings, longest_gap, plan_session
from truestop.domain.progress import ShiftProgress, summarise
from truestop.domain.record import Outcome, PassageCard, ShiftCard
from truestop.domain.statistics import USUAL_TEST, Standing, TestSettings, run_sequential_test

INSTRUMENTS = {"violin": 328.0, "viola": 375.0, "cello": 690.0, "bass": 1050.0}
FINGERS = ("1", "2", "3", "4")
START = date(2026, 1, 5).toordinal()


def make_card(number: int, rng: np.random.Generator, length_mm: float = 328.0, passage: str = "p") -> ShiftCard:
    """Some shift of some passage."""
    up = bool(rng.random() < 0.5)
    low, far = int(rng.integers(1, 6)), int(rng.integers(2, 8))
    places = (low, low + far) if up else (low + far, low)
    travel = length_mm * (2 ** (-places[0] / 12) - 2 ** (-places[1] / 12))
    first, last = str(rng.choice(FINGERS)), str(rng.choice(FINGERS))
    return ShiftCard(
        key=f"{passage}-s{number}", passage=passage, number=number, measure=str(number),
        direction="up" if up else "down",
        relation="same" if first == last else "to higher" if last > first else "to lower", crossing=False, cover="none",
        interval="", departure_pitch="A4", departure_finger=first, departure_string=1, departure_place=places[0],
        arrival_pitch="D5", arrival_finger=last, string=int(rng.integers(1, 5)), place=places[1], from_position="1st",
        to_position="3rd", guide_finger="1", travel_mm=travel, length_mm=length_mm,
    )  # fmt: skip


# diagnosis


def _sound(rng: np.random.Generator) -> Habits:
    """A sound player: every habit varies, none is a fault."""
    return Habits(
        start_cents=rng.uniform(-2, 2),
        distance_cents=rng.uniform(-2.5, 2.5),
        spread_cents=rng.uniform(5, 9),
        corrects=rng.uniform(0.0, 0.03),
        late_s=rng.uniform(-0.015, 0.015),
        timing_spread_s=rng.uniform(0.02, 0.035),
    )


def _side(rng: np.random.Generator, low: float, high: float) -> float:
    return float(rng.choice([-1.0, 1.0]) * rng.uniform(low, high))


Plant = Callable[[np.random.Generator, Habits], Habits]
PLANTS: dict[Cause, tuple[Plant, str]] = {
    Cause.NONE: (lambda _, h: h, "bias within ±4.5 cents, spread 5–9, corrects up to 3 %, ±15 ms from the beat"),
    Cause.DISTANCE: (lambda rng, h: replace(h, distance_cents=_side(rng, 14, 24)), "distance ±14–24 cents off"),
    Cause.START: (lambda rng, h: replace(h, start_cents=_side(rng, 14, 24)), "departure note ±14–24 cents off"),
    Cause.TARGET: (lambda rng, h: replace(h, spread_cents=rng.uniform(22, 32)), "spread 22–32 cents"),
    Cause.EAR_AHEAD: (lambda rng, h: replace(h, corrects=rng.uniform(0.4, 0.6)), "40–60 % of landings corrected"),
    Cause.LEAVES_LATE: (lambda rng, h: replace(h, late_s=rng.uniform(0.1, 0.18)), "leaves 100–180 ms late"),
    Cause.SLOW: (lambda rng, h: replace(h, slow_s=rng.uniform(0.1, 0.18)), "slide 100–180 ms longer than usual"),
    Cause.EARLY: (lambda rng, h: replace(h, late_s=rng.uniform(-0.18, -0.1)), "leaves 100–180 ms early"),
    Cause.SPACING: (lambda rng, h: replace(h, spacing_cents=_side(rng, 14, 24)), "finger ±14–24 off, guide true"),
    Cause.GENERAL: (lambda rng, h: replace(h, distance_cents=_side(rng, 14, 24)), "one finger ±14–24 off everywhere"),
    Cause.PASSAGE: (lambda rng, h: replace(h, passage_spread_cents=rng.uniform(28, 40)), "spread 28–40, passage only"),
}  # fmt: skip


def diagnose_one(cause: Cause, seed: int, attempts: int) -> Cause:
    """Plant a cause in one player's shift and name what is found."""
    rng = np.random.default_rng([seed, list(PLANTS).index(cause), attempts])
    length_mm = float(rng.choice(list(INSTRUMENTS.values())))
    card = make_card(1, rng, length_mm)
    habits = PLANTS[cause][0](rng, _sound(rng))
    if cause is Cause.GENERAL:
        return _diagnose_general(rng, habits, length_mm, attempts)
    outcomes = play(rng, card, habits, attempts=attempts)
    if cause is Cause.PASSAGE:
        outcomes += play(rng, card, habits, attempts=attempts, stage="in the passage", day=2)
    if cause is not Cause.SPACING:
        for one in outcomes:
            one.guide_landing_cents = None
    others = [make_card(n, rng, length_mm) for n in range(2, 7)]
    shifts = [_progress(other, play(rng, other, _sound(rng), attempts=attempts)) for other in others]
    shift = _progress(card, outcomes)
    return diagnose(shift, outcomes, find_kin([shift, *shifts])).cause


def _diagnose_general(rng: np.random.Generator, habits: Habits, length_mm: float, attempts: int) -> Cause:
    """Eight shifts, four of them arriving with the same finger, which is off on each."""
    cards = [
        replace(make_card(n, rng, length_mm), arrival_finger="4" if n <= 4 else FINGERS[n % 3]) for n in range(1, 9)
    ]
    played = {
        card.key: play(rng, card, habits if card.number <= 4 else _sound(rng), attempts=attempts) for card in cards
    }
    for outcomes in played.values():
        for one in outcomes:
            one.guide_landing_cents = None
    shifts = [_progress(card, played[card.key]) for card in cards]
    return diagnose(shifts[0], played[cards[0].key], find_kin(shifts)).cause


def _progress(card: ShiftCard, outcomes: Sequence[Outcome]) -> ShiftProgress:
    return ShiftProgress(card=card, progress=summarise(outcomes, ""))


def measure_diagnosis(players: int = 60, attempts: int = 20) -> Iterator[str]:
    """The confusion table, and the rate against the number of attempts."""
    yield f"### Diagnosis: {attempts} attempts, {players} players for each planted cause"
    yield ""
    yield (
        "One shift of one player carries the cause; five other shifts are sound. *Only in the passage*"
        " has that many attempts alone and as many in the passage; *in general* has eight shifts, four with the finger."
        " Named is the first cause of the diagnosis. Tolerance 20 cents; all four instruments."
    )
    yield ""
    rows = []
    for cause, (_, words) in PLANTS.items():
        named = Counter(diagnose_one(cause, seed, attempts) for seed in range(players))
        wrong = ", ".join(
            f"{other.value} {_percent(n, players)}" for other, n in named.most_common() if other is not cause
        )
        rows.append([cause.value, words, _percent(named[cause], players), wrong or "none"])
    yield from table(["planted", "how much", "named", "instead"], rows)
    yield ""
    yield "Against the number of attempts (planted cause named; for *no fault found*: a cause named all the same):"
    yield ""
    counts = (8, 12, 20, 40)
    rows = []
    for cause in PLANTS:
        line = [cause.value if cause is not Cause.NONE else "false alarms"]
        for count in counts:
            hits = sum(diagnose_one(cause, seed, count) is cause for seed in range(players // 2))
            line.append(_percent(players // 2 - hits if cause is Cause.NONE else hits, players // 2))
        rows.append(line)
    yield from table(["planted", *(f"{count} attempts" for count in counts)], rows)


def _percent(part: int, whole: int) -> str:
    return f"{100 * part / whole:.1f} %"


# the sequential test


def _first_decision(
    rng: np.random.Generator, share: float, settings: TestSettings, memory: float
) -> tuple[Standing, int]:
    """The first decision over results with ``share``; ``memory`` is the part of a hidden error that stays."""
    results: list[bool] = []
    limit = float(np.quantile(np.abs(np.random.default_rng(0).normal(size=200_000)), share))
    error = rng.normal()
    while len(results) < 2000:
        results.append(bool(abs(error) <= limit))
        error = memory * error + (1 - memory**2) ** 0.5 * rng.normal()
        tested = run_sequential_test(results, settings)
        if tested.decided_after is not None:
            return tested.standing, len(results)
    return Standing.OPEN, len(results)


def measure_test(rounds: int = 200) -> Iterator[str]:
    """Error rates and lengths of Wald's test."""
    yield f"### Sequential test ({USUAL_TEST.words}): {rounds} runs to the first decision"
    yield ""
    yield (
        "Independent draws are playing with sound; *drift* leaves that part of an error in the next landing, as"
        " without sound. Wald's bounds allow 5.3 % wrong decisions at the two shares of the test. Cold attempts lie"
        " a day or more apart, so independent draws are the case that applies."
    )
    yield ""
    rows = []
    for memory, words in ((0.0, "independent"), (0.3, "drift 0.3"), (0.6, "drift 0.6")):
        for share in (0.60, 0.70, 0.80, 0.90, 0.95):
            rng = np.random.default_rng([int(100 * share), int(10 * memory)])
            found = [
                _first_decision(rng, share, USUAL_TEST, memory) for _ in range(rounds if memory == 0 else rounds // 2)
            ]
            secure = sum(standing is Standing.SECURE for standing, _ in found)
            length = sorted(length for _, length in found)
            rows.append(
                [words, f"{share:.2f}", _percent(secure, len(found)), _percent(len(found) - secure, len(found)),
                 f"{np.mean(length):.1f}", str(length[int(0.95 * len(length))])]
            )  # fmt: skip
    yield from table(["draws", "true share", "secure", "not yet", "attempts, mean", "95 % within"], rows)


# the plan


@dataclass(slots=True)
class Season:
    """A player, their shifts and what was played."""

    learner: Learner
    cards: list[ShiftCard]
    outcomes: dict[str, list[Outcome]]
    secured: dict[int, int]
    """Shift → attempts made when it was first decided *secure*."""

    @classmethod
    def make(cls, seed: int, learning: Learning, shifts: int) -> Season:
        rng = np.random.default_rng(seed)
        cards = [make_card(n + 1, rng) for n in range(shifts)]
        learner = Learner.make(seed, shifts, learning)
        learner.day = START
        return cls(learner=learner, cards=cards, outcomes={card.key: [] for card in cards}, secured={})

    def play(self, shift: int, stage: str) -> None:
        outcome = self.learner.attempt(shift, self.cards[shift], stage)
        self.outcomes[self.cards[shift].key].append(outcome)
        if outcome.cold and outcome.counts and shift not in self.secured:
            cold = [
                one.verdict is Verdict.TRUE for one in self.outcomes[self.cards[shift].key] if one.cold and one.counts
            ]
            if run_sequential_test(cold).standing is Standing.SECURE:
                self.secured[shift] = self.learner.attempts

    @property
    def done(self) -> bool:
        return len(self.secured) == len(self.cards)


PASSAGE = PassageCard(key="p", title="Simulated")
_SPACING = FsrsSpacing()


def planned_day(season: Season, minutes: float, settings: PlanSettings = USUAL_SESSION) -> None:
    """Play what the plan says."""
    today = date.fromordinal(season.learner.day)
    candidates = [_candidate(season, card, today, settings) for card in season.cards]
    plan = plan_session(candidates, today=today, minutes=minutes, settings=settings)
    for item in plan.items:
        for _ in range(item.attempts):
            assert item.shift is not None
            season.play(item.shift.card.number - 1, item.stage or "plain")


def _candidate(season: Season, card: ShiftCard, today: date, settings: PlanSettings) -> Candidate:
    outcomes = season.outcomes[card.key]
    shift = _progress(card, outcomes)
    cold = [(date.fromordinal(one.day), one.verdict is Verdict.TRUE) for one in outcomes if one.cold and one.counts]
    gap = longest_gap(shift.progress, None, today, settings)
    due = _SPACING.next_day(cold, longest_gap_days=gap) if cold else today
    return Candidate(shift=shift, diagnosis=diagnose(shift, outcomes, ALONE), passage=PASSAGE, due=due)


def _cold_round(season: Season, minutes: float) -> float:
    """One cold attempt at each shift; returns the minutes left."""
    for shift in season.learner.rng.permutation(len(season.cards)):
        season.play(int(shift), "cold")
    return minutes - len(season.cards) * (USUAL_SESSION.change_s + USUAL_SESSION.attempt_s) / 60


def blocked_day(season: Season, minutes: float, *, cold_first: bool = False) -> None:
    """One shift after the other in blocks of twenty, going on where the day before stopped."""
    left_s = 60 * (_cold_round(season, minutes) if cold_first else minutes)
    turn = sum(len(played) for played in season.outcomes.values())
    shift = (turn // 20) % len(season.cards)
    while left_s >= USUAL_SESSION.change_s + 20 * USUAL_SESSION.attempt_s:
        for _ in range(20):
            season.play(shift, "plain")
        left_s -= USUAL_SESSION.change_s + 20 * USUAL_SESSION.attempt_s
        shift = (shift + 1) % len(season.cards)


def random_day(season: Season, minutes: float, *, cold_first: bool = False) -> None:
    """Every attempt at a shift drawn by lot."""
    left_s = 60 * (_cold_round(season, minutes) if cold_first else minutes)
    last = -1
    while left_s >= USUAL_SESSION.change_s + USUAL_SESSION.attempt_s:
        shift = int(season.learner.rng.integers(len(season.cards)))
        left_s -= USUAL_SESSION.attempt_s + (USUAL_SESSION.change_s if shift != last else 0.0)
        season.play(shift, "plain")
        last = shift


WAYS: dict[str, Callable[[Season, float], None]] = {
    "plan": planned_day,
    "blocked": blocked_day,
    "uniform random": random_day,
    "cold round, then blocked": partial(blocked_day, cold_first=True),
    "cold round, then random": partial(random_day, cold_first=True),
}

ASSUMPTIONS: dict[str, Learning] = {
    "as described": Learning(),
    "mixing gives nothing (no fast state)": Learning(fast_gain=0.0, slow_gain=0.02),
    "learns half as fast": Learning(slow_gain=0.0175),
    "forgets twice as fast": Learning(overnight=0.97),
    "all shifts new": Learning(first_skill=(0.0, 0.1)),
    "most shifts half known": Learning(first_skill=(0.4, 0.8)),
}


@dataclass(frozen=True, slots=True)
class Result:
    attempts: float
    days: int
    secure: int
    true_share: float
    """Mean true chance of a cold landing, a week after the end."""
    at_equal: float
    """The same after 14 days of practice and a week's rest."""


def run_season(way: str, learning: Learning, seed: int, *, shifts: int, minutes: float, most_days: int) -> Result:
    """Practise every day until all shifts are secure."""
    season = Season.make(seed, learning, shifts)
    at_equal = 0.0
    days = 0
    while not season.done and days < most_days:
        WAYS[way](season, minutes)
        season.learner.sleep()
        days += 1
        if days == 14:
            at_equal = _mean_share(season)
    attempts = max(season.secured.values(), default=0) if season.done else season.learner.attempts
    return Result(attempts, days, len(season.secured), _mean_share(season), at_equal or _mean_share(season))


def _mean_share(season: Season) -> float:
    """True share of cold landings after a week's rest, over the shifts."""
    kept = season.learner.slow.copy()
    season.learner.slow = kept * season.learner.learning.overnight**7
    share = float(np.mean([season.learner.share_cold(shift) for shift in range(len(season.cards))]))
    season.learner.slow = kept
    return share


def measure_plan(players: int = 8, shifts: int = 12, minutes: float = 30.0, most_days: int = 120) -> Iterator[str]:
    """Attempts until every shift is secure, by way of practising and by assumption."""
    yield f"### Plan: {shifts} shifts, {minutes:.0f} minutes a day, {players} players for each line"
    yield ""
    yield (
        "Every player practises each day until all shifts are *secure* by the sequential test on cold attempts"
        f" (at most {most_days} days; a player who is not done counts with the attempts made). An attempt takes"
        f" {USUAL_SESSION.attempt_s:.0f} s, turning to another shift {USUAL_SESSION.change_s:.0f} s. Blocked: blocks of"
        " twenty, shift after shift. The last two ways add the plan's idea of testing every shift cold each day and"
        " show what choosing adds to it. The learning model is described in benchmarks/players.py; the rows vary it."
        " The numbers say what the plan does under this model, not how people learn."
    )
    yield ""
    rows = []
    for words, learning in ASSUMPTIONS.items():
        for way in WAYS:
            found = [
                run_season(way, learning, seed, shifts=shifts, minutes=minutes, most_days=most_days)
                for seed in range(players)
            ]
            done = sum(one.secure == shifts for one in found)
            rows.append(
                [words, way, f"{np.median([one.attempts for one in found]):.0f}",
                 f"{min(one.attempts for one in found):.0f}–{max(one.attempts for one in found):.0f}",
                 f"{np.median([one.days for one in found]):.0f}", f"{done}/{players}",
                 f"{np.mean([one.at_equal for one in found]):.2f}", f"{np.mean([one.true_share for one in found]):.2f}"]
            )  # fmt: skip
            print(rows[-1], file=sys.stderr)
    heads = ["assumption", "way", "attempts", "range", "days", "all secure", "share after 14 days", "share at the end"]
    yield from table(heads, rows)
    yield ""
    yield "Shares are the true chance of a cold landing after a week without practice, mean over the shifts."


PARTS = {"diagnosis": measure_diagnosis, "test": measure_test, "plan": measure_plan}


def main(arguments: Sequence[str]) -> None:
    """Run the parts named, or all."""
    parts = [name for name in PARTS if name in arguments] or list(PARTS)
    for name in parts:
        lines = list(PARTS[name]())
        print("\n".join(lines))
        if "--write" in arguments:
            note = f"`python -m benchmarks.practice {name} --write`"
            replace_section(Path("docs/accuracy.md"), f"practice {name}", [lines[0], "", note, *lines[1:]])


if __name__ == "__main__":
    main(sys.argv[1:])
