"""A practice of one shift: how it stands, what can happen to it, and what the room is told to do.

Conventions: all of it is data. What follows from what is in ``room``.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from truestop.app.room_rules import STAGE_ORDER, STAGE_RULES, Cause, Listening, StageRule, StepBack
from truestop.domain.attempt import Verdict


class Phase(StrEnum):
    """What the room is doing."""

    READ = "read"
    TONE = "tone"
    COUNT = "count"
    PLAY = "play"
    ANSWER = "answer"
    """A landing is there; the player says what it was before the room does."""
    STOPPED = "stopped"
    MET = "met"
    DONE = "done"


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """How the player wants to practise. Seconds are of waiting before the room goes on by itself."""

    aim: int = 3
    own_ear: bool = False
    sounds: bool = False
    """A short sound after each verdict, for practice with closed eyes."""
    by_itself: bool = True
    """Whether the room advances without a pedal."""
    read_s: float = 8.0
    met_s: float = 3.0
    stopped_s: float = 8.0
    answer_s: float = 4.0
    tempo_bpm: float = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """One attempt of the run, as the rules see it."""

    verdict: Verdict
    faults: tuple[str, ...] = ()
    landing_cents: float | None = None
    landing_mm: float | None = None
    settled_cents: float | None = None
    tolerance_cents: float = 20.0
    reason: str | None = None
    answer: str | None = None
    """What the player's own ear said."""
    direction: str = ""
    """Where the hand travelled, 'up' or 'down'; empty where a note was held or sung."""
    leg: str = ""
    """Of an exercise that goes there and back, the way that decides: 'there' or 'back'."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stopped:
    """Why the run was stopped and where it leads."""

    cause: Cause
    line: str
    back: StepBack


@dataclass(frozen=True, slots=True, kw_only=True)
class Practice:
    """One shift being practised."""

    stages: tuple[str, ...] = STAGE_ORDER
    settings: Settings = Settings()
    index: int = 0
    phase: Phase = Phase.READ
    run: tuple[Told, ...] = ()
    held: Told | None = None
    """The verdict that waits for the player's own ear."""
    answer: str | None = None
    """The own ear's word that waits for the verdict."""
    misses: int = 0
    trues: int = 0
    stopped: Stopped | None = None
    return_to: int | None = None
    """The stage that was stepped back from."""
    tempo_ratio: float = 1.0
    own_ear_asked: int = 0
    own_ear_right: int = 0
    listening_since: int = 0
    """The moment at which the present take was ordered."""
    moment: int = 0

    @property
    def stage(self) -> str:
        """The present stage's name."""
        return self.stages[self.index]

    @property
    def rule(self) -> StageRule:
        """What the present stage asks."""
        return STAGE_RULES[self.stage]

    @property
    def aim(self) -> int:
        """True in a row that let the player go on, at the present stage."""
        rule = self.rule
        return min(rule.aim, self.settings.aim) if rule.aim < 3 else self.settings.aim

    @property
    def is_last(self) -> bool:
        """Whether no stage follows."""
        return self.index + 1 >= len(self.stages)


# What can happen ----------------------------------------------------------------------------------------------------


class Act(StrEnum):
    """What the player does, by pedal, key or tap."""

    ON = "on"
    AGAIN = "again"
    TONE = "tone"
    BACK = "back"
    """Take the step back that is offered."""
    LEAVE = "leave"
    SAY_HIGH = "high"
    SAY_LOW = "low"
    SAY_TRUE = "true"


@dataclass(frozen=True, slots=True, kw_only=True)
class GoTo:
    """The player chooses a stage."""

    stage: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ToneEnded:
    """The reference has sounded."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Counted:
    """The count-in is over."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Landed:
    """A landing is final, its verdict not yet."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """An attempt, or a sung or settled note, has its verdict."""

    told: Told


@dataclass(frozen=True, slots=True, kw_only=True)
class Waited:
    """The time that an order named is over."""

    moment: int


Happening = Act | GoTo | ToneEnded | Counted | Landed | Judged | Waited

# What the room is told to do ----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class PlayTone:
    """Let the reference sound; what sounds is kept from the ear."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CountIn:
    """Let the click begin."""

    tempo_bpm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Listen:
    """Begin to listen, in a new take, for what the stage asks."""

    listening: Listening
    stage: str
    since: int
    """Names the take: the same order given again means the take that is running already."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rest:
    """End the take; nothing is judged."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tell:
    """Show the verdict, and sound it if wanted."""

    told: Told
    own_ear_right: bool | None
    sound: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class WaitFor:
    """Come back after ``seconds`` with ``moment``."""

    seconds: float
    moment: int


Order = PlayTone | CountIn | Listen | Rest | Tell | WaitFor
