"""Rows of the record as plain values, out and in.

Conventions: keys and take ids instead of the store's own row numbers; days as YYYY-MM-DD; columns as app.exchange names
them. Loading adds what is not there yet and changes nothing that is; cold marks and tallies are then set anew from the
first loaded day on.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Mapping
from datetime import date
from typing import Any

from sqlalchemy import Connection, Engine, Select, Table, insert, select

from truestop.adapters.store import tables as t
from truestop.adapters.store.double_stops import check_notes
from truestop.adapters.store.marking import mark_days
from truestop.adapters.store.opening import reading
from truestop.adapters.store.rows import pack_points, unpack_trace
from truestop.app.exchange import TABLES
from truestop.app.ports import Value
from truestop.domain.errors import StoreError
from truestop.domain.record import local_day

Fields = Mapping[str, Value]


def read_rows(engine: Engine, table: str) -> Iterator[dict[str, Value]]:
    """The rows of one exported table, in the order they were kept."""
    names = [field.name for field in TABLES[table]]
    with reading(engine) as connection:
        for row in connection.execution_options(yield_per=2000).execute(_questions()[table]):
            yield {name: _OUT.get(name, _same)(value) for name, value in zip(names, _values(table, row), strict=True)}


def _same(value: Any) -> Any:
    return value


def _kept(value: Value) -> Any:
    return value


def _day_out(value: int | None) -> str | None:
    return None if value is None else date.fromordinal(value).isoformat()


def _day_in(value: Value) -> int | None:
    return None if value is None else date.fromisoformat(str(value)).toordinal()


def _faults_out(value: str | None) -> str | None:
    return "; ".join(json.loads(value)) if value else None


def _faults_in(value: Value) -> str | None:
    return json.dumps(str(value).split("; "), ensure_ascii=False) if value else None


def _notes_in(value: Value) -> str | None:
    return check_notes(str(value)) if value else None


_OUT: dict[str, Callable[[Any], Any]] = {"day": _day_out, "deadline": _day_out, "faults": _faults_out}
_IN: dict[str, Callable[[Value], Any]] = {
    "day": _day_in, "deadline": _day_in, "faults": _faults_in, "notes": _notes_in,
}  # fmt: skip


def _values(table: str, row: Any) -> Iterable[Any]:
    if table == "traces":
        times, cents = unpack_trace(row.points)
        return (row.id, row.number, row.measure_version, _run_out(times), _run_out(cents))
    if table == "takes":
        return (value or None if name == "shift" else value for name, value in row._mapping.items())
    return tuple(row)


def _run_out(numbers: Iterable[float]) -> str:
    return " ".join(f"{number:.9g}" for number in numbers)


def _questions() -> dict[str, Select[Any]]:
    """One question per exported table, its columns in the order of TABLES."""
    own: dict[str, tuple[Table, dict[str, Any]]] = {
        "players": (t.player, {}),
        "passages": (t.passage, {}),
        "shifts": (t.shift, {"passage": t.passage.c.key}),
        "takes": (t.take, {"player": t.player.c.key, "passage": t.passage.c.key}),
        "attempts": (t.attempt, {"take": t.take.c.id, "shift": t.shift.c.key}),
        "strikes": (t.strike, {"take": t.take.c.id, "number": t.attempt.c.number}),
        "rejudged": (t.rejudged, {"take": t.take.c.id, "number": t.attempt.c.number}),
    }
    found = {}
    for name, (table, others) in own.items():
        columns = [_column(table, others, field.name) for field in TABLES[name]]
        found[name] = select(*columns).select_from(_JOINS.get(name, table)).order_by(table.c.row)
    found["traces"] = (
        select(t.take.c.id, t.attempt.c.number, t.trace.c.measure_version, t.trace.c.points)
        .select_from(_of_attempt(t.trace))
        .order_by(t.trace.c.attempt_row, t.trace.c.measure_version)
    )
    return found


def _column(table: Table, others: Mapping[str, Any], name: str) -> Any:
    return (others[name] if name in others else table.c[name]).label(name)


def _of_attempt(table: Table) -> Any:
    return table.join(t.attempt, table.c.attempt_row == t.attempt.c.row).join(
        t.take, t.attempt.c.take_row == t.take.c.row
    )


_JOINS: dict[str, Any] = {
    "shifts": t.shift.join(t.passage),
    "takes": t.take.join(t.player, t.take.c.player_row == t.player.c.row).join(
        t.passage, t.take.c.passage_row == t.passage.c.row
    ),
    "attempts": t.attempt.join(t.take, t.attempt.c.take_row == t.take.c.row).join(
        t.shift, t.attempt.c.shift_row == t.shift.c.row
    ),
    "strikes": _of_attempt(t.strike),
    "rejudged": _of_attempt(t.rejudged),
}


def load_tables(connection: Connection, tables: Mapping[str, Iterable[Fields]]) -> dict[str, int]:
    """Add the rows that are not there yet; returns how many of each table."""
    gained = dict.fromkeys(TABLES, 0)
    for name, table in (("players", t.player), ("passages", t.passage)):
        gained[name] = _load_keyed(connection, table, name, tables.get(name, ()), {})
    gained["shifts"] = _load_keyed(connection, t.shift, "shifts", tables.get("shifts", ()), {"passage": t.passage})
    players, passages, shifts = (_rows_by_key(connection, table) for table in (t.player, t.passage, t.shift))
    takes_before = _takes_by_id(connection)
    for number, fields in enumerate(tables.get("takes", ()), start=1):
        if fields["id"] in takes_before:
            continue
        values = _row("takes", fields, drop=("player", "passage")) | {"shift": fields.get("shift") or ""}
        values["player_row"] = _known(players, fields["player"], "player", "takes", number)
        values["passage_row"] = _known(passages, fields["passage"], "passage", "takes", number)
        values["day"] = _take_day(fields)
        connection.execute(insert(t.take).values(values))
        gained["takes"] += 1
    takes = _takes_by_id(connection)
    gained["attempts"] = _load_attempts(connection, tables.get("attempts", ()), takes, shifts)
    attempts = _attempts_by_number(connection)
    for name, table in (("strikes", t.strike), ("rejudged", t.rejudged), ("traces", t.trace)):
        new = (row for row in enumerate(tables.get(name, ()), start=1) if row[1]["take"] not in takes_before)
        gained[name] = _load_parts(connection, table, name, new, attempts)
    return gained


def _load_keyed(
    connection: Connection, table: Table, name: str, rows: Iterable[Fields], others: Mapping[str, Table]
) -> int:
    there = _rows_by_key(connection, table)
    keys = {field: _rows_by_key(connection, other) for field, other in others.items()}
    gained = 0
    for number, fields in enumerate(rows, start=1):
        if fields["key"] in there:
            continue
        values = _row(name, fields, drop=tuple(others))
        for field, known in keys.items():
            values[f"{field}_row"] = _known(known, fields[field], field, name, number)
        connection.execute(insert(table).values(values))
        there[str(fields["key"])] = 0
        gained += 1
    return gained


def _load_attempts(
    connection: Connection, rows: Iterable[Fields], takes: dict[str, tuple[int, int]], shifts: dict[str, int]
) -> int:
    there = set(_attempts_by_number(connection))
    first_day: dict[tuple[int, int], int] = {}
    gained = 0
    for number, fields in enumerate(rows, start=1):
        if (str(fields["take"]), fields["number"]) in there:
            continue
        take, player = _known(takes, fields["take"], "take", "attempts", number)
        shift = _known(shifts, fields["shift"], "shift", "attempts", number)
        values = _row("attempts", fields, drop=("take", "shift"))
        connection.execute(
            insert(t.attempt).values(values | {"take_row": take, "player_row": player, "shift_row": shift})
        )
        day = values["day"]
        first_day[player, shift] = min(day, first_day.get((player, shift), day))
        gained += 1
    for (player, shift), day in first_day.items():
        mark_days(connection, player, {shift}, day, count_all=True)
    return gained


def _load_parts(
    connection: Connection,
    table: Table,
    name: str,
    rows: Iterable[tuple[int, Fields]],
    attempts: dict[tuple[str, Value], int],
) -> int:
    gained = 0
    for number, fields in rows:
        row = _known(attempts, (str(fields["take"]), fields["number"]), "attempt", name, number)
        values = _row(name, fields, drop=("take", "number"))
        if table is t.trace:
            values["points"] = pack_points(_run_in(values.pop("times_s")), _run_in(values.pop("cents")))
        connection.execute(insert(table).values(values | {"attempt_row": row}))
        gained += 1
    return gained


def _run_in(text: str) -> list[float]:
    return [float(number) for number in text.split()]


def _row(name: str, fields: Fields, *, drop: tuple[str, ...]) -> dict[str, Any]:
    names = [field.name for field in TABLES[name] if field.name not in drop]
    return {column: _IN.get(column, _kept)(fields.get(column)) for column in names}


def _known(known: Mapping[Any, Any], key: object, what: str, table: str, number: int) -> Any:
    if key not in known:
        raise StoreError(
            f"The {what} '{key}' is not among the {what}s.",
            where=f"{table}, row {number}",
            hint="Import all tables of one export together. Nothing was added.",
        )
    return known[key]


def _take_day(fields: Fields) -> int:
    return local_day(float(fields["recorded_at_s"] or 0), int(fields["utc_offset_s"] or 0)).toordinal()


def _rows_by_key(connection: Connection, table: Table) -> dict[str, int]:
    return dict(connection.execute(select(table.c.key, table.c.row)).all())


def _takes_by_id(connection: Connection) -> dict[str, tuple[int, int]]:
    rows = connection.execute(select(t.take.c.id, t.take.c.row, t.take.c.player_row))
    return {id_: (row, player) for id_, row, player in rows}


def _attempts_by_number(connection: Connection) -> dict[tuple[str, Value], int]:
    question = select(t.take.c.id, t.attempt.c.number, t.attempt.c.row).join(t.take)
    return {(id_, number): row for id_, number, row in connection.execute(question)}
