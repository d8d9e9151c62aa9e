"""Sessions: cold tests first and mixed, few shifts worked at, caps and deadlines kept, a reason on every line."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from examples import examples
from keeping_samples import PASSAGE, shift_card
from truestop.domain.attempt import Verdict
from truestop.domain.diagnosis_words import diagnose
from truestop.domain.plan import Candidate, Plan, PlanSettings, gap_trust, longest_gap, outlook_of, plan_session, stands
from truestop.domain.progress import ShiftProgress, summarise
from truestop.domain.record import Outcome, PassageCard
from truestop.domain.statistics import Standing, run_sequential_test

TODAY = date(2026, 3, 20)


def candidate(
    number: int,
    *,
    true: int,
    judged: int,
    due: int = 0,
    cold: bool = True,
    passage: PassageCard = PASSAGE,
    **changes: Any,
) -> Candidate:
    """A shift with a history: one attempt a day, misses first; ``due`` in days from today."""
    start = TODAY.toordinal() - judged
    verdicts = [Verdict.LOW] * (judged - true) + [Verdict.TRUE] * true
    outcomes = [
        Outcome(
            f"s{number}", "plain", 86400.0 * (start + k), start + k, cold, verdict, -30.0 if verdict.is_miss else 2.0
        )
        for k, verdict in enumerate(verdicts)
    ]
    shift = ShiftProgress(card=shift_card(number, **changes), progress=summarise(outcomes, ""))
    return Candidate(
        shift=shift, diagnosis=diagnose(shift, outcomes), passage=passage, due=TODAY + timedelta(days=due),
        cold=tuple(one.verdict is Verdict.TRUE for one in outcomes if one.cold),
    )  # fmt: skip


def work_of(plan: Plan) -> list[str]:
    return [item.shift.card.key for item in plan.items if item.what == "work" and item.shift]


def test_a_shift_is_named_with_its_piece_where_there_are_several() -> None:
    waltz = replace(PASSAGE, key="waltz", title="Slow Waltz")
    one = plan_session([candidate(1, true=3, judged=9)], today=TODAY, minutes=30)
    two = plan_session(
        [candidate(1, true=3, judged=9), *(candidate(n, true=3, judged=9, passage=waltz) for n in range(2, 30))],
        today=TODAY,
        minutes=30,
    )
    assert not any(PASSAGE.title in str(one.label_of(item)) for item in one.items if item.shift)
    named = {str(two.label_of(item)).split(",")[0] for item in two.items if item.shift}
    assert named <= {PASSAGE.title, "Slow Waltz"}
    assert "Slow Waltz" in named
    assert two.left_out
    assert all(str(label).startswith((PASSAGE.title, "Slow Waltz")) for label, _ in two.left_out)


def test_cold_tests_come_first_then_work_on_the_weak_then_an_end() -> None:
    plan = plan_session(
        [
            candidate(1, true=12, judged=12, due=5),
            candidate(2, true=3, judged=9),
            candidate(3, true=14, judged=15, due=1),
            candidate(4, true=4, judged=9, due=1),
        ],
        today=TODAY,
        minutes=30,
    )
    kinds = [item.what for item in plan.items]
    assert kinds[0] == "cold test"
    assert kinds[-1] == "end"
    assert kinds.index("work") > max(n for n, kind in enumerate(kinds) if kind == "cold test")
    assert "break" in kinds
    assert set(work_of(plan)) == {"s2", "s3", "s4"}
    assert work_of(plan).count("s2") > work_of(plan).count("s3")
    assert plan.planned_minutes <= 30
    assert all(str(item.reason) for item in plan.items)


def test_secure_shifts_wait_for_their_test_and_get_a_few_attempts_after_it() -> None:
    waiting, due = candidate(1, true=12, judged=12, due=4), candidate(2, true=12, judged=12)
    assert due.shift.progress.tested.standing is Standing.SECURE
    plan = plan_session([waiting, due, candidate(3, true=2, judged=12, due=1)], today=TODAY, minutes=30)
    of_due = [item.what for item in plan.items if item.shift and item.shift.card.key == "s2"]
    assert of_due[:2] == ["cold test", "work"]
    assert all(item.shift.card.key != "s1" for item in plan.items if item.shift)
    assert sum(item.attempts for item in plan.items if item.shift and item.shift.card.key == "s2") <= 10
    worked = next(item for item in plan.items if item.what == "work" and item.shift and item.shift.card.key == "s2")
    assert "Secure" in str(worked.reason)


def test_a_cold_miss_opens_a_secure_shift_again() -> None:
    steady = candidate(1, true=12, judged=12)
    doubted = [True] * 12 + [False]
    assert not stands(replace(steady.shift.progress, tested=run_sequential_test(doubted)))
    assert not stands(replace(steady.shift.progress, tested=run_sequential_test(doubted + [True] * 4)))
    assert stands(replace(steady.shift.progress, tested=run_sequential_test(doubted + [True] * 5)))


def test_the_outlook_follows_recent_cold_results() -> None:
    progress = candidate(1, true=6, judged=12).shift.progress
    rising, falling = [False] * 6 + [True] * 6, [True] * 6 + [False] * 6
    assert outlook_of(progress, rising) > 0.6 > 0.4 > outlook_of(progress, falling)
    # by hand: one true result beside two attempts' worth of the overall mean
    assert outlook_of(progress, [True]) == pytest.approx((2 * progress.all.mean + 1) / 3)


def test_players_whose_late_tests_miss_get_shorter_gaps() -> None:
    week = [(TODAY + timedelta(days=7 * n), True) for n in range(20)]
    assert gap_trust([]) == gap_trust([week]) == 1.0
    half = [(day, n % 2 == 0) for n, (day, _) in enumerate(week)]
    # by hand: (9 + 9) of (10 + 19) true; even forgetting gives ln .9 / ln .62
    assert gap_trust([half]) == pytest.approx(math.log(0.9) / math.log(18 / 29))
    assert gap_trust([[(TODAY + timedelta(days=n), False) for n in range(9)]]) == 1.0


def test_neighbouring_cold_tests_differ_where_they_can() -> None:
    up = [candidate(n, true=3, judged=6) for n in (1, 2, 3)]
    down = [candidate(n, true=3, judged=6, direction="down") for n in (4, 5, 6)]
    plan = plan_session(up + down, today=TODAY, minutes=30)
    kinds = [item.shift.card.kind for item in plan.items if item.what == "cold test" and item.shift]
    assert len(kinds) == 6
    assert all(a != b for a, b in itertools.pairwise(kinds))


def test_what_was_played_today_is_no_cold_test_and_counts_towards_the_most() -> None:
    played = replace(candidate(1, true=2, judged=8), attempts_today=18)
    plan = plan_session([played, candidate(2, true=2, judged=8, due=2)], today=TODAY, minutes=60)
    assert all(item.what != "cold test" for item in plan.items)
    assert sum(item.attempts for item in plan.items if item.shift and item.shift.card.key == "s1") <= 2


def test_what_had_its_attempts_today_is_not_said_to_need_none() -> None:
    played = replace(candidate(1, true=2, judged=8), attempts_today=20)
    untried = candidate(2, true=0, judged=0)
    for candidates in ([played], [played, untried]):
        end = plan_session(candidates, today=TODAY, minutes=60).items[-1]
        assert str(end.reason).startswith("Stop here: what needs work has had its 20 attempts today.")


def test_a_performance_pulls_its_passage_forward() -> None:
    gala = replace(PASSAGE, key="gala-2", title="Gala", deadline=TODAY + timedelta(days=3))
    candidates = [candidate(n, true=5, judged=9, due=1) for n in (1, 2, 3)]
    candidates.append(candidate(4, true=6, judged=9, due=1, passage=gala))
    plan = plan_session(candidates, today=TODAY, minutes=20)
    first = next(item for item in plan.items if item.what == "work")
    assert first.shift is not None
    assert first.shift.card.key == "s4"
    assert "performance is in 3 days" in str(first.reason)


def test_gaps_shorten_before_a_performance_and_stay_short_while_the_test_is_open() -> None:
    still_open = candidate(1, true=4, judged=4).shift.progress
    secure = candidate(1, true=12, judged=12).shift.progress
    daily = [(TODAY - timedelta(days=12 - n), True) for n in range(12)]
    weekly = [(TODAY - timedelta(days=7 * (12 - n)), True) for n in range(12)]
    fortnightly = [(TODAY - timedelta(days=14 * (12 - n)), True) for n in range(12)]
    assert longest_gap(still_open, daily[:4], None, TODAY) == PlanSettings().longest_open_gap_days
    assert longest_gap(secure, daily, None, TODAY) == 2
    assert longest_gap(secure, weekly, None, TODAY) == 10
    assert longest_gap(secure, [*weekly, (TODAY, False), (TODAY + timedelta(days=1), True)], None, TODAY) == 2
    assert longest_gap(secure, fortnightly, None, TODAY) == PlanSettings().longest_gap_days
    assert longest_gap(still_open, daily[:4], TODAY + timedelta(days=8), TODAY) == 1
    assert longest_gap(secure, fortnightly, TODAY + timedelta(days=8), TODAY) == 7


def test_cold_tests_that_do_not_fit_are_named() -> None:
    plan = plan_session([candidate(n, true=3, judged=5) for n in range(1, 30)], today=TODAY, minutes=10)
    tests = sum(item.what == "cold test" for item in plan.items)
    assert 1 <= tests < 29
    assert len(plan.left_out) == 29 - tests


def test_nothing_to_do_says_when_there_will_be() -> None:
    plan = plan_session([candidate(1, true=12, judged=12, due=3)], today=TODAY, minutes=30)
    (end,) = plan.items
    assert "Monday 23 March" in str(end.reason)
    assert "keep a take" in str(plan_session([], today=TODAY, minutes=30).items[0].reason)


histories = st.builds(
    lambda judged, part, due, today, far: (judged, int(judged * part), due, today, far),
    st.integers(0, 25), st.floats(0, 1), st.integers(-20, 9), st.integers(0, 25), st.integers(0, 40),
)  # fmt: skip


@examples(60)
@given(st.lists(histories, max_size=8), st.integers(5, 120))
def test_every_plan_keeps_its_promises(rows: list[tuple[int, int, int, int, int]], minutes: int) -> None:
    candidates = [
        replace(
            candidate(
                n, true=true, judged=judged, due=due, passage=replace(PASSAGE, deadline=TODAY + timedelta(days=far))
            ),
            attempts_today=today,
        )
        for n, (judged, true, due, today, far) in enumerate(rows, start=1)
    ]
    plan = plan_session(candidates, today=TODAY, minutes=minutes)
    keys = [item.shift.card.key for item in plan.items if item.shift]
    assert all(a != b for a, b in itertools.pairwise(keys))
    assert plan.planned_minutes <= max(minutes, 1.0)
    for one in candidates:
        asked = sum(item.attempts for item in plan.items if item.shift and item.shift.card.key == one.key)
        assert one.attempts_today + asked <= max(PlanSettings().most_attempts, one.attempts_today)
    whats = [item.what for item in plan.items]
    assert whats[-1] == "end"
    assert "break" not in whats[-2:-1]
