"""Where the command writes: results on standard output, remarks and faults on standard error."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import typer
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from truestop.domain.errors import TruestopError


def make_console(*, stderr: bool = False, quiet: bool = False) -> Console:
    """A console that keeps to 80 columns where the output is no terminal; a quiet one prints nothing.

    Titles and file names may hold brackets: nothing is read as markup.
    """
    console = Console(stderr=stderr, highlight=False, markup=False, quiet=quiet)
    if not console.is_terminal:
        console.width = 80
    return console


def print_json(document: Any) -> None:
    """One JSON document on standard output."""
    sys.stdout.write(json.dumps(document, ensure_ascii=False, allow_nan=False, indent=1) + "\n")


def tell(sentence: str, document: Any, *, json: bool) -> None:
    """What was done: a sentence on standard error, and the document on standard output where JSON is asked for."""
    warn(sentence)
    if json:
        print_json(document)


def confirm(question: str, *, yes: bool) -> None:
    """Ask before something goes for good, on standard error; typer.Abort at no."""
    if not yes:
        typer.confirm(question, abort=True, err=True)


def warn(what: str, hint: str = "") -> None:
    """One clear sentence, and the remedy, on standard error."""
    make_console(stderr=True).print(f"{what} {hint}".strip(), soft_wrap=True)


def write_whole(path: Path, content: bytes) -> None:
    """Write a file whole or not at all."""
    if not path.name:
        raise TruestopError("The file to write has no name.", hint="Name it with -o, like -o out.pdf.")
    part = path.with_name(path.name + ".part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        part.write_bytes(content)
        part.replace(path)
    except OSError as error:
        with suppress(OSError):
            part.unlink()
        raise TruestopError(
            f"The file cannot be written: {error.strerror or error}.",
            where=str(path),
            hint="Choose another place with -o.",
        ) from error


@contextmanager
def progress_bar(*, quiet: bool = False) -> Iterator[Progress]:
    """A bar on standard error for work that takes longer than a second."""
    console = make_console(stderr=True)
    columns = (TextColumn("{task.description}", markup=False), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=console, transient=True, disable=quiet or not console.is_terminal) as bar:
        yield bar
