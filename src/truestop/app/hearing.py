"""Hearing recorded takes of a passage, one or a studio's evening of them.

Conventions: several takes share the cores, each heard in a process of a pool; what comes back is in the order of the
takes. A take in which nothing can be heard is named and stops no other.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from truestop.app.expecting_runs import expect_run
from truestop.app.mainjob import InHand, SoundInBlocks, expect
from truestop.app.performance import judge_run
from truestop.domain.attempt import Attempt, Expectation
from truestop.domain.errors import SoundError, TruestopError
from truestop.domain.run import Run
from truestop.domain.shift import Shift
from truestop.listening.judging import judge_blocks


class SoundFile(SoundInBlocks, Protocol):
    """A take in its file, which may be damaged: ``blocks`` gives what can be read."""

    @property
    def promised_s(self) -> float:
        """Length that the file promises, in seconds."""
        ...

    @property
    def unfinished(self) -> bool:
        """Its end is missing, and how much that is nobody knows."""
        ...


#: Opens a sound file; a function of a module, so that another process can find it.
TakeReader = Callable[[Path], SoundFile]
#: A process takes a second or two to start: a pool pays from this much sound on, in bytes of files.
_POOL_FROM_BYTES = 20_000_000
#: A file that ends so much sooner than it promises breaks off.
_BREAKS_OFF_S = 0.05
#: Samples no larger than this, -60 dB of full scale, are no take.
SILENT = 0.001


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What the takes are takes of."""

    in_hand: InHand
    shift: Shift | None
    """The shift they drill; None for runs through the passage."""
    stage: str
    pulse_bpm: float | None = None
    """Click in the player's ear."""
    first_beat_s: float = 0.0
    and_back: bool = False
    """The takes go there and back: the way back is judged too, as a shift of its own."""

    @property
    def way_back(self) -> Shift | None:
        """The shift of the way back, where it was played."""
        return self.in_hand.way_back(self.shift) if self.and_back and self.shift is not None else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """One take with what was expected and heard in it."""

    path: Path
    sample_rate_hz: int
    duration_s: float
    """As far as it can be read."""
    attempts: tuple[Attempt, ...]
    expected: tuple[Expectation, ...]
    """What a drill was judged against."""
    run: Run | None
    """What a run was judged against."""
    remark: str | None
    """Where the file breaks off."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Unheard:
    """A take that says nothing, and why."""

    path: Path
    error: TruestopError


def hear_takes(
    paths: Sequence[Path], asked: Asked, *, read: TakeReader, processes: int | None = None
) -> Iterator[Heard | Unheard]:
    """What was heard in each take, in their order, as it comes; ``processes`` is that of the cores where it pays."""
    hear = partial(_hear_or_say, asked=asked, read=read)
    count = min(processes or _worthwhile(paths), len(paths))
    if count <= 1:
        yield from map(hear, paths)
        return
    with ProcessPoolExecutor(max_workers=count, mp_context=get_context("spawn")) as pool:
        yield from pool.map(hear, paths)


def hear_take(path: Path, asked: Asked, *, read: TakeReader) -> Heard:
    """What was heard in one take; SoundError where it cannot be read or holds nothing of the passage."""
    file = read(path)
    take = _Counted(file)
    run: Run | None = None
    expected: tuple[Expectation, ...] = ()
    if asked.shift is None:
        run = expect_run(asked.in_hand, tuple(asked.in_hand.way.shifts))
        attempts = tuple(crossed.attempt for crossed in judge_run(run, take))
    else:
        legs = [one for one in (asked.shift, asked.way_back) if one is not None]
        beats_s = _beats(asked, take.duration_s)
        expected = tuple(expect(asked.in_hand, one, stage=asked.stage, beats_s=beats_s) for one in legs)
        found = [one for each in expected for one in judge_blocks(take.blocks(), take.sample_rate_hz, each)]
        attempts = tuple(sorted(found, key=lambda one: one.start_s))
    if not attempts:
        raise _silent(path) if _is_silent(take) else _nothing_heard(path, asked, _break_of(file, take.read_s))
    return Heard(
        path=path,
        sample_rate_hz=take.sample_rate_hz,
        duration_s=take.read_s,
        attempts=attempts,
        expected=expected,
        run=run,
        remark=_break_of(file, take.read_s),
    )


class _Counted:
    """A take that counts how much of it can be read."""

    def __init__(self, take: SoundInBlocks) -> None:
        self._take = take
        self._most = 0

    @property
    def sample_rate_hz(self) -> int:
        return self._take.sample_rate_hz

    @property
    def duration_s(self) -> float:
        return self._take.duration_s

    @property
    def read_s(self) -> float:
        """The most that was read of it."""
        return self._most / self._take.sample_rate_hz

    def blocks(self) -> Iterator[NDArray[np.float32]]:
        count = 0
        for block in self._take.blocks():
            count += len(block)
            self._most = max(self._most, count)
            yield block


def _break_of(file: SoundFile, read_s: float) -> str | None:
    """The sentence on a file that breaks off."""
    if file.promised_s - read_s > _BREAKS_OFF_S:
        return (
            f"The file can be read up to {read_s:.1f} s of the {file.promised_s:.1f} s that it promises; "
            "what is missing is not judged."
        )
    if file.unfinished:
        return f"The file breaks off after {read_s:.1f} s; what is missing is not judged."
    return None


def _hear_or_say(path: Path, asked: Asked, read: TakeReader) -> Heard | Unheard:
    try:
        return hear_take(path, asked, read=read)
    except TruestopError as error:
        return Unheard(path=path, error=error)


def _worthwhile(paths: Sequence[Path]) -> int:
    sizes = sum(path.stat().st_size for path in paths if path.is_file())
    return (os.cpu_count() or 1) if sizes >= _POOL_FROM_BYTES else 1


def _beats(asked: Asked, duration_s: float) -> tuple[float, ...]:
    if asked.pulse_bpm is None:
        return ()
    gap_s = 60.0 / asked.pulse_bpm
    count = int(max(duration_s - asked.first_beat_s, 0.0) / gap_s) + 1
    return tuple(asked.first_beat_s + gap_s * number for number in range(count))


def _is_silent(take: SoundInBlocks) -> bool:
    """Whether no sample of it lies above ``SILENT``."""
    return all(float(np.abs(block).max(initial=0.0)) <= SILENT for block in take.blocks())


def _silent(path: Path) -> SoundError:
    return SoundError(
        "The take is silent, or nearly so: no sample reaches -60 dB of full scale.",
        where=path.name,
        hint="Check which microphone was recorded and its level, and record the take again.",
    )


def _nothing_heard(path: Path, asked: Asked, remark: str | None) -> SoundError:
    what, first = "No run through the passage", "If the take drills one shift, name it with --shift. "
    if asked.shift is not None:
        departure, arrival = asked.shift.departure[-1].pitch, asked.shift.arrival[-1].pitch
        what, first = f"No attempt from {departure.pretty} to {arrival.pretty}", ""
    return SoundError(
        " ".join(filter(None, (f"{what} was heard, A4 at {asked.in_hand.setup.a4_hz:g} Hz.", remark))),
        where=path.name,
        hint=f"{first}Check the shift, the instrument and the reference pitch, or record nearer to the microphone.",
    )
