"""A room with a desk whose ears hear what the test says."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from truestop.app.room_rules import STAGE_ORDER
from truestop.domain.attempt import Attempt, Target, Verdict
from truestop.domain.pitch import Pitch
from truestop.listening.returning import Round
from truestop.web.hearing import AttemptHeard, Heard, LandingHeard, NoteHeard, PhraseHeard, PhraseJudged, RoundHeard
from truestop.web.takes import Slip

RATE_HZ = 8000
TARGET = Target(pitch=Pitch("A", 0, 4), hz=440.0, system="equal", reference="A4 = 440 Hz", string=2, place=7)


def attempt_at(second: int, verdict: Verdict = Verdict.HIGH, cents: float = 30.0) -> Attempt:
    """An attempt that ends with second ``second`` of the take."""
    return Attempt(
        shift="s1", stage="plain", start_s=second, end_s=second + 1.0, departure_s=second + 0.4,
        arrival_s=second + 0.6, target=TARGET, verdict=verdict, landing_cents=cents, landing_mm=2.0,
    )  # fmt: skip


class SecondsEar:
    """Hears one attempt in each full second whose first sample is above nothing; that sample says how high.

    In the passage a second of nothing ends a phrase. Sung, the attempts are notes an octave below; both ways,
    they are ways back, each after a true way there.
    """

    def __init__(self, stage: str = "plain", *, sung: bool = False, both_ways: bool = False) -> None:
        self.stage = stage
        self.both_ways = both_ways
        self.sung = sung
        self.samples: list[float] = []
        self.seconds = 0

    def feed(self, samples: NDArray[np.float32]) -> list[Heard]:
        self.samples += samples.tolist()
        heard: list[Heard] = []
        while len(self.samples) >= RATE_HZ * (self.seconds + 1):
            first = self.samples[self.seconds * RATE_HZ]
            if first > 0:
                heard += self._attempt(round(first * 1000))
            elif self.stage == "in the passage":
                heard.append(PhraseHeard(first_frame=0, last_frame=len(self.samples)))
            self.seconds += 1
        return heard

    def _attempt(self, cents: int) -> list[Heard]:
        attempt = attempt_at(self.seconds, Verdict.TRUE if cents <= 20 else Verdict.HIGH, cents)
        if self.sung:
            return [NoteHeard(octaves=-1, attempt=replace(attempt, stage=self.stage))]
        if self.both_ways:
            there = attempt_at(self.seconds, Verdict.TRUE, 3.0)
            back = replace(attempt, shift="s1-back", start_s=self.seconds + 0.5)
            return [RoundHeard(round=Round(there=there, back=back), directions=("up", "down"))]
        landing = LandingHeard(at_s=self.seconds, landing_cents=cents, landing_mm=1.0)
        return [landing, AttemptHeard(attempt=attempt, direction="up")]

    def finish(self) -> list[Heard]:
        return []


def shifts_marked(marks: Mapping[str, str]) -> list[dict[str, Any]]:
    """Shifts as the desk shows them, one a note."""
    return [
        {"number": number, "notes": [note], "attempt": {"verdict": verdict}}
        for number, (note, verdict) in enumerate(marks.items(), 1)
    ]


@dataclass
class FakeDesk:
    """Keeps takes in a list."""

    kept: list[tuple[Slip, int, list[tuple[Attempt, str | None]]]] = field(default_factory=list)
    ears: list[tuple[str, dict[str, Any], tuple[float, ...]]] = field(default_factory=list)
    cold: bool = False
    sung: bool = False
    both_ways: bool = False
    phrases: list[dict[str, str]] = field(default_factory=list)
    """What the next phrases of a passage show: verdicts by note."""
    phrases_take_s: list[float] = field(default_factory=list)
    """How long each of the next phrases is being judged."""
    whole: dict[str, str] = field(default_factory=dict)
    """What the whole take shows."""

    def ear_for(
        self, purpose: str, about: Mapping[str, Any], sample_rate_hz: int, beats_s: tuple[float, ...]
    ) -> SecondsEar:
        self.ears.append((purpose, dict(about), beats_s))
        return SecondsEar(str(about.get("stage", "plain")), sung=self.sung, both_ways=self.both_ways)

    def keep_take(self, slip: Slip, path: Path, attempts: Sequence[tuple[Attempt, str | None]]) -> str:
        self.kept.append((slip, path.stat().st_size, list(attempts)))
        return f"kept-{len(self.kept)}"

    def judge_phrase(self, slip: Slip, path: Path, first_frame: int, last_frame: int) -> PhraseJudged:
        marks = self.phrases.pop(0) if self.phrases else {}
        time.sleep(self.phrases_take_s.pop(0) if self.phrases_take_s else 0.0)
        return PhraseJudged(attempts=(attempt_at(0),), direction="up", shifts=shifts_marked(marks))

    def keep_passage_take(
        self, slip: Slip, path: Path, attempts: Sequence[tuple[Attempt, str | None]]
    ) -> tuple[str | None, list[dict[str, Any]]]:
        return self.keep_take(slip, path, attempts), shifts_marked(self.whole)

    def judge_through(self, slip: Any, path: Path) -> list[dict[str, Any]]:
        return [{"number": 1, "bytes": path.stat().st_size}]

    def stages(self, passage: str, shift: int) -> tuple[str, ...]:
        return STAGE_ORDER

    def beats(self, passage: str, shift: int, stage: str, way: str) -> dict[str, Any]:
        return {"arrivals": [2.0], "length": 8}

    def cold_due(self, passage: str, shift: int) -> bool:
        return self.cold


@pytest.fixture
def desk() -> FakeDesk:
    return FakeDesk()


@pytest.fixture
def seconds_of() -> Callable[..., NDArray[np.int16]]:
    """Sound in which each second's first sample says how many cents high its attempt is."""

    def make(*cents: float) -> NDArray[np.int16]:
        block = np.zeros(RATE_HZ * len(cents), dtype=np.int16)
        block[::RATE_HZ] = [round(each * 32.768) for each in cents]
        return block

    return make
