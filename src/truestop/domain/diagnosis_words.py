"""The words of a diagnosis: one sentence a player understands, and the exercise that follows from the cause.

Conventions: 'too far' and 'short' follow the hand, 'sharp' and 'flat' the ear: a downward shift that lands sharp is
short. mm come beside cents. Exercises are stages of the drill (common practice, no single source).
"""

from __future__ import annotations

from collections.abc import Sequence

from truestop.domain.diagnosis import (
    ALONE,
    USUAL_LIMITS,
    Cause,
    Diagnosis,
    Finding,
    Kin,
    Limits,
    find_causes,
    starts_right,
)
from truestop.domain.progress import Progress, ShiftProgress
from truestop.domain.record import Outcome, ShiftCard
from truestop.domain.wording import Saying, saying

#: The stage to work at for each cause; None where nothing needs work. The exercise stands in the table of texts.
STAGES: dict[Cause, str | None] = {
    Cause.TOO_FEW: "plain",
    Cause.NONE: None,
    Cause.UNCLEAR: "plain",
    Cause.DISTANCE: "guide",
    Cause.START: "settle",
    Cause.TARGET: "hear",
    Cause.EAR_AHEAD: "plain",
    Cause.LEAVES_LATE: "in time",
    Cause.SLOW: "guide",
    Cause.EARLY: "in time",
    Cause.SPACING: "settle",
    Cause.GENERAL: "settle",
    Cause.PASSAGE: "in the passage",
}


def diagnose(
    shift: ShiftProgress,
    outcomes: Sequence[Outcome],
    kin: Kin = ALONE,
    limits: Limits = USUAL_LIMITS,
) -> Diagnosis:
    """Why this shift fails, from its own attempts (in time order) and what the player's other shifts tell."""
    findings = find_causes(shift, outcomes, kin, limits)
    progress = shift.progress
    if findings:
        first, others = findings[0], findings[1:]
        sentence, evidence = _sentence(first, shift.card, progress, limits), first.evidence
    else:
        first, others = _nothing_found(progress, limits), ()
        sentence, evidence = first.evidence, _counts(progress)
    return Diagnosis(
        cause=first.cause,
        sentence=sentence,
        evidence=evidence,
        exercise=saying(f"exercise.{first.cause}"),
        stage=STAGES[first.cause],
        attempts=progress.all.judged,
        others=others,
    )


def _nothing_found(progress: Progress, limits: Limits) -> Finding:
    judged, true = progress.all.judged, progress.all.true
    if judged < limits.fewest:
        how_many = {0: ".none", 1: ".one"}.get(judged, "")
        words = saying(f"cause.{Cause.TOO_FEW}{how_many}", count=judged)
        return Finding(cause=Cause.TOO_FEW, weight=0.0, evidence=words)
    if true < 0.7 * judged:
        misses = tuple(
            saying(f"cause.{Cause.UNCLEAR}.miss", count=count, verdict=saying(f"verdict.{word}"))
            for word, count in progress.misses
        )
        return Finding(cause=Cause.UNCLEAR, weight=0.0, evidence=saying(f"cause.{Cause.UNCLEAR}", misses=misses))
    return Finding(cause=Cause.NONE, weight=0.0, evidence=saying(f"cause.{Cause.NONE}"))


def _counts(progress: Progress) -> Saying:
    both, cold = progress.all, progress.cold
    return saying("evidence.counts", true=both.true, judged=both.judged, cold_true=cold.true, cold_judged=cold.judged)


def _sentence(finding: Finding, card: ShiftCard, progress: Progress, limits: Limits) -> Saying:
    key = f"cause.{finding.cause}"
    if finding.cause is Cause.DISTANCE:
        return _distance(card, progress, limits)
    side = saying("side.sharp" if finding.sharp else "side.flat")
    return saying(key, side=side, finger=card.arrival_finger, group=finding.group)


def _distance(card: ShiftCard, progress: Progress, limits: Limits) -> Saying:
    """'The hand goes 3.1 mm too far (14 cents sharp) on average', and that the start is right where that is known."""
    landing, mm = progress.landing_cents, progress.landing_mm
    bias = landing.bias if landing else 0.0
    far = (bias > 0) == (card.direction == "up")
    return saying(
        f"cause.{Cause.DISTANCE}.{'far' if far else 'short'}",
        way=saying("cause.way", mm=f"{abs(mm.bias):.1f}") if mm else saying("cause.way.unknown"),
        cents=f"{abs(bias):.0f}",
        side=saying("side.sharp" if bias > 0 else "side.flat"),
        start=saying(f"cause.{Cause.DISTANCE}.start") if starts_right(progress, limits) else "",
    )
