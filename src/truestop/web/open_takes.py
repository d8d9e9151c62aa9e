"""The takes that a page is sending: each block is written, acknowledged and heard, in this order.

Conventions: a page numbers its takes by slots, which may change when it comes back; a take's name stays. Frames count
from the take's start. An ear that begins anew, after a restart or with other beats, hears the take from the disk.
"""

from __future__ import annotations

import contextlib
import struct
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from truestop.domain.attempt import Attempt
from truestop.domain.errors import TruestopError
from truestop.web.hearing import BLOCK_FRAMES, Ear, Heard, Mask, MaskedEar
from truestop.web.takes import LOWEST_RATE_HZ, Slip, TakeFolder, TakeWriter, read_frames

BLOCK_HEADER = struct.Struct("<II")
"""Before every block of sound: its slot, and the frame with which it begins."""
ACK_EVERY_S = 0.1

Message = dict[str, Any]


@dataclass(slots=True)
class OpenTake:
    """A take that is being recorded."""

    slip: Slip
    writer: TakeWriter
    ear: MaskedEar
    acknowledged: int = 0
    skip: int = 0
    """Attempts in this take that were told before the server was restarted."""
    attempts: list[tuple[Attempt, str | None]] = field(default_factory=list)
    sounded: bool = False
    followed: bool = False
    """Another take was asked for, since this one is long."""

    @property
    def name(self) -> str:
        """The take's name."""
        return self.slip.take

    @property
    def is_told_again(self) -> bool:
        """Whether what is heard now was told before the server was restarted."""
        return len(self.attempts) < self.skip

    def hear_again(self, attempts: Collection[Attempt]) -> None:
        """Attempts that were told before: each keeps the answer that the slip has of it."""
        for attempt in attempts:
            self.attempts.append((attempt, self.slip.answers[len(self.attempts)]))


class OpenTakes:
    """All takes of one room that are open, by the slots of its page."""

    def __init__(
        self,
        takes: TakeFolder,
        *,
        ear_for: Callable[[Slip, int], Ear],
        say: Callable[[Message], None],
        react: Callable[[OpenTake, list[Heard]], None],
    ) -> None:
        """``ear_for`` makes an ear for a slip and a sample rate; ``say`` speaks to the page; ``react`` is told what
        was heard."""
        self._takes = takes
        self._ear_for = ear_for
        self._say = say
        self._react = react
        self._slots: dict[int, OpenTake] = {}

    def __iter__(self) -> Iterator[OpenTake]:
        return iter(self._slots.values())

    def __contains__(self, opened: object) -> bool:
        return any(each is opened for each in self._slots.values())

    def named(self, take: str) -> OpenTake | None:
        """The open take of that name."""
        return next((each for each in self if each.name == take), None)

    # A take begins and ends ---------------------------------------------------------------------------------------

    def begin(self, slot: int, fresh: Slip, sample_rate_hz: int) -> OpenTake:
        """Open a take in a slot: ``fresh`` tells of it where no slip was written before."""
        if slot in self._slots:
            self._slots.pop(slot).writer.close()
        slip = self._takes.slip(fresh.take) or fresh
        writer = self._takes.open(slip.take, sample_rate_hz)
        self._takes.write_slip(slip)
        self._slots[slot] = opened = self._reopen(slip, writer)
        self.acknowledge(opened)
        return opened

    def move(self, opened: OpenTake, slot: int) -> None:
        """The page came back and sends the take in another slot; it is told how far the take is known."""
        self._slots = {each: take for each, take in self._slots.items() if take is not opened} | {slot: opened}
        self.acknowledge(opened)

    def is_gone(self, take: str, acknowledged: int) -> bool:
        """Whether a take of which the page sent some sound was put away meanwhile."""
        return acknowledged > 0 and self._takes.find(take) is None

    def take_out(self, opened: OpenTake) -> None:
        """No sound follows for the take."""
        self._slots = {slot: each for slot, each in self._slots.items() if each is not opened}

    def take_out_left(self, room: str, *, holds: Collection[str], judging: Collection[str]) -> list[OpenTake]:
        """The takes that a page before this one left, in memory or, before a restart, on the disk; not those of
        which the page ``holds`` sound, nor those that are ``judging``."""
        left = [each for each in self if each.name not in holds]
        held = [each for each in self if each.name in holds]
        self._slots = {-number: each for number, each in enumerate(held, 1)}
        known = {each.name for each in [*left, *held]} | {*judging, *holds}
        for slip in self._takes.slips():
            if slip.room == room and slip.take not in known:
                with contextlib.suppress(TruestopError):
                    left.append(self._reopen(slip, self._takes.open(slip.take, LOWEST_RATE_HZ)))
        return left

    def put_away(self, opened: OpenTake) -> None:
        """The take is in the record, or nobody wants it: the page may forget it too."""
        self._takes.delete(opened.name)
        self.acknowledge(opened, closed=True)

    def bring_up_to_date(self) -> None:
        """Write what is still held back: the page is gone, perhaps for good."""
        for each in self:
            each.writer.bring_up_to_date()

    def close(self) -> None:
        """The server ends; the takes stay on the disk."""
        for each in self:
            each.writer.close()
        self._slots.clear()

    # Sound --------------------------------------------------------------------------------------------------------

    def hear_sound(self, data: bytes) -> None:
        """A block of sound; SoundError where it does not follow what came before."""
        slot, first_frame = BLOCK_HEADER.unpack_from(data)
        opened = self._slots.get(slot)
        if opened is None:
            return
        fresh = opened.writer.append(first_frame, np.frombuffer(data, dtype="<i2", offset=BLOCK_HEADER.size))
        if opened.writer.frames - opened.acknowledged >= ACK_EVERY_S * opened.writer.sample_rate_hz:
            self.acknowledge(opened)
        self._react(opened, opened.ear.feed(fresh))

    def acknowledge(self, opened: OpenTake, *, closed: bool = False) -> None:
        """Tell the page how many frames are safe, and whether the take is put away."""
        opened.acknowledged = opened.writer.frames
        self._say({"type": "ack", "take": opened.name, "frames": opened.writer.frames, "closed": closed})

    def mask(self, opened: OpenTake, first_frame: int, last_frame: int) -> None:
        """The room's own sound lies in this stretch: the ear is to be deaf there."""
        stretch = (first_frame, last_frame)
        if stretch not in opened.slip.masks:
            opened.slip.masks.append(stretch)
            opened.ear.masks.append(Mask(*stretch))
            self._takes.write_slip(opened.slip)

    def set_beats(self, opened: OpenTake, frames: Sequence[int]) -> None:
        """The click's arrivals, in frames of the take: the ear begins anew with them."""
        rate = opened.writer.sample_rate_hz
        beats_s = tuple(frame / rate for frame in frames)
        if beats_s != opened.slip.beats_s:
            opened.slip.beats_s = beats_s
            self._takes.write_slip(opened.slip)
            opened.ear = MaskedEar(self._ear_for(opened.slip, rate))
            self._rehear(opened)

    def answer(self, opened: OpenTake, attempts: Collection[Attempt], answer: str | None) -> None:
        """Note on the take's slip that these attempts were told, and what the own ear had said of them."""
        opened.attempts += [(attempt, answer) for attempt in attempts]
        opened.slip.answers += [answer] * len(attempts)
        self._takes.write_slip(opened.slip)

    def _reopen(self, slip: Slip, writer: TakeWriter) -> OpenTake:
        """A take with its ear, which has heard what is on the disk."""
        ear = MaskedEar(self._ear_for(slip, writer.sample_rate_hz))
        opened = OpenTake(slip=slip, writer=writer, ear=ear, skip=len(slip.answers), acknowledged=writer.frames)
        self._rehear(opened)
        return opened

    def _rehear(self, opened: OpenTake) -> None:
        opened.ear.masks = [Mask(first, last) for first, last in opened.slip.masks]
        block = read_frames(opened.writer.path)
        for start in range(0, block.size, BLOCK_FRAMES):
            self._react(opened, opened.ear.feed(block[start : start + BLOCK_FRAMES]))
