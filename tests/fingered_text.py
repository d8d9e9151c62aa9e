"""A small text form for fingered passages, used by tests and benchmarks.

One note is ``PITCH:STRING FINGER`` without the space: ``D5:II3`` is D5 on string II with finger 3, ``E5:I0`` the
open string. Chords join notes with ``+``, ``r`` is a rest, ``d=1/2`` sets the length from there on in quarter notes,
``( … )`` a slur, ``|`` a bar line, ``g`` before a note makes it a grace note, an ``o`` after the finger a
natural harmonic, ``@a`` after a note points to the reason
``a = …``. Lines ``name: value`` before the music give title, instrument, key (sharps), tempo, source, reason.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path

from truestop.domain.passage import Finger, Harmonic, Marks, Measure, Note, Passage, Tempo
from truestop.domain.pitch import Pitch

ROMAN = {"I": 1, "II": 2, "III": 3, "IV": 4, "V": 5}
_NOTE = re.compile(r"(g?)([A-G][#b]*-?\d)(?::(?:(V|IV|I{1,3}))?([0-4T](?:-[0-4T])?)?(o)?)?(?:@(\w+))?$")


@dataclass(frozen=True)
class Written:
    """One note as the text gives it: string and finger are None where it is silent."""

    note_id: str
    string: int | None
    finger: str | None
    reason: str | None
    harmonic: bool = False


@dataclass(frozen=True)
class FingeredText:
    """A passage without marks, and what the text says of each note's string and finger."""

    head: dict[str, str]
    reasons: dict[str, str]
    passage: Passage
    written: tuple[Written, ...]

    @property
    def instrument(self) -> str:
        return self.head.get("instrument", "violin")

    def marked(self, ids: set[str] | None = None, *, strings: bool = True) -> Passage:
        """The passage with the written fingers (and strings) printed, at all notes or at ``ids`` alone."""
        by_id = {written.note_id: written for written in self.written}
        notes = [
            replace(note, marks=_marks(by_id[note.id], strings)) if ids is None or note.id in ids else note
            for note in self.passage.notes
        ]
        return replace(self.passage, notes=tuple(notes))


def _marks(written: Written, strings: bool) -> Marks:
    fingers = tuple(Finger(part) for part in written.finger.split("-")) if written.finger else ()
    harmonic = Harmonic.NATURAL if written.harmonic else Harmonic.NONE
    return Marks(fingers=fingers, string=written.string if strings else None, harmonic=harmonic)


@dataclass
class _Pen:
    onset: Fraction = Fraction(0)
    length: Fraction = Fraction(1, 2)
    bar_onset: Fraction = Fraction(0)
    bar: int = 1
    slur: str = "none"
    notes: list[Note] = field(default_factory=list)
    written: list[Written] = field(default_factory=list)
    measures: list[Measure] = field(default_factory=list)


def parse_fingered(text: str) -> FingeredText:
    """Read the form described in the module's docstring; ValueError on anything else."""
    head: dict[str, str] = {}
    reasons: dict[str, str] = {}
    music: list[str] = []
    for line in text.splitlines():
        if match := re.match(r"(title|instrument|key|tempo|source|reason|strings):\s*(.*)", line):
            head[match[1]] = match[2]
        elif match := re.match(r"(\w+) = (.*)", line):
            reasons[match[1]] = match[2]
        elif not line.startswith("#"):
            music += line.split()
    pen = _Pen()
    key = int(head.get("key", "0"))
    for token in [*music, *([] if music and music[-1] == "|" else ["|"])]:
        _write(token, pen, key)
    passage = Passage(
        title=head.get("title", ""), notes=tuple(pen.notes), measures=tuple(pen.measures),
        tempos=(Tempo(onset=Fraction(0), quarter_bpm=float(head.get("tempo", "100"))),),
        instrument=head.get("instrument", "violin"),
    )  # fmt: skip
    return FingeredText(head, reasons, passage, tuple(pen.written))


def read_fingered(path: Path) -> FingeredText:
    """Read a file in the form."""
    return parse_fingered(path.read_text("utf-8"))


def _write(token: str, pen: _Pen, key: int) -> None:
    if token == "|":
        if pen.onset > pen.bar_onset:
            pen.measures.append(
                Measure(number=str(pen.bar), onset=pen.bar_onset, duration=pen.onset - pen.bar_onset, key_fifths=key)
            )
            pen.bar, pen.bar_onset = pen.bar + 1, pen.onset
    elif token in "()":
        pen.slur = "starts" if token == "(" else "none"
    elif token.startswith("d="):
        pen.length = Fraction(token[2:])
    elif token == "r":
        pen.onset += pen.length
    else:
        _write_notes(token, pen)


def _write_notes(token: str, pen: _Pen) -> None:
    grace = token.startswith("g")
    for part in sorted(token.removeprefix("g").split("+"), key=lambda text: _match(text)[0].midi):
        pitch, string, finger, harmonic, reason = _match(part)
        note_id = f"n{len(pen.notes) + 1}"
        pen.notes.append(
            Note(
                id=note_id, pitch=pitch, written=pitch, onset=pen.onset, duration=Fraction(0) if grace else pen.length,
                measure=str(pen.bar), measure_index=pen.bar - 1, beat=pen.onset - pen.bar_onset + 1, grace=grace,
                bow_continues=pen.slur == "inside",
            )
        )  # fmt: skip
        pen.written.append(Written(note_id, string, finger, reason, harmonic))
    pen.slur = "inside" if pen.slur == "starts" else pen.slur
    pen.onset += Fraction(0) if grace else pen.length


def _match(text: str) -> tuple[Pitch, int | None, str | None, bool, str | None]:
    match = _NOTE.match(text)
    if match is None:
        raise ValueError(f"{text!r} is no note")
    return Pitch.parse(match[2]), ROMAN.get(match[3] or ""), match[4], bool(match[5]), match[6]
