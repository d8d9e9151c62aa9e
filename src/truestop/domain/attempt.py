"""What is expected of an attempt, what was measured, and the verdict.

Conventions: + is sharp, + is late, + is towards the bridge. Cents count from the target. Times are seconds from the
start of the take. None where unknown; NaN never. Definitions: docs/measures.md.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from truestop.domain.pitch import Pitch

#: The version of the measure, kept with every verdict; raise it when a number may come out differently.
MEASURE_VERSION = 2

TOLERANCES_CENTS = {"first lessons": 30.0, "student": 20.0, "concert": 10.0}
"""Presets. A musician's difference limen at 528 Hz is about 10 cents (Arndt et al. 2020)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """The frequency a stop should have, with the system it comes from and what it was tuned against."""

    pitch: Pitch
    hz: float
    system: str
    """'equal', 'pythagorean', 'strings', 'just' or a Scala scale's name."""
    reference: str | None
    """'A4 = 440 Hz', 'open G3'…"""
    string: int
    place: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Expectation:
    """What the drill says is coming: everything a listener may know before the first sound."""

    shift: str
    """The shift's stable key in the record."""
    stage: str
    departure: Target
    arrival: Target
    guide: Target | None = None
    """The announced guide note, sounded on the way; None where it is hidden."""
    silent: bool = False
    """The travel has a cover: no slide is heard."""
    new_bow: bool = False
    """A new bow may come with the arrival, as in a run: silence before it is no fault."""
    departure_open: bool = False
    arrival_open: bool = False
    """Arrival on an open string or natural harmonic: judged only as speaking or not, and in time."""
    length_mm: float = 328.0
    open_strings_hz: tuple[float, ...] = ()
    tolerance_cents: float = 20.0
    beats_s: tuple[float, ...] = ()
    """Where the arrivals should fall in the take (click on the audio clock less latency); empty without a click."""
    upper_departure: Target | None = None
    upper_arrival: Target | None = None
    """The second note of a double stop."""
    upper_arrival_open: bool = False
    """That note is an open string or natural harmonic."""


class Verdict(StrEnum):
    """The word for one attempt; the first that applies, in the order of docs/measures.md."""

    UNJUDGED = "unjudged"
    WRONG_NOTE = "wrong note"
    CORRECTED = "corrected"
    HIGH = "high"
    LOW = "low"
    EARLY = "early"
    LATE = "late"
    TRUE = "true"

    @property
    def is_miss(self) -> bool:
        """Anything but true and unjudged."""
        return self not in (Verdict.TRUE, Verdict.UNJUDGED)


def landing_side(landing_cents: float, tolerance_cents: float) -> str:
    """Where a landing lies, in the words of the own ear: 'high', 'low', or 'true' within the tolerance.

    >>> landing_side(-31.0, 20.0), landing_side(4.0, 20.0)
    ('low', 'true')
    """
    if abs(landing_cents) <= tolerance_cents:
        return "true"
    return "high" if landing_cents > 0 else "low"


@dataclass(frozen=True, slots=True, kw_only=True)
class Vibrato:
    """Vibrato on the arrival note. ``extent_cents`` is half the mean swing."""

    present: bool
    rate_hz: float | None = None
    extent_cents: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteLanding:
    """What was measured of one note of a double stop, as in ``Attempt``."""

    target: Target
    verdict: Verdict
    faults: tuple[str, ...] = ()
    reason: str | None = None
    borderline: bool = False
    arrival_s: float | None = None
    landing_cents: float | None = None
    landing_se_cents: float | None = None
    landing_mm: float | None = None
    interval_error_cents: float | None = None
    settled_cents: float | None = None
    correction_cents: float | None = None
    overshoot_cents: float | None = None
    vibrato: Vibrato = Vibrato(present=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Attempt:
    """One departure → travel → arrival in a take, measured and judged."""

    shift: str
    stage: str
    start_s: float
    end_s: float
    departure_s: float | None
    """t_l, where the slide leaves."""
    arrival_s: float | None
    """t_a, where it comes to rest."""
    target: Target
    verdict: Verdict
    faults: tuple[str, ...] = ()
    """All verdict words and remarks that apply, 'moved away' among them."""
    reason: str | None = None
    """Why it is unjudged."""
    borderline: bool = False
    landing_cents: float | None = None
    landing_se_cents: float | None = None
    landing_mm: float | None = None
    departure_cents: float | None = None
    departure_se_cents: float | None = None
    interval_error_cents: float | None = None
    interval_error_se_cents: float | None = None
    settled_cents: float | None = None
    correction_cents: float | None = None
    overshoot_cents: float | None = None
    guide_landing_cents: float | None = None
    slide_s: float | None = None
    stops: int = 0
    """Stretches at rest inside the slide."""
    reversals: int = 0
    vibrato: Vibrato = Vibrato(present=False)
    timing_s: float | None = None
    tolerance_cents: float = 20.0
    trace_s: Sequence[float] = ()
    trace_cents: Sequence[float] = ()
    """Cents above the target at ``trace_s``, thinned to about 5 ms; for pictures."""
    measure_version: int = MEASURE_VERSION
    notes: tuple[NoteLanding, ...] = ()
    """Both notes of a double stop, lower first; empty for one note. All else in the record, target and trace too, is
    that of the note that decides: the worse one, and of two alike the one further off."""
