"""Planted causes are named, with the exercise that follows. The rates are measured in benchmarks/practice.py."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from keeping_samples import PASSAGE, shift_card
from truestop.app.progress import make_report
from truestop.domain.attempt import Verdict
from truestop.domain.diagnosis import Cause
from truestop.domain.diagnosis_words import STAGES, diagnose
from truestop.domain.fingerboard import cents_to_mm
from truestop.domain.progress import ShiftProgress, summarise
from truestop.domain.record import Outcome


def play(
    rng: np.random.Generator, number: int = 20, shift: str = "s1", stage: str = "plain", **fault: float
) -> list[Outcome]:
    """Attempts of a sound player, with a fault planted."""
    found = []
    for k in range(number):
        departure = fault.get("start", 0.0) + rng.normal(0, 4)
        landing = fault.get("bias", 0.0) + fault.get("start", 0.0) + rng.normal(0, fault.get("spread", 7.0))
        timing = fault.get("late", 0.0) + rng.normal(0, 0.025)
        corrected = bool(rng.random() < fault.get("corrected", 0.02))
        verdict = (
            "corrected" if corrected else "high" if landing > 20 else "low" if landing < -20
            else "late" if timing > 0.06 else "early" if timing < -0.06 else "true"
        )  # fmt: skip
        slide = fault.get("slide", 0.2) + rng.normal(0, 0.02)
        mm = cents_to_mm(landing, 5, 328.0)
        found.append(
            Outcome(
                shift, stage, 1000.0 * k, 1, False, Verdict(verdict), landing, 0.6, mm, departure, landing - departure,
                0.0, fault.get("guide"), slide, timing,
            )
        )  # fmt: skip
    return found


PLANTED: list[tuple[Cause, dict[str, float]]] = [
    (Cause.NONE, {}),
    (Cause.DISTANCE, {"bias": 16.0}),
    (Cause.START, {"start": -16.0}),
    (Cause.TARGET, {"spread": 24.0}),
    (Cause.EAR_AHEAD, {"corrected": 0.5}),
    (Cause.LEAVES_LATE, {"late": 0.12}),
    (Cause.SLOW, {"late": 0.12, "slide": 0.34}),
    (Cause.EARLY, {"late": -0.12}),
    (Cause.SPACING, {"bias": 16.0, "guide": 1.0}),
]


@pytest.mark.parametrize(("cause", "fault"), PLANTED)
def test_a_planted_cause_is_named(cause: Cause, fault: dict[str, float]) -> None:
    outcomes = play(np.random.default_rng(5), **fault)
    shift = ShiftProgress(card=shift_card(), progress=summarise(outcomes, ""))
    diagnosis = diagnose(shift, outcomes)
    assert diagnosis.cause is cause
    assert (diagnosis.stage, diagnosis.exercise.key) == (STAGES[cause], f"exercise.{cause}")
    assert str(diagnosis.sentence).endswith(".")
    assert str(diagnosis.evidence).endswith(".")


@pytest.mark.parametrize(
    ("direction", "bias", "words"),
    [("up", 16.0, "too far"), ("up", -16.0, "short"), ("down", 16.0, "short"), ("down", -16.0, "too far")],
)
def test_too_far_and_short_follow_the_hand(direction: str, bias: float, words: str) -> None:
    outcomes = play(np.random.default_rng(5), bias=bias)
    shift = ShiftProgress(card=shift_card(direction=direction), progress=summarise(outcomes, ""))
    sentence = str(diagnose(shift, outcomes).sentence)
    assert words in sentence
    assert ("sharp" if bias > 0 else "flat") in sentence
    assert "mm" in sentence


@pytest.mark.parametrize(("departure", "said"), [(None, False), (0.0, True), (7.5, False), (-9.0, False)])
def test_that_the_start_is_right_is_said_only_where_it_is_known(departure: float | None, said: bool) -> None:
    outcomes = play(np.random.default_rng(5), bias=20.0)
    for one in outcomes:
        one.departure_cents = None if departure is None else departure
        one.interval_error_cents = None if departure is None else (one.landing_cents or 0.0) - departure
    shift = ShiftProgress(card=shift_card(), progress=summarise(outcomes, ""))
    diagnosis = diagnose(shift, outcomes)
    assert diagnosis.cause is Cause.DISTANCE
    assert ("the start is right" in str(diagnosis.sentence)) is said


def test_works_alone_but_not_in_the_passage() -> None:
    rng = np.random.default_rng(5)
    outcomes = play(rng, stage="plain") + play(rng, stage="in the passage", spread=30.0)
    shift = ShiftProgress(card=shift_card(), progress=summarise(outcomes, ""))
    assert diagnose(shift, outcomes).cause is Cause.PASSAGE


@pytest.mark.parametrize(
    ("changes", "words"),
    [({"arrival_finger": "4"}, "arriving with 4"), ({"string": 3}, "arriving on III"), ({"direction": "down"}, "down")],
)
def test_one_finger_or_string_in_general(changes: dict[str, Any], words: str) -> None:
    rng = np.random.default_rng(5)
    cards = [shift_card(n, **(changes if n <= 3 else {})) for n in range(1, 8)]
    outcomes = [one for n in range(1, 8) for one in play(rng, shift=f"s{n}", bias=-16.0 if n <= 3 else 0.0)]
    report = make_report(PASSAGE, cards, outcomes)
    causes = [diagnosis.cause for diagnosis in report.diagnoses]
    assert causes == [Cause.GENERAL] * 3 + [Cause.NONE] * 4
    assert words in str(report.diagnoses[0].sentence)


def test_nothing_is_said_on_few_attempts() -> None:
    outcomes = play(np.random.default_rng(5), number=5, bias=40.0)
    shift = ShiftProgress(card=shift_card(), progress=summarise(outcomes, ""))
    assert diagnose(shift, outcomes).cause is Cause.TOO_FEW
    empty = ShiftProgress(card=shift_card(), progress=summarise([], ""))
    assert str(diagnose(empty, []).sentence) == "Not tried yet."


def test_every_cause_has_an_exercise() -> None:
    assert set(STAGES) == set(Cause)
