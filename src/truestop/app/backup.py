"""The whole record in one file, takes included, and back.

Conventions: a backup is a zip file with ``manifest.json`` (schema, version, digests), ``record.sqlite`` and the sound
of every take under ``takes/``. Restoring checks every digest before it touches anything; the record is then replaced in
one transaction.
"""

from __future__ import annotations

import json
import tempfile
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from typing import IO, Any, BinaryIO, cast

from truestop import __version__
from truestop.app.owndata import whole_file
from truestop.app.ports import PracticeStore, TakeShelf
from truestop.domain.errors import StoreError

SCHEMA = "truestop.backup/1"
_RECORD = "record.sqlite"
_TAKES = "takes/"
_BLOCK = 1 << 20
_LARGEST_MANIFEST = 64 << 20
#: Compressed sound hardly gets smaller; wave files do.
_STORED = {".flac", ".ogg", ".mp3"}


@dataclass(frozen=True, slots=True, kw_only=True)
class BackupReport:
    """What went into a backup or came out of one."""

    takes: int
    sounds: int
    bytes: int
    """Of everything in it, unpacked."""
    missing: tuple[str, ...] = ()
    """Takes whose sound was not on the shelf."""
    made_at: str = ""


def back_up(store: PracticeStore, shelf: TakeShelf, path: Path, *, now_s: float) -> BackupReport:
    """Write record and takes to ``path``, whole or not at all; an older file of that name is replaced."""
    made_at = datetime.fromtimestamp(now_s, UTC).isoformat(timespec="seconds")
    with tempfile.TemporaryDirectory(prefix="truestop-") as folder, whole_file(path) as draft:
        copy = Path(folder) / _RECORD
        store.save_copy(copy)
        takes = store.takes()
        sounds, missing = _find_sounds(takes_files=[(take.id, take.file) for take in takes], shelf=shelf)
        members = {_RECORD: copy} | {_TAKES + name: sound for name, sound in sounds.items()}
        with zipfile.ZipFile(draft, "w", allowZip64=True) as archive:
            files = {name: _pack(archive, name, source) for name, source in members.items()}
            manifest = {"schema": SCHEMA, "truestop": __version__, "made_at": made_at, "files": files}
            archive.writestr("manifest.json", json.dumps(manifest, indent=1), zipfile.ZIP_DEFLATED)
    size = sum(file["bytes"] for file in files.values())
    return BackupReport(takes=len(takes), sounds=len(sounds), bytes=size, missing=tuple(missing), made_at=made_at)


def when_made(path: Path) -> str:
    """When the backup at ``path`` was made (ISO 8601, UTC), '' where it does not say; StoreError where it is none."""
    with _opened(path) as archive:
        return str(_read_manifest(archive, path).get("made_at", ""))


def restore(
    store: PracticeStore, shelf: TakeShelf, path: Path, *, now_s: float, keep_old_at: Path | None = None
) -> BackupReport:
    """Put the record and the takes of a backup in place of what is there.

    With ``keep_old_at`` the record that gives way is backed up there first. Takes on the shelf that the backup does not
    know stay where they are.
    """
    if keep_old_at is not None and keep_old_at.resolve() == path.resolve():
        raise StoreError(
            f"The present record cannot be kept in {path}, which is restored.", hint="Name another file for --keep-old."
        )
    with _opened(path) as archive, tempfile.TemporaryDirectory(prefix="truestop-") as folder:
        manifest = _read_manifest(archive, path)
        for name, expected in manifest["files"].items():
            _check_member(archive, name, expected, path)
        copy = Path(folder) / _RECORD
        with archive.open(_RECORD) as source, copy.open("wb") as goal:
            for block in _blocks(source):
                goal.write(block)
        store.check_copy(copy)
        if keep_old_at is not None:
            back_up(store, shelf, keep_old_at, now_s=now_s)
        sounds = [name for name in manifest["files"] if name.startswith(_TAKES)]
        for name in sounds:
            with archive.open(name) as source:
                shelf.fill(name.removeprefix(_TAKES), cast(BinaryIO, source))
        store.replace_with(copy)
    size = sum(file["bytes"] for file in manifest["files"].values())
    return BackupReport(
        takes=len(store.takes()), sounds=len(sounds), bytes=size, made_at=str(manifest.get("made_at", ""))
    )


def _find_sounds(takes_files: list[tuple[str, str | None]], shelf: TakeShelf) -> tuple[dict[str, Path], list[str]]:
    sounds: dict[str, Path] = {}
    missing: list[str] = []
    for take, file in takes_files:
        if file is None:
            continue
        try:
            sounds[file] = shelf.path(file)
        except StoreError:
            missing.append(take)
    return sounds, missing


def _pack(archive: zipfile.ZipFile, name: str, source: Path) -> dict[str, Any]:
    digest, size = sha256(), 0
    info = zipfile.ZipInfo(name)
    info.compress_type = zipfile.ZIP_STORED if source.suffix in _STORED else zipfile.ZIP_DEFLATED
    with source.open("rb") as file, archive.open(info, "w", force_zip64=True) as member:
        for block in _blocks(file):
            digest.update(block)
            size += len(block)
            member.write(block)
    return {"sha256": digest.hexdigest(), "bytes": size}


@contextmanager
def _opened(path: Path) -> Iterator[zipfile.ZipFile]:
    try:
        with zipfile.ZipFile(path) as archive:
            yield archive
    except FileNotFoundError as error:
        raise StoreError(f"There is no backup at {path}.", hint="Name the file that backup wrote.") from error
    except (zipfile.BadZipFile, zipfile.LargeZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError) as error:
        raise StoreError(
            f"{path} is damaged or no backup; nothing was changed.", hint="Try an older backup."
        ) from error
    except OSError as error:
        raise StoreError(
            f"The backup was not restored: {error.strerror}.", hint="Check the room on the disk."
        ) from error


def _read_manifest(archive: zipfile.ZipFile, path: Path) -> dict[str, Any]:
    wrong = StoreError(f"{path} is not a backup of truestop ({SCHEMA}).", hint="Name the file that backup wrote.")
    try:
        if archive.getinfo("manifest.json").file_size > _LARGEST_MANIFEST:
            raise wrong
        manifest = json.loads(archive.read("manifest.json"))
    except (KeyError, ValueError) as error:
        raise wrong from error
    if not isinstance(manifest, dict) or manifest.get("schema") != SCHEMA:
        raise wrong
    files = manifest.get("files")
    if not isinstance(files, dict) or _RECORD not in files or not all(_is_listed(file) for file in files.values()):
        raise wrong
    return manifest


def _is_listed(file: object) -> bool:
    """Whether a file of the manifest has its size and digest."""
    return isinstance(file, dict) and isinstance(file.get("bytes"), int) and isinstance(file.get("sha256"), str)


def _check_member(archive: zipfile.ZipFile, name: str, expected: dict[str, Any], path: Path) -> None:
    """Size and digest of a file in the archive; reading stops as soon as it is longer than it should be."""
    damaged = StoreError(f"{name} in {path} is damaged; nothing was changed.", hint="Try an older backup.")
    digest, size = sha256(), 0
    try:
        with archive.open(name) as member:
            for block in _blocks(member):
                size += len(block)
                if size > expected["bytes"]:
                    raise damaged
                digest.update(block)
    except (KeyError, zipfile.BadZipFile, EOFError, zlib.error) as error:
        raise damaged from error
    if digest.hexdigest() != expected["sha256"] or size != expected["bytes"]:
        raise damaged


def _blocks(file: IO[bytes]) -> Iterator[bytes]:
    while block := file.read(_BLOCK):
        yield block
