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
from truestop.adapters.store.checking import kept_value
from truestop.adapters.store.marking import mark_days
from truestop.adapters.store.opening import reading
from truestop.adapters.store.rows import pack_points, unpack_trace
from truestop.app.exchange import TABLES
from truestop.app.ports import Value
from truestop.domain.errors import StoreError
from truestop.domain.record import local_day

Fields = Mapping[str, Value]
_FirstDays = dict[tuple[int, int], int]
"""By (player, shift), as rows, the ordinal of a day."""


def read_rows(engine: Engine, table: str) -> Iterator[dict[str, Value]]:
    """The rows of one exported table, in the order they were kept."""
    names = [field.name for field in TABLES[table]]
    with reading(engine) as connection:
        for row in connection.execution_options(yield_per=2000).execute(_questions()[table]):
            yield {name: _OUT.get(name, _same)(value) for name, value in zip(names, _values(table, row), strict=True)}


def _same(value: Any) -> Any:
    return value


def _day_out(value: int | None) -> str | None:
    return None if value is None else date.fromordinal(value).isoformat()


def _faults_out(value: str | None) -> str | None:
    return "; ".join(json.loads(value)) if value else None


_OUT: dict[str, Callable[[Any], Any]] = {"day": _day_out, "deadline": _day_out, "faults": _faults_out}


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
    before = set(_takes_by_id(connection))
    gained["takes"], same = _load_takes(connection, tables.get("takes", ()), before, players, passages)
    takes = _takes_by_id(connection)
    gained["attempts"], first_day = _load_attempts(connection, tables.get("attempts", ()), takes, shifts, without=same)
    for (player, shift), day in _earliest(first_day, _runs_since(connection, before)).items():
        mark_days(connection, player, {shift}, day, count_all=True)
    attempts = _attempts_by_number(connection)
    for name, table in (("strikes", t.strike), ("rejudged", t.rejudged), ("traces", t.trace)):
        new = (row for row in enumerate(tables.get(name, ()), start=1) if row[1]["take"] not in before | same)
        gained[name] = _load_parts(connection, table, name, new, attempts)
    return gained


def _load_takes(
    connection: Connection,
    rows: Iterable[Fields],
    before: set[str],
    players: Mapping[str, int],
    passages: Mapping[str, int],
) -> tuple[int, set[str]]:
    """How many were added, and the ids of those whose recording is in the record under another number: the same
    recording is kept once for a player, a passage and a purpose.
    """
    recordings = _recordings(connection)
    there, same = set(before), set[str]()
    for number, fields in enumerate(rows, start=1):
        if fields["id"] in there:
            continue
        values = _row("takes", number, fields, drop=("player", "passage")) | {"shift": fields.get("shift") or ""}
        values["player_row"] = _known(players, fields["player"], "player", "takes", number)
        values["passage_row"] = _known(passages, fields["passage"], "passage", "takes", number)
        recording = tuple(values[name] for name in _RECORDING)
        if recording in recordings:
            same.add(str(fields["id"]))
            continue
        values["day"] = _take_day(fields)
        connection.execute(insert(t.take).values(values))
        recordings.add(recording)
        there.add(str(fields["id"]))
    return len(there) - len(before), same


_RECORDING = ("player_row", "passage_row", "shift", "sha256")


def _recordings(connection: Connection) -> set[tuple[Any, ...]]:
    """What makes a recording one, of all takes of the record."""
    return {tuple(row) for row in connection.execute(select(*(t.take.c[name] for name in _RECORDING)))}


def _load_keyed(
    connection: Connection, table: Table, name: str, rows: Iterable[Fields], others: Mapping[str, Table]
) -> int:
    there = _rows_by_key(connection, table)
    keys = {field: _rows_by_key(connection, other) for field, other in others.items()}
    gained = 0
    for number, fields in enumerate(rows, start=1):
        if fields["key"] in there:
            continue
        values = _row(name, number, fields, drop=tuple(others))
        for field, known in keys.items():
            values[f"{field}_row"] = _known(known, fields[field], field, name, number)
        connection.execute(insert(table).values(values))
        there[str(fields["key"])] = 0
        gained += 1
    return gained


def _load_attempts(
    connection: Connection,
    rows: Iterable[Fields],
    takes: dict[str, tuple[int, int]],
    shifts: dict[str, int],
    *,
    without: set[str],
) -> tuple[int, _FirstDays]:
    """How many were added, and the first day on which each player's shift gained one."""
    there = set(_attempts_by_number(connection))
    first_day: _FirstDays = {}
    gained = 0
    for number, fields in enumerate(rows, start=1):
        if fields["take"] in without or (str(fields["take"]), fields["number"]) in there:
            continue
        take, player = _known(takes, fields["take"], "take", "attempts", number)
        shift = _known(shifts, fields["shift"], "shift", "attempts", number)
        values = _row("attempts", number, fields, drop=("take", "shift"))
        connection.execute(
            insert(t.attempt).values(values | {"take_row": take, "player_row": player, "shift_row": shift})
        )
        day = values["day"]
        first_day[player, shift] = min(day, first_day.get((player, shift), day))
        gained += 1
    return gained, first_day


def _runs_since(connection: Connection, before: set[str]) -> _FirstDays:
    """The first day on which a run that was added touched a shift, whether it was found in it or not."""
    question = (
        select(t.take.c.id, t.take.c.player_row, t.shift.c.row, t.take.c.day)
        .join(t.shift, t.shift.c.passage_row == t.take.c.passage_row)
        .where(t.take.c.shift == "")
    )
    first_day: _FirstDays = {}
    for take, player, shift, day in connection.execute(question):
        if take not in before:
            first_day[player, shift] = min(day, first_day.get((player, shift), day))
    return first_day


def _earliest(one: _FirstDays, other: _FirstDays) -> _FirstDays:
    return other | {key: min(day, other.get(key, day)) for key, day in one.items()}


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
        values = _row(name, number, fields, drop=("take", "number"))
        if table is t.trace:
            values["points"] = _points_in(values.pop("times_s"), values.pop("cents"), number)
        connection.execute(insert(table).values(values | {"attempt_row": row}))
        gained += 1
    return gained


def _points_in(times: str, cents: str, number: int) -> bytes:
    times_s, heights = ([float(one) for one in run.split()] for run in (times, cents))
    if len(times_s) != len(heights):
        raise StoreError(
            f"There are {len(times_s)} times and {len(heights)} cents.",
            where=f"traces, row {number}",
            hint="Nothing was added; mend it, or export it again.",
        )
    return pack_points(times_s, heights)


def _row(name: str, number: int, fields: Fields, *, drop: tuple[str, ...]) -> dict[str, Any]:
    names = [field.name for field in TABLES[name] if field.name not in drop]
    return {column: kept_value(name, number, column, fields.get(column)) for column in names}


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
