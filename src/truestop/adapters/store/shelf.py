"""The shelf of takes: a folder of sound files, each written whole or not at all."""

from __future__ import annotations

import os
import re
import shutil
from contextlib import suppress
from pathlib import Path
from typing import BinaryIO

from truestop.domain.errors import StoreError

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,120}")


class FolderShelf:
    """app.ports.TakeShelf over the folder ``place``, made when the first take is put there."""

    def __init__(self, place: str | Path) -> None:
        self.place = Path(place)

    def put(self, take_id: str, source: Path) -> str:
        name = f"{take_id}{source.suffix.lower()}"
        try:
            with source.open("rb") as stream:
                self.fill(name, stream)
        except OSError as error:
            raise StoreError(
                f"The take {source} was not kept: {error.strerror}.", hint="Check the file and the room on the disk."
            ) from error
        return name

    def path(self, name: str) -> Path:
        path = self._place_of(name)
        if not path.is_file():
            raise StoreError(
                f"The sound of take {name} is not on the shelf {self.place}.", hint="Restore it from a backup."
            )
        return path

    def names(self) -> tuple[str, ...]:
        if not self.place.is_dir():
            return ()
        return tuple(sorted(path.name for path in self.place.iterdir() if _NAME.fullmatch(path.name)))

    def fill(self, name: str, stream: BinaryIO) -> None:
        path = self._place_of(name)
        self.place.mkdir(parents=True, exist_ok=True)
        draft = path.with_name(f"{path.name}~")
        try:
            with draft.open("wb") as file:
                shutil.copyfileobj(stream, file, 1 << 20)
                file.flush()
                os.fsync(file.fileno())
            draft.replace(path)
        except OSError:
            with suppress(OSError):
                draft.unlink()
            raise
        _sync_folder(self.place)

    def remove(self, name: str) -> None:
        with suppress(FileNotFoundError):
            self._place_of(name).unlink()

    def _place_of(self, name: str) -> Path:
        if not _NAME.fullmatch(name):
            raise StoreError(
                f"'{name}' is not the name of a take.", hint="Names on the shelf have letters, digits, '.', '-'."
            )
        return self.place / name


def _sync_folder(folder: Path) -> None:
    """Make the new name durable too; folders cannot be opened for this on Windows."""
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
