"""The ``truestop`` command."""

from __future__ import annotations

import io
import os
import sys
import traceback

import typer

from truestop import __version__
from truestop.cli import demo, ear, folders, judging, owndata, reading, record, room, sheets, tones
from truestop.cli.output import warn
from truestop.domain.errors import TruestopError

app = typer.Typer(
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
    help="Know, hear, feel, test and keep every shift of a passage.",
    epilog="Stop when it hurts; lasting pain or numbness belongs to a doctor. Your teacher's word goes first.",
)
for module in (demo, reading, sheets, folders, tones, ear, judging, record, owndata, room):
    module.add_to(app)


@app.callback(invoke_without_command=True)
def _version(version: bool = typer.Option(False, "--version", help="Show the version.", is_eager=True)) -> None:
    if version:
        typer.echo(f"truestop {__version__}")
        raise typer.Exit


def main() -> None:
    """Run the command line; exit 0 done, 1 a fault of ours, 2 bad input or use."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(encoding="utf-8", errors="replace")
    try:
        app()
    except TruestopError as error:
        warn(str(error), error.hint)
        sys.exit(2)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(1)
    except Exception as error:
        if os.environ.get("TRUESTOP_DEBUG"):
            traceback.print_exc()
        warn(
            f"Something went wrong on our side: {type(error).__name__}: {error}",
            "Set TRUESTOP_DEBUG=1 and run it again to see where; please report it.",
        )
        sys.exit(1)


if __name__ == "__main__":
    main()
