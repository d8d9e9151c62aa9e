"""Where in a MusicXML document's bytes marks can be added to each note, so that nothing else changes.

Conventions: places are byte offsets into the document. Notes are counted in the order of the document within each part,
rests and hidden notes included.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from defusedxml import DefusedXmlException
from defusedxml.ElementTree import DefusedXMLParser, ParseError

from truestop.domain.errors import ScoreError

_AFTER_NOTATIONS = frozenset(("lyric", "play", "listen"))


@dataclass(slots=True, kw_only=True)
class NotePlace:
    """One ``<note>``. Offsets are −1 where the element is missing or empty."""

    start: int
    head: int = -1
    """Where the note or chord that it belongs to begins."""
    technical_end: int = -1
    """Where ``</technical>`` begins."""
    notations_end: int = -1
    tail: int = -1
    """Where a new ``<notations>`` may stand: before a lyric, or before ``</note>``."""


def find_note_places(xml: bytes, *, name: str) -> dict[str, list[NotePlace]]:
    """Part id → the places of its notes. Raises ScoreError where ``xml`` cannot be read."""
    finder = _Finder(xml)
    parser: Any = DefusedXMLParser(target=finder, forbid_dtd=False, forbid_entities=True, forbid_external=True)
    finder.expat = parser.parser
    finder.expat.ordered_attributes = False
    finder.expat.StartElementHandler = finder.start
    finder.expat.EndElementHandler = finder.end
    try:
        parser.feed(xml)
        parser.close()
    except (ParseError, DefusedXmlException, ValueError, LookupError) as error:
        raise ScoreError(f"{name} is not a MusicXML document.", hint="Export it again as MusicXML.") from error
    return finder.parts


class _Finder:
    """Receives the parser's events."""

    def __init__(self, xml: bytes) -> None:
        self._xml = xml
        self.expat: Any = None
        self.parts: dict[str, list[NotePlace]] = {}
        self._part: list[NotePlace] = []
        self._path: list[int] = []
        self._count = 0
        self._note: NotePlace | None = None
        self._depth = 0

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        """An element begins."""
        place = self.expat.CurrentByteIndex
        self._count += 1
        self._path.append(self._count)
        if tag == "part":
            self._part = self.parts.setdefault(attributes.get("id", ""), [])
        elif tag == "note" and self._note is None:
            self._note, self._depth = NotePlace(start=place, head=place), len(self._path)
            self._part.append(self._note)
        elif tag == "chord" and self._note is not None and len(self._part) > 1:
            self._note.head = self._part[-2].head
        elif self._note is not None and len(self._path) == self._depth + 1 and tag in _AFTER_NOTATIONS:
            self._note.tail = place if self._note.tail < 0 else self._note.tail

    def end(self, tag: str) -> None:
        """An element ends."""
        empty = self._is_empty(self._path.pop())
        place = self.expat.CurrentByteIndex
        note, level = self._note, len(self._path) - self._depth
        if note is None:
            return
        if level == 0 and tag == "notations" and not empty:
            note.notations_end = place
        elif level == 1 and tag == "technical" and not empty:
            note.technical_end = place
        elif level == -1:
            note.tail = place if note.tail < 0 else note.tail
            self._note = None

    def _is_empty(self, number: int) -> bool:
        """Whether the element just ended is the last begun and closed itself: the parser then stands behind its tag."""
        place = self.expat.CurrentByteIndex
        return number == self._count and self._xml[max(0, place - 4) : place].replace(b"\x00", b"")[-2:] == b"/>"

    def data(self, text: str) -> None:
        """Text between tags."""

    def close(self) -> None:
        """The document has ended."""
