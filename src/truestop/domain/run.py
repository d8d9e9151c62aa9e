"""What a run through a passage should sound like: its line, and the shifts that are crossed on the way.

Conventions: pitches in Hz; beats are quarter notes.
"""

from __future__ import annotations

from dataclasses import dataclass

from truestop.domain.attempt import Expectation


@dataclass(frozen=True, slots=True, kw_only=True)
class WrittenNote:
    """One moment of the line: what sounds and for how long; ``hz`` is empty for a rest."""

    hz: tuple[float, ...]
    onset_beats: float
    duration_beats: float
    begins_bar: bool = False
    """It is the first note of its bar."""
    bar: str = ""
    """The bar's name."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Crossing:
    """One shift of a run: what is expected of it, and its two notes' places in the line."""

    expected: Expectation
    departure: int
    arrival: int
    covered: bool = False
    """Something else sounds in between, so that only the arrival is judged."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """The line as it is followed, rests filled in, and its shifts."""

    line: tuple[WrittenNote, ...]
    crossings: tuple[Crossing, ...]
