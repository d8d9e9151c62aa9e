"""The questions that the record is asked, as SQL."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from itertools import groupby
from operator import itemgetter
from typing import Any

from sqlalchemy import ColumnElement, Connection, Select, case, func, select

from truestop.adapters.store import tables as t
from truestop.adapters.store.double_stops import landings_mm_of
from truestop.adapters.store.rows import shift_of
from truestop.app.ports import PlayerSum, ShiftSum
from truestop.domain.attempt import Verdict
from truestop.domain.record import Outcome
from truestop.domain.shift import OUTSIDE_THE_MUSIC

_VERDICTS = {str(verdict): verdict for verdict in Verdict}


def take_question() -> Select[Any]:
    """Takes with the keys of player and passage."""
    return (
        select(t.take, t.player.c.key.label("player"), t.passage.c.key.label("passage"))
        .join(t.player, t.take.c.player_row == t.player.c.row)
        .join(t.passage, t.take.c.passage_row == t.passage.c.row)
    )


def attempt_question() -> Select[Any]:
    """Attempts with the take's id and a4, and the keys of player, passage and shift."""
    return (
        select(
            t.attempt,
            t.take.c.id.label("take_id"),
            t.take.c.a4_hz,
            t.player.c.key.label("player"),
            t.passage.c.key.label("passage"),
            t.shift.c.key.label("shift_key"),
        )
        .join(t.take, t.attempt.c.take_row == t.take.c.row)
        .join(t.player, t.attempt.c.player_row == t.player.c.row)
        .join(t.shift, t.attempt.c.shift_row == t.shift.c.row)
        .join(t.passage, t.shift.c.passage_row == t.passage.c.row)
    )


def find_outcomes(connection: Connection, player: int, passage: int | None) -> tuple[Outcome, ...]:
    """What statistics need of a player's attempts, in time order."""
    a = t.attempt.c
    question = select(
        a.shift_row, a.stage, a.at_s, a.day, a.cold, a.verdict, a.landing_cents, a.landing_se_cents, a.landing_mm,
        a.departure_cents, a.interval_error_cents, a.correction_cents, a.guide_landing_cents, a.slide_s, a.timing_s,
        a.tolerance_cents, a.own_ear, a.notes,
    ).where(a.player_row == player, a.struck_out.is_(False))  # fmt: skip
    names = select(t.shift.c.row, t.shift.c.key)
    if passage is not None:
        names = names.where(t.shift.c.passage_row == passage)
        question = question.where(a.shift_row.in_(select(t.shift.c.row).where(t.shift.c.passage_row == passage)))
    keys = dict(connection.execute(names).all())
    found = [_outcome(keys[row[0]], row) for row in connection.execute(question).all()]
    found.sort(key=lambda outcome: outcome.at_s)
    return tuple(found)


def _outcome(shift: str, row: Sequence[Any]) -> Outcome:
    values = (*row[1:5], _VERDICTS[row[5]], *row[6:-1], landings_mm_of(row[-1]))
    return Outcome(shift, *values)


def find_sums(connection: Connection, player: int, without: int) -> tuple[ShiftSum, ...]:
    """A player's attempts by shift, those at one passage left out."""
    found = []
    for row in connection.execute(_sum_question(player, without)):
        landed = int(row.landed)
        mean = row.landing_total / landed if landed else None
        spare = row.landing_squares - landed * mean * mean if mean is not None else 0.0
        sd = (max(0.0, spare) / (landed - 1)) ** 0.5 if landed > 1 else None
        found.append(
            ShiftSum(
                shift=shift_of(row), judged=int(row.judged), true=int(row.true_landings), landed=landed,
                mean_cents=mean, sd_cents=sd,
            )
        )  # fmt: skip
    return tuple(found)


def _sum_question(player: int, without: int) -> Select[Any]:
    """Shifts of other passages with judged, true, number of landings, their sum and the sum of their squares."""
    c = t.tally.c
    names = ("judged", "true_landings", "landed", "landing_total", "landing_squares")
    counted = (
        select(c.shift_row, *(func.sum(c[name]).label(name) for name in names))
        .where(c.player_row == player)
        .group_by(c.shift_row)
        .subquery()
    )
    return (
        select(t.shift, t.passage.c.key.label("passage"), *(counted.c[name] for name in names))
        .join(t.passage, t.passage.c.row == t.shift.c.passage_row)
        .join(counted, counted.c.shift_row == t.shift.c.row)
        .where(t.shift.c.passage_row != without)
        .order_by(t.shift.c.row)
    )


def find_studio(connection: Connection, recent_days: int) -> tuple[PlayerSum, ...]:
    """Every player's attempts at shifts of the music added up, from the tallies: as progress counts them."""
    c = t.tally.c
    last = connection.execute(select(func.max(c.day))).scalar() or 0
    judged_on = {
        (player, day): int(judged)
        for player, day, judged in connection.execute(
            select(c.player_row, c.day, func.sum(c.judged))
            .where(c.day > last - recent_days, _in_the_music())
            .group_by(c.player_row, c.day)
        ).all()
    }
    cold = _cold_results(connection)
    players = connection.execute(_player_question()).all()
    return tuple(
        PlayerSum(
            player=key, name=name, days=int(days), last_day=date.fromordinal(last_day), judged=int(judged),
            true=int(true), corrected=int(corrected), shifts=int(shifts), cold=tuple(cold.get(row, ())),
            recent=tuple(judged_on.get((row, day), 0) for day in range(last - recent_days + 1, last + 1)),
        )
        for row, key, name, shifts, days, last_day, judged, true, corrected in players
    )  # fmt: skip


def _in_the_music() -> ColumnElement[bool]:
    """Tallies without those of a drill's ways back."""
    return t.tally.c.shift_row.not_in(select(t.shift.c.row).where(t.shift.c.number == OUTSIDE_THE_MUSIC))


def _player_question() -> Select[Any]:
    """Players with attempts: row, key, name, shifts, days, last day, judged, true, corrected."""
    c = t.tally.c
    sums = (func.sum(c[name]) for name in ("judged", "true_landings", "corrected"))
    tried = (func.count(c[name].distinct()) for name in ("shift_row", "day"))
    return (
        select(t.player.c.row, t.player.c.key, t.player.c.name, *tried, func.max(c.day), *sums)
        .join(t.player, t.player.c.row == c.player_row)
        .where(_in_the_music())
        .group_by(t.player.c.row, t.player.c.key, t.player.c.name)
        .order_by(t.player.c.row)
    )


def _cold_results(connection: Connection) -> dict[int, list[tuple[bool, ...]]]:
    """By player and, in the order of shifts, for each with cold attempts whether they were true, oldest first."""
    c = t.tally.c
    question = (
        select(c.player_row, c.shift_row, c.cold_true)
        .where(c.cold_judged > 0, _in_the_music())
        .order_by(c.player_row, c.shift_row, c.day)
    )
    found: dict[int, list[tuple[bool, ...]]] = {}
    for (player, _), results in groupby(_plain_rows(connection, question), itemgetter(0, 1)):
        found.setdefault(player, []).append(tuple(true > 0 for _, _, true in results))
    return found


def _plain_rows(connection: Connection, question: Select[Any]) -> list[tuple[int, ...]]:
    """Rows of whole numbers as the driver gives them: for a hundred thousand, in half the time of named rows."""
    cursor = connection.execute(question).cursor
    return list(cursor.fetchall()) if cursor is not None else []


def diary_question(player: int) -> Select[Any]:
    """One row a day: takes and seconds recorded, attempts, judged, true, cold judged, cold true."""
    takes = (
        select(t.take.c.day, func.count().label("takes"), func.sum(t.take.c.duration_s).label("recorded_s"))
        .where(t.take.c.player_row == player)
        .group_by(t.take.c.day)
        .subquery()
    )
    sums = ("touches", "judged", "true_landings", "cold_judged", "cold_true")
    counts = (
        select(t.tally.c.day, *(func.sum(t.tally.c[name]).label(name) for name in sums))
        .where(t.tally.c.player_row == player)
        .group_by(t.tally.c.day)
        .subquery()
    )
    counted = (case((counts.c[name].is_(None), 0), else_=counts.c[name]) for name in sums)
    return (
        select(takes.c.day, takes.c.takes, takes.c.recorded_s, *counted)
        .outerjoin(counts, counts.c.day == takes.c.day)
        .order_by(takes.c.day)
    )
