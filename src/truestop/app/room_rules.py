"""The rules of a practice: what each stage asks, when it is met, and where two misses lead.

Conventions: stages bear the names of the drill. A *run* is the attempts at one stage since it was entered. The rules
are common practice, no source: a missed landing is repaired by starting again, a corrected one is a miss, and nobody
repeats blindly. Three true landings in a row let the player go on; they prove nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from truestop.domain.attempt import Verdict


class Listening(StrEnum):
    """What the room listens for."""

    NOTHING = "nothing"
    ANY_OCTAVE = "any octave"
    """The arrival sung, hummed or played in any octave, within ± 50 cents."""
    PITCH = "pitch"
    """The arrival stopped in its own place, within the tolerance."""
    SHIFT = "shift"
    PASSAGE = "passage"


@dataclass(frozen=True, slots=True, kw_only=True)
class StageRule:
    """What one stage asks of the player and of the room."""

    listening: Listening
    cue: str
    """One word, read from the stand."""
    aim: int = 3
    """True in a row that let the player go on; 0 where there is nothing to meet."""
    tone_first: bool = False
    clicks: bool = False
    once: bool = False
    """One attempt, no second chance."""


STAGE_RULES = {
    "name": StageRule(
        listening=Listening.NOTHING,
        aim=0,
        cue="Read",
    ),
    "hear": StageRule(
        listening=Listening.ANY_OCTAVE,
        aim=2,
        cue="Sing",
        tone_first=True,
    ),
    "settle": StageRule(
        listening=Listening.PITCH,
        cue="Settle",
        tone_first=True,
    ),
    "guide": StageRule(
        listening=Listening.SHIFT,
        cue="Guide",
    ),
    "land": StageRule(
        listening=Listening.SHIFT,
        cue="Land",
    ),
    "plain": StageRule(
        listening=Listening.SHIFT,
        cue="Play",
    ),
    "in time": StageRule(
        listening=Listening.SHIFT,
        cue="In time",
        clicks=True,
    ),
    "in the passage": StageRule(
        listening=Listening.PASSAGE,
        cue="Play on",
    ),
    "cold": StageRule(
        listening=Listening.SHIFT,
        aim=0,
        cue="Once",
        once=True,
    ),
}

#: One line for each exercise of a stage that says what to do, short enough to be read from a stand.
STAND_LINES = {
    ("name", "name"): "Say strings, fingers and guide.",
    ("hear", "sing"): "Sing or hum the arrival, in any octave.",
    ("hear", "across"): "Find the arrival without travelling.",
    ("hear", "octave"): "Take the arrival an octave away.",
    ("settle", "frame"): "Set the frame, hold the arrival.",
    ("settle", "check"): "Hold it, check it by the open string.",
    ("guide", "slow"): "Guide finger alone, one light slide.",
    ("guide", "check"): "Travel without bow, then check.",
    ("guide", "set"): "Travel in the rest, set, check.",
    ("land", "guide"): "Slide to the small note, then land.",
    ("land", "slide"): "Let the slide be heard, stop, stay.",
    ("land", "set"): "Set the small note, then play.",
    ("plain", "plain"): "As written. After a miss start again.",
    ("in time", "one bow"): "In one bow: lighten it on the way.",
    ("in time", "rhythms"): "Three rhythms: arrive on the beat.",
    ("in time", "old bow"): "Travel on the old bow, then change.",
    ("in time", "new bow"): "Change the bow, then travel.",
    ("in time", "return"): "There and back: both landings count.",
    ("in the passage", "bars"): "One bar either side.",
    ("in the passage", "phrase"): "The whole phrase, without stopping.",
    ("cold", "cold"): "One attempt. It shows what stayed.",
}

#: The word for an exercise where the stage's own would mislead.
STAND_CUES = {("hear", "across"): "Find", ("hear", "octave"): "Find"}

#: Stages in the order in which they are practised; a cold attempt comes first, on another day than the practice.
STAGE_ORDER = ("cold", "name", "hear", "settle", "guide", "land", "plain", "in time", "in the passage")


class Cause(StrEnum):
    """What misses have in common."""

    HIGH = "high"
    LOW = "low"
    CORRECTED = "corrected"
    LATE = "late"
    EARLY = "early"
    WRONG_NOTE = "wrong note"
    SCATTERED = "scattered"


CAUSE_LINES = {
    Cause.HIGH: "Both were high: hear the note again.",
    Cause.LOW: "Both were low: hear the note again.",
    Cause.CORRECTED: "Both corrected: the ear is ahead of the hand.",
    Cause.LATE: "Both late: the travel starts late or is slow.",
    Cause.EARLY: "Both early: the first note was cut short.",
    Cause.WRONG_NOTE: "Both on another note: hear the arrival again.",
    Cause.SCATTERED: "No two alike: the target is not settled yet.",
}

#: What high and low mean for the hand, by where it travels.
TRAVEL_LINES = {
    (Cause.HIGH, "up"): "Both landed high: the hand travels too far.",
    (Cause.HIGH, "down"): "Both landed high: the hand stops short.",
    (Cause.LOW, "up"): "Both landed low: the hand stops short.",
    (Cause.LOW, "down"): "Both landed low: the hand travels too far.",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class StepBack:
    """Where to go back to after two misses."""

    stage: str
    line: str
    slower: bool = False


_GUIDE_ALONE = StepBack(stage="guide", line="Now the guide finger alone.")
_ONE_MOTION = StepBack(stage="guide", line="Now the guide finger alone, one motion.")
_SETTLE = StepBack(stage="settle", line="Now settle the arrival.")
_HEAR = StepBack(stage="hear", line="Now hear it again.")
_LAND_SLOWER = StepBack(stage="land", line="Now by the guide note, slower.", slower=True)
_SLOWER = StepBack(stage="in time", line="The same with a slower click.", slower=True)
_NO_CLICK = StepBack(stage="plain", line="Now as written, without the click.")

#: For each cause the stages to step back to, the first that comes before the present one.
BACK_TO: dict[Cause, tuple[StepBack, ...]] = {
    Cause.HIGH: (_GUIDE_ALONE, _SETTLE, _HEAR),
    Cause.LOW: (_GUIDE_ALONE, _SETTLE, _HEAR),
    Cause.CORRECTED: (_LAND_SLOWER, _GUIDE_ALONE, _HEAR),
    Cause.LATE: (_SLOWER, _ONE_MOTION),
    Cause.EARLY: (_SLOWER, _NO_CLICK, _LAND_SLOWER),
    Cause.WRONG_NOTE: (_HEAR,),
    Cause.SCATTERED: (_HEAR,),
}
AGAIN = "Hear it once more, then begin again."

_CAUSE_OF = {
    Verdict.HIGH: Cause.HIGH,
    Verdict.LOW: Cause.LOW,
    Verdict.CORRECTED: Cause.CORRECTED,
    Verdict.LATE: Cause.LATE,
    Verdict.EARLY: Cause.EARLY,
    Verdict.WRONG_NOTE: Cause.WRONG_NOTE,
}


def shared_cause(verdicts: Sequence[Verdict], faults: Sequence[Sequence[str]] = ()) -> Cause:
    """What misses have in common: the same verdict, else a fault that all of them show, else nothing.

    >>> shared_cause([Verdict.HIGH, Verdict.HIGH]), shared_cause([Verdict.HIGH, Verdict.LOW])
    (<Cause.HIGH: 'high'>, <Cause.SCATTERED: 'scattered'>)
    """
    words = [{verdict.value, *each} for verdict, each in zip(verdicts, faults or [()] * len(verdicts), strict=True)]
    common = set.intersection(*words) if words else set()
    if len(set(verdicts)) == 1 and verdicts[0] in _CAUSE_OF:
        return _CAUSE_OF[verdicts[0]]
    return next((cause for verdict, cause in _CAUSE_OF.items() if verdict.value in common), Cause.SCATTERED)


def cause_line(cause: Cause, directions: Sequence[str] = ()) -> str:
    """What is said of misses with a common cause: of the hand's way only where all travelled in one direction.

    >>> cause_line(Cause.HIGH, ["down", "down"])
    'Both landed high: the hand stops short.'
    """
    one_way = set(directions)
    found = TRAVEL_LINES.get((cause, next(iter(one_way)))) if len(one_way) == 1 else None
    return found or CAUSE_LINES[cause]


def step_back(cause: Cause, stage: str, stages: Sequence[str]) -> StepBack:
    """Where to go after misses at ``stage``: never forward; the same stage only slower or after the reference."""
    present = stages.index(stage)
    for back in BACK_TO[cause]:
        if back.stage in stages and (stages.index(back.stage) < present or (back.stage == stage and back.slower)):
            return back
    return StepBack(stage=stage, line=AGAIN)
