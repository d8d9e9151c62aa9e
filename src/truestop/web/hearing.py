"""What listens to a take while it sounds.

Conventions: an ear takes float samples in blocks of any size and gives what it heard, in order. Times are seconds from
the start of the take, cents count from the target. What an ear hears is already final: nothing is taken back.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from truestop.domain.attempt import Attempt
from truestop.listening.returning import Round

BLOCK_FRAMES = 8192


@dataclass(frozen=True, slots=True, kw_only=True)
class Pitched:
    """Points of the pitch trace; None where nothing was heard."""

    times_s: tuple[float, ...]
    cents: tuple[float | None, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LandingHeard:
    """A landing is final; its verdict may still turn out *corrected*."""

    at_s: float
    landing_cents: float
    landing_mm: float | None
    landing_se_cents: float | None = None
    leg: str = ""
    """'there' or 'back' where both are played."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AttemptHeard:
    """An attempt has its verdict."""

    attempt: Attempt
    direction: str = ""
    """Where the hand travels: 'up' or 'down'."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RoundHeard:
    """There and back: both landings have their verdicts, or one of the two does not come."""

    round: Round
    directions: tuple[str, str] = ("", "")
    """Where the hand travels on the way there and on the way back."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteHeard:
    """A note that was sung, hummed or settled, judged against the target; ``octaves`` from it, + is above."""

    octaves: int
    attempt: Attempt


@dataclass(frozen=True, slots=True, kw_only=True)
class PhraseHeard:
    """The player came to the end of a phrase: the stretch of the take, in frames, that holds it."""

    first_frame: int
    last_frame: int


@dataclass(frozen=True, slots=True, kw_only=True)
class StringHeard:
    """An open string was measured."""

    string: int
    hz: float
    se_cents: float
    off_cents: float
    """Against what the string should be in the chosen system."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PhraseJudged:
    """A phrase after it was heard as a whole: the attempts at the drilled shift, and what to show of every shift."""

    attempts: tuple[Attempt, ...]
    direction: str
    """Of the drilled shift: 'up' or 'down'."""
    shifts: list[dict[str, Any]]


Heard = Pitched | LandingHeard | AttemptHeard | RoundHeard | NoteHeard | PhraseHeard | StringHeard


def attempts_in(heard: Sequence[Heard]) -> list[Attempt]:
    """The attempts of what was heard, in the order in which they were told."""
    found: list[Attempt] = []
    for one in heard:
        if isinstance(one, AttemptHeard | NoteHeard):
            found.append(one.attempt)
        elif isinstance(one, RoundHeard):
            found += one.round.attempts
    return found


class Ear(Protocol):
    """Hears one take."""

    def feed(self, samples: NDArray[np.float32]) -> list[Heard]:
        """What became clear with ``samples``."""
        ...

    def finish(self) -> list[Heard]:
        """What is left when the take ends here."""
        ...


@dataclass(slots=True)
class Mask:
    """A stretch of the take in which the room itself sounds."""

    first_frame: int
    last_frame: int


class MaskedEar:
    """Keeps an ear from hearing the room's own sounds: they are silence to it."""

    def __init__(self, ear: Ear) -> None:
        self.ear = ear
        self.masks: list[Mask] = []
        self.frames = 0

    def mask(self, first_frame: int, last_frame: int) -> None:
        """Frames ``first_frame`` to ``last_frame`` are the room's own sound."""
        self.masks.append(Mask(first_frame, last_frame))

    def feed(self, block: NDArray[np.int16]) -> list[Heard]:
        """Hear a block of 16-bit samples that follows the last one."""
        samples = block.astype(np.float32) / 32768.0
        for mask in self.masks:
            low, high = mask.first_frame - self.frames, mask.last_frame - self.frames
            if high > 0 and low < samples.size:
                samples[max(0, low) : max(0, high)] = 0.0
        self.frames += int(block.size)
        self.masks = [mask for mask in self.masks if mask.last_frame > self.frames]
        return self.ear.feed(samples)

    def finish(self) -> list[Heard]:
        """What is left at the end of the take."""
        return self.ear.finish()

    def hear(self, take: NDArray[np.int16]) -> list[Heard]:
        """A whole take, as if it sounded now."""
        blocks = (take[start : start + BLOCK_FRAMES] for start in range(0, take.size, BLOCK_FRAMES))
        return [*(heard for block in blocks for heard in self.feed(block)), *self.finish()]
