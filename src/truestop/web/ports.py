"""What the room's conversations ask of the rest of the program."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Protocol

from truestop.domain.attempt import Attempt
from truestop.web.hearing import Ear, PhraseJudged
from truestop.web.takes import Slip


class Desk(Protocol):
    """What a conversation asks of the rest of the program."""

    def ear_for(self, purpose: str, about: Mapping[str, Any], sample_rate_hz: int, beats_s: tuple[float, ...]) -> Ear:
        """An ear for a take that begins."""
        ...

    def keep_take(self, slip: Slip, path: Path, attempts: Sequence[tuple[Attempt, str | None]]) -> str | None:
        """Put a complete take of practice into the record, each attempt with what the own ear said; its id there."""
        ...

    def judge_through(self, slip: Slip, path: Path) -> list[dict[str, Any]]:
        """Judge and keep a run through the passage; what the page shows of each shift."""
        ...

    def stages(self, passage: str, shift: int) -> tuple[str, ...]:
        """The stages that a shift calls for, in the order of practice; DrillError where there is no such shift."""
        ...

    def judge_phrase(self, slip: Slip, path: Path, first_frame: int, last_frame: int) -> PhraseJudged:
        """Every shift that was played in a stretch of a take of the passage; nothing is kept."""
        ...

    def keep_passage_take(
        self, slip: Slip, path: Path, attempts: Sequence[tuple[Attempt, str | None]]
    ) -> tuple[str | None, list[dict[str, Any]]]:
        """Keep a take of the passage with every shift that was played; its id, None without any, and what to show."""
        ...

    def beats(self, passage: str, shift: int, stage: str, way: str) -> dict[str, Any]:
        """Beats of one round of the exercise ('length'), and those on which an arrival falls ('arrivals')."""
        ...

    def cold_due(self, passage: str, shift: int) -> bool:
        """Whether the next attempt at the shift would be a cold one, after practice on another day."""
        ...
