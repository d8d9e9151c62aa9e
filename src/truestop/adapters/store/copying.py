"""The whole record as one SQLite file: out for a backup, in for a restore."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import cast

from sqlalchemy import Engine, delete, func, insert, select, text

from truestop.adapters.store.opening import open_engine, reading, store_error, writing
from truestop.adapters.store.tables import metadata
from truestop.domain.errors import StoreError

_PORTION = 5000


def save_copy(engine: Engine, path: Path) -> None:
    """Write the record, as it is at one instant, to the new SQLite file ``path``."""
    if engine.url.get_backend_name() != "sqlite":
        copy = open_engine(path)
        try:
            _copy_rows(engine, copy)
        finally:
            copy.dispose()
        return
    try:
        with closing(sqlite3.connect(path)) as copy_file:
            _driver(engine, lambda live: live.backup(copy_file))
            copy_file.execute("PRAGMA journal_mode=DELETE")
    except sqlite3.Error as error:
        raise store_error(engine, error) from error


def replace_with(engine: Engine, path: Path) -> None:
    """Replace the whole record by the copy at ``path``, all of it or nothing."""
    check_copy(path)
    if engine.url.get_backend_name() != "sqlite":
        copy = open_engine(path)
        try:
            _copy_rows(copy, engine)
        finally:
            copy.dispose()
        return
    try:
        with closing(sqlite3.connect(path)) as copy_file:
            copy_file.execute("PRAGMA journal_mode=DELETE")
            _driver(engine, lambda live: copy_file.backup(live))
    except sqlite3.Error as error:
        raise store_error(engine, error) from error


def check_copy(path: Path) -> None:
    """Bring the copy at ``path`` up to date; StoreError where it is no sound copy of a record, or a newer one."""
    try:
        with closing(sqlite3.connect(path)) as copy_file:
            said = copy_file.execute("PRAGMA integrity_check").fetchone()[0]
            copy_file.execute("SELECT version_num FROM alembic_version").fetchone()
    except sqlite3.Error as error:
        raise StoreError("The copy of the record cannot be read.", hint="Try an older backup.") from error
    if said != "ok":
        raise StoreError(f"The copy of the record is damaged ({said}).", hint="Try an older backup.")
    open_engine(path).dispose()


def squeeze(engine: Engine) -> None:
    """After a deletion: give back the room, so that nothing of what was deleted stays in the file.

    Where another program holds the record for writing, the file keeps its size: what was deleted is overwritten with
    zeros (``secure_delete``), in the file itself when the last program lets go of it.
    """
    if engine.url.get_backend_name() == "sqlite":
        try:
            _driver(engine, _vacuum)
        except sqlite3.Error as error:
            if getattr(error, "sqlite_errorcode", None) not in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
                raise store_error(engine, error) from error


def _vacuum(live: sqlite3.Connection) -> None:
    live.execute("VACUUM")
    live.execute("PRAGMA wal_checkpoint(TRUNCATE)")


def _driver(engine: Engine, act: Callable[[sqlite3.Connection], None]) -> None:
    raw = engine.raw_connection()
    try:
        act(cast(sqlite3.Connection, raw.driver_connection))
    finally:
        raw.close()


def _copy_rows(source: Engine, goal: Engine) -> None:
    """All rows of all tables from one record into another, which is emptied first; one transaction."""
    with reading(source) as out, writing(goal) as into:
        for table in reversed(metadata.sorted_tables):
            into.execute(delete(table))
        for table in metadata.sorted_tables:
            for some in out.execution_options(yield_per=_PORTION).execute(select(table)).mappings().partitions():
                into.execute(insert(table), [dict(row) for row in some])
            if goal.url.get_backend_name() == "postgresql" and "row" in table.c:
                last = into.scalar(select(func.max(table.c.row)))
                into.execute(
                    text("SELECT setval(pg_get_serial_sequence(:name, 'row'), :last, :used)"),
                    {"name": table.name, "last": last or 1, "used": last is not None},
                )
