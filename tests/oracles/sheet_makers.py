"""Makers of sheets for batch tests, in a module that worker processes can import."""

from __future__ import annotations

import os
from pathlib import Path

from truestop.domain.errors import ScoreError


def echo(source: Path) -> bytes:
    """The source's own name, unless its content asks for trouble."""
    wish = source.read_text(encoding="utf-8")
    if wish == "refuse":
        raise ScoreError("It is no score.", where=source.name, hint="Hand in a score.")
    if wish == "die":
        os._exit(139)
    if wish == "fault":
        raise RuntimeError("boom")
    return source.name.encode()


def name_process(source: Path) -> bytes:
    """The number of the process that makes it, unless it is to die."""
    if source.read_text(encoding="utf-8") == "die":
        os._exit(139)
    return str(os.getpid()).encode()
