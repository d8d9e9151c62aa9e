"""What a sound file's own headers promise, where the library that reads it tells only what there is.

Sources: RIFF (Multimedia Programming Interface and Data Specifications 1.0, 1991); Ogg pages (RFC 3533, section 6);
the Xing header of MP3 files (common practice, no standard).
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import BinaryIO

_STREAMED_BYTES = 0x7FFF0000
"""A WAV that was streamed gives this or more, as it could not know."""
_LAST_PAGE_BYTES = 1 << 17
_PAGE, _LAST_PAGE = b"OggS", 0x04
_XING_WITHIN = 8192


@dataclass(frozen=True, slots=True, kw_only=True)
class Promise:
    """What a file promises beside what can be read of it."""

    frames: int | None = None
    """Length, where it is more than the file can hold."""
    unfinished: bool = False
    """Its end is missing, so that nobody knows how much there was."""
    guessed: bool = False
    """It says nothing of its length: what the library tells is a guess from its size."""


def promise_of(stream: BinaryIO) -> Promise:
    """What the file in ``stream`` promises; the stream is left at its beginning."""
    stream.seek(0)
    head = stream.read(_XING_WITHIN)
    size = stream.seek(0, 2)
    try:
        if head[:4] == b"RIFF" and head[8:12] == b"WAVE":
            return _wav(stream, size)
        if head[:4] == _PAGE:
            return Promise(unfinished=not _ends(stream, size))
        if head[:3] == b"ID3" or (head[:1] == b"\xff" and head[1:2] >= b"\xe0"):
            return Promise(guessed=not _has_xing(stream, head))
        return Promise()
    except struct.error:
        return Promise()
    finally:
        stream.seek(0)


def _wav(stream: BinaryIO, size: int) -> Promise:
    """Chunk by chunk to the samples."""
    at, frame_bytes = 12, 0
    while at + 8 <= size:
        stream.seek(at)
        name, length = struct.unpack("<4sI", stream.read(8))
        if name == b"fmt ":
            frame_bytes = struct.unpack("<HHIIH", stream.read(14))[4]
        if name == b"data":
            more = size < at + 8 + length < _STREAMED_BYTES
            return Promise(frames=length // frame_bytes if more and frame_bytes else None)
        at += 8 + length + length % 2
    return Promise()


def _ends(stream: BinaryIO, size: int) -> bool:
    """Whether the last page of an Ogg file is there and says that it is the last."""
    stream.seek(max(size - _LAST_PAGE_BYTES, 0))
    tail = stream.read()
    at = tail.rfind(_PAGE)
    if at < 0 or at + 27 > len(tail) or not tail[at + 5] & _LAST_PAGE:
        return False
    segments = tail[at + 27 : at + 27 + tail[at + 26]]
    return len(segments) == tail[at + 26] and at + 27 + len(segments) + sum(segments) <= len(tail)


def _has_xing(stream: BinaryIO, head: bytes) -> bool:
    """Whether the first frame of an MP3 file holds its number of frames; an ID3 tag before it is passed over."""
    if head[:3] == b"ID3":
        stream.seek(10 + sum((byte & 0x7F) << shift for byte, shift in zip(head[6:10], (21, 14, 7, 0), strict=True)))
        head = stream.read(_XING_WITHIN)
    return b"Xing" in head or b"Info" in head or b"VBRI" in head


__all__ = ["Promise", "promise_of"]
