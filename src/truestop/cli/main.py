"""The ``truestop`` command."""

from __future__ import annotations

import io
import os
import sys
import traceback
from functools import cache
from importlib import import_module
from typing import Any

import typer
from typer.core import TyperGroup

from truestop import __version__
from truestop.cli.output import warn
from truestop.cli.usage import UsageError, explain, is_plea_for_help
from truestop.domain.errors import TruestopError

#: Every command and the module that adds it, in the order of a player's day.
COMMANDS = {
    "demo": "demo",
    "shifts": "reading",
    "finger": "reading",
    "sheet": "sheets",
    "sheets": "folders",
    "strip": "folders",
    "gallery": "folders",
    "tones": "tones",
    "tune": "ear",
    "sing": "ear",
    "judge": "judging",
    "progress": "record",
    "plan": "record",
    "report": "record",
    "studio": "record",
    "strike": "record",
    "backup": "owndata",
    "restore": "owndata",
    "export": "owndata",
    "import": "owndata",
    "rejudge": "owndata",
    "forget": "owndata",
    "deadline": "owndata",
    "room": "room",
}


class Commands(TyperGroup):
    """Meets a command's module when it is asked for: each brings its own adapters, and most need few."""

    def list_commands(self, ctx: Any) -> list[str]:
        """All commands."""
        return list(COMMANDS)

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        """The command of that name; None where there is none. The list of commands shows its help whole."""
        return app_command(cmd_name) if cmd_name in COMMANDS else None


def app_command(name: str) -> Any:
    """One command, with its whole help for the list of commands."""
    command = _group_of(COMMANDS[name]).commands[name]
    command.short_help = command.help
    return command


@cache
def _group_of(module: str) -> TyperGroup:
    group = typer.Typer(rich_markup_mode=None, context_settings=_CONTEXT)
    import_module(f"truestop.cli.{module}").add_to(group)
    return typer.main.get_group(group)


_CONTEXT = {"help_option_names": ["-h", "--help"]}
app = typer.Typer(
    cls=Commands,
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings=_CONTEXT,
    help="Know, hear, feel, test and keep every shift of a passage.",
    epilog="Stop when it hurts; lasting pain or numbness belongs to a doctor. Your teacher's word goes first.",
)


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
        sys.exit(app(standalone_mode=False) or 0)
    except UsageError as error:
        if is_plea_for_help(error):
            typer.echo(str(error), err=True)
        else:
            warn(*explain(error))
        sys.exit(2)
    except typer.Abort:
        warn("Stopped; nothing was changed.")
        sys.exit(1)
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
