"""One column or rest of a passage as MusicXML ``<note>`` elements.

Conventions: children stand in the order of the MusicXML 4.0 schema. A harmonic that was notated with a touched note is
written as that chord again.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from fractions import Fraction
from xml.etree.ElementTree import Element, SubElement

from truestop.adapters.score.harmonics import artificial_pitch
from truestop.adapters.score.musicxml_marks import ARTICULATIONS, ORNAMENTS, TECHNICAL_NAMES
from truestop.adapters.score.voices import Event, Voice
from truestop.domain.errors import ScoreError
from truestop.domain.passage import Finger, Harmonic, Note
from truestop.domain.pitch import Interval, Pitch

_XML_ID = re.compile(r"[A-Za-z_][A-Za-z0-9_.\-]*")


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """One note head of a column: a note, or the touched or sounding companion of a harmonic."""

    note: Note
    id: str
    written: Pitch
    role: str = ""
    """'base', 'touching', 'sounding' where the chord is a harmonic's."""
    companion: bool = False


@dataclass(slots=True, kw_only=True)
class Sheet:
    """What all notes of one part need to be written."""

    divisions: int
    octave_shift: int
    strings: tuple[Pitch, ...] | None
    natural: Callable[[Pitch, int | None], Pitch | None]
    """What a pitch touched on a string sounds, as the reader will find it."""
    slide_from: dict[str, list[int]] = field(default_factory=dict)
    """Note id → numbers of the slides that begin there."""
    slide_to: dict[str, int] = field(default_factory=dict)
    signs: dict[str, str] = field(default_factory=dict)
    """Head id → accidental of the measure being written."""
    several_staves: bool = False

    def ticks(self, beats: Fraction) -> str:
        """A length as MusicXML counts it."""
        return str(beats * self.divisions)

    def as_written(self, pitch: Pitch) -> Pitch:
        """A sounding pitch as the page shows it."""
        return (
            pitch
            if self.octave_shift == 0
            else pitch.transposed(Interval(-7 * self.octave_shift, -12 * self.octave_shift))
        )


def heads_of(note: Note, sheet: Sheet) -> list[Head]:
    """The note heads that write ``note``."""
    marks = note.marks
    if marks.harmonic is Harmonic.ARTIFICIAL and marks.base and marks.touched:
        heads = [
            Head(note=note, id=note.id, written=sheet.as_written(marks.base), role="base"),
            Head(
                note=note,
                id=f"{note.id}-touched",
                written=sheet.as_written(marks.touched),
                role="touching",
                companion=True,
            ),
        ]
        return heads if artificial_pitch(marks.base, marks.touched) == note.pitch else [*heads, _sounding(note, sheet)]
    if marks.harmonic is Harmonic.NATURAL and marks.touched:
        head = Head(note=note, id=note.id, written=sheet.as_written(marks.touched), role="touching")
        found = sheet.natural(marks.touched, marks.string) or marks.touched
        return [head] if found == note.pitch else [head, _sounding(note, sheet)]
    return [Head(note=note, id=note.id, written=sheet.as_written(note.pitch))]


def _sounding(note: Note, sheet: Sheet) -> Head:
    return Head(
        note=note, id=f"{note.id}-sounding", written=sheet.as_written(note.pitch), role="sounding", companion=True
    )


def write_event(measure: Element, event: Event, voice: Voice, sheet: Sheet) -> None:
    """Add a column or rest to ``measure``."""
    if not event.notes:
        _write_rest(measure, event, voice, sheet)
        return
    first = True
    for note in event.notes:
        for head in heads_of(note, sheet):
            _write_head(measure, head, event, sheet, first=first)
            first = False


def _write_rest(measure: Element, event: Event, voice: Voice, sheet: Sheet) -> None:
    element = SubElement(measure, "note")
    SubElement(element, "rest", {"measure": "yes"} if event.whole_measure else {})
    _text(element, "duration", sheet.ticks(event.length))
    _text(element, "voice", voice.name)
    _write_value(element, event.type, event.dots, small=False)
    _write_tuplet_time(element, event.tuplet)
    if sheet.several_staves:
        _text(element, "staff", str(voice.staff))
    if event.tuplet_end:
        _write_tuplet_end(SubElement(element, "notations"), event)


def _write_head(measure: Element, head: Head, event: Event, sheet: Sheet, *, first: bool) -> None:
    note = head.note
    if _XML_ID.fullmatch(head.id) is None:
        raise ScoreError(
            f"'{head.id[:40]}' cannot be a note's id in MusicXML.", hint="Ids begin with a letter and hold no spaces."
        )
    element = SubElement(measure, "note", {"id": head.id})
    if note.grace:
        SubElement(element, "grace", {"slash": "yes"} if note.slashed else {})
    if not first:
        SubElement(element, "chord")
    _write_pitch(element, head.written)
    if not note.grace:
        _text(element, "duration", sheet.ticks(note.duration))
    for kind, holds in (("stop", note.tied_from_before), ("start", note.tied_to_next)):
        if holds:
            SubElement(element, "tie", {"type": kind})
    _text(element, "voice", note.voice)
    _write_value(element, note.type, note.dots, small=note.small or head.role == "sounding")
    if head.id in sheet.signs:
        _text(element, "accidental", sheet.signs[head.id])
    _write_tuplet_time(element, note.tuplet)
    if note.stem is not None:
        _text(element, "stem", note.stem)
    if head.role == "touching":
        SubElement(element, "notehead", {"filled": "no"}).text = "diamond"
    if sheet.several_staves:
        _text(element, "staff", str(note.staff))
    if first:
        for level, beam in enumerate(event.beams, start=1):
            SubElement(element, "beam", {"number": str(level)}).text = beam
    _write_notations(element, head, event, sheet, first=first)


def _text(parent: Element, tag: str, text: str) -> None:
    SubElement(parent, tag).text = text


def _write_pitch(element: Element, pitch: Pitch) -> None:
    child = SubElement(element, "pitch")
    _text(child, "step", pitch.step)
    if pitch.alter:
        _text(child, "alter", str(pitch.alter))
    _text(child, "octave", str(pitch.octave))


def _write_value(element: Element, kind: str | None, dots: int, *, small: bool) -> None:
    if kind is None:
        return
    SubElement(element, "type", {"size": "cue"} if small else {}).text = kind
    for _ in range(dots):
        SubElement(element, "dot")


def _write_tuplet_time(element: Element, tuplet: tuple[int, int] | None) -> None:
    if tuplet is not None:
        child = SubElement(element, "time-modification")
        _text(child, "actual-notes", str(tuplet[0]))
        _text(child, "normal-notes", str(tuplet[1]))


def _write_notations(element: Element, head: Head, event: Event, sheet: Sheet, *, first: bool) -> None:
    notations = Element("notations")
    note = head.note
    for kind, holds in (("stop", note.tied_from_before), ("start", note.tied_to_next)):
        if holds:
            SubElement(notations, "tied", {"type": kind})
    if first and event.tuplet_end and not note.grace:
        _write_tuplet_end(notations, event)
    if head.companion:
        _write_harmonic(SubElement(notations, "technical"), head)
    else:
        _write_lines(notations, note, sheet)
        _write_technical(notations, head)
        _write_names(notations, note)
    if len(notations):
        element.append(notations)


def _write_tuplet_end(notations: Element, event: Event) -> None:
    shown = {"bracket": "yes" if event.bracket else "no"} if event.tuplet_end == "start" else {}
    SubElement(notations, "tuplet", {"type": event.tuplet_end, "number": "1", **shown})


def _write_lines(notations: Element, note: Note, sheet: Sheet) -> None:
    for kind, numbers in (("stop", note.slur_stops), ("start", note.slur_starts)):
        for number in numbers:
            SubElement(notations, "slur", {"type": kind, "number": str(number)})
    if note.marks.slide:
        number = sheet.slide_to.get(note.id, 1)
        SubElement(notations, "slide", {"line-type": "solid", "number": str(number), "type": "stop"})
    for number in sheet.slide_from.get(note.id, ()):
        SubElement(notations, "slide", {"line-type": "solid", "number": str(number), "type": "start"})


def _write_technical(notations: Element, head: Head) -> None:
    marks = head.note.marks
    technical = Element("technical")
    if marks.bow in ("up", "down"):
        SubElement(technical, f"{marks.bow}-bow")
    for place, finger in enumerate(marks.fingers):
        _write_finger(technical, finger, "substitution" if place else "")
    if head.note.trill and marks.trill_finger is not None:
        _write_finger(technical, marks.trill_finger, "")
    for finger in marks.alternates:
        SubElement(technical, "fingering", {"alternate": "yes"}).text = finger.value
    if marks.string is not None:
        _text(technical, "string", str(marks.string))
    if marks.harmonic is not Harmonic.NONE:
        _write_harmonic(technical, head)
    if len(technical):
        notations.append(technical)


def _write_finger(technical: Element, finger: Finger, kind: str) -> None:
    if finger is Finger.THUMB:
        SubElement(technical, "thumb-position")
    else:
        SubElement(technical, "fingering", {kind: "yes"} if kind else {}).text = finger.value


def _write_harmonic(technical: Element, head: Head) -> None:
    harmonic = SubElement(technical, "harmonic", {"print-object": "no"} if head.role else {})
    SubElement(harmonic, head.note.marks.harmonic.value)
    if head.role:
        SubElement(harmonic, f"{head.role}-pitch")


def _write_names(notations: Element, note: Note) -> None:
    if note.trill:
        SubElement(SubElement(notations, "ornaments"), "trill-mark")
    for name in note.articulations:
        for container, names in (
            ("articulations", ARTICULATIONS),
            ("ornaments", ORNAMENTS),
            ("technical", TECHNICAL_NAMES),
        ):
            if name in names:
                SubElement(SubElement(notations, container), name)
        if name == "fermata":
            SubElement(notations, "fermata", {"type": "upright"})
