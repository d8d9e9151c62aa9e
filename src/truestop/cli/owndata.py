"""A player's own data: backup, restore, export, import, judging again, deleting for good."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from truestop import bootstrap
from truestop.app.backup import BackupReport, back_up, when_made
from truestop.app.backup import restore as put_back
from truestop.app.describing_record import describe_backup, describe_comparison
from truestop.app.keeping import forget_passage, forget_player, forget_take, named_player
from truestop.app.owndata import export_csv, export_json, import_record
from truestop.app.ports import PracticeStore, TakeShelf
from truestop.app.progress import find_passage
from truestop.app.rejudging import adopt as adopt_version
from truestop.app.rejudging import rejudge as judge_again
from truestop.cli.options import JsonFlag
from truestop.cli.output import confirm, make_console, print_json, tell, warn
from truestop.cli.record import opened_store
from truestop.cli.show import counted
from truestop.cli.show_progress import comparison_table
from truestop.domain.errors import StoreError

YesFlag = Annotated[bool, typer.Option("--yes", help="Do not ask.")]


class What(StrEnum):
    """What can be deleted for good."""

    TAKE = "take"
    PASSAGE = "passage"
    PLAYER = "player"


def add_to(app: typer.Typer) -> None:
    """Add these commands."""
    app.command()(backup)
    app.command()(restore)
    app.command()(export)
    app.command(name="import")(import_)
    app.command()(rejudge)
    app.command()(forget)
    app.command()(deadline)


def backup(
    file: Annotated[Path, typer.Argument(help="The file to write.")],
    json: JsonFlag = False,
) -> None:
    """Write the whole record, takes included, into one file."""
    with opened_store() as store:
        report = back_up(store, bootstrap.open_shelf(bootstrap.Places.usual()), file, now_s=time.time())
    document = describe_backup(report, schema="truestop.backup-report/1", file=str(file))
    tell(f"Wrote {file}: {_sizes(report)}.", document, json=json)
    for take in report.missing:
        warn(f"The sound of take {take} was not on the shelf; its numbers are in the backup.")


def restore(
    file: Annotated[Path, typer.Argument(help="A file that backup wrote.")],
    keep_old: Annotated[Path | None, typer.Option("--keep-old", help="Back up the present record here first.")] = None,
    yes: YesFlag = False,
    json: JsonFlag = False,
) -> None:
    """Put a backup in place of the present record."""
    made = when_made(file).replace("T", " ").replace("+00:00", " UTC")
    confirm(f"The present record gives way to the backup made {made or 'at an unknown time'}. Go on?", yes=yes)
    with opened_store() as store:
        shelf = bootstrap.open_shelf(bootstrap.Places.usual())
        report = put_back(store, shelf, file, now_s=time.time(), keep_old_at=keep_old)
    document = describe_backup(report, schema="truestop.restore/1", file=str(file))
    tell(f"Restored {_sizes(report)}, backed up {report.made_at}.", document, json=json)


def export(
    target: Annotated[Path, typer.Argument(help="A new folder for CSV files, or a file that ends in .json.")],
    json: JsonFlag = False,
) -> None:
    """Export everything as simple files with a documented schema (docs/own-data.md)."""
    with opened_store() as store:
        write = export_json if target.suffix.lower() == ".json" else export_csv
        rows = write(store, target)
    document = {"schema": "truestop.export-report/1", "target": str(target), "rows": rows}
    tell(f"Wrote {target}: {_rows(rows)}.", document, json=json)


def import_(
    source: Annotated[Path, typer.Argument(help="A folder or .json file that export wrote.")],
    player: Annotated[
        str | None, typer.Option(help="Whose practice it is here; else as the export names them.")
    ] = None,
    json: JsonFlag = False,
) -> None:
    """Add exported rows that the record does not hold yet; all of it is checked first."""
    with opened_store() as store:
        rows = import_record(store, source, player=player)
    document = {"schema": "truestop.import/1", "source": str(source), "added": rows}
    tell(f"Added {_rows(rows)}.", document, json=json)


def rejudge(
    passage: Annotated[str | None, typer.Option(help="Only this passage, by title.")] = None,
    adopt: Annotated[
        bool, typer.Option("--adopt", help="Put the new numbers in force; the old ones are kept.")
    ] = False,
    json: JsonFlag = False,
) -> None:
    """Judge kept takes again with today's measure and compare; nothing in force changes without --adopt."""
    judge = bootstrap.make_take_judge()
    with opened_store() as store:
        key = None if passage is None else find_passage(store, passage).key
        shelf = bootstrap.open_shelf(bootstrap.Places.usual())
        comparison = judge_again(store, shelf, judge, now_s=time.time(), passage=key)
        version = judge.measure_version
        changed = adopt_version(store, measure_version=version, now_s=time.time()) if adopt else 0
    if json:
        print_json(describe_comparison(comparison, adopted=changed))
    else:
        make_console().print(comparison_table(comparison))
    if adopt:
        warn(f"Version {version} is in force for {counted(changed, 'attempt')}.")


def forget(
    what: Annotated[What, typer.Argument(help="What to delete.")],
    name: Annotated[str, typer.Argument(help="The take's number, the passage's title, or the player's name.")],
    yes: YesFlag = False,
    json: JsonFlag = False,
) -> None:
    """Delete a take, a passage or a player for good, sound and numbers."""
    shelf = bootstrap.open_shelf(bootstrap.Places.usual())
    with opened_store() as store:
        doomed = _doomed(store, what, name)
        confirm(f"The {what.value} {doomed.words} is deleted for good. Go on?", yes=yes)
        _FORGETTING[what](store, shelf, doomed.key)
    document = {"schema": "truestop.forget/1", "what": what.value, "name": doomed.name}
    tell(f"The {what.value} {doomed.words} is deleted.", document, json=json)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Doomed:
    """What is about to be deleted: its key in the record, its name, and how many takes go with it."""

    key: str
    name: str
    takes: int | None = None

    @property
    def words(self) -> str:
        return f"'{self.name}'" if self.takes is None else f"'{self.name}' with {counted(self.takes, 'take')}"


def _doomed(store: PracticeStore, what: What, name: str) -> _Doomed:
    """What ``name`` means, before anybody is asked. StoreError where the record does not know it."""
    if what is What.TAKE:
        return _Doomed(key=store.take(name).id, name=name)
    if what is What.PASSAGE:
        card = find_passage(store, name)
        return _Doomed(key=card.key, name=card.title, takes=len(store.takes(passage=card.key)))
    player = named_player(store.players(), name.strip())
    if player is None:
        names = ", ".join(one.name for one in store.players())
        raise StoreError(f"The record knows no player '{name}'.", hint=f"It knows {names or 'none'}.")
    return _Doomed(key=player.key, name=player.name, takes=len(store.takes(player=player.key)))


_FORGETTING: dict[What, Callable[[PracticeStore, TakeShelf, str], object]] = {
    What.TAKE: forget_take,
    What.PASSAGE: forget_passage,
    What.PLAYER: forget_player,
}


def deadline(
    passage: Annotated[str, typer.Argument(help="The passage's title.")],
    day: Annotated[
        datetime | None,
        typer.Argument(formats=["%Y-%m-%d"], help="Day it is performed, like 2027-05-14; none clears it."),
    ] = None,
    json: JsonFlag = False,
) -> None:
    """Note the day a passage is performed on; the plan works towards it."""
    with opened_store() as store:
        card = find_passage(store, passage)
        store.set_deadline(card.key, day.date() if day else None)
    sentence = f"{card.title} is performed on {day:%Y-%m-%d}." if day else f"{card.title} has no date any more."
    date = day.date().isoformat() if day else None
    tell(sentence, {"schema": "truestop.deadline/1", "passage": card.title, "day": date}, json=json)


def _sizes(report: BackupReport) -> str:
    return f"{counted(report.takes, 'take')}, {report.sounds} with sound, {report.bytes / 1e6:.1f} MB"


def _rows(rows: dict[str, int]) -> str:
    """How many rows, of names in the plural: '2 players, 1 take'."""
    named = (f"{count} {name.removesuffix('s') if count == 1 else name}" for name, count in rows.items() if count)
    return ", ".join(named) or "nothing new"
