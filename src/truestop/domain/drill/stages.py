"""What a drill is made of: stages, exercises, and what a listener may expect of each.

Conventions: an exercise is real notes that fill their bars. ``stops`` has one entry for every note of its passage,
small notes among them, so that place and string of everything on the page are known. Only the stages from
*plain* on count for a shift's record; the others count as stage practice.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from truestop.domain.passage import Passage
from truestop.domain.shift import Shift
from truestop.domain.stop import Stop


class Stage(StrEnum):
    """The stages of learning a shift, in their order."""

    NAME = "name"
    HEAR = "hear"
    SETTLE = "settle"
    GUIDE = "guide"
    LAND = "land"
    PLAIN = "plain"
    IN_TIME = "in time"
    IN_THE_PASSAGE = "in the passage"
    COLD = "cold"

    @property
    def counts(self) -> bool:
        """Whether attempts at this stage count for the shift's record."""
        return self in (Stage.PLAIN, Stage.IN_TIME, Stage.IN_THE_PASSAGE, Stage.COLD)


ALL_STAGES = tuple(Stage)


@dataclass(frozen=True, slots=True, kw_only=True)
class Travel:
    """One travel that the exercise asks for, in the words a listener needs.

    ``departure`` and ``arrival`` are stops of the exercise's own notes (lowest note first in a double stop). ``guide``
    is the guide note that is sounded on the way and so announced; empty where it is hidden or there is none.
    """

    departure: tuple[Stop, ...]
    arrival: tuple[Stop, ...]
    guide: tuple[Stop, ...] = ()
    silent: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Exercise:
    """A few bars to play, with their heading and a one-line instruction."""

    key: str
    """Unique in the sheet and stable: '3-guide-slow'; also the prefix of its note ids."""
    shift: int
    stage: Stage
    variant: str
    heading: str
    instruction: str
    passage: Passage
    stops: tuple[Stop, ...]
    travels: tuple[Travel, ...] = ()

    @property
    def counts(self) -> bool:
        """Whether attempts at it count for the shift's record."""
        return self.stage.counts


@dataclass(frozen=True, slots=True, kw_only=True)
class Drill:
    """All exercises for one shift, in the order of the stages."""

    shift: Shift
    exercises: tuple[Exercise, ...]

    def of_stage(self, stage: Stage) -> tuple[Exercise, ...]:
        """The exercises of one stage; empty where the shift does not call for it."""
        return tuple(exercise for exercise in self.exercises if exercise.stage is stage)
