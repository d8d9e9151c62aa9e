"""A player's own data: out as CSV or JSON, back in, and the whole record in one file.

Conventions: nothing is written half: a folder or file appears whole or not at all. The columns stand in
app/exchange.py and docs/own-data.md.
"""

from __future__ import annotations

import csv
import json
import math
import os
import shutil
import tempfile
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from datetime import date
from pathlib import Path
from typing import Any, cast

from truestop.app.exchange import SCHEMA, TABLES, Field
from truestop.app.keeping import player_for
from truestop.app.ports import PracticeStore, Value
from truestop.domain.errors import StoreError
from truestop.domain.record import Player

Rows = list[dict[str, Value]]
_BIG_FIELD = 1 << 30
_LARGEST_WHOLE = (1 << 31) - 1
"""What a whole number of any database holds."""


def export_csv(store: PracticeStore, folder: Path) -> dict[str, int]:
    """Write one CSV file per table into the new folder; returns the rows of each. StoreError where it is in use."""
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise StoreError(f"{folder} is in use already.", hint="Name a new or an empty folder.")
    with _whole_folder(folder) as draft:
        return {name: _write_csv(draft / f"{name}.csv", TABLES[name], store.rows_of(name)) for name in TABLES}


def export_json(store: PracticeStore, path: Path) -> dict[str, int]:
    """Write all tables into one JSON file; returns the rows of each."""
    tables = {name: list(store.rows_of(name)) for name in TABLES}
    with whole_file(path) as draft, draft.open("w", encoding="utf-8") as file:
        json.dump({"schema": SCHEMA, **tables}, file, ensure_ascii=False, indent=1, allow_nan=False)
        file.write("\n")
    return {name: len(rows) for name, rows in tables.items()}


def import_record(store: PracticeStore, source: Path, *, player: str | None = None) -> dict[str, int]:
    """Add what an export holds (a folder of CSV files or a JSON file) and the record does not; rows gained per table.

    ``player`` names whose practice it is here: on most machines everybody is the usual player. All of it is checked
    before anything is added; StoreError says which file, row and column is wrong.
    """
    tables = _read_folder(source) if source.is_dir() else _read_json(source)
    return store.load(tables if player is None else _as_of(tables, player_for(store.players(), player)))


def _as_of(tables: dict[str, Rows], player: Player) -> dict[str, Rows]:
    """The same tables with all takes as ``player``'s."""
    takes = tables.get("takes", [])
    players = {take["player"] for take in takes}
    if len(players) > 1:
        raise StoreError(
            f"The export holds takes of {len(players)} players, who cannot all be {player.name}.",
            hint="Leave --player out.",
        )
    return tables | {
        "players": [{"key": player.key, "name": player.name}],
        "takes": [take | {"player": player.key} for take in takes],
    }


@contextmanager
def whole_file(path: Path) -> Iterator[Path]:
    """A draft beside ``path`` that takes its place when the block ends well and vanishes when it does not."""
    draft = path.with_name(f".{path.name}.{os.getpid()}~")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        yield draft
        draft.replace(path)
    except OSError as error:
        raise StoreError(
            f"{path} cannot be written: {error.strerror}.", hint="Name a place you may write to, with room on the disk."
        ) from error
    finally:
        with suppress(OSError):
            draft.unlink()


@contextmanager
def _whole_folder(folder: Path) -> Iterator[Path]:
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        draft = Path(tempfile.mkdtemp(prefix=f".{folder.name}.", dir=folder.parent))
    except OSError as error:
        raise StoreError(
            f"{folder} cannot be written: {error.strerror}.", hint="Name a place you may write to."
        ) from error
    try:
        yield draft
        draft.chmod(0o755)
        if folder.exists():
            folder.rmdir()
        draft.rename(folder)
    except OSError as error:
        raise StoreError(
            f"{folder} cannot be written: {error.strerror}.", hint="Check the room on the disk."
        ) from error
    finally:
        shutil.rmtree(draft, ignore_errors=True)


def _write_csv(path: Path, fields: tuple[Field, ...], rows: Iterable[Mapping[str, Value]]) -> int:
    count = 0
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow([field.name for field in fields])
        for count, row in enumerate(rows, start=1):  # noqa: B007
            writer.writerow([_out(row[field.name]) for field in fields])
    return count


def _out(value: Value) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return repr(value) if isinstance(value, float) else str(value)


def _read_folder(folder: Path) -> dict[str, Rows]:
    found = {name: folder / f"{name}.csv" for name in TABLES}
    if not any(path.is_file() for path in found.values()):
        raise StoreError(f"{folder} holds no export of a record.", hint="Name the folder that export made.")
    return {name: _read_csv(path, name) for name, path in found.items() if path.is_file()}


def _read_csv(path: Path, table: str) -> Rows:
    csv.field_size_limit(_BIG_FIELD)
    fields = {field.name: field for field in TABLES[table]}
    rows: Rows = []
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            reader = csv.DictReader(file, strict=True)
            _check_header(reader.fieldnames or (), fields, path.name)
            for number, row in enumerate(reader, start=1):
                where = f"{path.name}, row {number}"
                if None in row or None in row.values():
                    raise StoreError(
                        "The row does not have as many fields as the header.", where=where, hint="Mend it."
                    )
                rows.append({name: _in(fields[name], row.get(name, ""), where) for name in fields})
    except (csv.Error, UnicodeDecodeError, OSError) as error:
        raise StoreError(f"{path} cannot be read as CSV: {_why(error)}.", hint="Export it again.") from error
    return rows


def _check_header(header: Iterable[str], fields: Mapping[str, Field], name: str) -> None:
    missing = [name for name, field in fields.items() if not field.optional and name not in set(header)]
    if missing:
        raise StoreError(
            f"The column '{missing[0]}' is missing.", where=name, hint="Keep the header line as export wrote it."
        )


def _in(field: Field, text: str, where: str) -> Value:
    if text == "" and (field.optional or field.kind in ("text", "numbers")):
        return None if field.optional else ""
    try:
        return _READ[field.kind](text)
    except (KeyError, ValueError) as error:
        raise _wrong(field, text, where) from error


def _number(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(text)
    return value


def _whole(text: str) -> int:
    value = int(text)
    if abs(value) > _LARGEST_WHOLE:
        raise ValueError(text)
    return value


def _day(text: str) -> str:
    return date.fromisoformat(text).isoformat()


def _run(text: str) -> str:
    for number in text.split():
        _number(number)
    return text


_READ: dict[str, Callable[[str], Value]] = {
    "text": str,
    "whole": _whole,
    "number": _number,
    "yes/no": lambda text: {"yes": True, "no": False}[text],
    "day": _day,
    "numbers": _run,
}


def _wrong(field: Field, value: object, where: str) -> StoreError:
    return StoreError(
        f"'{str(value)[:40]}' in column '{field.name}' is not a {field.kind}.",
        where=where,
        hint="Nothing was added; mend it.",
    )


def _why(error: Exception) -> str:
    """The system's words where it refused, else the reader's."""
    return (error.strerror or str(error)).lower() if isinstance(error, OSError) else str(error)


def _read_json(path: Path) -> dict[str, Rows]:
    try:
        document = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError) as error:
        raise StoreError(
            f"{path} cannot be read as JSON: {_why(error)}.", hint="Name a file that export made."
        ) from error
    if not isinstance(document, dict) or document.get("schema") != SCHEMA:
        raise StoreError(f"{path} is not an export of a record ({SCHEMA}).", hint="Name a file that export made.")
    return {name: _check_rows(name, document.get(name) or []) for name in TABLES}


def _check_rows(table: str, rows: Any) -> Rows:
    if not isinstance(rows, list):
        raise StoreError("The table is not a list of rows.", where=table, hint="Nothing was added; mend it.")
    return [_check_row(table, row, number) for number, row in enumerate(rows, 1)]


def _check_row(table: str, row: Any, number: int) -> dict[str, Value]:
    where = f"{table}, row {number}"
    if not isinstance(row, dict):
        raise StoreError("The row is not an object.", where=where, hint="Nothing was added; mend it.")
    return {field.name: _check_value(field, row.get(field.name), where) for field in TABLES[table]}


def _check_value(field: Field, value: Any, where: str) -> Value:
    if value is None and field.optional:
        return None
    kinds: dict[str, tuple[type, ...]] = {"whole": (int,), "number": (int, float), "yes/no": (bool,)}
    wanted = kinds.get(field.kind, (str,))
    if not isinstance(value, wanted) or (isinstance(value, bool) and field.kind != "yes/no"):
        raise _wrong(field, value, where)
    if isinstance(value, str):
        return _in(field, value, where) if value else value
    return _in(field, str(value), where) if field.kind in ("whole", "number") else cast(Value, value)
