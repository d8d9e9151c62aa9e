"""A part while it is being read: mutable notes and events, shared by the readers of all formats."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

from truestop.domain.passage import Direction, Finger, Harmonic, Measure, Remark, Tempo
from truestop.domain.pitch import Pitch

ZERO = Fraction(0)


@dataclass(slots=True, kw_only=True)
class DraftNote:
    """One note head before strings by words, slurs and ids are settled. Fields are those of ``Note``."""

    own_id: str | None
    written: Pitch
    pitch: Pitch
    onset: Fraction
    duration: Fraction
    measure_index: int
    voice: str = "1"
    staff: int = 1
    grace: bool = False
    slashed: bool = False
    grace_chord: bool = False
    small: bool = False
    tied_from_before: bool = False
    tied_to_next: bool = False
    slur_starts: tuple[int, ...] = ()
    slur_stops: tuple[int, ...] = ()
    type: str | None = None
    dots: int = 0
    tuplet: tuple[int, int] | None = None
    trill: bool = False
    articulations: tuple[str, ...] = ()
    stem: str | None = None
    fingers: tuple[Finger, ...] = ()
    alternates: tuple[Finger, ...] = ()
    trill_finger: Finger | None = None
    string: int | None = None
    harmonic: Harmonic = Harmonic.NONE
    touched: Pitch | None = None
    base: Pitch | None = None
    slide: bool = False
    bow: str | None = None
    hand: str | None = None
    bow_continues: bool = False
    clef_before: str | None = None
    number: int = -1
    """Which ``<note>`` of the part it is, counted from 0 in the order of the file."""


@dataclass(slots=True, kw_only=True)
class DraftMeasure:
    """One measure. Fields are those of ``Measure``."""

    number: str
    onset: Fraction
    duration: Fraction
    key_fifths: int
    mode: str
    beats: int
    beat_type: int
    metre_shown: bool = True
    clef: str
    new_system: bool = False
    final_barline: bool = False
    repeat_starts: bool = False
    repeat_ends: bool = False

    def made(self) -> Measure:
        """The measure as the passage keeps it."""
        return Measure(
            number=self.number, onset=self.onset, duration=self.duration, key_fifths=self.key_fifths, mode=self.mode,
            beats=self.beats, beat_type=self.beat_type, metre_shown=self.metre_shown, clef=self.clef,
            new_system=self.new_system, final_barline=self.final_barline, repeat_starts=self.repeat_starts,
            repeat_ends=self.repeat_ends,
        )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class StringEvent:
    """Something at ``onset`` that names a string or ends it: words, or the start or stop of a dashed line."""

    onset: Fraction
    kind: str
    """'words', 'line starts' or 'line stops'."""
    text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ClefEvent:
    """A change of clef inside a measure."""

    onset: Fraction
    measure_index: int
    clef: str


@dataclass(slots=True, kw_only=True)
class DraftPart:
    """Everything read of one part, in the order of the file."""

    title: str = ""
    composer: str = ""
    name: str = ""
    family: str | None = None
    notes: list[DraftNote] = field(default_factory=list)
    measures: list[DraftMeasure] = field(default_factory=list)
    tempos: list[Tempo] = field(default_factory=list)
    directions: list[Direction] = field(default_factory=list)
    string_events: list[StringEvent] = field(default_factory=list)
    clef_events: list[ClefEvent] = field(default_factory=list)
    remarks: list[Remark] = field(default_factory=list)
    """Printed marks that were passed over."""
    hand_words: str | None = None
    """Words about the hand that wait for their note, with ``hand_words_onset``."""
    hand_words_onset: Fraction = ZERO
    open_slides: dict[str, Remark] = field(default_factory=dict)
    """Slide lines that have begun and not ended, by number, with what to say of one that never ends."""
    strings: tuple[Pitch, ...] | None = None
    retuned: dict[int, Pitch] = field(default_factory=dict)
    """Single strings of a scordatura, by number."""
    octave_shift: int = 0
    transposes: bool = False
    """Whether the file itself tells how written and sounding pitch differ."""
