"""What music21 (BSD) and Verovio (LGPL) read in MusicXML of ours, held against the passage it was written from.

Conventions: a difference is a sentence; none is an empty list. Of a natural harmonic the written head is the touched
pitch. music21 keeps the marks of a double stop with the chord. Verovio has no string numbers: they reach it as texts
among the fingers, but not beside the 0 of an open string.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import music21
import verovio

from truestop.adapters.engrave.prepare import prepare_musicxml
from truestop.domain.passage import Note, Passage

OCTAVE = 12


def music21_differences(passage: Passage, musicxml: bytes) -> list[str]:
    """Notes, lengths, fingers, string numbers, slurs and slides as music21 reads them."""
    score = music21.converter.parseData(musicxml, format="musicxml")
    elements = list(score.recurse().notes)
    heads = [(head, element) for element in elements for head in (element.notes if element.isChord else [element])]
    if len(heads) != len(passage.notes):
        return [f"{len(heads)} heads for {len(passage.notes)} notes"]
    octave = OCTAVE if passage.octave_shift and score.atSoundingPitch is not True else 0
    found = [
        f"{note.id}: {head.nameWithOctave}, {head.duration.quarterLength}"
        for (head, _), note in zip(heads, passage.notes, strict=True)
        if (head.pitch.midi - octave, head.pitch.step, head.duration.quarterLength) != _expected_head(note, passage)
    ]
    marked: dict[int, tuple[Any, list[Note]]] = {}
    for (_, element), note in zip(heads, passage.notes, strict=True):
        marked.setdefault(id(element), (element, []))[1].append(note)
    found += [difference for element, notes in marked.values() for difference in _mark_differences(element, notes)]
    spanners = list(score.recurse().getElementsByClass(music21.spanner.Spanner))
    slurs = sum(isinstance(each, music21.spanner.Slur) for each in spanners)
    slides = sum(isinstance(each, music21.spanner.Glissando) for each in spanners)
    return found + _line_differences(passage, slurs, slides)


def _expected_head(note: Note, passage: Passage) -> tuple[int, str, object]:
    if note.marks.touched is None:
        return note.pitch.midi, note.pitch.step, note.duration
    return note.written.midi - (OCTAVE if passage.octave_shift else 0), note.written.step, note.duration


def _mark_differences(element: Any, notes: list[Note]) -> Iterator[str]:
    fingers = [str(mark.fingerNumber) for mark in element.articulations
               if isinstance(mark, music21.articulations.Fingering)]  # fmt: skip
    if fingers != [finger.value for note in notes for finger in note.marks.fingers if finger.value in "01234"]:
        yield f"{notes[0].id}: fingers {fingers}"
    strings = [mark.number for mark in element.articulations
               if isinstance(mark, music21.articulations.StringIndication)]  # fmt: skip
    if strings != [note.marks.string for note in notes if note.marks.string]:
        yield f"{notes[0].id}: strings {strings}"


def _line_differences(passage: Passage, slurs: int, slides: int) -> list[str]:
    found = []
    if slurs != (written := sum(len(note.slur_starts) for note in passage.notes)):
        found.append(f"{slurs} slurs for {written}")
    if slides != (written := sum(note.marks.slide for note in passage.notes)):
        found.append(f"{slides} slides for {written}")
    return found


@cache
def _toolkit() -> Any:
    toolkit = verovio.toolkit(False)
    toolkit.setResourcePath(str(Path(verovio.__file__).parent / "data"))
    return toolkit


def verovio_differences(passage: Passage, musicxml: bytes) -> list[str]:
    """Written heads by note id, slurs, slides, fingers and numerals as Verovio's import makes MEI of them."""
    if not _toolkit().loadData(prepare_musicxml(musicxml).decode()):
        return ["not loaded"]
    mei = _toolkit().getMEI()
    heads = dict(re.findall(r'<note xml:id="([^"]+)"([^>]*)>', mei))
    found = [
        f"{note.id}: {heads.get(note.id)}"
        for note in passage.notes
        if f'pname="{note.written.step.lower()}"' not in heads.get(note.id, "")
        or f'oct="{note.written.octave}"' not in heads.get(note.id, "")
    ]
    texts = sum(bool(note.marks.fingers) + _numeral_is_printed(note) for note in passage.notes)
    if mei.count("<fing ") != texts:
        found.append(f"{mei.count('<fing ')} fingers and numerals for {texts}")
    return found + _line_differences(passage, mei.count("<slur "), mei.count("<gliss "))


def _numeral_is_printed(note: Note) -> bool:
    marks = note.marks
    is_open = bool(marks.fingers) and marks.fingers[0].value == "0" and marks.touched is None
    return marks.string is not None and not is_open
