"""The words of a diagnosis: one sentence a player understands, and the exercise that follows from the cause.

Conventions: 'too far' and 'short' follow the hand, 'sharp' and 'flat' the ear: a downward shift that lands sharp is
short. mm come beside cents. Exercises are stages of the drill (common practice, no single source).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from truestop.domain.diagnosis import ALONE, USUAL_LIMITS, Cause, Diagnosis, Finding, Kin, Limits, find_causes
from truestop.domain.progress import Progress, ShiftProgress
from truestop.domain.record import Outcome, ShiftCard

#: cause → (stage to work at, the exercise)
EXERCISES: dict[Cause, tuple[str | None, str]] = {
    Cause.TOO_FEW: ("plain", "Play it plainly, a few attempts a day, the first one cold."),
    Cause.NONE: (None, "Leave it for its next cold test."),
    Cause.UNCLEAR: ("plain", "Play it plainly, slower, and say high, low or true before you look."),
    Cause.DISTANCE: ("guide", "Guide finger alone, slurred, up and down; stop and check the place before you go on."),
    Cause.START: ("settle", "Check the departure note against an open string, then shift from there only."),
    Cause.TARGET: (
        "hear",
        "Sing the arrival note before each attempt; then settle in the new position, play its frame.",
    ),
    Cause.EAR_AHEAD: ("plain", "Leave a wrong landing where it is and start again from the departure note."),
    Cause.LEAVES_LATE: (
        "in time",
        "Take the time for the travel from the departure note: leave it sooner and lighter.",
    ),
    Cause.SLOW: ("guide", "Guide finger alone as one motion, with the lightest pressure, a little quicker each time."),
    Cause.EARLY: ("in time", "Hold the departure note for its full length; count the beat before you leave."),
    Cause.SPACING: ("settle", "Stay in the new position and play its frame until this finger finds its place."),
    Cause.GENERAL: ("settle", "Play the frame in several positions and tune these notes against open strings."),
    Cause.PASSAGE: ("in the passage", "One bar either side, slow enough to think of the shift; then the phrase."),
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
        sentence, evidence = _sentence(first, shift.card, progress), first.evidence
    else:
        first, others = _nothing_found(progress, limits), ()
        sentence, evidence = first.evidence, _counts(progress)
    stage, exercise = EXERCISES[first.cause]
    return Diagnosis(
        cause=first.cause,
        sentence=sentence,
        evidence=evidence,
        exercise=exercise,
        stage=stage,
        attempts=progress.all.judged,
        others=others,
    )


def _nothing_found(progress: Progress, limits: Limits) -> Finding:
    judged, true = progress.all.judged, progress.all.true
    if judged == 0:
        return Finding(cause=Cause.TOO_FEW, weight=0.0, evidence="Not tried yet.")
    if judged < limits.fewest:
        return Finding(cause=Cause.TOO_FEW, weight=0.0, evidence=f"{_attempts(judged)} so far: too few to say why.")
    if true < 0.7 * judged:
        misses = ", ".join(f"{count} {word}" for word, count in progress.misses)
        return Finding(cause=Cause.UNCLEAR, weight=0.0, evidence=f"It misses for no single reason: {misses}.")
    return Finding(cause=Cause.NONE, weight=0.0, evidence="No fault stands out.")


def _attempts(count: int) -> str:
    return "One judged attempt" if count == 1 else f"{count} judged attempts"


def _counts(progress: Progress) -> str:
    cold = progress.cold
    return f"{progress.all.true} of {progress.all.judged} true, cold {cold.true} of {cold.judged}."


def _sentence(finding: Finding, card: ShiftCard, progress: Progress) -> str:
    words: dict[Cause, Callable[[], str]] = {
        Cause.DISTANCE: lambda: f"The hand {_travel_words(card, progress)} every time; the start is right.",
        Cause.START: lambda: f"The distance is right, but it starts {_side(finding)}, so it lands {_side(finding)}.",
        Cause.SPACING: lambda: f"The hand arrives, but finger {card.arrival_finger} falls {_side(finding)}.",
        Cause.GENERAL: lambda: f"Not this shift alone: {finding.group}, you land {_side(finding)} in general.",
        Cause.TARGET: lambda: "There is no stable target: landings scatter to both sides.",
        Cause.EAR_AHEAD: lambda: "The ear is ahead of the hand: it lands beside the note and is moved there.",
        Cause.LEAVES_LATE: lambda: "It comes late because it leaves late; the travel itself is quick enough.",
        Cause.SLOW: lambda: "It comes late because the travel is slow.",
        Cause.EARLY: lambda: "It comes early: the departure note is cut short.",
        Cause.PASSAGE: lambda: "It works by itself, but not in the passage.",
    }
    return words[finding.cause]()


def _side(finding: Finding) -> str:
    return "sharp" if finding.sharp else "flat"


def _travel_words(card: ShiftCard, progress: Progress) -> str:
    """'goes 3.1 mm too far (14 cents sharp)'."""
    landing, mm = progress.landing_cents, progress.landing_mm
    bias = landing.bias if landing else 0.0
    far = (bias > 0) == (card.direction == "up")
    way = f"{abs(mm.bias):.1f} mm" if mm else "a little"
    side = "sharp" if bias > 0 else "flat"
    return f"{'goes' if far else 'stays'} {way} {'too far' if far else 'short'} ({abs(bias):.0f} cents {side})"
