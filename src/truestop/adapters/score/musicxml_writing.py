"""Writing a passage as MusicXML 4.0.

Conventions: the same passage gives the same bytes (no dates, no versions). Note ids become the ids of the ``<note>``
elements. Reading the bytes again gives the same passage, provided that its notes have values and its beats, bow changes
and harmonics are as the reader would count them. Lengths that no single head has are written as tied notes.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise
from math import lcm
from xml.etree.ElementTree import Element, SubElement, indent, tostring

from truestop.adapters.score.accidentals import signs_of_measure
from truestop.adapters.score.bounds import MOST_DIVISIONS
from truestop.adapters.score.finishing import beats_before
from truestop.adapters.score.harmonics import natural_pitch
from truestop.adapters.score.musicxml_direction_writing import (
    write_direction,
    write_hand,
    write_scordatura,
    write_tempo,
)
from truestop.adapters.score.musicxml_note_writing import Sheet, heads_of, write_event
from truestop.adapters.score.notating import make_writable
from truestop.adapters.score.voices import Voice, voices_of
from truestop.domain.errors import ScoreError
from truestop.domain.instrument import STRINGS
from truestop.domain.passage import Direction, Measure, Note, Passage, Tempo
from truestop.domain.pitch import Pitch

_HEAD = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN"'
    ' "http://www.musicxml.org/dtds/partwise.dtd">\n'
)
_SOUNDS = {"violin": "strings.violin", "viola": "strings.viola", "cello": "strings.cello", "bass": "strings.contrabass"}
_CLEFS = {"treble": ("G", "2"), "alto": ("C", "3"), "tenor": ("C", "4"), "bass": ("F", "4")}
_UNWRITABLE = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def write_musicxml(passage: Passage) -> bytes:
    """``passage`` as a plain MusicXML document. Raises ScoreError where it has no measure or an id unfit for XML."""
    if not passage.measures:
        raise ScoreError("A passage without bars cannot be written.", hint="Give it at least one bar.")
    passage = make_writable(passage)
    root = Element("score-partwise", {"version": "4.0"})
    _write_header(root, passage)
    part = SubElement(root, "part", {"id": "P1"})
    _PartWriter(passage).write(part)
    indent(root, space=" ")
    return (_HEAD + tostring(root, encoding="unicode") + "\n").encode()


def clean(text: str) -> str:
    """``text`` without the control characters that XML cannot hold."""
    return _UNWRITABLE.sub("", text)


def _write_header(root: Element, passage: Passage) -> None:
    if passage.title:
        SubElement(root, "movement-title").text = clean(passage.title)
    identification = SubElement(root, "identification")
    if passage.composer:
        SubElement(identification, "creator", {"type": "composer"}).text = clean(passage.composer)
    SubElement(SubElement(identification, "encoding"), "software").text = "truestop"
    score_part = SubElement(SubElement(root, "part-list"), "score-part", {"id": "P1"})
    SubElement(score_part, "part-name").text = clean(passage.part)
    if passage.instrument in _SOUNDS:
        instrument = SubElement(score_part, "score-instrument", {"id": "P1-I1"})
        SubElement(instrument, "instrument-name").text = clean(passage.part) or passage.instrument
        SubElement(instrument, "instrument-sound").text = _SOUNDS[passage.instrument]


class _PartWriter:
    """Writes the measures of one passage in order."""

    def __init__(self, passage: Passage) -> None:
        self._passage = passage
        self._staves = max((note.staff for note in passage.notes), default=1)
        strings = _open_strings(passage)
        self._notes: dict[int, list[Note]] = defaultdict(list)
        for note in passage.notes:
            self._notes[note.measure_index].append(note)
        self._before = beats_before(passage.measures)
        self._in_voices = [
            voices_of(self._notes[index], measure, self._before[index])
            for index, measure in enumerate(passage.measures)
        ]
        self._sheet = Sheet(
            divisions=_divisions(passage, self._in_voices),
            octave_shift=passage.octave_shift,
            strings=strings,
            natural=lambda touched, string: natural_pitch(touched, strings, string) if strings else None,
            several_staves=self._staves > 1,
        )
        self._sheet.slide_from, self._sheet.slide_to = _slides(passage.notes)
        self._clef = ""

    def write(self, part: Element) -> None:
        """Add every measure to ``part``."""
        signs = _signs(self._passage)
        for index, measure in enumerate(self._passage.measures):
            last = index == len(self._passage.measures) - 1
            end = None if last else measure.onset + measure.duration
            taken = [sign for sign in signs if end is None or sign.onset < end]
            signs = signs[len(taken) :]
            self._measure(part, index, measure, taken)

    def _measure(self, part: Element, index: int, measure: Measure, signs: Sequence[Tempo | Direction]) -> None:
        metre = Fraction(4 * measure.beats, measure.beat_type)
        pickup = measure.duration < metre and (index == 0 or self._before[index] > 0)
        element = SubElement(part, "measure", {"number": measure.number} | ({"implicit": "yes"} if pickup else {}))
        if measure.new_system and index > 0:
            SubElement(element, "print", {"new-system": "yes"})
        self._attributes(element, index, measure)
        if index == 0 and self._passage.strings:
            write_scordatura(element, self._passage.strings)
        if measure.repeat_starts:
            _barline(element, "left", "heavy-light", "forward")
        self._voices(element, index, measure, list(signs))
        if measure.repeat_ends:
            _barline(element, "right", "light-heavy", "backward")
        elif measure.final_barline:
            _barline(element, "right", "light-heavy", None)

    def _attributes(self, element: Element, index: int, measure: Measure) -> None:
        before = self._passage.measures[index - 1] if index else None
        attributes = Element("attributes")
        if before is None:
            SubElement(attributes, "divisions").text = str(self._sheet.divisions)
        if before is None or (before.key_fifths, before.mode) != (measure.key_fifths, measure.mode):
            key = SubElement(attributes, "key")
            SubElement(key, "fifths").text = str(measure.key_fifths)
            SubElement(key, "mode").text = measure.mode
        if before is None or _metre(before) != _metre(measure):
            time = SubElement(attributes, "time", {} if measure.metre_shown else {"print-object": "no"})
            SubElement(time, "beats").text = str(measure.beats)
            SubElement(time, "beat-type").text = str(measure.beat_type)
        if before is None and self._staves > 1:
            SubElement(attributes, "staves").text = str(self._staves)
        if self._clef != measure.clef:
            self._write_clef(attributes, measure.clef)
        if before is None:
            self._other_staves(attributes)
            self._transposition(attributes)
        if len(attributes):
            element.append(attributes)

    def _write_clef(self, attributes: Element, clef: str) -> None:
        self._clef = clef
        element = SubElement(attributes, "clef", {"number": "1"} if self._staves > 1 else {})
        sign, line = _CLEFS.get(clef, _CLEFS["treble"])
        SubElement(element, "sign").text = sign
        SubElement(element, "line").text = line

    def _other_staves(self, attributes: Element) -> None:
        for staff in range(2, self._staves + 1):
            pitches = [note.written.midi for note in self._passage.notes if note.staff == staff]
            sign, line = _CLEFS["bass" if pitches and sum(pitches) / len(pitches) < 60 else "treble"]
            clef = SubElement(attributes, "clef", {"number": str(staff)})
            SubElement(clef, "sign").text = sign
            SubElement(clef, "line").text = line

    def _transposition(self, attributes: Element) -> None:
        if self._passage.octave_shift or self._passage.instrument == "bass":
            transpose = SubElement(attributes, "transpose")
            SubElement(transpose, "diatonic").text = "0"
            SubElement(transpose, "chromatic").text = "0"
            if self._passage.octave_shift:
                SubElement(transpose, "octave-change").text = str(self._passage.octave_shift)

    def _voices(self, element: Element, index: int, measure: Measure, signs: list[Tempo | Direction]) -> None:
        notes = self._notes[index]
        heads = [(note, head.written, head.id) for note in notes for head in heads_of(note, self._sheet)]
        self._sheet.signs = signs_of_measure(measure.key_fifths, heads)
        cursor = Fraction(0)
        for voice in self._in_voices[index]:
            cursor = self._voice(element, voice, measure, signs, cursor)
            signs = []

    def _voice(
        self, element: Element, voice: Voice, measure: Measure, signs: list[Tempo | Direction], cursor: Fraction
    ) -> Fraction:
        for event in voice.events:
            while signs and signs[0].onset - measure.onset < event.position + (event.length or Fraction(1, 10**9)):
                at = min(event.position, max(signs[0].onset - measure.onset, cursor))
                self._move(element, cursor, at)
                cursor = at
                self._sign(element, signs.pop(0), measure, cursor)
            self._move(element, cursor, event.position)
            for note in event.notes:
                if note.clef_before is not None:
                    self._write_clef(SubElement(element, "attributes"), note.clef_before)
                if note.marks.hand is not None:
                    write_hand(element, clean(note.marks.hand))
            write_event(element, event, voice, self._sheet)
            cursor = event.position + event.length
        for sign in signs:
            self._sign(element, sign, measure, cursor)
        return cursor

    def _sign(self, element: Element, sign: Tempo | Direction, measure: Measure, cursor: Fraction) -> None:
        offset = self._sheet.ticks(sign.onset - measure.onset - cursor)
        if isinstance(sign, Tempo):
            write_tempo(element, sign, measure, offset)
        else:
            write_direction(element, sign, clean(sign.text), offset)

    def _move(self, element: Element, cursor: Fraction, position: Fraction) -> None:
        if cursor != position:
            step = SubElement(element, "backup" if position < cursor else "forward")
            SubElement(step, "duration").text = self._sheet.ticks(abs(position - cursor))


def _signs(passage: Passage) -> list[Tempo | Direction]:
    signs: list[Tempo | Direction] = [*passage.tempos, *passage.directions]
    return sorted(signs, key=lambda sign: (sign.onset, isinstance(sign, Direction)))


def _metre(measure: Measure) -> tuple[int, int, bool]:
    return measure.beats, measure.beat_type, measure.metre_shown


def _barline(element: Element, location: str, style: str, repeat: str | None) -> None:
    barline = SubElement(element, "barline", {"location": location})
    SubElement(barline, "bar-style").text = style
    if repeat is not None:
        SubElement(barline, "repeat", {"direction": repeat})


def _open_strings(passage: Passage) -> tuple[Pitch, ...] | None:
    if passage.strings:
        return passage.strings
    if passage.instrument not in STRINGS:
        return None
    return tuple(Pitch.parse(name) for name in STRINGS[passage.instrument])


def _divisions(passage: Passage, in_voices: Sequence[Sequence[Voice]]) -> int:
    """Divisions of a quarter note in which every note, every rest between them and every sign can be told."""
    lengths = [note.duration for note in passage.notes] + [note.onset for note in passage.notes]
    lengths += [event.length for voices in in_voices for voice in voices for event in voice.events]
    lengths += [measure.duration for measure in passage.measures] + [measure.onset for measure in passage.measures]
    lengths += [tempo.onset for tempo in passage.tempos] + [words.onset for words in passage.directions]
    divisions = lcm(*(length.denominator for length in lengths))
    if divisions > MOST_DIVISIONS:
        raise ScoreError(
            f"The passage needs {divisions} divisions of a quarter note, more than can be written.",
            hint="Use fewer kinds of tuplets together.",
        )
    return divisions


def _slides(notes: Sequence[Note]) -> tuple[dict[str, list[int]], dict[str, int]]:
    """For each slide the note it leaves and the number of its line: the note of the column before, in its voice.

    Between double stops of one size the lowest slides to the lowest; otherwise the nearest note is left.
    """
    leaves: dict[str, list[int]] = defaultdict(list)
    arrives: dict[str, int] = {}
    columns: dict[str, list[list[Note]]] = defaultdict(list)
    for note in notes:
        voice = columns[note.voice]
        joins = bool(voice) and voice[-1][0].onset == note.onset and voice[-1][0].grace == note.grace
        if joins and (not note.grace or note.grace_chord):
            voice[-1].append(note)
        else:
            voice.append([note])
    for voice in columns.values():
        for before, column in pairwise([[], *voice]):
            sliding = [note for note in column if note.marks.slide]
            for number, note in enumerate(sliding, start=1):
                arrives[note.id] = number
                if before:
                    leaves[_left(before, column, note).id].append(number)
    return leaves, arrives


def _left(before: Sequence[Note], column: Sequence[Note], note: Note) -> Note:
    if len(before) == len(column):
        return before[list(column).index(note)]
    return min(before, key=lambda other: abs(other.pitch.midi - note.pitch.midi))
