"""Shifts: where the hand travels, and which finger carries it over which notes.

Conventions: direction is that of the placement, never of the pitch. Departure and arrival are the *fingered* stops
before and after, whatever covers the travel (a rest, an open string, a harmonic). Travel is + towards the bridge.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from truestop.domain.passage import Finger
from truestop.domain.pitch import Interval, Pitch
from truestop.domain.stop import Stop

OUTSIDE_THE_MUSIC = 0
"""The number of a shift that a drill makes and the passage does not hold: the way back of *there and back*."""


class Relation(StrEnum):
    """How arrival finger and departure finger stand to each other."""

    SAME = "same"
    TO_HIGHER = "to higher"
    TO_LOWER = "to lower"
    THROUGH_THUMB = "through thumb"
    FROM_OPEN = "from open"
    TO_OPEN = "to open"


class Cover(StrEnum):
    """What lies between departure and arrival."""

    NONE = "none"
    REST = "rest"
    OPEN = "open"
    HARMONIC = "harmonic"


class GuideRule(StrEnum):
    """Which finger carries the hand: three schools."""

    LOWER = "lower"
    DEPARTURE = "departure"
    ARRIVAL = "arrival"


@dataclass(frozen=True, slots=True, kw_only=True)
class Guide:
    """The finger that stays on a string through the travel."""

    finger: Finger
    string: int
    from_place: int
    to_place: int
    from_pitch: Pitch
    """Where the guide finger starts; the written departure note unless it is set down for the shift."""
    to_pitch: Pitch
    """Where it comes to: the written arrival note or the guide note."""
    travel_mm: float

    @property
    def travel_semitones(self) -> int:
        """+ towards the bridge."""
        return self.to_place - self.from_place

    @property
    def stays(self) -> bool:
        """Whether it lies there already: it had reached out, and the hand comes after it."""
        return self.to_place == self.from_place


@dataclass(frozen=True, slots=True, kw_only=True)
class Shift:
    """One travel of the hand. ``number`` counts from 1 through the passage; 0 is the way back in a drill."""

    number: int
    departure: tuple[Stop, ...]
    arrival: tuple[Stop, ...]
    departure_step: int
    """Index into FingeredPassage.steps."""
    arrival_step: int
    measure: str
    """Measure of the arrival, as printed."""
    direction: str
    """'up' or 'down'."""
    relation: Relation
    crossing: bool
    cover: Cover
    interval: Interval
    """Written interval from departure to arrival (upper notes of double stops)."""
    from_position: str
    to_position: str
    guide: tuple[Guide, ...]
    """One per string of a double stop; empty where the travel is silent and nothing guides."""
    on_old_bow: bool = False
    """The arrival is under the departure's slur."""
    written_slide: bool = False

    @property
    def silent(self) -> bool:
        """Whether the travel cannot be heard."""
        return self.cover is not Cover.NONE


@dataclass(frozen=True, slots=True, kw_only=True)
class Motion:
    """A movement of the hand that is not a shift: 'extension', 'contraction', 'creep' or 'chromatic slide'."""

    kind: str
    note_ids: tuple[str, ...]
    measure: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """All travel of a fingered passage."""

    guide_rule: GuideRule
    shifts: tuple[Shift, ...]
    other: tuple[Motion, ...]
