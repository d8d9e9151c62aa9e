"""``truestop sheet``."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from truestop import bootstrap
from truestop.app.mainjob import InHand
from truestop.app.sheet import SheetChoice, SheetFormat, make_annotated_part, make_sheet
from truestop.app.sheet_layout import Paper
from truestop.cli.options import JsonFlag, PassageArgument, PassageOptions, with_options
from truestop.cli.output import print_json, warn, write_whole
from truestop.cli.passages import open_in_hand
from truestop.domain.drill import ALL_STAGES, Stage


class PaperName(StrEnum):
    """Paper sizes."""

    A4 = "a4"
    LETTER = "letter"


def add_to(app: typer.Typer) -> None:
    """Add these commands."""
    app.command()(sheet)


@with_options
def sheet(
    passage: PassageArgument,
    options: PassageOptions,
    output: Annotated[
        Path, typer.Option("--output", "-o", help="The file to write: .pdf, .musicxml, .svg or .mid.")
    ] = Path("sheet.pdf"),
    shift: Annotated[
        list[int] | None, typer.Option("--shift", min=1, help="Only these shifts; may be repeated.")
    ] = None,
    stages: Annotated[
        str | None, typer.Option(metavar="STAGE,…", help=f"Only these stages: {', '.join(ALL_STAGES)}.")
    ] = None,
    annotated: Annotated[
        bool, typer.Option("--part-marked", help="The part itself, with every shift numbered and marked.")
    ] = False,
    paper: Annotated[PaperName, typer.Option(help="Paper size.")] = PaperName.A4,
    pulse: Annotated[float | None, typer.Option(metavar="BPM", min=20, max=300, help="Pulse in quarter notes.")] = None,
    left_handed: Annotated[bool, typer.Option("--left-handed", help="Mirror the fingerboard drawings.")] = False,
    json: JsonFlag = False,
) -> None:
    """Make a drill sheet to put on the stand, or the part with its shifts marked."""
    choice = SheetChoice(
        shifts=tuple(shift or ()),
        stages=_stages(stages),
        paper=_paper(paper),
        a4_hz=options.a4_hz,
        quarter_bpm=pulse,
        left_handed=left_handed,
    )
    in_hand = open_in_hand(passage, options)
    write_whole(output, sheet_bytes(in_hand, choice, _format(output), annotated=annotated))
    warn(f"Wrote {output}.")
    if json:
        numbers = list(choice.shifts) or [one.number for one in in_hand.way.shifts]
        print_json(
            {"schema": "truestop.sheet/1", "file": str(output), "shifts": numbers, "stages": list(choice.stages)}
        )


def _paper(paper: PaperName) -> Paper:
    return Paper.A4 if paper is PaperName.A4 else Paper.LETTER


def sheet_bytes(in_hand: InHand, choice: SheetChoice, sheet_format: SheetFormat, *, annotated: bool = False) -> bytes:
    """The sheet's file, engraved with the usual parts."""
    make = make_annotated_part if annotated else make_sheet
    with bootstrap.open_stand(bootstrap.Places.usual(), tell=warn) as stand:
        return make(in_hand.fingered, in_hand.way, choice=choice, sheet_format=sheet_format, stand=stand)


def _stages(text: str | None) -> tuple[Stage, ...]:
    if text is None:
        return ALL_STAGES
    wanted = {word.strip().replace("-", " ") for word in text.split(",")}
    unknown = wanted - set(ALL_STAGES)
    if unknown:
        raise typer.BadParameter(f"'{min(unknown)}' is no stage. Choose among {', '.join(ALL_STAGES)}.")
    return tuple(stage for stage in ALL_STAGES if stage in wanted)


def _format(output: Path) -> SheetFormat:
    endings = {"pdf": "pdf", "musicxml": "musicxml", "xml": "musicxml", "svg": "svg", "mid": "mid", "midi": "mid"}
    ending = output.suffix.lower().lstrip(".")
    if ending not in endings:
        raise typer.BadParameter(
            f"'{output.name}' has no ending truestop can write. Use .pdf, .musicxml, .svg or .mid."
        )
    return SheetFormat(endings[ending])
