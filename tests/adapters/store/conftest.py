"""The record over both databases: SQLite always, PostgreSQL where a server can be started or one is named.

TRUESTOP_TEST_POSTGRESQL names an empty database to use; otherwise a server of our own is started in a temporary folder
when initdb is installed. Without either, the PostgreSQL half is skipped.
"""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from sqlalchemy import create_engine, text

from keeping_samples import PASSAGE, PLAYER, shift_card
from truestop.adapters.store import SqlPracticeStore


def _initdb() -> str | None:
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    return str(found[-1]) if found else shutil.which("initdb")


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.fixture(scope="session")
def postgresql_url() -> Iterator[str]:
    named = os.environ.get("TRUESTOP_TEST_POSTGRESQL")
    if named:
        yield named
        return
    initdb = _initdb()
    if initdb is None or os.name != "posix":
        pytest.skip("no PostgreSQL server at hand")
    pytest.importorskip("psycopg")
    as_user = ["runuser", "-u", "nobody", "--"] if os.geteuid() == 0 else []
    if as_user and shutil.which("runuser") is None:
        pytest.skip("a PostgreSQL server does not run as root")
    folder = Path(tempfile.mkdtemp(prefix="truestop-pg-"))
    try:
        if as_user:
            shutil.chown(folder, "nobody")
        port = _free_port()
        run = {"check": True, "cwd": folder, "stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        subprocess.run([*as_user, initdb, "-D", str(folder / "db"), "-A", "trust", "-U", "truestop", "-N"], **run)
        pg_ctl = str(Path(initdb).with_name("pg_ctl"))
        options = f"-p {port} -k {folder} -c listen_addresses=127.0.0.1 -c fsync=off"
        control = [*as_user, pg_ctl, "-D", str(folder / "db"), "-w", "-l", str(folder / "log")]
        subprocess.run([*control, "-o", options, "start"], **run)
        try:
            yield f"postgresql://truestop@127.0.0.1:{port}/postgres"
        finally:
            subprocess.run([*control, "-m", "immediate", "stop"], **run)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture(params=["sqlite", "postgresql"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> str | Path:
    """Where an empty record may be made."""
    if request.param == "sqlite":
        return tmp_path / "record.sqlite"
    url: str = request.getfixturevalue("postgresql_url")
    engine = create_engine(url.replace("postgresql://", "postgresql+psycopg://"))
    with engine.begin() as connection:
        connection.execute(text("DROP SCHEMA public CASCADE"))
        connection.execute(text("CREATE SCHEMA public"))
    engine.dispose()
    return url


@pytest.fixture
def open_store(place: str | Path) -> Iterator[Callable[[], SqlPracticeStore]]:
    """Opens the record, as often as wanted."""
    opened: list[SqlPracticeStore] = []

    def _open() -> SqlPracticeStore:
        opened.append(SqlPracticeStore(place))
        return opened[-1]

    yield _open
    for store in opened:
        store.close()


@pytest.fixture
def store(open_store: Callable[[], SqlPracticeStore]) -> SqlPracticeStore:
    """A record with one player and one passage of two shifts."""
    store = open_store()
    store.keep_player(PLAYER)
    store.keep_passage(PASSAGE, [shift_card(1), shift_card(2, direction="down")])
    return store
