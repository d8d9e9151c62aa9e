"""Adding fingerings and strings to a MusicXML file and leaving every other byte as it is.

Conventions: marks go into each note's ``<technical>``; one is made where there is none. Line breaks and indentation
follow the file's own. A compressed file stays compressed, with all its other members.
"""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Iterable, Mapping
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from html import unescape

from truestop.adapters.score.container import is_compressed, root_member, unpack
from truestop.adapters.score.musicxml_reading import NumberedPart, read_numbered_parts
from truestop.adapters.score.note_places import NotePlace, find_note_places
from truestop.adapters.score.printed_marks import NO_WORDS, PrintedMarks, choose_marks
from truestop.domain.errors import ScoreError
from truestop.domain.hand_mark import parse_hand_mark
from truestop.domain.passage import Finger
from truestop.domain.stop import FingeredPassage


@dataclass(frozen=True, slots=True)
class _Insertion:
    place: int
    text: bytes


def annotate_musicxml(
    data: bytes,
    name: str,
    fingered: FingeredPassage,
    *,
    sparse: bool = True,
    also: AbstractSet[str] = frozenset(),
    hands: Mapping[str, str] = NO_WORDS,
) -> bytes:
    """The file ``data`` with the fingers and strings of ``fingered`` that an editor would print (all, not ``sparse``).

    ``also`` names notes that are marked in any case, ``hands`` has words that tell how the hand gets to a note.

    ``fingered`` must come from a passage read from the same file. Raises ScoreError where it does not.
    """
    document = unpack(data, name=name)
    encoding = _encoding_of(document)
    part = _same_part(read_numbered_parts(data, name=name, family=fingered.instrument.family), fingered, name)
    places = find_note_places(document, name=name)[part.id]
    marks = choose_marks(fingered, sparse=sparse, also=also, hands=hands)
    insertions = [
        _insertion(document, places[part.numbers[note_id]], _elements(marked), encoding)
        for note_id, marked in marks.items()
        if _elements(marked)
    ]
    insertions += [
        _words(document, places[part.numbers[note_id]].head, marked.hand, encoding)
        for note_id, marked in marks.items()
        if marked.hand is not None
    ]
    return _repacked(data, _inserted(document, insertions), name)


def _same_part(parts: Iterable[NumberedPart], fingered: FingeredPassage, name: str) -> NumberedPart:
    wanted = {(note.id, note.written) for note in fingered.passage.notes}
    for part in parts:
        if wanted <= {(note.id, note.written) for note in part.passage.notes}:
            return part
    raise ScoreError(
        f"{name} holds no part with the notes that were fingered.", hint="Give the file that the passage was read from."
    )


def _elements(marks: PrintedMarks) -> list[str]:
    elements: list[str] = []
    for place, finger in enumerate(marks.fingers):
        if finger is Finger.THUMB:
            elements.append("<thumb-position/>")
        else:
            kind = ' substitution="yes"' if place or marks.substitutes else ""
            elements.append(f"<fingering{kind}>{finger.value}</fingering>")
    if marks.string is not None:
        elements.append(f"<string>{marks.string}</string>")
    if marks.harmonic:
        elements.append("<harmonic><natural/></harmonic>")
    return elements


def _insertion(document: bytes, place: NotePlace, elements: list[str], encoding: str) -> _Insertion:
    """Where and what to insert: before an end tag, in lines of their own where the file has lines."""
    wide = len("<".encode(encoding))
    where, outer = next(
        (end, tags)
        for end, tags in (
            (place.technical_end, ()),
            (place.notations_end, ("technical",)),
            (place.tail, ("notations", "technical")),
        )
        if end >= 0
    )
    space = _space_before(document, where, wide).decode(encoding)
    note_space = _space_before(document, place.start, wide).decode(encoding)
    if "\n" not in space or "\n" not in note_space:
        return _Insertion(where, "".join(_nested(outer, elements, "", "", "")).encode(encoding))
    margin, note_margin = space.rpartition("\n")[2], note_space.rpartition("\n")[2]
    first, unit = _indentation(margin, note_margin, len(outer))
    newline = "\r\n" if "\r\n" in space else "\n"
    text = "".join(_nested(outer, elements, first, unit, newline))
    return _Insertion(where - len(margin.encode(encoding)), text.encode(encoding))


def _words(document: bytes, head: int, words: str, encoding: str) -> _Insertion:
    """Words over the staff before a note, in lines of their own where the file has lines."""
    space = _space_before(document, head, len("<".encode(encoding))).decode(encoding)
    newline = "\r\n" if "\r\n" in space else "\n" if "\n" in space else ""
    margin = space.rpartition("\n")[2] if newline else ""
    unit = margin[: max(1, len(margin) // 3)] if newline else ""
    lines = _nested(("direction-type",), [f"<words>{words}</words>"], margin + unit, unit, newline)
    lines = ['<direction placement="above">' + newline, *lines, f"{margin}</direction>{newline}"]
    return _Insertion(head, ("".join(lines) + margin).encode(encoding, "xmlcharrefreplace"))


def _indentation(margin: str, note_margin: str, wraps: int) -> tuple[str, str]:
    """The margin of the first line to insert and what each level adds, from the file's own lines."""
    deeper = margin.removeprefix(note_margin)
    if wraps == 2:
        unit = deeper or note_margin[: len(note_margin) // 3] or "  "
        return note_margin + unit, unit
    unit = deeper[: max(1, len(deeper) // (2 - wraps))]
    return margin + unit, unit


def _nested(outer: tuple[str, ...], elements: list[str], margin: str, unit: str, newline: str) -> list[str]:
    if outer:
        inside = _nested(outer[1:], elements, margin + unit, unit, newline)
        return [f"{margin}<{outer[0]}>{newline}", *inside, f"{margin}</{outer[0]}>{newline}"]
    return [f"{margin}{element}{newline}" for element in elements]


def _space_before(document: bytes, where: int, wide: int) -> bytes:
    start = where
    while start >= wide and document[start - wide : start].replace(b"\x00", b"") in (b" ", b"\t", b"\n", b"\r"):
        start -= wide
    return document[start:where]


def _inserted(document: bytes, insertions: list[_Insertion]) -> bytes:
    pieces: list[bytes] = []
    end = 0
    for insertion in sorted(insertions, key=lambda insertion: insertion.place):
        pieces += [document[end : insertion.place], insertion.text]
        end = insertion.place
    return b"".join([*pieces, document[end:]])


def _encoding_of(document: bytes) -> str:
    """How an ASCII tag is written in the document: one byte a sign, or two for UTF-16."""
    if document[:2] == b"\xff\xfe" or document[:4] == b"<\x00?\x00":
        return "utf-16-le"
    return "utf-16-be" if document[:2] == b"\xfe\xff" or document[:4] == b"\x00<\x00?" else "ascii"


def _repacked(data: bytes, document: bytes, name: str) -> bytes:
    if not is_compressed(data):
        return document
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as archive, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        root = root_member(archive, name=name)
        for info in archive.infolist():
            packed.writestr(info, document if info.filename == root else archive.read(info))
    return out.getvalue()


#: What an edition prints of the left hand, and the elements that are empty without it.
_PRINTED = (
    rb"\s*<fingering(?:\s[^<>]*)?(?:/>|>[^<]*</fingering>)",
    rb"\s*<string(?:\s[^<>]*)?>[^<]*</string>",
    rb"\s*<(?:open-string|thumb-position)(?:\s[^<>]*)?(?:/>|>\s*</(?:open-string|thumb-position)>)",
)
_EMPTY = (rb"\s*<technical(?:\s[^<>]*)?>\s*</technical>", rb"\s*<notations(?:\s[^<>]*)?>\s*</notations>")


_DIRECTION = re.compile(rb"\s*<direction(?:\s[^<>]*)?>(?:(?!</direction>).)*</direction>", re.DOTALL)
_WORDS = rb"<words(?:\s[^<>]*)?>([^<]*)</words>"


def _unless_about_the_hand(direction: re.Match[bytes]) -> bytes:
    """A direction, or nothing where its words tell how the hand gets to a note."""
    words = b" ".join(re.findall(_WORDS, direction[0])).decode("utf-8", "replace")
    return b"" if words and parse_hand_mark(" ".join(unescape(words).split())) is not None else direction[0]


def without_fingerings(data: bytes, name: str) -> bytes:
    """The file ``data`` without the fingers, strings, thumbs and words about the hand it prints; all else stays."""
    document = unpack(data, name=name)
    encoding = _encoding_of(document)
    plain = document if encoding == "ascii" else document.decode(encoding).encode()
    for pattern in (*_PRINTED, *_EMPTY):
        plain = re.sub(pattern, b"", plain)
    plain = re.sub(_DIRECTION, _unless_about_the_hand, plain)
    return _repacked(data, plain if encoding == "ascii" else plain.decode().encode(encoding), name)
