"""Stops: notes as the left hand makes them, and a passage in which every note is one.

Conventions: ``place`` is in semitones above the open string where the finger lies or touches; it decides frame,
position and travel. ``placement`` is where the hand is on the string: semitones of its first finger when square (first
position of the violin is 2); in thumb frames the thumb's place. Open strings have no placement.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from truestop.domain.instrument import Instrument
from truestop.domain.passage import Finger, Passage
from truestop.domain.pitch import Pitch


@dataclass(frozen=True, slots=True, kw_only=True)
class Stop:
    """One note in the hand."""

    note_id: str
    pitch: Pitch
    """Sounding pitch."""
    string: int
    finger: Finger
    place: int
    placement: int | None
    """None for an open string."""
    shape: str = "square"
    """'square', 'extended', 'contracted'; cello neck 'closed', 'extended back', 'extended forward'; 'thumb'; 'open'."""
    harmonic: bool = False
    given: bool = False
    """Whether the edition prints this finger."""

    @property
    def is_open(self) -> bool:
        """Whether no finger touches the string."""
        return self.finger is Finger.OPEN

    @property
    def is_fingered(self) -> bool:
        """Whether a finger lies or touches."""
        return self.finger is not Finger.OPEN


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """What the hand does at one moment: one stop, or two and more together (lowest string last is not implied).

    A substitution is two steps with one note id. Tie continuations make no step of their own.
    """

    onset: Fraction
    duration: Fraction
    measure: str
    stops: tuple[Stop, ...]
    position: str | None
    """The placement's name ('first', '3rd'…), None while only open strings sound."""
    rest_before: bool = False
    bow_continues: bool = False
    grace: bool = False

    @property
    def fingered(self) -> tuple[Stop, ...]:
        """The stops in which a finger lies."""
        return tuple(stop for stop in self.stops if stop.is_fingered)

    @property
    def placement(self) -> int | None:
        """The hand's placement, None while only open strings sound."""
        return next((stop.placement for stop in self.stops if stop.placement is not None), None)


@dataclass(frozen=True, slots=True, kw_only=True)
class FingeredPassage:
    """A passage with every note in the hand, in playing order."""

    passage: Passage
    instrument: Instrument
    steps: tuple[Step, ...]
    remarks: tuple[str, ...] = ()
    """What the player should know of it, one sentence each, with the bar: printed marks that were passed over, chords
    that no hand holds at once.
    """

    def stop_of(self, note_id: str) -> Stop:
        """The (first) stop of a note; KeyError where there is none."""
        for step in self.steps:
            for stop in step.stops:
                if stop.note_id == note_id:
                    return stop
        raise KeyError(note_id)
