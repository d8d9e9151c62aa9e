"""The built-in study and its takes: the main job against a known truth."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path

import pytest

from truestop.adapters.score.reading import read_score
from truestop.app.demo import STUDY, TAKES, DemoTake, play, shift_from, study_bytes
from truestop.app.mainjob import HeldSound, InHand, Setup, judge, take_in_hand

ORACLES = Path(__file__).parents[1] / "oracles"


@pytest.fixture(scope="module")
def study() -> InHand:
    return take_in_hand(read_score(study_bytes(), name=STUDY), Setup())


def _author_stops() -> Iterator[tuple[str, int, str]]:
    with (ORACLES / "study_stops.csv").open(encoding="utf-8") as file:
        rows = csv.DictReader(line for line in file if not line.startswith("#"))
        for row in rows:
            yield row["note"], int(row["string"]), row["finger"]


def test_the_printed_fingers_are_completed_as_the_author_plays(study: InHand) -> None:
    author = {note: (string, finger) for note, string, finger in _author_stops()}
    completed = {stop.note_id: (stop.string, stop.finger.value) for step in study.fingered.steps for stop in step.stops}
    assert len(author) == 64
    assert completed == author


def test_the_study_holds_every_kind_of_shift_a_violin_has(study: InHand) -> None:
    kinds = {(shift.relation.value, shift.direction, shift.crossing) for shift in study.way.shifts}
    for relation in ("same", "to higher", "to lower"):
        for direction in ("up", "down"):
            for crossing in (False, True):
                assert (relation, direction, crossing) in kinds
    assert {shift.cover.value for shift in study.way.shifts} == {"none", "rest", "open", "harmonic"}
    assert "from open" in {shift.relation.value for shift in study.way.shifts}


@pytest.mark.parametrize("take", TAKES, ids=lambda take: take.file)
def test_every_take_gets_the_verdicts_it_deserves(study: InHand, take: DemoTake) -> None:
    shift = shift_from(study, take.from_note)
    sound = play(study, take, seed=TAKES.index(take))
    held = HeldSound(samples=sound.samples, sample_rate_hz=sound.sample_rate_hz)
    attempts = judge(study, shift, held, stage=take.stage, beats_s=sound.beats_s)
    assert tuple(attempt.verdict for attempt in attempts) == take.truth
    for attempt, truth in zip(attempts, sound.attempts, strict=True):
        assert attempt.landing_cents == pytest.approx(truth.landing_cents, abs=2.5)
