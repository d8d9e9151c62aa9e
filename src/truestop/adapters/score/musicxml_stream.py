"""A MusicXML document as a stream of measures: one measure in memory at a time.

Conventions: partwise and timewise documents give the same calls. DTDs are allowed (real files name one), entities and
external references are not. Everything before the first part is the header, handed over once as an element tree.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from xml.etree.ElementTree import Element, TreeBuilder

from defusedxml import DefusedXmlException
from defusedxml.ElementTree import DefusedXMLParser, ParseError

from truestop.adapters.score.bounds import MOST_DEPTH, MOST_ELEMENTS_IN_MEASURE
from truestop.domain.errors import ScoreError

TakeHeader = Callable[[Element], frozenset[str]]
"""Gets the header, returns the ids of the parts that are wanted."""
TakeMeasure = Callable[[str, dict[str, str], Element], None]
"""Gets part id, the measure's attributes and the element whose children are its contents."""

_NESTING = {"score-partwise": ("part", "measure"), "score-timewise": ("measure", "part")}
_EXPORT_AGAIN = "Export it again from the notation program as MusicXML."


def stream_score(xml: bytes, *, name: str, take_header: TakeHeader, take_measure: TakeMeasure) -> None:
    """Parse ``xml`` and hand over its header, then the measures of the wanted parts in order.

    Raises ScoreError where ``xml`` is no MusicXML score, is truncated or is built to harm.
    """
    stream = _Stream(name, take_header, take_measure)
    parser: Any = DefusedXMLParser(target=stream, forbid_dtd=False, forbid_entities=True, forbid_external=True)
    parser.parser.ordered_attributes = False
    stream.listen(parser.parser)
    try:
        parser.feed(xml)
        parser.close()
    except ParseError as error:
        raise _broken(error, name) from error
    except DefusedXmlException as error:
        raise ScoreError(
            f"{name} declares XML entities, which no score needs.", hint="Use a file that a notation program exported."
        ) from error
    except (ValueError, LookupError) as error:
        raise ScoreError(f"{name} is not text in an encoding that can be read.", hint=_EXPORT_AGAIN) from error
    stream.finish()


def _broken(error: ParseError, name: str) -> ScoreError:
    line, column = error.position
    reason = str(error).partition(":")[0]
    if reason in ("no element found", "unclosed token", "unclosed CDATA section", "partial character"):
        return ScoreError(
            f"{name} ends in the middle, at line {line}.", hint="Copy or export the file again; it is cut off."
        )
    return ScoreError(
        f"{name} is not well-formed XML at line {line}, column {column + 1} ({reason}).", hint=_EXPORT_AGAIN
    )


class _Stream:
    """Receives the parser's events; builds the header, then one measure after the other."""

    def __init__(self, name: str, take_header: TakeHeader, take_measure: TakeMeasure) -> None:
        self._name = name
        self._take_header = take_header
        self._take_measure = take_measure
        self._expat: Any = None
        self._depth = 0
        self._count = 0
        self._builder: TreeBuilder | None = TreeBuilder()
        self._nesting: tuple[str, str] | None = None
        self._in_header = True
        self._outer: dict[str, str] = {}
        self._wanted: frozenset[str] = frozenset()

    def listen(self, expat: Any) -> None:
        """Take the events of ``expat``."""
        self._expat = expat
        expat.StartElementHandler = self.start
        expat.EndElementHandler = self.end
        expat.CharacterDataHandler = self.data

    def _skip_part(self) -> None:
        """Pass over a part that nobody wants: only its end is listened for."""
        self._expat.StartElementHandler = None
        self._expat.EndElementHandler = self._end_of_skipped
        self._expat.CharacterDataHandler = None

    def _end_of_skipped(self, tag: str) -> None:
        if tag == "part" or tag.endswith("}part"):
            self.listen(self._expat)
            self._depth -= 1

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        """An element begins."""
        tag = tag.rpartition("}")[2]
        depth = self._depth
        self._depth = depth + 1
        self._count += 1
        if depth < 3:
            self._start_outer(depth, tag, attributes)
        elif depth > MOST_DEPTH:
            raise ScoreError(f"{self._name} nests its elements more than {MOST_DEPTH} deep.", hint=_EXPORT_AGAIN)
        if self._count > MOST_ELEMENTS_IN_MEASURE:
            raise ScoreError(
                f"{self._name} has a <measure> with more than {MOST_ELEMENTS_IN_MEASURE} elements.", hint=_EXPORT_AGAIN
            )
        if self._builder is not None:
            self._builder.start(tag, attributes)

    def _start_outer(self, depth: int, tag: str, attributes: dict[str, str]) -> None:
        if depth == 0:
            self._nesting = _NESTING.get(tag)
            if self._nesting is None:
                raise ScoreError(
                    f"{self._name} is XML, but not a MusicXML score: its root is '{tag[:40]}'.", hint=_EXPORT_AGAIN
                )
        elif depth == 1 and self._nesting is not None and tag == self._nesting[0]:
            self._close_header()
            self._outer = attributes
            if tag == "part" and attributes.get("id", "") not in self._wanted:
                self._skip_part()
        elif depth == 2 and not self._in_header:
            part = (self._outer if self._nesting == _NESTING["score-partwise"] else attributes).get("id", "")
            self._count = 0
            if self._nesting is not None and tag == self._nesting[1] and part in self._wanted:
                self._builder = TreeBuilder()
                self._inner = attributes

    def end(self, tag: str) -> None:
        """An element ends."""
        self._depth -= 1
        builder = self._builder
        if builder is None:
            return
        builder.end(tag.rpartition("}")[2])
        if self._depth == 2 and not self._in_header:
            self._builder = None
            partwise = self._nesting == _NESTING["score-partwise"]
            part = (self._outer if partwise else self._inner).get("id", "")
            self._take_measure(part, self._inner if partwise else self._outer, builder.close())

    def data(self, text: str) -> None:
        """Text between tags."""
        if self._builder is not None:
            self._builder.data(text)

    def close(self) -> None:
        """The document has ended."""

    def finish(self) -> None:
        """Hand over a header that no part followed."""
        if self._in_header:
            self._take_header(self._end_of_header(end_root=False))

    def _close_header(self) -> None:
        if self._in_header:
            self._wanted = self._take_header(self._end_of_header(end_root=True))
        self._builder = None

    def _end_of_header(self, *, end_root: bool) -> Element:
        builder, self._builder, self._in_header = self._builder, None, False
        assert builder is not None
        if end_root:
            builder.end("score")
        return builder.close()
