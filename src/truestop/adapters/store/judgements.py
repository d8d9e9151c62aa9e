"""What other versions of the measure say of kept attempts; nothing in force changes until it is adopted."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from sqlalchemy import Connection, Row, delete, insert, select, update

from truestop.adapters.store import tables as t
from truestop.adapters.store.rows import attempt_of, measured_row, pack_trace
from truestop.app.ports import Rejudged
from truestop.domain.record import parse_attempt_id

MEASURED = tuple(
    column.name for column in t.rejudged.columns if column.name not in ("row", "attempt_row", "judged_at_s")
)


def insert_rejudged(connection: Connection, rejudged: Iterable[Rejudged]) -> None:
    """Keep them; an earlier judgement of the same attempt by the same version gives way."""
    for one in rejudged:
        row = _attempt_row(connection, one.attempt)
        if row is None:
            continue
        version = one.measured.measure_version
        _forget(connection, row, version)
        values = measured_row(one.measured) | {"attempt_row": row, "judged_at_s": one.judged_at_s}
        connection.execute(insert(t.rejudged).values(values))
        points = pack_trace(one.measured)
        if points is not None and version != _version_in_force(connection, row):
            connection.execute(insert(t.trace).values(attempt_row=row, measure_version=version, points=points))


def find_rejudged(connection: Connection, measure_version: int, player: str | None) -> tuple[Rejudged, ...]:
    """The judgements of one version, in the order of the record."""
    question = (
        select(t.rejudged, t.take.c.id.label("take_id"), t.attempt.c.number, t.shift.c.key.label("shift_key"))
        .join(t.attempt, t.rejudged.c.attempt_row == t.attempt.c.row)
        .join(t.take, t.attempt.c.take_row == t.take.c.row)
        .join(t.shift, t.attempt.c.shift_row == t.shift.c.row)
        .where(t.rejudged.c.measure_version == measure_version)
        .order_by(t.attempt.c.at_s, t.attempt.c.row)
    )
    if player is not None:
        question = question.join(t.player, t.attempt.c.player_row == t.player.c.row).where(t.player.c.key == player)
    return tuple(
        Rejudged(
            attempt=f"{row.take_id}.{row.number}",
            judged_at_s=row.judged_at_s,
            measured=attempt_of(row, row.shift_key, None),
        )
        for row in connection.execute(question)
    )


def adopt_version(
    connection: Connection, attempt_ids: Sequence[str], measure_version: int, at_s: float
) -> list[tuple[int, int, int]]:
    """Swap a version's numbers with those in force. Returns (player, shift, day) of every attempt changed."""
    touched = []
    for attempt_id in attempt_ids:
        row = _attempt_row(connection, attempt_id)
        new = _judgement(connection, row, measure_version) if row is not None else None
        if row is None or new is None:
            continue
        old = connection.execute(select(t.attempt).where(t.attempt.c.row == row)).one()
        if old.measure_version == measure_version:
            continue
        _forget(connection, row, old.measure_version, trace=False)
        connection.execute(insert(t.rejudged).values(_measured(old) | {"attempt_row": row, "judged_at_s": at_s}))
        connection.execute(update(t.attempt).where(t.attempt.c.row == row).values(_measured(new)))
        connection.execute(delete(t.rejudged).where(t.rejudged.c.row == new.row))
        touched.append((old.player_row, old.shift_row, old.day))
    return touched


def _measured(row: Row[Any]) -> dict[str, Any]:
    return {name: getattr(row, name) for name in MEASURED}


def _attempt_row(connection: Connection, attempt_id: str) -> int | None:
    take_id, number = parse_attempt_id(attempt_id)
    question = select(t.attempt.c.row).join(t.take).where(t.take.c.id == take_id, t.attempt.c.number == number)
    return connection.scalar(question)


def _version_in_force(connection: Connection, row: int) -> int | None:
    return connection.scalar(select(t.attempt.c.measure_version).where(t.attempt.c.row == row))


def _judgement(connection: Connection, row: int, version: int) -> Row[Any] | None:
    c = t.rejudged.c
    return connection.execute(
        select(t.rejudged).where(c.attempt_row == row, c.measure_version == version)
    ).one_or_none()


def _forget(connection: Connection, row: int, version: int, *, trace: bool = True) -> None:
    c = t.rejudged.c
    connection.execute(delete(t.rejudged).where(c.attempt_row == row, c.measure_version == version))
    if trace and version != _version_in_force(connection, row):
        points = t.trace.c
        connection.execute(delete(t.trace).where(points.attempt_row == row, points.measure_version == version))
