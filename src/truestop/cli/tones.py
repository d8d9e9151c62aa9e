"""``truestop tones``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from truestop.adapters.audio.files import encode_sound
from truestop.app.tones import KINDS, TonesWanted, make_tones
from truestop.cli.options import JsonFlag, PassageArgument, PassageOptions, with_options
from truestop.cli.output import print_json, warn, write_whole
from truestop.cli.passages import open_in_hand

CONTAINERS = {".wav": "WAV", ".flac": "FLAC"}


def add_to(app: typer.Typer) -> None:
    """Add these commands."""
    app.command()(tones)


@with_options
def tones(
    passage: PassageArgument,
    options: PassageOptions,
    output: Annotated[Path, typer.Option("--output", "-o", help="File to write: .wav or .flac.")] = Path("tones.wav"),
    shift: Annotated[list[int] | None, typer.Option("--shift", min=1, help="Only this shift; may be repeated.")] = None,
    what: Annotated[str, typer.Option(metavar="TONE,…", help=f"Among {', '.join(KINDS)}.")] = "arrival,interval,guide",
    off: Annotated[
        float, typer.Option(metavar="CENTS", help="Move every arrival on purpose, + is sharp: for training the ear.")
    ] = 0.0,
    pulse: Annotated[float | None, typer.Option(metavar="BPM", help="Quarter notes a minute.")] = None,
    drone: Annotated[str, typer.Option(help="tonic, fifth, open, or a pitch like D3.")] = "tonic",
    click: Annotated[bool, typer.Option("--click/--no-click", help="Clicks and a count-in with the phrase.")] = True,
    json: JsonFlag = False,
) -> None:
    """Render reference sounds: the arrival, the interval, the guide's way, a drone, the phrase, clicks."""
    container = CONTAINERS.get(output.suffix.lower())
    if container is None:
        raise typer.BadParameter(f"'{output.name}' has no ending truestop can write. Use .wav or .flac.")
    wanted = TonesWanted(
        kinds=tuple(word.strip() for word in what.split(",") if word.strip()),
        shifts=tuple(shift or ()),
        off_cents=off,
        bpm=pulse,
        drone=drone,
        click=click,
    )
    rendered = make_tones(open_in_hand(passage, options), wanted)
    write_whole(output, encode_sound(rendered.samples, sample_rate_hz=rendered.sample_rate_hz, container=container))
    warn(f"Wrote {output}. It starts quiet: set the volume on its first note.")
    if json:
        parts = [
            {
                "kind": part.kind,
                "shift": part.shift,
                "start_s": round(part.start_s, 4),
                "end_s": round(part.end_s, 4),
                "off_cents": part.off_cents,
                "sounds": [{"pitch": name, "hz": round(hz, 4)} for name, hz in part.sounds],
            }
            for part in rendered.parts
        ]
        print_json({"schema": "truestop.tones/1", "file": str(output), "parts": parts})
