"""Engraved pictures kept by what they were made from.

Conventions: the key of a picture is a hash over the music, the options and the versions that made it, so an entry is
never out of date; the folder may be deleted at any time, and a cache that cannot be read or written is no fault.
"""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Any

#: Raise it whenever pictures come out differently for the same request, so that old entries are left alone.
PICTURE_VERSION = 4
MOST_KEPT = 4000


class PictureCache:
    """Pages by request in ``folder``; without a folder nothing is kept."""

    def __init__(self, folder: Path | None) -> None:
        self._folder = folder

    def find(self, key: str) -> list[str] | None:
        """The kept pages, or None."""
        if self._folder is None:
            return None
        try:
            pages: list[str] = json.loads((self._folder / f"{key}.json").read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return None
        return pages

    def keep(self, key: str, pages: list[str]) -> None:
        """Write to a file of its own first, then rename: a reader sees all of it or nothing."""
        if self._folder is None:
            return
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            handle, name = tempfile.mkstemp(dir=self._folder, suffix=".part")
            with os.fdopen(handle, "w", encoding="utf-8") as file:
                json.dump(pages, file)
            Path(name).replace(self._folder / f"{key}.json")
            if key.endswith("0"):
                _thin_out(self._folder)
        except OSError:
            return


def key_of(musicxml: str, options: dict[str, Any]) -> str:
    """The name under which the pages of a request are kept."""
    text = json.dumps([PICTURE_VERSION, _library_version(), musicxml, options], sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()


@cache
def _library_version() -> str:
    return version("verovio")


def _thin_out(folder: Path) -> None:
    """Delete the oldest entries beyond the number that is kept; looked after at every sixteenth entry or so."""
    kept = list(folder.glob("*.json"))
    if len(kept) <= MOST_KEPT:
        return
    kept.sort(key=lambda path: path.stat().st_mtime)
    for path in kept[: len(kept) - MOST_KEPT]:
        path.unlink(missing_ok=True)
