"""From the bytes of a file to the bytes of its MusicXML document: compressed .mxl files are opened here.

Conventions: an .mxl file is a ZIP whose META-INF/container.xml names the root file (MusicXML 4.0, 'Compressed .MXL
files'). Only the root file is unpacked, never more than the bounds allow, and nothing is written to disk.
"""

from __future__ import annotations

import io
import zipfile
import zlib

from defusedxml import DefusedXmlException
from defusedxml.ElementTree import ParseError, fromstring

from truestop.adapters.score.bounds import MOST_BYTES, MOST_RATIO, check_size
from truestop.domain.errors import ScoreError

_CONTAINER = "META-INF/container.xml"
_LARGEST_CONTAINER_BYTES = 100_000
_SMALL_BYTES = 1_000_000
"""A member up to this size is read whatever its ratio."""


def is_compressed(data: bytes) -> bool:
    """Whether ``data`` begins like a ZIP file."""
    return data[:4] in (b"PK\x03\x04", b"PK\x05\x06")


def unpack(data: bytes, *, name: str) -> bytes:
    """The MusicXML document in ``data``, unpacked where it is an .mxl file. Raises ScoreError beyond the bounds."""
    check_size(len(data), name=name)
    if not is_compressed(data):
        return data
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            return _read_member(archive, root_member(archive, name=name), name=name)
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, RuntimeError, NotImplementedError, ValueError) as error:
        raise ScoreError(
            f"{name} is a damaged .mxl file and cannot be unpacked.",
            hint="Export it again, or save it uncompressed as .musicxml.",
        ) from error


def root_member(archive: zipfile.ZipFile, *, name: str) -> str:
    """The name of the member that holds the score. Raises ScoreError where there is none."""
    names = archive.namelist()
    if _CONTAINER in names:
        named = _named_root(archive, name=name)
        if named in names:
            return str(named)
    for member in names:
        if member.lower().endswith((".musicxml", ".xml")) and not member.startswith("META-INF/"):
            return member
    raise ScoreError(f"{name} holds no score.", hint="An .mxl file holds one .musicxml document; export it again.")


def _named_root(archive: zipfile.ZipFile, *, name: str) -> str | None:
    text = _read_member(archive, _CONTAINER, name=name, most_bytes=_LARGEST_CONTAINER_BYTES)
    try:
        root = fromstring(text)
    except (ParseError, DefusedXmlException, ValueError, LookupError):
        return None
    for element in root.iter():
        if element.tag.rpartition("}")[2] == "rootfile" and element.get("full-path"):
            return str(element.get("full-path"))
    return None


def _read_member(archive: zipfile.ZipFile, member: str, *, name: str, most_bytes: int = MOST_BYTES) -> bytes:
    info = archive.getinfo(member)
    allowed = min(most_bytes, max(_SMALL_BYTES, MOST_RATIO * info.compress_size))
    with archive.open(info) as stream:
        text = stream.read(allowed + 1)
    if len(text) > allowed:
        raise ScoreError(
            f"{name} unpacks to more than {allowed / 1e6:.0f} MB, which no real score of its size does.",
            hint="Export it again from the notation program, one movement at a time.",
        )
    return text
