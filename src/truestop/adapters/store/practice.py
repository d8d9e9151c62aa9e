"""The record of practice in a database.

Conventions: every writing method is one transaction; when it returns, the rows are on the disk. Tallies are counted
anew from the attempts of their day in the same transaction, so they never drift from them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, Row, Select, Table, delete, insert, select, update

from truestop.adapters.store import copying, moving
from truestop.adapters.store import tables as t
from truestop.adapters.store.judgements import adopt_version, find_rejudged, insert_rejudged
from truestop.adapters.store.marking import mark_days, recount
from truestop.adapters.store.opening import open_engine, reading, writing
from truestop.adapters.store.questions import (
    attempt_question,
    diary_question,
    find_outcomes,
    find_studio,
    find_sums,
    take_question,
)
from truestop.adapters.store.rows import (
    kept_of,
    measured_row,
    pack_trace,
    passage_of,
    passage_row,
    shift_of,
    shift_row,
    take_of,
    take_row,
)
from truestop.app.ports import DiaryDay, Draft, PlayerSum, Rejudged, ShiftSum, Value
from truestop.domain.errors import StoreError
from truestop.domain.record import (
    KeptAttempt,
    KeptTake,
    Outcome,
    PassageCard,
    Player,
    ShiftCard,
    Strike,
    parse_attempt_id,
)


class SqlPracticeStore:
    """app.ports.PracticeStore over SQLite or PostgreSQL. ``place`` is a file or a database URL."""

    def __init__(self, place: str | Path) -> None:
        self.place = place
        self._engine: Engine = open_engine(place)

    # players and passages

    def keep_player(self, player: Player) -> None:
        with writing(self._engine) as connection:
            if not _renew(connection, t.player, player.key, {"name": player.name}):
                connection.execute(insert(t.player).values(key=player.key, name=player.name))

    def players(self) -> tuple[Player, ...]:
        with reading(self._engine) as connection:
            rows = connection.execute(select(t.player).order_by(t.player.c.name, t.player.c.key))
            return tuple(Player(key=row.key, name=row.name) for row in rows)

    def keep_passage(self, card: PassageCard, shifts: Sequence[ShiftCard]) -> None:
        with writing(self._engine) as connection:
            if not _renew(connection, t.passage, card.key, passage_row(card)):
                connection.execute(insert(t.passage).values(passage_row(card)))
            passage = _row_of(connection, t.passage, card.key)
            if card.deadline is not None:
                _renew(connection, t.passage, card.key, {"deadline": card.deadline.toordinal()})
            for shift in shifts:
                values = shift_row(shift, passage)
                if not _renew(connection, t.shift, shift.key, values):
                    connection.execute(insert(t.shift).values(values))

    def set_deadline(self, passage: str, day: date | None) -> None:
        with writing(self._engine) as connection:
            row = _row_of(connection, t.passage, passage)
            values = {"deadline": None if day is None else day.toordinal()}
            connection.execute(update(t.passage).where(t.passage.c.row == row).values(values))

    def passages(self, *, player: str | None = None) -> tuple[PassageCard, ...]:
        question = select(t.passage).order_by(t.passage.c.title, t.passage.c.key)
        with reading(self._engine) as connection:
            if player is not None:
                row = _row_of(connection, t.player, player)
                played = select(t.take.c.passage_row).where(t.take.c.player_row == row)
                question = question.where(t.passage.c.row.in_(played))
            return tuple(passage_of(row) for row in connection.execute(question))

    def shifts(self, passage: str | None = None) -> tuple[ShiftCard, ...]:
        question = (
            select(t.shift, t.passage.c.key.label("passage"))
            .join(t.passage)
            .order_by(t.passage.c.title, t.shift.c.passage_row, t.shift.c.number, t.shift.c.row)
        )
        with reading(self._engine) as connection:
            if passage is not None:
                question = question.where(t.shift.c.passage_row == _row_of(connection, t.passage, passage))
            return tuple(shift_of(row) for row in connection.execute(question))

    # takes and attempts

    def keep_take(self, take: KeptTake, drafts: Sequence[Draft]) -> tuple[KeptAttempt, ...]:
        with writing(self._engine) as connection:
            player = _row_of(connection, t.player, take.player)
            passage = _row_of(connection, t.passage, take.passage)
            shifts = {key: _row_of(connection, t.shift, key) for key in {draft.attempt.shift for draft in drafts}}
            row = connection.execute(
                insert(t.take).values(take_row(take, player=player, passage=passage)).returning(t.take.c.row)
            ).scalar_one()
            for number, draft in enumerate(drafts, start=1):
                place = {
                    "take_row": row,
                    "number": number,
                    "player_row": player,
                    "shift_row": shifts[draft.attempt.shift],
                }
                _insert_attempt(connection, take, draft, place)
            touched = set(shifts.values()) if take.shift else _shifts_of(connection, passage)
            mark_days(connection, player, touched, take.day.toordinal())
            return _attempts(connection, attempt_question().where(t.attempt.c.take_row == row), traces=True)

    def takes_of_sound(self, *, player: str, passage: str, sha256: str) -> tuple[KeptTake, ...]:
        question = (
            take_question()
            .order_by(t.take.c.row)
            .where(
                t.player.c.key == player,
                t.passage.c.key == passage,
                t.take.c.sha256 == sha256,
            )
        )
        with reading(self._engine) as connection:
            return tuple(take_of(row) for row in connection.execute(question))

    def takes(self, *, player: str | None = None, passage: str | None = None) -> tuple[KeptTake, ...]:
        question = take_question().order_by(t.take.c.recorded_at_s, t.take.c.id)
        if player is not None:
            question = question.where(t.player.c.key == player)
        if passage is not None:
            question = question.where(t.passage.c.key == passage)
        with reading(self._engine) as connection:
            return tuple(take_of(row) for row in connection.execute(question))

    def take(self, take_id: str) -> KeptTake:
        with reading(self._engine) as connection:
            return take_of(_take_row(connection, take_id))

    def attempts_of(self, take_id: str) -> tuple[KeptAttempt, ...]:
        with reading(self._engine) as connection:
            _take_row(connection, take_id)
            return _attempts(connection, attempt_question().where(t.take.c.id == take_id), traces=True)

    def attempts_at(self, *, player: str, shift: str) -> tuple[KeptAttempt, ...]:
        question = attempt_question().where(t.player.c.key == player, t.shift.c.key == shift)
        with reading(self._engine) as connection:
            return _attempts(connection, question, traces=False)

    def attempt(self, attempt_id: str) -> KeptAttempt:
        with reading(self._engine) as connection:
            return _one_attempt(connection, attempt_id)

    def outcomes(self, *, player: str, passage: str | None = None) -> tuple[Outcome, ...]:
        with reading(self._engine) as connection:
            who = _row_of(connection, t.player, player)
            where = None if passage is None else _row_of(connection, t.passage, passage)
            return find_outcomes(connection, who, where)

    def studio(self, *, recent_days: int) -> tuple[PlayerSum, ...]:
        with reading(self._engine) as connection:
            return find_studio(connection, recent_days)

    def sums(self, *, player: str, without: str) -> tuple[ShiftSum, ...]:
        with reading(self._engine) as connection:
            who, where = _row_of(connection, t.player, player), _row_of(connection, t.passage, without)
            return find_sums(connection, who, where)

    def diary(self, *, player: str) -> tuple[DiaryDay, ...]:
        with reading(self._engine) as connection:
            rows = connection.execute(diary_question(_row_of(connection, t.player, player)))
            return tuple(DiaryDay(day=date.fromordinal(row[0]), **dict(zip(_DIARY, row[1:]))) for row in rows)

    def strike(self, attempt_id: str, strike: Strike) -> KeptAttempt:
        take_id, number = parse_attempt_id(attempt_id)
        with writing(self._engine) as connection:
            found = connection.execute(
                select(t.attempt.c.row, t.attempt.c.player_row, t.attempt.c.shift_row, t.attempt.c.day)
                .join(t.take)
                .where(t.take.c.id == take_id, t.attempt.c.number == number)
            ).one_or_none()
            if found is None:
                raise _no_attempt(attempt_id)
            row, player, shift, day = found
            connection.execute(update(t.attempt).where(t.attempt.c.row == row).values(struck_out=strike.struck))
            connection.execute(
                insert(t.strike).values(attempt_row=row, at_s=strike.at_s, struck=strike.struck, why=strike.why)
            )
            mark_days(connection, player, {shift}, day)
            return _one_attempt(connection, attempt_id)

    # other versions of the measure

    def keep_rejudged(self, rejudged: Sequence[Rejudged]) -> None:
        with writing(self._engine) as connection:
            insert_rejudged(connection, rejudged)

    def rejudged(self, *, measure_version: int, player: str | None = None) -> tuple[Rejudged, ...]:
        with reading(self._engine) as connection:
            return find_rejudged(connection, measure_version, player)

    def adopt(self, attempt_ids: Sequence[str], *, measure_version: int, at_s: float) -> int:
        with writing(self._engine) as connection:
            touched = adopt_version(connection, attempt_ids, measure_version, at_s)
            for player, shift, day in touched:
                recount(connection, player, shift, day)
            return len(touched)

    # deleting

    def delete_take(self, take_id: str) -> None:
        with writing(self._engine) as connection:
            take = _take_row(connection, take_id)
            shifts = set(connection.scalars(select(t.attempt.c.shift_row).where(t.attempt.c.take_row == take.row)))
            if not take.shift:
                shifts |= _shifts_of(connection, take.passage_row)
            connection.execute(delete(t.take).where(t.take.c.row == take.row))
            mark_days(connection, take.player_row, shifts, take.day)
        copying.squeeze(self._engine)

    def delete_passage(self, passage: str) -> None:
        self._delete(t.passage, passage)

    def delete_player(self, player: str) -> None:
        self._delete(t.player, player)

    def _delete(self, table: Table, key: str) -> None:
        with writing(self._engine) as connection:
            connection.execute(delete(table).where(table.c.row == _row_of(connection, table, key)))
        copying.squeeze(self._engine)

    # the whole record

    def rows_of(self, table: str) -> Iterator[dict[str, Value]]:
        return moving.read_rows(self._engine, table)

    def load(self, tables: Mapping[str, Iterable[Mapping[str, Value]]]) -> dict[str, int]:
        with writing(self._engine) as connection:
            return moving.load_tables(connection, tables)

    def save_copy(self, path: Path) -> None:
        copying.save_copy(self._engine, path)

    def check_copy(self, path: Path) -> None:
        copying.check_copy(path)

    def replace_with(self, path: Path) -> None:
        copying.replace_with(self._engine, path)

    def close(self) -> None:
        self._engine.dispose()


_DIARY = ("takes", "recorded_s", "attempts", "judged", "true", "cold_judged", "cold_true")
_AS_SHOWN = "Write its number as judge and progress show it."
_UNKNOWN = {
    "player": "List the players with: truestop studio",
    "passage": "Keep a take of it first with: truestop judge PASSAGE TAKE",
    "shift": "List the passage's shifts with: truestop shifts PASSAGE",
}


def _row_of(connection: Connection, table: Table, key: str) -> int:
    row = connection.scalar(select(table.c.row).where(table.c.key == key))
    if row is None:
        raise StoreError(f"The record knows no {table.name} '{key}'.", hint=_UNKNOWN[table.name])
    return int(row)


def _renew(connection: Connection, table: Table, key: str, values: Mapping[str, Any]) -> bool:
    return connection.execute(update(table).where(table.c.key == key).values(values)).rowcount > 0


def _shifts_of(connection: Connection, passage: int) -> set[int]:
    return set(connection.scalars(select(t.shift.c.row).where(t.shift.c.passage_row == passage)))


def _take_row(connection: Connection, take_id: str) -> Row[Any]:
    row = connection.execute(take_question().where(t.take.c.id == take_id)).one_or_none()
    if row is None:
        raise StoreError(f"The record knows no take '{take_id}'.", hint=_AS_SHOWN)
    return row


def _insert_attempt(connection: Connection, take: KeptTake, draft: Draft, place: dict[str, int]) -> None:
    values = measured_row(draft.attempt) | place
    values |= {
        "at_s": take.recorded_at_s + draft.attempt.start_s,
        "day": take.day.toordinal(),
        "own_ear": draft.own_ear,
    }
    values |= {"day_order": 1, "cold": False, "struck_out": False}
    row = connection.execute(insert(t.attempt).values(values).returning(t.attempt.c.row)).scalar_one()
    points = pack_trace(draft.attempt)
    if points is not None:
        version = draft.attempt.measure_version
        connection.execute(insert(t.trace).values(attempt_row=row, measure_version=version, points=points))


def _attempts(connection: Connection, question: Select[Any], *, traces: bool) -> tuple[KeptAttempt, ...]:
    rows = connection.execute(question.order_by(t.attempt.c.at_s, t.attempt.c.take_row, t.attempt.c.number)).all()
    numbers = [row.row for row in rows]
    strikes = _strikes(connection, numbers)
    points = _traces(connection, rows) if traces else {}
    return tuple(kept_of(row, points=points.get(row.row), strikes=strikes.get(row.row, ())) for row in rows)


def _one_attempt(connection: Connection, attempt_id: str) -> KeptAttempt:
    take_id, number = parse_attempt_id(attempt_id)
    question = attempt_question().where(t.take.c.id == take_id, t.attempt.c.number == number)
    found = _attempts(connection, question, traces=True)
    if not found:
        raise _no_attempt(attempt_id)
    return found[0]


def _no_attempt(attempt_id: str) -> StoreError:
    return StoreError(f"The record knows no attempt '{attempt_id}'.", hint=_AS_SHOWN)


def _strikes(connection: Connection, attempts: Iterable[int]) -> dict[int, list[Strike]]:
    found: dict[int, list[Strike]] = {}
    for some in _in_portions(list(attempts)):
        question = select(t.strike).where(t.strike.c.attempt_row.in_(some)).order_by(t.strike.c.row)
        for row in connection.execute(question):
            found.setdefault(row.attempt_row, []).append(Strike(at_s=row.at_s, struck=row.struck, why=row.why))
    return found


def _traces(connection: Connection, attempts: Sequence[Row[Any]]) -> dict[int, bytes]:
    version = {row.row: row.measure_version for row in attempts}
    found: dict[int, bytes] = {}
    for some in _in_portions(list(version)):
        for row in connection.execute(select(t.trace).where(t.trace.c.attempt_row.in_(some))):
            if version[row.attempt_row] == row.measure_version:
                found[row.attempt_row] = row.points
    return found


def _in_portions(numbers: list[int], size: int = 500) -> Iterator[list[int]]:
    for start in range(0, len(numbers), size):
        yield numbers[start : start + size]
