"""Printing a fingering so that whoever reads the page plays it so."""

from __future__ import annotations

from collections.abc import Set as AbstractSet
from dataclasses import replace
from typing import Protocol

from truestop.domain.fingering import finger_passage
from truestop.domain.passage import Passage
from truestop.domain.stop import FingeredPassage


def without_fingers(passage: Passage) -> Passage:
    """The passage as if the edition printed no finger and no string; harmonics and bowings stay."""
    bare = (replace(note, marks=replace(note.marks, fingers=(), alternates=(), string=None)) for note in passage.notes)
    return replace(passage, notes=tuple(bare), remarks=())


class MarkPrinter(Protocol):
    """Prints a fingering over its passage: what an editor would, and the notes named in ``also``."""

    def __call__(self, fingered: FingeredPassage, *, also: AbstractSet[str]) -> Passage:
        """The passage with its marks."""
        ...


def notes_misread(fingered: FingeredPassage, print_marks: MarkPrinter) -> frozenset[str]:
    """Notes that need a mark of their own, since the page would else be read with another finger or string."""
    also: frozenset[str] = frozenset()
    while wrong := _first_misread(fingered, print_marks, also) - also:
        also |= wrong
    return also


def _first_misread(fingered: FingeredPassage, print_marks: MarkPrinter, also: frozenset[str]) -> frozenset[str]:
    read = finger_passage(print_marks(fingered, also=also), fingered.instrument)
    return _first_of_each_stretch(fingered, read)


def _first_of_each_stretch(wanted: FingeredPassage, read: FingeredPassage) -> frozenset[str]:
    """The notes at which a reading begins to differ."""
    found, before = set(), False
    for one, other in zip(wanted.steps, read.steps, strict=False):
        differs = [(a.string, a.finger) for a in one.stops] != [(b.string, b.finger) for b in other.stops]
        if differs and not before:
            found |= {stop.note_id for stop in one.stops}
        before = differs
    return frozenset(found)
