"""``truestop progress`` and the commands that look after the record."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from truestop import bootstrap
from truestop.adapters.engrave.pages import make_pdf
from truestop.app.describing_progress import describe_plan, describe_report, describe_studio
from truestop.app.keeping import strike_attempt
from truestop.app.plan_sheet import make_plan_sheet
from truestop.app.planning import plan_today
from truestop.app.ports import PracticeStore
from truestop.app.progress import PassageReport, find_player, report_of_passage, reports_of_player
from truestop.app.reporting import make_report_sheet
from truestop.app.studio import make_studio_sheet, overview_of_studio
from truestop.cli.options import JsonFlag
from truestop.cli.output import make_console, print_json, tell, warn, write_whole
from truestop.cli.show_progress import plan_table, report_table, studio_table
from truestop.domain.wording import ENGLISH

PlayerOption = Annotated[str, typer.Option(help="Whose practice it is.")]


def add_to(app: typer.Typer) -> None:
    """Add these commands."""
    app.command()(progress)
    app.command()(plan)
    app.command()(report)
    app.command()(studio)
    app.command()(strike)


@contextmanager
def opened_store() -> Iterator[PracticeStore]:
    """The usual record, closed afterwards."""
    store = bootstrap.open_store(bootstrap.Places.usual())
    try:
        yield store
    finally:
        store.close()


def progress(
    passage: Annotated[
        str | None,
        typer.Argument(metavar="[PASSAGE]", help="A passage of the record: title, its beginning, or file; else all."),
    ] = None,
    player: PlayerOption = "me",
    all_shifts: Annotated[bool, typer.Option("--all", help="Show shifts that were not tried as well.")] = False,
    json: JsonFlag = False,
) -> None:
    """Show how each shift stands: attempts, true landings, cold and warm, bias and spread, and why it fails."""
    with opened_store() as store:
        key = find_player(store, player).key
        reports: tuple[PassageReport, ...]
        if passage is None:
            reports = reports_of_player(store, player=key)
        else:
            reports = (report_of_passage(store, player=key, passage=passage),)
    if json:
        print_json({"schema": "truestop.progress/1", "passages": [describe_report(report) for report in reports]})
        return
    if not reports:
        warn("The record is empty.", "Judge a take first: truestop judge PASSAGE TAKE.")
    console = make_console()
    for report in reports:
        console.print(report_table(report, all_shifts=all_shifts))


def plan(
    minutes: Annotated[float, typer.Option(min=5, max=240, help="How long the session may be.")] = 30.0,
    passage: Annotated[str | None, typer.Option(help="Only this passage: title, its beginning, or file.")] = None,
    player: PlayerOption = "me",
    output: Annotated[Path | None, typer.Option("--output", "-o", help="Write it as a PDF page too.")] = None,
    json: JsonFlag = False,
) -> None:
    """Say what to practise today: cold tests first, then the shifts worth work, and why each is there."""
    now_s = time.time()
    with opened_store() as store:
        who = find_player(store, player)
        session = plan_today(
            store, bootstrap.make_spacing(), player=who.key, minutes=minutes,
            now_s=now_s, utc_offset_s=time.localtime(now_s).tm_gmtoff, passage=passage,
        )  # fmt: skip
    if output is not None:
        write_whole(output, make_plan_sheet(session, player=who.name, make_pdf=partial(make_pdf, tell=warn)))
    if json:
        print_json(describe_plan(session))
        return
    if output is not None:
        warn(f"Wrote {output}.")
    console = make_console()
    console.print(plan_table(session))
    console.print(ENGLISH.say("sheet.cautions"), style="dim")


def strike(
    attempt: Annotated[str, typer.Argument(help="The take, a dot, the attempt, like 20260302-1f3a9c.2.")],
    why: Annotated[str, typer.Option(help="Why; it is kept in the trace.")] = "",
    put_back: Annotated[bool, typer.Option("--put-back", help="Put a struck-out attempt back.")] = False,
    json: JsonFlag = False,
) -> None:
    """Strike out an attempt that was none; the trace keeps when and why."""
    with opened_store() as store:
        strike_attempt(store, attempt, why=why, at_s=time.time(), put_back=put_back)
    document = {"schema": "truestop.strike/1", "attempt": attempt, "counts": put_back, "why": why}
    tell(f"Attempt {attempt} is {'back in the record' if put_back else 'struck out'}.", document, json=json)


def report(
    passage: Annotated[
        str, typer.Argument(metavar="PASSAGE", help="A passage of the record: title, its beginning, or file.")
    ],
    output: Annotated[Path, typer.Option("--output", "-o", help="The PDF to write.")] = Path("report.pdf"),
    player: PlayerOption = "me",
    json: JsonFlag = False,
) -> None:
    """Write a report of one or two pages that a teacher would read."""
    with opened_store() as store:
        who = find_player(store, player)
        found = report_of_passage(store, player=who.key, passage=passage)
        outcomes = store.outcomes(player=who.key, passage=found.progress.card.key)
        diary = store.diary(player=who.key)
    write_whole(
        output, make_report_sheet(found, outcomes, diary, player=who.name, make_pdf=partial(make_pdf, tell=warn))
    )
    document = {"schema": "truestop.report/1", "file": str(output), "progress": describe_report(found)}
    tell(f"Wrote {output}.", document, json=json)


def studio(
    output: Annotated[Path | None, typer.Option("--output", "-o", help="Write it as a PDF page too.")] = None,
    json: JsonFlag = False,
) -> None:
    """Show how every player of the record stands, for a teacher."""
    with opened_store() as store:
        lines = overview_of_studio(store)
    if output is not None:
        write_whole(output, make_studio_sheet(lines, make_pdf=partial(make_pdf, tell=warn)))
    if json:
        print_json(describe_studio(lines))
        return
    if not lines:
        warn("The record is empty.", "Judge a take first: truestop judge PASSAGE TAKE.")
        return
    make_console().print(studio_table(lines))
    if output is not None:
        warn(f"Wrote {output}.")
