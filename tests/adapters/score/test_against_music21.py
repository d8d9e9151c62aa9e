"""The reader against an independent one: music21 (PyPI) on quartet movements of its own corpus.

Every note that the page shows must agree in pitch, onset, duration, tie and voice, in all parts. (Three movements
of Haydn's op. 1 no. 1 hide written-out trills for playback in a second voice; those are not compared.)
"""

from __future__ import annotations

import warnings
from collections import Counter
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from truestop.adapters.score.musicxml_reading import read_musicxml
from truestop.domain.passage import Passage

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import music21

CORPUS = Path(music21.__file__).parent / "corpus"
MOVEMENTS = (
    "haydn/opus1no1/movement1.mxl",
    "haydn/opus1no1/movement2.mxl",
    "haydn/opus1no1/movement3.mxl",
    "haydn/opus1no1/movement4.mxl",
    "haydn/opus1no1/movement5.mxl",
    "haydn/opus74no1/movement2.mxl",
    "haydn/opus74no1/movement3.mxl",
    "beethoven/opus18no1/movement3.mxl",
    "beethoven/opus59no2/movement3.mxl",
    "beethoven/opus59no3/movement3.mxl",
)

Entry = tuple[object, ...]
"""Pitch, onset, duration, tie, voice of one note; the voice only where more than one sounds in the measure."""


def _parsed(path: Path) -> Any:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return music21.converter.parse(path, forceSource=True)


def _exact(value: Any) -> Fraction:
    return Fraction(value).limit_denominator(10_000)


def _their_notes(part: Any) -> Counter[Entry]:
    found: list[Entry] = []
    start = Fraction(0)
    for measure in part.getElementsByClass("Measure"):
        notes = [entry for element in measure.recurse().notes for entry in _their_entries(element, measure, start)]
        found += _where_several(notes)
        start += _their_length(measure, [onset - start + length for _, onset, length, _, _ in notes])
    return Counter(found)


def _their_entries(element: Any, measure: Any, start: Fraction) -> list[Entry]:
    """The visible notes of one element. music21 keeps no ties of grace notes, so none are compared."""
    inside = element.activeSite
    voice = str(inside.id) if isinstance(inside, music21.stream.Voice) else "1"
    length = _exact(0 if element.duration.isGrace else element.duration.quarterLength)
    onset = start + _exact(element.getOffsetInHierarchy(measure))
    return [
        (
            note.pitch.nameWithOctave.replace("-", "b"),
            onset,
            length,
            note.tie.type if note.tie and length else None,
            voice,
        )
        for note in (element.notes if element.isChord else [element])
        if not note.style.hideObjectOnPrint
    ]


def _their_length(measure: Any, note_ends: list[Fraction]) -> Fraction:
    """Four of these files have rests past the metre's end; music21 lets them lengthen the measure, we do not."""
    metre = _exact(measure.barDuration.quarterLength)
    return min(_exact(measure.duration.quarterLength), max([metre, *note_ends]))


def _where_several(notes: list[Entry]) -> list[Entry]:
    several = len({note[-1] for note in notes}) > 1
    return notes if several else [(*note[:-1], None) for note in notes]


def _our_notes(passage: Passage) -> Counter[Entry]:
    ties = {(True, True): "continue", (True, False): "stop", (False, True): "start", (False, False): None}
    by_measure: dict[int, list[Entry]] = {}
    for note in passage.notes:
        tie = None if note.grace else ties[note.tied_from_before, note.tied_to_next]
        entry = (note.pitch.name, note.onset, note.duration, tie, note.voice)
        by_measure.setdefault(note.measure_index, []).append(entry)
    return Counter(entry for notes in by_measure.values() for entry in _where_several(notes))


@pytest.mark.slow
@pytest.mark.parametrize("movement", MOVEMENTS)
def test_every_note_of_a_movement_agrees_with_music21(movement: str) -> None:
    ours = read_musicxml((CORPUS / movement).read_bytes(), name=movement)
    theirs = _parsed(CORPUS / movement)
    assert len(ours.parts) == len(theirs.parts) == 4
    for passage, part in zip(ours.passages, theirs.parts, strict=True):
        expected = _their_notes(part)
        assert sum(expected.values()) > 50
        assert _our_notes(passage) == expected
