"""Passages in ABC with one or more players' fingerings under the notes, used by tests and benchmarks.

Every ``w:`` line below a line of music is one player's fingering of it, a word a note: string and finger, ``II3``, the
string left out while it stays. A player who writes nothing below a line takes it as the first does. ``N:`` lines give
source and reasons. Rests, bar lines and the rest of a tied note have no word; ``|`` only helps the eye. Notes struck
together have their words from the lowest upwards.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from pathlib import Path

from truestop.adapters.score.reading import read_score
from truestop.domain.passage import Finger, Marks, Note, Passage

ROMAN = {"I": 1, "II": 2, "III": 3, "IV": 4, "V": 5}
_WORD = re.compile(r"(V|IV|I{1,3})?([0-4T])$")


@dataclass(frozen=True)
class AnnotatedTune:
    """A passage without marks, what its head tells, and each player's (string, finger) for every note."""

    name: str
    notes_on_it: tuple[str, ...]
    passage: Passage
    players: tuple[tuple[tuple[int, str], ...], ...]

    @property
    def struck(self) -> tuple[Note, ...]:
        """The notes that have a word: all but the rest of tied ones."""
        return _struck(self.passage)

    def marked(self, player: int) -> Passage:
        """The passage with everything one player does printed."""
        marks = {
            note.id: Marks(fingers=(Finger(finger),), string=string)
            for note, (string, finger) in zip(self.struck, self.players[player], strict=True)
        }
        notes = [replace(note, marks=marks.get(note.id, note.marks)) for note in self.passage.notes]
        return replace(self.passage, notes=tuple(notes))


def _struck(passage: Passage) -> tuple[Note, ...]:
    return tuple(note for note in passage.notes if not note.tied_from_before)


def read_annotated(path: Path, family: str = "violin") -> AnnotatedTune:
    """Read a tune of the kind described above; ValueError where the words do not fit the notes."""
    text = path.read_text("utf-8")
    passage = read_score(text.encode(), name=path.name, family=family)
    heads = tuple(line[2:].strip() for line in text.splitlines() if line.startswith("N:"))
    verses = _verses(text)
    players: list[tuple[tuple[int, str], ...]] = []
    for number in range(max(len(lines) for lines in verses)):
        words = [word for lines in verses for word in (lines[number] if number < len(lines) else lines[0]).split()]
        players.append(tuple(_stops([word for word in words if word != "|"], path)))
        if len(players[-1]) != len(_struck(passage)):
            raise ValueError(f"{path.name}: {len(players[-1])} fingerings for {len(_struck(passage))} notes")
    return AnnotatedTune(path.stem, heads, passage, tuple(players))


def _verses(text: str) -> list[list[str]]:
    """The ``w:`` lines below each line of music."""
    verses: list[list[str]] = []
    for line in text.splitlines():
        if line.startswith("w:"):
            verses[-1].append(line[2:])
        elif not re.match(r"[A-Za-z]:", line):
            verses.append([])
    return [lines for lines in verses if lines]


def _stops(words: list[str], path: Path) -> list[tuple[int, str]]:
    stops: list[tuple[int, str]] = []
    string = 0
    for word in words:
        match = _WORD.match(word)
        if match is None:
            raise ValueError(f"{path.name}: {word!r} is no string and finger")
        string = ROMAN.get(match[1] or "", string)
        stops.append((string, match[2]))
    return stops
