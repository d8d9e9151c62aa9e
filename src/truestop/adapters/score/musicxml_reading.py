"""Reading MusicXML 3.x and 4.0, partwise or timewise, plain or compressed.

Conventions: notes stand in the order of the page; repeats are not played out. Measure numbers are those printed. Only
the parts that are asked for are built.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from xml.etree.ElementTree import Element

from truestop.adapters.score.bounds import MOST_PARTS, check_size, cut
from truestop.adapters.score.container import unpack
from truestop.adapters.score.draft import DraftPart
from truestop.adapters.score.families import family_of_names, family_of_program, family_of_sound
from truestop.adapters.score.finishing import finish_part
from truestop.adapters.score.musicxml_numbers import text_of
from truestop.adapters.score.musicxml_part import PartReader
from truestop.adapters.score.musicxml_stream import stream_score
from truestop.adapters.score.score import PartInfo, Score, choose_part
from truestop.domain.errors import ScoreError
from truestop.domain.passage import Passage


def read_musicxml(data: bytes, *, name: str) -> Score:
    """Every part of the MusicXML document in ``data``. ``name`` is what errors call the file. Raises ScoreError."""
    reading = _Reading(name)
    reading.run(data)
    passages = tuple(finish_part(reading.readers[info.id].part) for info in reading.parts)
    counted = tuple(_counted(info, passage) for info, passage in zip(reading.parts, passages, strict=True))
    return Score(title=reading.title, composer=reading.composer, parts=counted, passages=passages)


def read_musicxml_part(data: bytes, *, name: str, part: str | None = None, family: str | None = None) -> Passage:
    """One part of the document: ``part`` as ``choose_part`` understands it. Raises ScoreError."""
    reading = _Reading(name)
    chosen = reading.run(data, part=part, family=family, single=True)
    return finish_part(reading.readers[chosen].part, family=family)


@dataclass(frozen=True, slots=True, kw_only=True)
class NumberedPart:
    """A part's passage, and which ``<note>`` of the part (from 0, in the order of the file) each note id is."""

    id: str
    passage: Passage
    numbers: dict[str, int]


def read_numbered_parts(data: bytes, *, name: str, family: str | None = None) -> Iterator[NumberedPart]:
    """Every part with the places of its notes. Raises ScoreError."""
    reading = _Reading(name)
    reading.run(data)
    for info in reading.parts:
        draft = reading.readers[info.id].part
        passage = finish_part(draft, family=family)
        numbers = {note.id: drafted.number for note, drafted in zip(passage.notes, draft.notes, strict=True)}
        yield NumberedPart(id=info.id, passage=passage, numbers=numbers)


def _counted(info: PartInfo, passage: Passage) -> PartInfo:
    return PartInfo(
        id=info.id, name=info.name, family=info.family, note_count=len(passage.notes), abbreviation=info.abbreviation
    )


class _Reading:
    """One run over a document."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.title = ""
        self.composer = ""
        self.parts: tuple[PartInfo, ...] = ()
        self.readers: dict[str, PartReader] = {}
        self._single = False
        self._part: str | None = None
        self._family: str | None = None

    def run(self, data: bytes, *, part: str | None = None, family: str | None = None, single: bool = False) -> str:
        """Read the document; the id of the part chosen (the first read where all are)."""
        check_size(len(data), name=self.name)
        self._part, self._family, self._single = part, family, single
        stream_score(unpack(data, name=self.name), name=self.name, take_header=self._header, take_measure=self._measure)
        read = [info.id for info in self.parts if info.id in self.readers and self.readers[info.id].part.measures]
        if not read:
            raise ScoreError(f"{self.name} has no <measure>.", hint="Export the score again with at least one part.")
        self.parts = tuple(info for info in self.parts if info.id in self.readers) if not single else self.parts
        return read[0]

    def _header(self, header: Element) -> frozenset[str]:
        self.title = _title(header)
        self.composer = _composer(header)
        self.parts = tuple(_part_info(element) for element in header.iterfind("part-list/score-part"))
        if len(self.parts) > MOST_PARTS:
            raise ScoreError(f"{self.name} has more than {MOST_PARTS} parts.", hint="Export the part you need alone.")
        wanted = self.parts
        if self._single or not self.parts:
            wanted = (choose_part(self.parts, wanted=self._part, family=self._family, name=self.name),)
        for info in wanted:
            draft = DraftPart(title=self.title, composer=self.composer, name=info.name, family=info.family)
            self.readers[info.id] = PartReader(draft)
        return frozenset(self.readers)

    def _measure(self, part: str, attributes: dict[str, str], content: Element) -> None:
        self.readers[part].take(attributes, content)


def _title(header: Element) -> str:
    work = cut(text_of(header.find("work/work-title")))
    movement = cut(text_of(header.find("movement-title")))
    if work and movement and work != movement:
        return f"{work}: {movement}"
    return movement or work


def _composer(header: Element) -> str:
    for creator in header.iterfind("identification/creator"):
        if creator.get("type") == "composer":
            return cut(text_of(creator))
    return ""


def _part_info(element: Element) -> PartInfo:
    name = cut(text_of(element.find("part-name")))
    abbreviation = cut(text_of(element.find("part-abbreviation")))
    instruments = [cut(text_of(child)) for child in element.iterfind("score-instrument/instrument-name")]
    return PartInfo(
        id=element.get("id", ""),
        name=name,
        abbreviation=abbreviation,
        family=_family(element, [name, *instruments, abbreviation]),
    )


def _family(element: Element, names: list[str]) -> str | None:
    for sound in element.iterfind("score-instrument/instrument-sound"):
        found = family_of_sound(text_of(sound))
        if found is not None:
            return found
    named = family_of_names(names)
    if named is not None:
        return named
    for program in element.iterfind("midi-instrument/midi-program"):
        text = text_of(program)
        found = family_of_program(int(text)) if text.isdecimal() and text.isascii() and len(text) < 4 else None
        if found is not None:
            return found
    return None


def list_musicxml_parts(data: bytes, *, name: str) -> tuple[PartInfo, ...]:
    """The parts of the document with the number of notes of each. Raises ScoreError."""
    return read_musicxml(data, name=name).parts
