"""A room with a desk whose ears hear what the test says."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from truestop.app.room_rules import STAGE_ORDER
from truestop.domain.attempt import Attempt, Target, Verdict
from truestop.domain.pitch import Pitch
from truestop.web.hearing import AttemptHeard, Heard, LandingHeard
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
    """Hears one attempt in each full second whose first sample is above nothing; that sample says how high."""

    def __init__(self) -> None:
        self.samples: list[float] = []
        self.seconds = 0

    def feed(self, samples: NDArray[np.float32]) -> list[Heard]:
        self.samples += samples.tolist()
        heard: list[Heard] = []
        while len(self.samples) >= RATE_HZ * (self.seconds + 1):
            first = self.samples[self.seconds * RATE_HZ]
            if first > 0:
                cents = round(first * 1000)
                heard.append(LandingHeard(at_s=self.seconds, landing_cents=cents, landing_mm=1.0))
                verdict = Verdict.TRUE if cents <= 20 else Verdict.HIGH
                heard.append(AttemptHeard(attempt=attempt_at(self.seconds, verdict, cents)))
            self.seconds += 1
        return heard

    def finish(self) -> list[Heard]:
        return []


@dataclass
class FakeDesk:
    """Keeps takes in a list."""

    kept: list[tuple[Slip, int, list[tuple[Attempt, str | None]]]] = field(default_factory=list)
    ears: list[tuple[str, dict[str, Any], tuple[float, ...]]] = field(default_factory=list)
    cold: bool = False

    def ear_for(
        self, purpose: str, about: Mapping[str, Any], sample_rate_hz: int, beats_s: tuple[float, ...]
    ) -> SecondsEar:
        self.ears.append((purpose, dict(about), beats_s))
        return SecondsEar()

    def keep_take(self, slip: Slip, path: Path, attempts: Sequence[tuple[Attempt, str | None]]) -> str:
        self.kept.append((slip, path.stat().st_size, list(attempts)))
        return f"kept-{len(self.kept)}"

    def judge_through(self, slip: Any, path: Path) -> list[dict[str, Any]]:
        return [{"number": 1, "bytes": path.stat().st_size}]

    def stages(self, passage: str, shift: int) -> tuple[str, ...]:
        return STAGE_ORDER

    def beats(self, passage: str, shift: int, stage: str) -> dict[str, Any]:
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
