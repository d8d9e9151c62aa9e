"""What a sound file's own headers promise, where the library that reads it tells only what there is.

Sources: RIFF (Multimedia Programming Interface and Data Specifications 1.0, 1991); Ogg pages (RFC 3533, section 6);
AIFF (Audio Interchange File Format 1.3, 1989), RF64 (EBU Tech 3306), Wave64 and the frames of MP3 (ISO/IEC 11172-3,
13818-3), all four from memory; the Xing header of MP3 files (common practice, no standard).
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

_STREAMED_BYTES = 0x7FFF0000
"""A WAV that was streamed gives this or more, as it could not know."""
_LAST_PAGE_BYTES = 1 << 17
_PAGE, _LAST_PAGE = b"OggS", 0x04
_XING_WITHIN = 8192
_IN_DS64 = 0xFFFFFFFF
_WAVE64_TAIL = {
    b"riff": bytes.fromhex("2E91CF11A5D628DB04C10000"),
    b"fmt ": bytes.fromhex("F3ACD3118CD100C04F8EDB8A"),
    b"data": bytes.fromhex("F3ACD3118CD100C04F8EDB8A"),
}
_KBITS = (
    (0, 32, 40, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320),
    (0, 8, 16, 24, 32, 40, 48, 56, 64, 80, 96, 112, 128, 144, 160),
)
"""Bit rates of Layer III in kbit/s, MPEG-1 and the lower sample rates."""
_RATES_HZ = (44100, 48000, 32000)
_FEW_FRAMES = 3
"""So many frames at the end of an MP3 file may give no sound: a decoder waits, and the last may be cut."""


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
        if head[:4] in (b"RIFF", b"RF64") and head[8:12] == b"WAVE":
            return _wav(stream, size)
        if head[:4] == b"FORM" and head[8:12] in (b"AIFF", b"AIFC"):
            return _aiff(stream, size)
        if head[:16] == b"riff" + _WAVE64_TAIL[b"riff"]:
            return _wave64(stream, size)
        if head[:4] == _PAGE:
            return Promise(unfinished=not _ends(stream, size))
        if head[:3] == b"ID3" or (head[:1] == b"\xff" and head[1:2] >= b"\xe0"):
            return _mp3(stream, head, size)
        return Promise()
    except struct.error:
        return Promise()
    finally:
        stream.seek(0)


def _chunks(stream: BinaryIO, size: int, head: str) -> Iterator[tuple[bytes, int, int]]:
    """Name and length of every chunk behind the file's own head, and where its content begins; the stream stands
    there."""
    at = 12
    while at + 8 <= size:
        stream.seek(at)
        name, length = struct.unpack(head, stream.read(8))
        yield name, length, at + 8
        at += 8 + length + length % 2


def _wav(stream: BinaryIO, size: int) -> Promise:
    """Chunk by chunk to the samples; in RF64 their length stands in a chunk of its own."""
    frame_bytes, long_bytes = 0, 0
    for name, length, at in _chunks(stream, size, "<4sI"):
        if name == b"ds64":
            long_bytes = struct.unpack("<QQ", stream.read(16))[1]
        if name == b"fmt ":
            frame_bytes = _frame_bytes(stream)
        if name == b"data":
            if length == _IN_DS64 and long_bytes:
                return _of_samples(long_bytes, frame_bytes, size - at)
            return _of_samples(length if at + length < _STREAMED_BYTES else 0, frame_bytes, size - at)
    return Promise()


def _frame_bytes(stream: BinaryIO) -> int:
    """How many bytes a frame has, by the description of the samples that begins here."""
    return int(struct.unpack("<HHIIH", stream.read(14))[4])


def _of_samples(promised_bytes: int, frame_bytes: int, there_bytes: int) -> Promise:
    return Promise(frames=promised_bytes // frame_bytes if promised_bytes > there_bytes and frame_bytes else None)


def _aiff(stream: BinaryIO, size: int) -> Promise:
    frames = 0
    for name, length, at in _chunks(stream, size, ">4sI"):
        if name == b"COMM":
            frames = struct.unpack(">hI", stream.read(6))[1]
        if name == b"SSND":
            return Promise(frames=frames if at + length > size else None)
    return Promise()


def _wave64(stream: BinaryIO, size: int) -> Promise:
    """Names and lengths are longer than in WAV, and a length counts its own head."""
    at, frame_bytes = 40, 0
    while at + 24 <= size:
        stream.seek(at)
        name, tail, length = struct.unpack("<4s12sQ", stream.read(24))
        if length < 24:
            break
        known = _WAVE64_TAIL.get(name) == tail
        if known and name == b"fmt ":
            frame_bytes = _frame_bytes(stream)
        if known and name == b"data":
            return _of_samples(length - 24, frame_bytes, size - at - 24)
        at += length + -length % 8
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


def _mp3(stream: BinaryIO, head: bytes, size: int) -> Promise:
    """Without a number of frames they are counted, and it can be told whether the last one is whole.

    The library guesses the length from the first frame and reads no further, which is too little where rates vary.
    """
    at = 0
    if head[:3] == b"ID3":
        at = 10 + sum((byte & 0x7F) << shift for byte, shift in zip(head[6:10], (21, 14, 7, 0), strict=True))
        stream.seek(at)
        head = stream.read(_XING_WITHIN)
    if b"Xing" in head or b"Info" in head or b"VBRI" in head:
        return Promise()
    lengths: list[int] = []
    while at < size:
        stream.seek(at)
        length, samples = _frame(stream.read(3))
        if not length:
            break
        at += length
        lengths.append(samples)
    return Promise(frames=sum(lengths[:-_FEW_FRAMES]), unfinished=at > size, guessed=True)


def _frame(head: bytes) -> tuple[int, int]:
    """Bytes and samples of the MP3 frame that begins so; nought where none does."""
    if len(head) < 3 or head[0] != 0xFF or head[1] & 0xE6 != 0xE2:
        return 0, 0
    version, kbits, rate = head[1] >> 3 & 3, head[2] >> 4, head[2] >> 2 & 3
    if version == 1 or kbits in (0, 15) or rate == 3:
        return 0, 0
    samples = 1152 if version == 3 else 576
    rate_hz = _RATES_HZ[rate] // {3: 1, 2: 2, 0: 4}[version]
    return samples // 8 * 1000 * _KBITS[version != 3][kbits] // rate_hz + (head[2] >> 1 & 1), samples
