"""A passage of music as the page prints it, before any hand has touched it.

Conventions: times are exact fractions of a quarter note counted from the start of the passage ('beats' in names means
quarter notes); measures are named as printed; ``beat`` is where a note stands in its measure, 1 for the downbeat, in
quarter notes. ``pitch`` sounds, ``written`` is what the page shows (they differ for the double bass). Notes are sorted
by onset, then by pitch; grace notes have no duration and stand, in order, before the note they adorn.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction
from itertools import groupby

from truestop.domain.pitch import Pitch


class Finger(StrEnum):
    """A left-hand finger as printed: 0 open string, 1–4, T thumb."""

    OPEN = "0"
    FIRST = "1"
    SECOND = "2"
    THIRD = "3"
    FOURTH = "4"
    THUMB = "T"

    @property
    def rank(self) -> int:
        """Order in the hand from the nut's side: open string −1, thumb 0, first 1 … fourth 4."""
        return "0T1234".index(self.value) - 1


class Harmonic(StrEnum):
    """How a note's string is touched."""

    NONE = "none"
    NATURAL = "natural"
    ARTIFICIAL = "artificial"


@dataclass(frozen=True, slots=True, kw_only=True)
class Marks:
    """What the edition prints at one note.

    ``fingers`` in order: more than one is a substitution on the sounding note. ``alternates`` are fingers offered
    beside them. ``string`` is 1 for I; it comes from a string number, a numeral or a 'sul G' that still holds.
    ``touched`` and ``base`` are the touching and the stopped pitch of a harmonic where the score gives them.
    ``slide`` tells that a slide line leads from the note before to this one.
    """

    fingers: tuple[Finger, ...] = ()
    alternates: tuple[Finger, ...] = ()
    string: int | None = None
    harmonic: Harmonic = Harmonic.NONE
    touched: Pitch | None = None
    base: Pitch | None = None
    slide: bool = False
    bow: str | None = None
    """'up', 'down' or None."""
    trill_finger: Finger | None = None
    """The finger printed for a trill's upper note, where the edition gives one beside the main finger."""
    hand: str | None = None
    """Words that tell how the hand gets here, as printed: 'ext.', '3rd pos.'; see ``hand_mark``."""

    @property
    def names_fingers(self) -> bool:
        """Whether a finger is printed, or fingers to choose from."""
        return bool(self.fingers or self.alternates)

    @property
    def open_string(self) -> bool:
        """Whether the open string is asked for."""
        return self.fingers[:1] == (Finger.OPEN,) and self.harmonic is Harmonic.NONE

    @property
    def thumb(self) -> bool:
        """Whether the thumb is asked for."""
        return Finger.THUMB in self.fingers


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """One note head. ``id`` is unique in the passage and is the score file's own id where it has one."""

    id: str
    pitch: Pitch
    written: Pitch
    onset: Fraction
    duration: Fraction
    measure: str
    """The measure's number as printed."""
    measure_index: int
    """Which measure of the passage, from 0."""
    beat: Fraction
    voice: str = "1"
    staff: int = 1
    grace: bool = False
    slashed: bool = False
    """A grace note with a stroke."""
    grace_chord: bool = False
    """A grace note struck together with the grace note before it."""
    small: bool = False
    """A cue-size head (a guide note on a drill sheet); it sounds and lasts like any other note."""
    tied_from_before: bool = False
    tied_to_next: bool = False
    bow_continues: bool = False
    """Under the same slur (or tie) as the note before: no bow change leads here."""
    slur_starts: tuple[int, ...] = ()
    """Numbers (1–16) of the slurs that begin here; slurs that overlap bear different numbers."""
    slur_stops: tuple[int, ...] = ()
    type: str | None = None
    """Note value as MusicXML names it: 'quarter', 'eighth'…; None where the source gives none."""
    dots: int = 0
    tuplet: tuple[int, int] | None = None
    """(actual, normal) notes: (3, 2) for a triplet."""
    trill: bool = False
    articulations: tuple[str, ...] = ()
    """MusicXML names: 'staccato', 'accent', 'tenuto', 'fermata'…"""
    marks: Marks = field(default_factory=Marks)
    stem: str | None = None
    """'up', 'down' or None: left to the engraver."""
    clef_before: str | None = None
    """A change of clef inside the measure just before this note; the start of a measure has ``Measure.clef``."""

    @property
    def end(self) -> Fraction:
        """Where the note stops sounding, in quarter notes."""
        return self.onset + self.duration


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """One measure. ``duration`` is what it really holds (a pickup is shorter than its time signature)."""

    number: str
    onset: Fraction
    duration: Fraction
    key_fifths: int = 0
    mode: str = "major"
    beats: int = 4
    beat_type: int = 4
    metre_shown: bool = True
    """Whether the time signature is printed; music without one is in no metre."""
    clef: str = "treble"
    """'treble', 'alto', 'tenor', 'bass' at its start."""
    new_system: bool = False
    """Whether the page begins a new line here."""
    final_barline: bool = False
    """Whether a thin and a thick line close it."""
    repeat_starts: bool = False
    repeat_ends: bool = False
    """Repeat signs are kept for engraving; a passage runs in the order of the page, repeats are not played out."""
    same_number_before: int = 0
    """How many measures of this number the score has before it, two parts of a split measure taken as one: movements
    of which each counts from 1."""

    @property
    def beat_beats(self) -> Fraction:
        """What the metre counts, in quarter notes: 1 in 3/4, 2 in 2/2, 3/2 in 6/8 (6, 9, 12 go by threes)."""
        threes = 3 if self.beats in (6, 9, 12) else 1
        return threes * Fraction(4, self.beat_type)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tempo:
    """From ``onset`` on, ``quarter_bpm`` quarter notes a minute."""

    onset: Fraction
    quarter_bpm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Direction:
    """Words over the staff at ``onset``, kept for engraving ('dolce', 'Andante')."""

    onset: Fraction
    text: str
    placement: str = "above"
    """'above' or 'below' the staff."""
    kind: str = "words"
    """'words', 'tempo' (set bold), 'dynamics' ('p', 'mf') or 'rehearsal' (boxed)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Remark:
    """What the page says at ``onset`` that could not be taken in, as a sentence without its place."""

    onset: Fraction
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Passage:
    """A single part's music. ``instrument`` is a family named by the score, or None; ``strings`` its scordatura."""

    title: str
    notes: tuple[Note, ...]
    measures: tuple[Measure, ...]
    tempos: tuple[Tempo, ...] = ()
    directions: tuple[Direction, ...] = ()
    part: str = ""
    composer: str = ""
    instrument: str | None = None
    strings: tuple[Pitch, ...] | None = None
    octave_shift: int = 0
    """Octaves from written to sounding pitch: −1 for the double bass."""
    remarks: tuple[Remark, ...] = field(default=(), compare=False)
    """Printed marks that were passed over, in the order of the page; about the reading, not the music."""

    @property
    def columns(self) -> tuple[tuple[Note, ...], ...]:
        """Notes struck together, lowest first; grace notes stand apart, with their chord. Tie continuations stay in."""
        keyed = groupby(zip(self._grace_columns(), self.notes, strict=True), key=lambda item: (item[1].onset, item[0]))
        return tuple(tuple(note for _, note in group) for _, group in keyed)

    def _grace_columns(self) -> list[int]:
        """For every note −1, or for a grace note the index of the first grace note it is struck with."""
        columns: list[int] = []
        for index, note in enumerate(self.notes):
            joins = note.grace and note.grace_chord and index > 0 and self.notes[index - 1].grace
            columns.append(columns[-1] if joins else index if note.grace else -1)
        return columns

    def note(self, note_id: str) -> Note:
        """The note with ``note_id``; KeyError where there is none."""
        for note in self.notes:
            if note.id == note_id:
                return note
        raise KeyError(note_id)

    def quarter_bpm_at(self, onset: Fraction) -> float:
        """Tempo in force at ``onset`` in quarter notes a minute; 72 where the score gives none (a setting of ours)."""
        bpm = 72.0
        for tempo in self.tempos:
            if tempo.onset > onset:
                break
            bpm = tempo.quarter_bpm
        return bpm

    def names_tempo_at(self, onset: Fraction) -> bool:
        """Whether the score gives the tempo that is in force at ``onset``."""
        return any(tempo.onset <= onset for tempo in self.tempos)

    def measure_at(self, onset: Fraction) -> Measure:
        """The measure that holds ``onset``."""
        found = self.measures[0]
        for measure in self.measures:
            if measure.onset > onset:
                break
            found = measure
        return found
