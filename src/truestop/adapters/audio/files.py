"""Sound files: WAV, FLAC, OGG and MP3 in, WAV and FLAC out.

Conventions: inside, sound is float32, mono, full scale ±1. Several channels are averaged, unless over the whole take
they cancel; then the loudest is taken, from the first sample to the last. A sample that is no number counts as silence.
Reading goes block by block (twice, where there are channels to weigh): ``read_take`` costs no more than the mono
samples, ``open_take`` and ``stream_take`` hold a block at a time. Files appear whole or not at all.
"""

from __future__ import annotations

import io
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np
import soundfile
from numpy.typing import NDArray

from truestop.adapters.audio.promises import promise_of
from truestop.domain.errors import SoundError

Samples = NDArray[np.float32]


class DamagedError(SoundError):
    """A sound file cannot be read to its end."""


LOWEST_RATE_HZ, HIGHEST_RATE_HZ = 4_000, 768_000
LONGEST_S = 6 * 3600.0
_BLOCK_FRAMES = 1 << 16
_LAST_FRAMES = 1 << 10
"""A block where a file is damaged: so much of it may be left out."""
_UNKNOWN_FRAMES = 1 << 60
"""A file that gives no length gives one from here on."""
_CELL_S = 0.01
_FULL_SCALE = 0.9995
_CANCELLED_POWER = 0.05
"""Power of the average against that of the loudest channel below which the channels cancel."""
_FORMATS_REMEDY = "Record or convert it to WAV, FLAC, OGG or MP3."


@dataclass(frozen=True, slots=True, kw_only=True)
class Take:
    """A recorded take: mono samples, and what was wrong with the recording."""

    samples: Samples
    sample_rate_hz: int
    channels: int = 1
    clipped_s: tuple[float, ...] = ()
    """Starts in the file of the 10 ms cells in which three or more samples in a row stand at full scale."""
    lost_samples: int = 0
    """Samples that were no numbers and were silenced."""

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return len(self.samples) / self.sample_rate_hz

    @property
    def clipped(self) -> bool:
        """Whether the recording ran into full scale anywhere."""
        return bool(self.clipped_s)


def read_take(source: Path | str | bytes) -> Take:
    """The take in a file or in a file's bytes. SoundError where it is missing, empty, too long or no sound file."""
    with _opened(source) as (sound, name, weights):
        parts = list(_mono_blocks(sound, name, weights, _BLOCK_FRAMES))
        rate_hz, channels = sound.samplerate, sound.channels
    count = sum(len(part.samples) for part in parts)
    if not count:
        raise _no_samples(name)
    clipped = tuple(dict.fromkeys(cell_s for part in parts for cell_s in part.clipped_s))
    lost = sum(part.lost_samples for part in parts)
    return Take(samples=_joined(parts, count), sample_rate_hz=rate_hz, channels=channels, clipped_s=clipped,
                lost_samples=lost)  # fmt: skip


def _joined(parts: list[Take], count: int) -> Samples:
    """All samples of ``parts``, which is emptied on the way, so that an hour is not held twice."""
    samples = np.empty(count, dtype=np.float32)
    at = count
    while parts:
        part = parts.pop()
        at -= len(part.samples)
        samples[at : at + len(part.samples)] = part.samples
    return samples


def stream_take(source: Path | str | bytes, *, block_s: float = 1.0) -> Iterator[Take]:
    """The take in successive blocks of about ``block_s`` seconds, holding one block at a time."""
    with _opened(source) as (sound, name, weights):
        yield from _mono_blocks(sound, name, weights, max(int(block_s * sound.samplerate), 1))


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeFile:
    """A take that stays in its file: ``blocks`` reads it from the first sample on, as often as it is asked for."""

    source: Path | str | bytes
    sample_rate_hz: int
    duration_s: float
    """Length in seconds, as the file gives it."""
    weights: tuple[float, ...]
    """The share of each channel in the mono sound."""
    promised_s: float = 0.0
    """Length that it promises; more than ``duration_s`` where its end is known to be missing."""
    unfinished: bool = False
    """Its end is missing, and how much that is nobody knows."""

    def blocks(self) -> Iterator[Samples]:
        """Mono samples, one block in memory at a time, up to where the file is damaged.

        SoundError where nothing can be read.
        """
        given = 0
        for frames in (_BLOCK_FRAMES, _LAST_FRAMES):
            at = 0
            try:
                for block in self._read(frames):
                    at += len(block)
                    if at > given:
                        yield block[len(block) - (at - given) :]
                        given = at
                return
            except DamagedError:
                if frames == _LAST_FRAMES and not given:
                    raise

    def _read(self, frames: int) -> Iterator[Samples]:
        with _opened(self.source, np.array(self.weights, np.float32)) as (sound, name, weights):
            for block in _mono_blocks(sound, name, weights, frames):
                yield block.samples


def open_take(source: Path | str | bytes) -> TakeFile:
    """The take in a file or in a file's bytes, to be read in blocks. SoundError as from ``read_take``."""
    with _bytes_of(source, _name_of(source)) as stream:
        promise = promise_of(stream)
    with _opened(source) as (sound, name, weights):
        count = sound.frames
        if promise.guessed or not 0 < count < _UNKNOWN_FRAMES:
            count = sum(len(block) for block in _undamaged(_raw_blocks(sound, name, _BLOCK_FRAMES)))
        rate_hz = sound.samplerate
    if not count:
        raise _no_samples(name)
    return TakeFile(
        source=source,
        sample_rate_hz=rate_hz,
        duration_s=count / rate_hz,
        weights=tuple(weights.tolist()),
        promised_s=max(promise.frames or 0, count) / rate_hz,
        unfinished=promise.unfinished,
    )


def _no_samples(name: str) -> SoundError:
    return SoundError("The sound file holds no samples.", where=name, hint="Record the take again.")


@contextmanager
def _opened(
    source: Path | str | bytes, weights: Samples | None = None
) -> Iterator[tuple[soundfile.SoundFile, str, Samples]]:
    name = _name_of(source)
    with _bytes_of(source, name) as stream:
        if weights is None:
            with _sound_in(stream, name) as sound:
                weights = _channel_weights(sound, name)
            stream.seek(0)
        with _sound_in(stream, name) as sound:
            yield sound, name, weights


def _name_of(source: Path | str | bytes) -> str:
    return "take" if isinstance(source, bytes) else Path(source).name


def _sound_in(stream: BinaryIO, name: str) -> soundfile.SoundFile:
    try:
        sound = soundfile.SoundFile(stream)
    except (soundfile.SoundFileError, TypeError, ValueError) as error:
        raise SoundError(
            "This is not a sound file that truestop can read.", where=name, hint=_FORMATS_REMEDY
        ) from error
    _check_format(sound, name)
    return sound


@contextmanager
def _bytes_of(source: Path | str | bytes, name: str) -> Iterator[BinaryIO]:
    if isinstance(source, bytes):
        stream: BinaryIO = io.BytesIO(source)
    else:
        try:
            stream = Path(source).open("rb")  # noqa: SIM115 (closed below)
        except FileNotFoundError as error:
            raise SoundError("There is no such file.", where=name, hint="Check the name and the folder.") from error
        except OSError as error:
            raise SoundError(f"The file cannot be opened ({error.strerror}).", where=name,
                             hint="Give a sound file you may read.") from error  # fmt: skip
    with stream:
        if not stream.read(1):
            raise SoundError("The file is empty.", where=name, hint="Record the take again.")
        stream.seek(0)
        yield stream


def _check_format(sound: soundfile.SoundFile, name: str) -> None:
    if not LOWEST_RATE_HZ <= sound.samplerate <= HIGHEST_RATE_HZ:
        raise SoundError(f"A sample rate of {sound.samplerate} Hz is out of range.", where=name,
                         hint="Record at 44100 or 48000 Hz.")  # fmt: skip
    if 0 < sound.frames < _UNKNOWN_FRAMES and sound.frames > LONGEST_S * sound.samplerate:
        raise SoundError(f"The take lasts {sound.frames / sound.samplerate / 3600:.1f} hours.", where=name,
                         hint=f"Cut it into takes of at most {LONGEST_S / 3600:.0f} hours.")  # fmt: skip


def _channel_weights(sound: soundfile.SoundFile, name: str) -> Samples:
    """The share of each channel in the mono sound, one rule for the whole take."""
    channels = sound.channels
    average = np.full(channels, 1.0 / channels, dtype=np.float32)
    if channels == 1:
        return average
    products = np.zeros((channels, channels))
    for block in _undamaged(_raw_blocks(sound, name, _BLOCK_FRAMES)):
        exact = _sane(block)[0].astype(np.float64)
        products += exact.T @ exact
    loudest = int(np.argmax(np.diag(products)))
    if float(products.sum()) / channels**2 >= _CANCELLED_POWER * float(products[loudest, loudest]):
        return average
    alone = np.zeros(channels, dtype=np.float32)
    alone[loudest] = 1.0
    return alone


def _mono_blocks(sound: soundfile.SoundFile, name: str, weights: Samples, frames: int) -> Iterator[Take]:
    clipping = _Clipping(sound.samplerate)
    for block in _raw_blocks(sound, name, frames):
        yield _to_mono(block, weights, clipping)


def _raw_blocks(sound: soundfile.SoundFile, name: str, frames: int) -> Iterator[Samples]:
    most = left = int(LONGEST_S * sound.samplerate)
    while left > 0:
        try:
            block: Samples = sound.read(min(frames, left), dtype="float32", always_2d=True)
        except soundfile.SoundFileError as error:
            raise DamagedError(
                f"The sound file breaks off or is damaged after {(most - left) / sound.samplerate:.0f} s.", where=name,
                hint="Copy it again from where it was recorded, or record the take again.",
            ) from error  # fmt: skip
        if not len(block):
            return
        left -= len(block)
        yield block


def _undamaged(blocks: Iterator[Samples]) -> Iterator[Samples]:
    """The blocks before the damage, where there is one."""
    try:
        yield from blocks
    except DamagedError:
        return


def _sane(block: Samples) -> tuple[Samples, int]:
    """The block with what is no number silenced, and how many samples that were."""
    sane = np.isfinite(block)
    lost = int(block.size - np.count_nonzero(sane))
    if lost:
        block = np.where(sane, block, np.float32(0.0))
    return np.clip(block, -8.0, 8.0), lost


def _to_mono(block: Samples, weights: Samples, clipping: _Clipping) -> Take:
    sane, lost = _sane(block)
    mono = sane[:, 0] * weights[0]
    for channel in range(1, len(weights)):
        mono += sane[:, channel] * weights[channel]
    return Take(samples=np.ascontiguousarray(mono), sample_rate_hz=clipping.rate_hz, channels=block.shape[1],
                clipped_s=clipping.cells_s(sane), lost_samples=lost)  # fmt: skip


class _Clipping:
    """Finds runs of three samples at full scale in a file that comes in blocks, also those that two blocks share."""

    def __init__(self, rate_hz: int) -> None:
        self.rate_hz = rate_hz
        self._ended = 0
        self._last: NDArray[np.bool_] | None = None

    def cells_s(self, block: Samples) -> tuple[float, ...]:
        """Starts of the cells of the file in which a run begins that ends in ``block``."""
        full = np.abs(block) >= _FULL_SCALE
        if self._last is not None:
            full = np.concatenate([self._last, full])
        first = self._ended + len(block) - len(full)
        self._ended += len(block)
        self._last = full[-2:]
        if len(full) < 3 or not full.any():
            return ()
        runs = first + np.flatnonzero((full[:-2] & full[1:-1] & full[2:]).any(axis=1))
        cells = np.unique((runs / (self.rate_hz * _CELL_S)).astype(int))
        return tuple(float(cell * _CELL_S) for cell in cells)


def encode_sound(samples: Samples, *, sample_rate_hz: int, container: str = "WAV", bits: int = 16) -> bytes:
    """``samples`` (±1, mono or shape (n, channels)) as the bytes of a WAV or FLAC file of 16 or 24 bits.

    ValueError where a sample is no number or lies beyond full scale.
    """
    if not np.isfinite(samples).all() or (samples.size and float(np.abs(samples).max()) > 1.0):
        raise ValueError("samples must be numbers within ±1")
    stream = io.BytesIO()
    soundfile.write(stream, samples, sample_rate_hz, format=container, subtype=f"PCM_{bits}")
    return stream.getvalue()


def write_wav(path: Path | str, samples: Samples, *, sample_rate_hz: int, bits: int = 16) -> None:
    """Write a WAV file whole: under another name first, then renamed. SoundError where the folder cannot be written."""
    _write_whole(Path(path), encode_sound(samples, sample_rate_hz=sample_rate_hz, container="WAV", bits=bits))


def write_flac(path: Path | str, samples: Samples, *, sample_rate_hz: int, bits: int = 16) -> None:
    """Write a FLAC file whole, as ``write_wav`` does."""
    _write_whole(Path(path), encode_sound(samples, sample_rate_hz=sample_rate_hz, container="FLAC", bits=bits))


def _write_whole(path: Path, content: bytes) -> None:
    try:
        handle, unfinished = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    except OSError as error:
        raise SoundError(f"The folder {path.parent} cannot be written ({error.strerror}).", where=path.name,
                         hint="Choose another folder.") from error  # fmt: skip
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        Path(unfinished).chmod(0o644)
        Path(unfinished).replace(path)
    except OSError as error:
        Path(unfinished).unlink(missing_ok=True)
        raise SoundError(f"The file cannot be written ({error.strerror}).", where=path.name,
                         hint="Check the folder and the free space.") from error  # fmt: skip
