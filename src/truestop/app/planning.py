"""Choosing what to practise today from the record."""

from __future__ import annotations

from datetime import date

from truestop.app.ports import PracticeStore, Spacing
from truestop.app.progress import PassageReport, report_of_passage, reports_of_player
from truestop.domain.attempt import Verdict
from truestop.domain.errors import StoreError
from truestop.domain.plan import USUAL_SESSION, Candidate, Plan, PlanSettings, gap_trust, longest_gap, plan_session
from truestop.domain.record import Outcome, local_day
from truestop.domain.statistics import USUAL_TEST, TestSettings

MINUTES = (5.0, 240.0)


def plan_today(
    store: PracticeStore,
    spacing: Spacing,
    *,
    player: str,
    minutes: float,
    now_s: float,
    utc_offset_s: int,
    passage: str | None = None,
    settings: PlanSettings = USUAL_SESSION,
    test: TestSettings = USUAL_TEST,
) -> Plan:
    """The session for a player's local day, from all passages or one (key or title). StoreError where it is unknown."""
    if not MINUTES[0] <= minutes <= MINUTES[1]:
        raise StoreError(f"A session of {minutes:g} minutes cannot be planned.", hint="Give 5 to 240 minutes.")
    today = local_day(now_s, utc_offset_s)
    if passage is None:
        reports = reports_of_player(store, player=player, settings=test)
    else:
        reports = (report_of_passage(store, player=player, passage=passage, settings=test),)
    outcomes = store.outcomes(player=player)
    candidates = [one for report in reports for one in make_candidates(report, outcomes, spacing, today, settings)]
    return plan_session(candidates, today=today, minutes=minutes, settings=settings)


def make_candidates(
    report: PassageReport,
    outcomes: tuple[Outcome, ...],
    spacing: Spacing,
    today: date,
    settings: PlanSettings = USUAL_SESSION,
) -> list[Candidate]:
    """Every shift of a passage with the day of its next cold test and what was done at it today.

    ``outcomes`` are all the player's, in time order: how far gaps may stretch is learned from every passage.
    """
    card = report.progress.card
    cold: dict[str, list[tuple[date, bool]]] = {}
    today_count: dict[str, int] = {}
    for one in outcomes:
        if one.cold and one.counts:
            cold.setdefault(one.shift, []).append((date.fromordinal(one.day), one.verdict is Verdict.TRUE))
        if one.day == today.toordinal():
            today_count[one.shift] = today_count.get(one.shift, 0) + 1
    trust = gap_trust(cold.values(), settings)
    found = []
    for shift, diagnosis in report.lines:
        results = cold.get(shift.card.key, [])
        gap = longest_gap(shift.progress, results, card.deadline, today, settings, trust)
        found.append(
            Candidate(
                shift=shift,
                diagnosis=diagnosis,
                passage=card,
                due=spacing.next_day(results, longest_gap_days=gap) if results else today,
                cold=tuple(true for _, true in results),
                attempts_today=today_count.get(shift.card.key, 0),
            )
        )
    return found
