"""Opening a record of practice: engine, durability, migrations, and one clear sentence when it cannot be done.

Conventions: a record is an SQLite file by default (write-ahead log, every commit on the disk before it is acknowledged)
or a PostgreSQL database by URL. A record written by an older truestop is brought up to date when it is opened; one
written by a newer truestop is left alone.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from sqlalchemy import Connection, Engine, create_engine, event, inspect, text
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, DatabaseError, NoSuchModuleError, SQLAlchemyError

from truestop.domain.errors import StoreError

#: Revisions of the schema, oldest first.
REVISIONS = ("0001", "0002", "0003")
HEAD = REVISIONS[-1]
_SQLITE_MAGIC = b"SQLite format 3\x00"
_LOCK_TIMEOUT_S = 15.0
_PRAGMAS = ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON", "secure_delete=ON", "cache_size=-65536")

_REASONS = (
    ("locked", "another program holds it for writing", "Close the other program, or wait until it is done."),
    ("full", "the disk is full", "Make room on the disk; nothing that was acknowledged is lost."),
    ("readonly", "it may not be written to", "Give yourself write permission for the file and its folder."),
    ("read-only", "it may not be written to", "Give yourself write permission for the file and its folder."),
    ("unable to open", "it cannot be opened", "Check that the folder exists and that you may write there."),
    ("malformed", "the file is damaged", "Restore the last backup: truestop restore FILE"),
    ("not a database", "the file is not a record", "Name another file."),
    ("connect", "the database server does not answer", "Check that it runs, and its address, name and password."),
)  # fmt: skip


def open_engine(place: str | Path) -> Engine:
    """The engine of the record at ``place`` (a file or a database URL), created or brought up to date as needed."""
    url = _url_of(place)
    if url.get_backend_name() == "sqlite":
        _check_file(url)
        engine = _sqlite_engine(url)
    else:
        engine = _server_engine(url)
    try:
        _bring_up_to_date(engine)
    except StoreError:
        engine.dispose()
        raise
    except SQLAlchemyError as error:
        engine.dispose()
        raise store_error(engine, error) from error
    return engine


@contextmanager
def reading(engine: Engine) -> Iterator[Connection]:
    """A connection that sees one instant of the record."""
    try:
        with engine.connect() as connection:
            yield connection
    except SQLAlchemyError as error:
        raise store_error(engine, error) from error


@contextmanager
def writing(engine: Engine) -> Iterator[Connection]:
    """A transaction: everything in it is on the disk when the block ends, or nothing is."""
    try:
        with engine.connect().execution_options(truestop_writes=True) as connection, connection.begin():
            yield connection
    except SQLAlchemyError as error:
        raise store_error(engine, error) from error


def store_error(engine: Engine, error: Exception) -> StoreError:
    """The clear sentence for what the database said."""
    said = str(getattr(error, "orig", None) or error).strip().splitlines()[0].rstrip(".")
    for word, reason, hint in _REASONS:
        if word in said.lower():
            return StoreError(f"The record of practice {name_of(engine)} was not used: {reason}.", hint=hint)
    return StoreError(
        f"The record of practice {name_of(engine)} refused: {said}.",
        hint="Nothing was changed; check what was asked for.",
    )


def name_of(engine: Engine) -> str:
    """The record's place as a message may show it, without a password."""
    return engine.url.database or "" if engine.url.get_backend_name() == "sqlite" else engine.url.render_as_string()


def _url_of(place: str | Path) -> URL:
    text_ = str(place)
    if "://" not in text_:
        return URL.create("sqlite+pysqlite", database=str(Path(text_).expanduser()))
    try:
        url = make_url(text_)
        if url.drivername in ("postgresql", "postgres"):
            url = url.set(drivername="postgresql+psycopg")
        url.get_dialect()
    except (ArgumentError, NoSuchModuleError) as error:
        raise StoreError(
            f"'{text_.split('@')[-1]}' is not the address of a record.",
            hint="Give a file, or an address like postgresql://user@host/name.",
        ) from error
    return url


def _check_file(url: URL) -> None:
    path = Path(url.database or "")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("rb") as file:
            start = file.read(len(_SQLITE_MAGIC))
    except FileNotFoundError:
        return
    except OSError as error:
        raise StoreError(
            f"The record of practice {path} cannot be opened: {error.strerror}.",
            hint="Name a file in a folder you may write to.",
        ) from error
    if start and start != _SQLITE_MAGIC:
        raise _no_record(path)
    if start and _is_foreign(path):
        raise _no_record(path)


def _no_record(place: object) -> StoreError:
    return StoreError(f"{place} is not a record of practice.", hint="Name another file, or restore a backup.")


def _is_foreign(path: Path) -> bool:
    """Whether an SQLite file holds tables, but no record's; looked at without writing to it."""
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)) as connection:
            names = {name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    except sqlite3.Error:
        return False
    return bool(names) and "alembic_version" not in names


def _sqlite_engine(url: URL) -> Engine:
    engine = create_engine(url, connect_args={"timeout": _LOCK_TIMEOUT_S, "check_same_thread": False})

    @event.listens_for(engine, "connect")
    def _prepare(connection: sqlite3.Connection, _: object) -> None:
        connection.isolation_level = None
        for pragma in _PRAGMAS:
            connection.execute(f"PRAGMA {pragma}")

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        writes = connection.get_execution_options().get("truestop_writes")
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


def _server_engine(url: URL) -> Engine:
    try:
        return create_engine(url, pool_pre_ping=True)
    except ImportError as error:
        raise StoreError(
            "The driver for this database is not installed.", hint="Install it with: pip install 'truestop[postgresql]'"
        ) from error


def _bring_up_to_date(engine: Engine) -> None:
    with engine.connect() as connection:
        found = _revision(connection)
        names = () if found else tuple(inspect(connection).get_table_names())
    if found == HEAD:
        return
    if found is not None and found not in REVISIONS:
        raise StoreError(
            f"The record of practice {name_of(engine)} was written by a newer truestop (form {found}, known {HEAD}).",
            hint="Install the newest truestop; the record was left as it is.",
        )
    if found is None and names:
        raise _no_record(name_of(engine))
    _migrate(engine)


def _revision(connection: Connection) -> str | None:
    if not inspect(connection).has_table("alembic_version"):
        return None
    try:
        return connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
    except DatabaseError:
        return None


def _migrate(engine: Engine) -> None:
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", (Path(__file__).parent / "migrations").as_posix().replace("%", "%%"))
    with writing(engine) as connection:
        if engine.url.get_backend_name() == "postgresql":
            connection.execute(text("SELECT pg_advisory_xact_lock(7483690)"))
        if _revision(connection) == HEAD:
            return
        config.attributes["connection"] = connection
        command.upgrade(config, "head")
