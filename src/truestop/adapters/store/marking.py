"""Marking cold attempts and counting days, inside the transaction that changed them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any

from sqlalchemy import Connection, case, delete, func, insert, select, update

from truestop.adapters.store import tables as t
from truestop.domain.attempt import Verdict
from truestop.domain.record import RECORD_STAGES, Touch, mark_cold

_RECORD_STAGES = sorted(RECORD_STAGES)
_COUNTED = (
    "touches", "judged", "true_landings", "corrected", "cold_judged", "cold_true", "landed", "landing_total",
    "landing_squares",
)  # fmt: skip


def mark_days(
    connection: Connection, player: int, shifts: Iterable[int], first_day: int, *, count_all: bool = False
) -> None:
    """Set cold marks and day order of these shifts anew from ``first_day`` on, and count the changed days anew.

    ``first_day`` itself is always counted; with ``count_all`` every day from it on is.
    """
    for shift in sorted(shifts):
        days = _mark_shift(connection, player, shift, first_day) | {first_day}
        if count_all:
            days |= {row.day for row in _attempts_from(connection, player, shift, first_day)}
        for day in sorted(days):
            recount(connection, player, shift, day)


def recount(connection: Connection, player: int, shift: int, day: int) -> None:
    """Count one shift's day anew from its attempts."""
    a = t.attempt.c
    counts = a.stage.in_(_RECORD_STAGES) & (a.verdict != str(Verdict.UNJUDGED))
    is_true = counts & (a.verdict == str(Verdict.TRUE))
    landed = counts & (a.verdict != str(Verdict.WRONG_NOTE)) & a.landing_cents.is_not(None)
    question = select(
        func.count(),
        _how_many(counts),
        _how_many(is_true),
        _how_many(counts & (a.verdict == str(Verdict.CORRECTED))),
        _how_many(counts & a.cold),
        _how_many(is_true & a.cold),
        _how_many(landed),
        _total(landed, a.landing_cents),
        _total(landed, a.landing_cents * a.landing_cents),
    ).where(a.player_row == player, a.shift_row == shift, a.day == day, a.struck_out.is_(False))
    numbers = tuple(connection.execute(question).one())
    c = t.tally.c
    connection.execute(delete(t.tally).where(c.player_row == player, c.shift_row == shift, c.day == day))
    if numbers[0]:
        key = {"player_row": player, "shift_row": shift, "day": day}
        connection.execute(insert(t.tally).values(key | dict(zip(_COUNTED, numbers))))


def _how_many(condition: Any) -> Any:
    return func.coalesce(func.sum(case((condition, 1), else_=0)), 0)


def _total(condition: Any, number: Any) -> Any:
    return func.coalesce(func.sum(case((condition, number), else_=0.0)), 0.0)


def _mark_shift(connection: Connection, player: int, shift: int, first_day: int) -> set[int]:
    """Returns the days on which a mark changed."""
    attempts = _attempts_from(connection, player, shift, first_day)
    takes = _runs_from(connection, player, shift, first_day)
    touches = sorted(
        [(row.at_s, row.utc_offset_s, row.stage, row.row) for row in attempts]
        + [(row.recorded_at_s, row.utc_offset_s, "", 0) for row in takes]
    )
    before = _last_before(connection, player, shift, first_day)
    marks = mark_cold([Touch(at_s=at, utc_offset_s=offset, stage=stage) for at, offset, stage, _ in touches], before)
    old = {row.row: (row.cold, row.day_order, row.day) for row in attempts}
    changed: set[int] = set()
    for (_, _, _, row), (cold, order) in zip(touches, marks, strict=True):
        if row and old[row][:2] != (cold, order):
            connection.execute(update(t.attempt).where(t.attempt.c.row == row).values(cold=cold, day_order=order))
            changed.add(old[row][2])
    return changed


def _attempts_from(connection: Connection, player: int, shift: int, first_day: int) -> Sequence[Any]:
    a = t.attempt.c
    return connection.execute(
        select(a.row, a.at_s, a.stage, a.cold, a.day_order, a.day, t.take.c.utc_offset_s)
        .join(t.take)
        .where(a.player_row == player, a.shift_row == shift, a.day >= first_day, a.struck_out.is_(False))
    ).all()


def _runs_from(connection: Connection, player: int, shift: int, first_day: int) -> Sequence[Any]:
    """Runs through the passage in which this shift was not found: they touched it all the same."""
    found = select(t.attempt.c.take_row).where(t.attempt.c.player_row == player, t.attempt.c.shift_row == shift)
    return connection.execute(
        select(t.take.c.recorded_at_s, t.take.c.utc_offset_s)
        .join(t.shift, t.shift.c.passage_row == t.take.c.passage_row)
        .where(t.shift.c.row == shift, t.take.c.player_row == player, t.take.c.shift == "", t.take.c.day >= first_day)
        .where(t.take.c.row.not_in(found))
    ).all()


def _last_before(connection: Connection, player: int, shift: int, first_day: int) -> tuple[float, date] | None:
    a = t.attempt.c
    attempts = (
        select(a.at_s, a.day)
        .where(a.player_row == player, a.shift_row == shift, a.day < first_day, a.struck_out.is_(False))
        .order_by(a.day.desc(), a.at_s.desc())
        .limit(1)
    )
    runs = (
        select(t.take.c.recorded_at_s, t.take.c.day)
        .join(t.shift, t.shift.c.passage_row == t.take.c.passage_row)
        .where(t.shift.c.row == shift, t.take.c.player_row == player, t.take.c.day < first_day)
        .where(t.take.c.shift == "")
        .order_by(t.take.c.recorded_at_s.desc())
        .limit(1)
    )
    touches = [(row[0], row[1]) for row in (*connection.execute(attempts), *connection.execute(runs))]
    if not touches:
        return None
    at_s, day = max(touches)
    return at_s, date.fromordinal(day)
