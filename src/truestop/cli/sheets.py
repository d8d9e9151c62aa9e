"""``truestop sheet``."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from truestop import bootstrap
from truestop.adapters.engrave.pages import make_pdf
from truestop.app.mainjob import InHand
from truestop.app.sheet import SheetChoice, SheetFormat, make_annotated_part, make_sheet
from truestop.app.sheet_batch import find_passages, make_sheets
from truestop.app.sheet_gallery import make_gallery
from truestop.app.sheet_layout import Paper
from truestop.app.sheet_strip import make_strip_sheet
from truestop.cli.options import Family, PassageArgument, PassageOptions, with_options
from truestop.cli.output import progress_bar, warn, write_whole
from truestop.cli.passages import open_in_hand, setup_from
from truestop.domain.drill import ALL_STAGES, Stage
from truestop.domain.instrument import STRINGS, make_instrument


class PaperName(StrEnum):
    """Paper sizes."""

    A4 = "a4"
    LETTER = "letter"


def add_to(app: typer.Typer) -> None:
    """Add these commands."""
    app.command()(sheet)
    app.command()(strip)
    app.command()(gallery)


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
) -> None:
    """Make a drill sheet to put on the stand, or the part with its shifts marked; of a folder, all its passages."""
    choice = SheetChoice(
        shifts=tuple(shift or ()),
        stages=_stages(stages),
        paper=_paper(paper),
        a4_hz=options.a4_hz,
        quarter_bpm=pulse,
        left_handed=left_handed,
    )
    if Path(passage).is_dir():
        _whole_folder(Path(passage), output, SheetMaking(options=options, choice=choice, annotated=annotated))
        return
    in_hand = open_in_hand(passage, options)
    write_whole(output, sheet_bytes(in_hand, choice, _format(output), annotated=annotated))
    warn(f"Wrote {output}.")


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetMaking:
    """Makes the PDF of one passage in whatever process it is sent to."""

    options: PassageOptions
    choice: SheetChoice
    annotated: bool

    def __call__(self, source: Path) -> bytes:
        """The sheet's bytes."""
        in_hand = open_in_hand(str(source), self.options)
        return sheet_bytes(in_hand, self.choice, SheetFormat.PDF, annotated=self.annotated)


def _whole_folder(folder: Path, target: Path, make_one: SheetMaking) -> None:
    sources = find_passages(folder)
    with progress_bar() as bar:
        task = bar.add_task("Engraving", total=len(sources))
        made = make_sheets(
            sources, target, make_one=make_one, on_progress=lambda progress: bar.update(task, completed=progress.done)
        )
    problems = [one for one in made if one.problem]
    for one in problems:
        warn(f"{one.source.name}: {one.problem}")
    warn(f"Wrote {len(made) - len(problems)} of {len(made)} sheets into {target}.")
    if problems:
        raise typer.Exit(2)


@with_options
def strip(
    options: PassageOptions,
    output: Annotated[Path, typer.Option("--output", "-o", help="The PDF to write.")] = Path("strip.pdf"),
    string: Annotated[list[int] | None, typer.Option("--string", min=1, max=5, help="Only this string.")] = None,
    paper: Annotated[PaperName, typer.Option(help="Paper size.")] = PaperName.A4,
    left_handed: Annotated[bool, typer.Option("--left-handed", help="Mirrored.")] = False,
) -> None:
    """Print the places of a string at true scale, to lay beside the fingerboard."""
    setup = setup_from(options)
    instrument = make_instrument(
        setup.family or "violin", size=setup.size, strings=setup.strings, length_mm=setup.length_mm
    )
    for number in string or ():
        instrument.open_pitch(number)
    content = make_strip_sheet(
        instrument, strings=tuple(string or ()), paper=_paper(paper), left_handed=left_handed, make_pdf=make_pdf
    )
    write_whole(output, content)
    warn(f"Wrote {output}. Print it at 100 %, and check the ruler line first.")


def gallery(
    folder: Annotated[Path, typer.Argument(help="Where the PDFs go.")],
    family: Annotated[list[Family] | None, typer.Option("--instrument", help="Only this instrument.")] = None,
) -> None:
    """Engrave the drill of every kind of shift on every instrument, for looking over."""
    families = tuple(one.value for one in family) if family else tuple(STRINGS)
    with bootstrap.open_stand(bootstrap.Places.usual()) as stand, progress_bar() as bar:
        task = bar.add_task("Engraving", total=len(families))
        for name, content in make_gallery(choice=SheetChoice(), stand=stand, families=families):
            write_whole(folder / name, content)
            bar.advance(task)
    warn(f"Wrote {len(families)} galleries into {folder}.")


def _paper(paper: PaperName) -> Paper:
    return Paper.A4 if paper is PaperName.A4 else Paper.LETTER


def sheet_bytes(in_hand: InHand, choice: SheetChoice, sheet_format: SheetFormat, *, annotated: bool = False) -> bytes:
    """The sheet's file, engraved with the usual parts."""
    make = make_annotated_part if annotated else make_sheet
    with bootstrap.open_stand(bootstrap.Places.usual()) as stand:
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
