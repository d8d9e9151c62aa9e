"""``truestop tune`` and ``truestop sing``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer
from rich.table import Table

from truestop.adapters.audio.files import read_take
from truestop.app.tuning_up import (
    TuneUp,
    describe_sung,
    describe_tune_up,
    hear_sung,
    hear_tune_up,
    tune_up_sentences,
)
from truestop.cli.options import Family, JsonFlag
from truestop.cli.output import make_console, print_json
from truestop.cli.show import plain_table, show_number
from truestop.domain.instrument import ROMAN, make_instrument
from truestop.domain.pitch import Pitch
from truestop.domain.tuning import make_intonation

A4Option = Annotated[float, typer.Option("--a4", metavar="HZ", help="Reference pitch, 380 to 470 Hz.")]
VIOLIN = Family("violin")


def add_to(app: typer.Typer) -> None:
    """Add these commands."""
    app.command()(tune)
    app.command()(sing)


def tune(
    takes: Annotated[list[Path], typer.Argument(metavar="TAKE…", help="Recordings of open strings, bowed one by one.")],
    instrument: Annotated[Family, typer.Option(help="Instrument.")] = VIOLIN,
    strings: Annotated[str | None, typer.Option(help="Scordatura: 'E5 A4 D4 G3'; or solo, five-b, five-c.")] = None,
    a4_hz: A4Option = 440.0,
    json: JsonFlag = False,
) -> None:
    """Measure the open strings, and from takes of different times how they drifted."""
    played_on = make_instrument(instrument.value, strings=strings)
    sounds = [read_take(path) for path in takes]
    times_s = [path.stat().st_mtime - sound.duration_s for path, sound in zip(takes, sounds, strict=True)]
    begun = [(at_s - min(times_s), sound) for at_s, sound in zip(times_s, sounds, strict=True)]
    tuned = hear_tune_up(begun, played_on, a4_hz=a4_hz)
    if json:
        print_json(describe_tune_up(tuned))
        return
    console = make_console()
    console.print(f"Open strings against pure fifths from A4 = {tuned.a4_hz:g} Hz:")
    console.print(_table(tuned))
    for sentence in tune_up_sentences(tuned):
        console.print(sentence)
    words = " ".join("-" if hz is None else f"{hz:.2f}" for hz in tuned.strings_hz)
    console.print(f"As your intonation: --intonation strings --open-strings '{words}'", soft_wrap=True)


def _table(tuned: TuneUp) -> Table:
    table = plain_table("")
    for heading in ("String", "Should be", "Is", "Cents", "±"):
        table.add_column(heading, justify="right")
    for number, pitch in enumerate(tuned.instrument.strings, 1):
        reading = tuned.latest(number)
        heard = ("–", "", "") if reading is None else (
            f"{reading.hz:.2f} Hz", show_number(reading.cents, "{:+.1f}"), f"{reading.se_cents:.1f}")  # fmt: skip
        table.add_row(f"{ROMAN[number]} {pitch.pretty}", f"{tuned.expected_hz[number - 1]:.2f} Hz", *heard)
    return table


def sing(
    take: Annotated[Path, typer.Argument(metavar="TAKE", help="A recording of one sung or hummed note.")],
    note: Annotated[str, typer.Option(metavar="NOTE", help="The note it should be, like F#5; any octave counts.")],
    a4_hz: A4Option = 440.0,
    json: JsonFlag = False,
) -> None:
    """Check a sung or hummed note against a target, in any octave, within 50 cents."""
    pitch = Pitch.parse(note)
    target_hz = make_intonation("pythagorean", instrument=make_instrument("violin"), a4_hz=a4_hz).note_hz(pitch)
    sung = hear_sung(read_take(take), target_hz)
    if json:
        print_json(describe_sung(sung, pitch, target_hz))
        return
    if sung.cents is None or sung.hz is None:
        typer.echo(sung.reason)
        return
    side = "" if abs(sung.cents) < 0.5 else f", {abs(sung.cents):.0f} cents {'high' if sung.cents > 0 else 'low'}"
    typer.echo(f"{sung.word}: {sung.hz:.1f} Hz for {pitch.pretty}{side}.")
