"""Takes on disk, safe while they sound.

Conventions: a take is 16-bit mono PCM in a RIFF/WAVE file (Microsoft/IBM 1991). Frames count from the start of the
take. Every block is handed to the operating system before it is acknowledged, so a killed process loses nothing that
was acknowledged; the header is brought up to date every second, and ``resume`` counts what is really there.
"""

from __future__ import annotations

import json
import os
import re
import struct
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from types import TracebackType
from typing import Any, BinaryIO, Self

import numpy as np
from numpy.typing import NDArray

from truestop.app.mainjob import HeldSound
from truestop.domain.errors import SoundError

HEADER_BYTES = 44
BYTES_PER_FRAME = 2
LOWEST_RATE_HZ, HIGHEST_RATE_HZ = 8_000, 192_000
LONGEST_TAKE_S = 3_600
_ID = re.compile(r"[A-Za-z0-9_-]{8,64}")


def wave_header(frames: int, sample_rate_hz: int) -> bytes:
    """The 44 bytes before ``frames`` frames of 16-bit mono PCM."""
    size = frames * BYTES_PER_FRAME
    return struct.pack(
        "<4sI4s4sIHHIIHH4sI",
        b"RIFF", 36 + size, b"WAVE", b"fmt ", 16, 1, 1, sample_rate_hz, sample_rate_hz * BYTES_PER_FRAME,
        BYTES_PER_FRAME, 16, b"data", size,
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeOnDisk:
    """What lies in the folder under one id."""

    take: str
    path: Path
    sample_rate_hz: int
    frames: int
    written_at_s: float
    """When sound was last added, before the file was mended."""

    @property
    def duration_s(self) -> float:
        """Length of the sound."""
        return self.frames / self.sample_rate_hz


class TakeWriter:
    """Appends blocks to one take. Opening a take that exists goes on where it ends."""

    def __init__(self, path: Path, sample_rate_hz: int) -> None:
        if not LOWEST_RATE_HZ <= sample_rate_hz <= HIGHEST_RATE_HZ:
            raise SoundError(
                f"A sample rate of {sample_rate_hz} Hz is out of range.",
                hint=f"The room takes {LOWEST_RATE_HZ} to {HIGHEST_RATE_HZ} Hz; choose another microphone.",
            )
        self.path = path
        self.sample_rate_hz = sample_rate_hz
        self.frames = 0
        self._header_frames = 0
        self._file: BinaryIO = self._open()

    def _open(self) -> BinaryIO:
        if self.path.exists():
            found = mend_take(self.path)
            self.sample_rate_hz, self.frames = found.sample_rate_hz, found.frames
            file = self.path.open("r+b", buffering=0)
            file.seek(0, os.SEEK_END)
            return file
        file = self.path.open("xb", buffering=0)
        file.write(wave_header(0, self.sample_rate_hz))
        return file

    def append(self, first_frame: int, block: NDArray[np.int16]) -> NDArray[np.int16]:
        """Write the part of ``block`` that is not on disk yet and give it back.

        Blocks may be sent again, never left out: a block that begins after the end raises ``SoundError``.
        """
        if first_frame > self.frames:
            raise SoundError(
                f"Sound is missing between frame {self.frames} and {first_frame} of the take.",
                hint="The page sends it again when it reconnects.",
            )
        fresh = block[self.frames - first_frame :]
        if self.frames + fresh.size > LONGEST_TAKE_S * self.sample_rate_hz:
            raise SoundError("The take is an hour long.", hint="Go on to the next stage; it begins a new take.")
        if fresh.size:
            self._write(fresh.astype("<i2", copy=False).tobytes())
            self.frames += int(fresh.size)
        if self.frames - self._header_frames >= self.sample_rate_hz:
            self._patch_header()
        return fresh

    def _write(self, data: bytes) -> None:
        view = memoryview(data)
        while view:
            view = view[self._file.write(view) :]

    def _patch_header(self) -> None:
        self._file.seek(0)
        self._write(wave_header(self.frames, self.sample_rate_hz))
        self._file.seek(0, os.SEEK_END)
        self._header_frames = self.frames

    def close(self) -> None:
        """Bring the header up to date, hand everything to the disk and close."""
        if not self._file.closed:
            self.bring_up_to_date()
            self._file.close()

    def bring_up_to_date(self) -> None:
        """Bring the header up to date and hand everything to the disk; sound may still follow."""
        self._patch_header()
        os.fsync(self._file.fileno())

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def mend_take(path: Path) -> TakeOnDisk:
    """Make the header agree with the bytes that are there; half a frame at the end is cut off."""
    found = path.stat()
    size = found.st_size
    with path.open("r+b") as file:
        header = file.read(HEADER_BYTES)
        if len(header) < HEADER_BYTES or header[:4] != b"RIFF" or header[8:16] != b"WAVEfmt ":
            raise SoundError(f"{path.name} is no take of the practice room.", hint="Delete the file or move it away.")
        sample_rate_hz = struct.unpack_from("<I", header, 24)[0]
        frames = (size - HEADER_BYTES) // BYTES_PER_FRAME
        file.truncate(HEADER_BYTES + frames * BYTES_PER_FRAME)
        file.seek(0)
        file.write(wave_header(frames, sample_rate_hz))
    return TakeOnDisk(
        take=path.stem, path=path, sample_rate_hz=sample_rate_hz, frames=frames, written_at_s=found.st_mtime
    )


def read_stretch(path: Path, masks: Sequence[tuple[int, int]], first_frame: int, last_frame: int | None) -> HeldSound:
    """Frames ``first_frame`` to ``last_frame`` (the end where None) of a take, which may still be growing.

    As the room's ears heard it: silent where the room itself sounded (``masks``).
    """
    with path.open("rb") as file:
        sample_rate_hz = int(struct.unpack_from("<I", file.read(HEADER_BYTES), 24)[0])
    block = read_frames(path, first_frame, None if last_frame is None else last_frame - first_frame)
    samples = block.astype(np.float32) / 32768.0
    for first, last in masks:
        samples[max(0, first - first_frame) : max(0, last - first_frame)] = 0.0
    return HeldSound(samples=samples, sample_rate_hz=sample_rate_hz)


def read_frames(path: Path, first_frame: int = 0, count: int | None = None) -> NDArray[np.int16]:
    """Frames of a take, which may still be growing."""
    with path.open("rb") as file:
        file.seek(HEADER_BYTES + first_frame * BYTES_PER_FRAME)
        data = file.read(-1 if count is None else count * BYTES_PER_FRAME)
    return np.frombuffer(data[: len(data) - len(data) % BYTES_PER_FRAME], dtype="<i2")


@dataclass(slots=True, kw_only=True)
class Slip:
    """What lies beside a take until it is in the record: everything needed to judge it again after a kill."""

    take: str
    purpose: str
    about: dict[str, Any]
    opened_at_s: float
    beats_s: tuple[float, ...] = ()
    masks: list[tuple[int, int]] = field(default_factory=list)
    answers: list[str | None] = field(default_factory=list)
    """What the own ear said of each attempt that was told, in their order."""
    room: str = ""
    """The page's room in which it was played."""


class TakeFolder:
    """The folder that holds the room's takes; nothing outside it is ever opened."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        folder.mkdir(parents=True, exist_ok=True)

    def path_of(self, take: str) -> Path:
        """The file of a take; ``SoundError`` where ``take`` is no take id."""
        if not _ID.fullmatch(take):
            raise SoundError(
                "That is not a take's name.", hint="Take names are letters, digits, '-' and '_', 8 to 64 of them."
            )
        return self.folder / f"{take}.wav"

    def open(self, take: str, sample_rate_hz: int) -> TakeWriter:
        """Begin a take, or go on with one."""
        return TakeWriter(self.path_of(take), sample_rate_hz)

    def find(self, take: str) -> Path | None:
        """The file of a take, None where there is none."""
        path = self.path_of(take)
        return path if path.is_file() else None

    def write_slip(self, slip: Slip) -> None:
        """Replace the take's slip as a whole."""
        path = self.path_of(slip.take).with_suffix(".json")
        draft = path.with_suffix(".new")
        draft.write_text(json.dumps(asdict(slip)), encoding="utf-8")
        draft.replace(path)

    def slip(self, take: str) -> Slip | None:
        """The take's slip, None where there is none that can be read."""
        try:
            written = json.loads(self.path_of(take).with_suffix(".json").read_text(encoding="utf-8"))
            slip = Slip(**written)
            slip.beats_s = tuple(slip.beats_s)
            slip.masks = [(int(first), int(last)) for first, last in slip.masks]
        except (OSError, ValueError, TypeError):
            return None
        return slip

    def slips(self) -> list[Slip]:
        """The slips of all takes in the folder, in the order of their names."""
        names = [path.stem for path in sorted(self.folder.glob("*.wav")) if _ID.fullmatch(path.stem)]
        return [slip for name in names if (slip := self.slip(name)) is not None]

    def delete(self, take: str) -> None:
        """Remove a take and its slip for good."""
        path = self.path_of(take)
        path.unlink(missing_ok=True)
        path.with_suffix(".json").unlink(missing_ok=True)

    def recover(self) -> list[TakeOnDisk]:
        """Mend every take in the folder, oldest first; files that are no takes are left alone."""
        found = []
        for path in sorted(self.folder.glob("*.wav"), key=lambda entry: entry.stat().st_mtime):
            try:
                found.append(mend_take(path))
            except SoundError:
                continue
        return found
