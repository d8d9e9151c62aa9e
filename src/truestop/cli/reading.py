"""``truestop shifts`` and ``truestop finger``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from truestop import bootstrap
from truestop.app.describing import describe_way
from truestop.app.describing_fingerings import describe_proposals
from truestop.app.mainjob import instrument_for
from truestop.cli.options import JsonFlag, PassageArgument, PassageOptions, with_options
from truestop.cli.output import make_console, print_json, warn, write_whole
from truestop.cli.passages import open_in_hand, open_passage, pins_from, setup_from, tell_instrument, tell_remarks
from truestop.cli.show import costs_table, counted, stops_table, way_table
from truestop.domain.fingering import STYLES, propose_fingerings


def add_to(app: typer.Typer) -> None:
    """Add these commands."""
    app.command()(shifts)
    app.command()(finger)


@with_options
def shifts(
    passage: PassageArgument,
    options: PassageOptions,
    stops: Annotated[bool, typer.Option("--stops", help="Show every note's string and finger as well.")] = False,
    ids: Annotated[bool, typer.Option("--ids", help="Show every note's id before it, for --pin.")] = False,
    json: JsonFlag = False,
) -> None:
    """Name every shift of a passage: strings, positions, fingers, interval, guide finger, guide notes, travel."""
    in_hand = open_in_hand(passage, options)
    if json:
        print_json(describe_way(in_hand.fingered, in_hand.way))
        return
    console = make_console()
    if stops or ids:
        console.print(stops_table(in_hand.fingered, ids=ids))
    console.print(way_table(in_hand.fingered, in_hand.way))


@with_options
def finger(
    passage: PassageArgument,
    options: PassageOptions,
    alternatives: Annotated[
        int, typer.Option("--alternatives", "-n", min=1, max=20, help="So many really different fingerings.")
    ] = 1,
    choose: Annotated[int, typer.Option("--choose", min=1, max=20, help="Which of them -o writes.")] = 1,
    fresh: Annotated[bool, typer.Option("--fresh", help="Leave the printed fingerings aside.")] = False,
    output: Annotated[
        Path | None, typer.Option("--output", "-o", help="Write the score with the fingerings a player would print.")
    ] = None,
    json: JsonFlag = False,
) -> None:
    """Complete a sparse fingering, or propose one; printed marks are honoured unless --fresh."""
    setup = setup_from(options)
    music = open_passage(passage, options, fresh=fresh)
    wanted = max(alternatives, choose)
    proposals = propose_fingerings(
        music, instrument_for(music, setup), wanted,
        style=STYLES[setup.style], pins=pins_from(options.pin), numbering=setup.numbering,
    )  # fmt: skip
    tell_instrument(proposals[0].fingered, options)
    tell_remarks(proposals[0].fingered)
    if len(proposals) < wanted:
        warn(f"This passage has only {counted(len(proposals), 'really different fingering')}.")
    if output is not None:
        chosen = proposals[min(choose, len(proposals)) - 1]
        content = bootstrap.write_fingered(passage, chosen.fingered, fresh=fresh)
        _check_ending(output, content)
        write_whole(output, content)
        warn(f"Wrote {output}.")
    if json:
        print_json(describe_proposals(proposals))
        return
    console = make_console()
    for number, proposal in enumerate(proposals, start=1):
        if len(proposals) > 1:
            console.print(f"Fingering {number} of {len(proposals)}: {proposal.summary}\n", style="bold")
        console.print(stops_table(proposal.fingered))
        console.print(way_table(proposal.fingered, proposal.way))
    if len(proposals) > 1:
        console.print(costs_table(proposals))


def _check_ending(output: Path, content: bytes) -> None:
    """Other programs go by the ending: a packed score ends in .mxl, an unpacked one does not."""
    endings = (".mxl",) if content.startswith(b"PK") else (".musicxml", ".xml")
    if output.suffix.lower() not in endings:
        kind = "packed MusicXML" if content.startswith(b"PK") else "MusicXML"
        raise typer.BadParameter(f"'{output.name}' is no name for {kind}. End it in {' or '.join(endings)}.")
