"""``truestop sheets``, ``truestop strip`` and ``truestop gallery``: paper by the folder, and at true scale."""

from __future__ import annotations

import atexit
from contextlib import ExitStack
from functools import cache, partial
from pathlib import Path
from typing import Annotated

import typer

from truestop import bootstrap
from truestop.app.sheet import SheetChoice, SheetFormat, Stand, make_annotated_part, make_sheet, make_strip_sheet
from truestop.app.sheet_batch import Made, Progress, find_passages, make_sheets
from truestop.app.sheet_gallery import make_gallery
from truestop.app.sheet_layout import Paper
from truestop.cli.options import Family, JsonFlag, PassageOptions, with_options
from truestop.cli.output import print_json, progress_bar, tell, warn, write_whole
from truestop.cli.passages import open_in_hand
from truestop.cli.sheets import PaperName
from truestop.cli.show import counted
from truestop.domain.drill.specimens import GROUNDS
from truestop.domain.instrument import ROMAN, make_instrument

FORMAT_HELP = "What to write: pdf, musicxml, svg or mid."


def add_to(app: typer.Typer) -> None:
    """Add these commands."""
    app.command()(sheets)
    app.command()(strip)
    app.command()(gallery)


@with_options
def sheets(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="A folder of scores.")],
    options: PassageOptions,
    output: Annotated[Path, typer.Option("--output", "-o", help="The folder to write into.")] = Path("sheets"),
    sheet_format: Annotated[SheetFormat, typer.Option("--as", help=FORMAT_HELP)] = SheetFormat.PDF,
    annotated: Annotated[bool, typer.Option("--part-marked", help="Parts with shifts marked, no drills.")] = False,
    paper: Annotated[PaperName, typer.Option(help="Paper size.")] = PaperName.A4,
    left_handed: Annotated[bool, typer.Option("--left-handed", help="Mirror the fingerboard drawings.")] = False,
    processes: Annotated[int | None, typer.Option(min=1, max=64, help="How many at once; the cores otherwise.")] = None,
    json: JsonFlag = False,
) -> None:
    """Make the sheets of every score in a folder; one that fails is named and stops no other."""
    choice = SheetChoice(paper=_paper(paper), a4_hz=options.a4_hz, left_handed=left_handed)
    make_one = partial(sheet_of, options=options, choice=choice, sheet_format=sheet_format, annotated=annotated)
    sources = find_passages(folder)
    with progress_bar(quiet=json) as bar:
        task = bar.add_task("Sheets", total=len(sources))

        def tell(progress: Progress) -> None:
            bar.update(task, completed=progress.done, description=progress.last.source.name)

        made = make_sheets(
            sources, output, make_one=make_one, suffix=f".{sheet_format}", workers=processes, on_progress=tell
        )
    problems = [one.problem for one in made if one.problem]
    for problem in problems:
        warn(problem)
    warn(f"Wrote {len(made) - len(problems)} of {counted(len(made), 'sheet')} into {output}.")
    if json:
        print_json({"schema": "truestop.sheets/1", "sheets": [_told(one) for one in made]})
    if problems:
        raise typer.Exit(2)


def _told(one: Made) -> dict[str, str | None]:
    return {
        "source": str(one.source),
        "file": None if one.problem else str(one.target),
        "problem": one.problem,
    }


def sheet_of(
    source: Path, *, options: PassageOptions, choice: SheetChoice, sheet_format: SheetFormat, annotated: bool
) -> bytes:
    """One score's sheet; runs in a process of its own that keeps its engraver."""
    in_hand = open_in_hand(str(source), options, name=source.name)
    make = make_annotated_part if annotated else make_sheet
    return make(in_hand.fingered, in_hand.way, choice=choice, sheet_format=sheet_format, stand=_stand())


@cache
def _stand() -> Stand:
    stack = ExitStack()
    atexit.register(stack.close)
    return stack.enter_context(bootstrap.open_stand(bootstrap.Places.usual(), workers=1, tell=cache(warn)))


def strip(
    instrument: Annotated[Family, typer.Argument(metavar="INSTRUMENT", help="violin, viola, cello or bass.")],
    output: Annotated[Path, typer.Option("--output", "-o", help="The PDF to write.")] = Path("strip.pdf"),
    string: Annotated[list[str] | None, typer.Option(metavar="I…V", help="Only these strings; repeat it.")] = None,
    size: Annotated[
        str | None, typer.Option(help="Size, like 4/4, 3/4 (viola: body, 405 in mm or 16 in inches).")
    ] = None,
    length_mm: Annotated[
        float | None, typer.Option("--length", metavar="MM", help="Vibrating string length from a ruler.")
    ] = None,
    strings: Annotated[str | None, typer.Option(help="Open strings, like 'E5 A4 D4 A3'.")] = None,
    paper: Annotated[PaperName, typer.Option(help="Paper size.")] = PaperName.A4,
    left_handed: Annotated[bool, typer.Option("--left-handed", help="The nut on the right.")] = False,
    json: JsonFlag = False,
) -> None:
    """Print the places of the strings at true scale, to lay beside the fingerboard."""
    player = make_instrument(instrument.value, size=size, strings=strings, length_mm=length_mm)
    numbers = {numeral: number for number, numeral in ROMAN.items()}
    unknown = [name for name in string or () if name.upper() not in player.string_names]
    if unknown:
        raise typer.BadParameter(f"'{unknown[0]}' is no string. Choose among {', '.join(player.string_names)}.")
    chosen = tuple(numbers[name.upper()] for name in string or ())
    with bootstrap.open_stand(bootstrap.Places.usual(), tell=warn) as stand:
        document = make_strip_sheet(
            player, strings=chosen, paper=_paper(paper), left_handed=left_handed, make_pdf=stand.make_pdf
        )
    write_whole(output, document)
    names = [player.string_names[number - 1] for number in chosen] or list(player.string_names)
    told = {"schema": "truestop.strip/1", "file": str(output), "strings": names, "length_mm": player.length_mm}
    tell(f"Wrote {output}. Print it at 100 %, without fitting to the page.", told, json=json)


def gallery(
    output: Annotated[Path, typer.Option("--output", "-o", help="The folder to write into.")] = Path("gallery"),
    instrument: Annotated[list[Family] | None, typer.Option(help="Only these instruments; repeat it.")] = None,
    paper: Annotated[PaperName, typer.Option(help="Paper size.")] = PaperName.A4,
    json: JsonFlag = False,
) -> None:
    """Drill every kind of shift of every instrument: what sheets look like, on some 65 pages each."""
    families = [family.value for family in instrument or ()] or list(GROUNDS)
    with progress_bar(quiet=json) as bar, bootstrap.open_stand(bootstrap.Places.usual(), tell=warn) as stand:
        task = bar.add_task("Galleries", total=len(families))
        made = make_gallery(
            choice=SheetChoice(paper=_paper(paper)),
            stand=stand,
            families=families,
            on_progress=lambda family: bar.update(task, description=family),
        )
        files = []
        for name, document in made:
            write_whole(output / name, document)
            files.append(str(output / name))
            bar.advance(task)
    tell(f"Wrote {len(files)} files into {output}.", {"schema": "truestop.gallery/1", "files": files}, json=json)


def _paper(name: PaperName) -> Paper:
    return Paper.A4 if name is PaperName.A4 else Paper.LETTER
