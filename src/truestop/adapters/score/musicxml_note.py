"""One MusicXML ``<note>``, and what the notes of a chord say together.

Conventions: written pitch is what ``<pitch>`` says, sounding pitch is that after the part's transposition. Fingers that
an edition stacks on one note of a chord belong to its notes from the lowest up. A stopped and a lightly touched note in
one chord are one artificial harmonic.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from functools import lru_cache
from xml.etree.ElementTree import Element

from truestop.adapters.score.draft import DraftNote, DraftPart
from truestop.adapters.score.harmonics import artificial_pitch
from truestop.adapters.score.musicxml_marks import (
    ALTERNATE,
    PASSED_OVER,
    PLAIN,
    SUBSTITUTION,
    DraftMarks,
    read_notations,
)
from truestop.adapters.score.musicxml_numbers import decimal, text_of, whole
from truestop.domain.errors import PitchError, ScoreError
from truestop.domain.passage import Finger, Harmonic, Remark
from truestop.domain.pitch import Interval, Pitch, spell

NOTE_TYPES = frozenset((
    "maxima", "long", "breve", "whole", "half", "quarter", "eighth", "16th", "32nd", "64th", "128th", "256th", "512th",
    "1024th",
))  # fmt: skip
_STEMS = frozenset(("up", "down"))


class NoteReader:
    """Reads note heads; remembers the part's transposition and the marks of the chord that is open."""

    def __init__(self) -> None:
        self._interval = Interval(0, 0)
        self._marks: list[DraftMarks] = []

    def transpose(self, steps: int, semitones: int) -> None:
        """From now on pitches sound ``steps`` letters and ``semitones`` above what is written."""
        self._interval = Interval(steps, semitones)

    def take_marks(self) -> list[DraftMarks]:
        """The marks of the notes read since last asked, in order."""
        taken, self._marks = self._marks, []
        return taken

    def read(self, element: Element, onset: Fraction, length: Fraction, measure_index: int) -> DraftNote:
        """The note head in ``element`` with everything but the marks that its chord must settle first."""
        marks = DraftMarks()
        written = _pitch(element)
        note = DraftNote(
            own_id=element.get("id"), written=written, pitch=_sounding(written, self._interval), onset=onset,
            duration=length, measure_index=measure_index,
        )  # fmt: skip
        for child in element:
            tag = child.tag
            if tag == "notations":
                read_notations(child, marks)
            elif tag == "tie":
                note.tied_from_before |= child.get("type") == "stop"
                note.tied_to_next |= child.get("type") == "start"
            elif tag == "dot":
                note.dots += 1
            else:
                reader = _PARTS_OF_NOTE.get(tag)
                if reader is not None:
                    reader(child, note)
        note.tied_from_before |= marks.tied_stop
        note.tied_to_next |= marks.tied_start
        if text_of(element.find("notehead")) == "diamond" and marks.harmonic is Harmonic.NONE:
            marks.harmonic, marks.harmonic_role = Harmonic.NATURAL, "touching"
        self._marks.append(marks)
        return note


def _grace(child: Element, note: DraftNote) -> None:
    note.grace = True
    note.slashed = child.get("slash") == "yes"


def _type(child: Element, note: DraftNote) -> None:
    text = text_of(child)
    note.type = text if text in NOTE_TYPES else None
    note.small = child.get("size") == "cue"


def _voice(child: Element, note: DraftNote) -> None:
    note.voice = text_of(child)[:20] or "1"


def _staff(child: Element, note: DraftNote) -> None:
    note.staff = whole(text_of(child), "<staff>", 1, 50)


def _stem(child: Element, note: DraftNote) -> None:
    text = text_of(child)
    note.stem = text if text in _STEMS else None


def _tuplet(child: Element, note: DraftNote) -> None:
    actual = whole(text_of(child.find("actual-notes")), "<actual-notes>", 1, 1000)
    normal = whole(text_of(child.find("normal-notes")), "<normal-notes>", 1, 1000)
    note.tuplet = (actual, normal) if actual != normal else None


_PARTS_OF_NOTE = {
    "grace": _grace, "type": _type, "voice": _voice, "staff": _staff, "stem": _stem, "time-modification": _tuplet,
}  # fmt: skip


def _pitch(element: Element) -> Pitch:
    pitch = element.find("pitch")
    assert pitch is not None
    return _pitch_of(
        text_of(pitch.find("step")), text_of(pitch.find("alter"), "0") or "0", text_of(pitch.find("octave"))
    )


@lru_cache(maxsize=4096)
def _pitch_of(step: str, alter: str, octave: str) -> Pitch:
    semitones = decimal(alter, "<alter>")
    if semitones.denominator != 1:
        raise ScoreError(
            f"{step[:10]} is altered by {alter} semitones; truestop reads no quarter tones.",
            hint="Write the note with a whole number of semitones.",
        )
    return Pitch(step, int(semitones), whole(octave, "<octave>", 0, 9))


@lru_cache(maxsize=4096)
def _sounding(written: Pitch, interval: Interval) -> Pitch:
    if interval == Interval(0, 0):
        return written
    try:
        return written.transposed(interval)
    except PitchError:
        return spell(written.midi + interval.semitones)


def join_chord(notes: list[DraftNote], marks: list[DraftMarks], part: DraftPart) -> list[DraftNote]:
    """The notes of one chord (or a single note) with their marks; touched notes are taken into their harmonics."""
    if len(notes) > 1:
        _spread_fingers(notes, marks)
    for note, own in zip(notes, marks, strict=True):
        _settle(note, own)
        _tell(note, own, part)
    if len(notes) > 1:
        notes = _join_harmonic(notes, marks)
    elif marks[0].harmonic is not Harmonic.NONE:
        _single_harmonic(notes[0], marks[0])
    return notes


def _spread_fingers(notes: Sequence[DraftNote], marks: Sequence[DraftMarks]) -> None:
    if any(own.harmonic_role or own.trill for own in marks):
        return
    carriers = [own for own in marks if own.fingers]
    if len(carriers) != 1 or len(carriers[0].fingers) < 2 or any(kind != PLAIN for _, kind in carriers[0].fingers):
        return
    stacked = list(zip(carriers[0].fingers, carriers[0].finger_heights, strict=True))
    if all(height is not None for _, height in stacked):
        stacked.sort(key=lambda item: item[1] or 0.0)
    upwards = sorted(range(len(notes)), key=lambda index: notes[index].pitch.midi)
    carriers[0].fingers = []
    for index, (finger, _) in zip(upwards, stacked, strict=False):
        marks[index].fingers = [finger]
    for finger, _ in stacked[len(notes) :]:
        marks[upwards[-1]].fingers.append((finger[0], SUBSTITUTION))


def _tell(note: DraftNote, marks: DraftMarks, part: DraftPart) -> None:
    """What of a note's marks was passed over, and which slide lines begin and end at it."""
    pretty = note.written.pretty
    part.remarks += (Remark(onset=note.onset, text=text.replace("{note}", pretty)) for text in marks.remarks)
    for line in marks.slide_stops:
        part.open_slides.pop(line, None)
    for line in marks.slide_starts:
        part.open_slides[line] = Remark(
            onset=note.onset, text=f"the slide from {pretty} ends at no note; {PASSED_OVER}."
        )


def _settle(note: DraftNote, marks: DraftMarks) -> None:
    plain = [finger for finger, kind in marks.fingers if kind == PLAIN]
    if marks.trill and len(plain) == 2:
        note.trill_finger = plain[1]
        note.fingers = (plain[0],)
    else:
        note.fingers = tuple(finger for finger, kind in marks.fingers if kind != ALTERNATE)
    note.alternates = tuple(finger for finger, kind in marks.fingers if kind == ALTERNATE)
    note.string, note.bow, note.slide, note.trill = marks.string, marks.bow, marks.slide, marks.trill
    note.hand = ", ".join(words for words in (note.hand, marks.hand) if words) or None
    note.articulations = tuple(marks.names)
    note.slur_starts, note.slur_stops = tuple(marks.slur_starts), tuple(marks.slur_stops)
    note.harmonic = marks.harmonic
    if note.harmonic is Harmonic.NATURAL and note.fingers == (Finger.OPEN,):
        note.fingers = ()


def _by_role(notes: Sequence[DraftNote], marks: Sequence[DraftMarks]) -> dict[str, DraftNote]:
    roles: dict[str, DraftNote] = {}
    for note, own in zip(notes, marks, strict=True):
        if own.harmonic_role:
            roles.setdefault(own.harmonic_role, note)
    others = [note for note, own in zip(notes, marks, strict=True) if own.harmonic is Harmonic.NONE]
    if "touching" in roles and "base" not in roles and len(others) == 1:
        roles["base"] = others[0]
    return roles


def _join_harmonic(notes: list[DraftNote], marks: list[DraftMarks]) -> list[DraftNote]:
    roles = _by_role(notes, marks)
    base, touched, sounding = (roles.get(role) for role in ("base", "touching", "sounding"))
    head = base or touched
    if head is None or touched is None or (base is None and sounding is None):
        return notes
    pitch = sounding.pitch if sounding else artificial_pitch(head.pitch, touched.pitch)
    if pitch is None:
        return notes
    head.hand = head.hand or touched.hand
    head.touched, head.base = touched.pitch, base.pitch if base else None
    head.harmonic = Harmonic.ARTIFICIAL if base else Harmonic.NATURAL
    head.pitch = pitch
    joined = [note for note in notes if note is head or note not in (touched, sounding)]
    if joined and joined[0].grace:
        joined[0].grace_chord = notes[0].grace_chord
    return joined


def _single_harmonic(note: DraftNote, marks: DraftMarks) -> None:
    if marks.harmonic_role == "touching":
        note.touched = note.pitch
        if marks.harmonic is Harmonic.ARTIFICIAL:
            note.base = note.pitch.transposed(Interval(-3, -5))
    elif marks.harmonic_role == "base" and marks.harmonic is Harmonic.ARTIFICIAL:
        note.base, note.touched = note.pitch, note.pitch.transposed(Interval(3, 5))
    if note.base and note.touched:
        note.pitch = artificial_pitch(note.base, note.touched) or note.pitch
