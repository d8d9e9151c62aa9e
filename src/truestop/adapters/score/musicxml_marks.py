"""What the edition prints at a note: fingers, strings, harmonics, bows, slides, ornaments.

Conventions: element names are those of MusicXML 4.0. Fingers are kept in the order of the document with the kind of
each: plain, substitution (on the sounding note) or alternate (offered beside).
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from xml.etree.ElementTree import Element

from truestop.adapters.score.musicxml_numbers import text_of
from truestop.domain.hand_mark import split_reach
from truestop.domain.passage import Finger, Harmonic

PLAIN, SUBSTITUTION, ALTERNATE = "plain", "substitution", "alternate"
PASSED_OVER = "it is passed over"

_FINGER_WORDS = {"0": Finger.OPEN, "o": Finger.OPEN, "1": Finger.FIRST, "2": Finger.SECOND, "3": Finger.THIRD} | {
    "4": Finger.FOURTH, "t": Finger.THUMB, "thumb": Finger.THUMB, "ϙ": Finger.THUMB, "♀": Finger.THUMB,
}  # fmt: skip
_FINGER_TOKEN = re.compile(r"(thumb|[0-4]|t|ϙ|♀|o(?!r))|(\d+)|(or|[-–—‐‑_/|,;()\[\]\s]+)|(.)", re.IGNORECASE)
_NUMERALS = {"i": 1, "ii": 2, "iii": 3, "iv": 4, "v": 5}
_WITH_STRING = re.compile(
    r"(?P<before>IV|V|I{1,3})(?:[\s.,/:-]*(?P<fingers_after>[0-4T].*))?"
    r"|(?P<fingers>[0-4T].*?)[\s.,/:-]*(?P<after>IV|V|I{1,3})"
)

#: MusicXML articulations and ornaments that a passage keeps under their own names.
ARTICULATIONS = frozenset((
    "accent", "strong-accent", "staccato", "tenuto", "detached-legato", "staccatissimo", "spiccato", "scoop", "plop",
    "doit", "falloff", "breath-mark", "caesura", "stress", "unstress", "soft-accent",
))  # fmt: skip
ORNAMENTS = frozenset(["turn", "delayed-turn", "inverted-turn", "mordent", "inverted-mordent", "shake"])
_PART_OF_A_TRILL = frozenset(["wavy-line"])
TECHNICAL_NAMES = frozenset(["snap-pizzicato", "stopped"])


@dataclass(slots=True)
class DraftMarks:
    """The marks of one note while its chord is still being read."""

    fingers: list[tuple[Finger, str]] = field(default_factory=list)
    finger_heights: list[float | None] = field(default_factory=list)
    string: int | None = None
    hand: str | None = None
    """Words for a stretch beside a finger."""
    harmonic: Harmonic = Harmonic.NONE
    harmonic_role: str = ""
    """'base', 'touching', 'sounding' or ''."""
    slide: bool = False
    bow: str | None = None
    trill: bool = False
    names: list[str] = field(default_factory=list)
    slur_starts: list[int] = field(default_factory=list)
    slur_stops: list[int] = field(default_factory=list)
    tied_stop: bool = False
    tied_start: bool = False
    slide_starts: list[str] = field(default_factory=list)
    slide_stops: list[str] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    """Sentences about what was passed over; '{note}' stands for the note."""


def parse_string_and_fingers(text: str) -> tuple[int | None, str]:
    """A string's numeral in a printed fingering and what remains of it.

    >>> parse_string_and_fingers("IV 3-1"), parse_string_and_fingers("2 III"), parse_string_and_fingers("2")
    ((4, '3-1'), (3, '2'), (None, '2'))
    """
    match = _WITH_STRING.fullmatch(text.strip())
    if match is None:
        return None, text
    numeral = match["before"] or match["after"]
    return _NUMERALS[numeral.lower()], match["fingers_after"] or match["fingers"] or ""


def parse_fingering(text: str) -> list[tuple[Finger, str]]:
    """The fingers in a printed fingering, with their kinds; other digits and words are passed over.

    >>> [(str(f), k) for f, k in parse_fingering("3-1")]
    [('3', 'plain'), ('1', 'substitution')]
    >>> [(str(f), k) for f, k in parse_fingering("2 (4)")]
    [('2', 'plain'), ('4', 'alternate')]
    """
    found: list[tuple[Finger, str]] = []
    between = ""
    for finger, number, gap, _other in _FINGER_TOKEN.findall(text[:40]):
        if gap:
            between += gap
        elif finger and not number:
            kind = (
                PLAIN if not found or "\n" in between else SUBSTITUTION if re.search("[-–—‐‑_]", between) else ALTERNATE
            )
            found.append((_FINGER_WORDS[finger.lower()], kind))
            between = ""
    return found


def _kind_after(between: str) -> str:
    if "\n" in between:
        return PLAIN
    return SUBSTITUTION if re.search("[-–—‐‑_]", between) else ALTERNATE


def _fingering(element: Element, marks: DraftMarks) -> None:
    text = (element.text or "").strip()
    if text.casefold() in _NUMERALS:
        marks.string = _NUMERALS[text.casefold()]
        return
    reach, text = split_reach(text)
    string, text = parse_string_and_fingers(text)
    marks.string, marks.hand = string or marks.string, reach or marks.hand
    kind = next((kind for kind in (SUBSTITUTION, ALTERNATE) if element.get(kind) == "yes"), PLAIN)
    height = _height(element)
    parsed = parse_fingering(text)
    if text and not parsed:
        marks.remarks.append(f"{{note}}: the fingering '{text[:20]}' is none of 0 to 4 and T; {PASSED_OVER}.")
    if [own_kind for _, own_kind in parsed] == [PLAIN] * len(parsed):
        parsed.reverse()  # a stack is printed from the top down
    for index, (finger, own_kind) in enumerate(parsed):
        marks.fingers.append((finger, kind if index == 0 else own_kind))
        marks.finger_heights.append(height)


def _height(element: Element) -> float | None:
    try:
        return float(element.get("default-y", ""))
    except ValueError:
        return None


def _thumb(element: Element, marks: DraftMarks) -> None:
    marks.fingers.append((Finger.THUMB, SUBSTITUTION if marks.fingers else PLAIN))
    marks.finger_heights.append(_height(element))


def _open_string(element: Element, marks: DraftMarks) -> None:
    if (Finger.OPEN, PLAIN) not in marks.fingers:
        marks.fingers.append((Finger.OPEN, PLAIN))
        marks.finger_heights.append(_height(element))


def _string(element: Element, marks: DraftMarks) -> None:
    text = text_of(element).casefold()
    number = _NUMERALS.get(text, int(text) if text.isdecimal() and text.isascii() and len(text) == 1 else 0)
    if 1 <= number <= 9:
        marks.string = number
    elif text:
        marks.remarks.append(f"{{note}}: '{text[:20]}' is no string number; {PASSED_OVER}.")


def _harmonic(element: Element, marks: DraftMarks) -> None:
    marks.harmonic = Harmonic.ARTIFICIAL if element.find("artificial") is not None else Harmonic.NATURAL
    for role in ("base", "touching", "sounding"):
        if element.find(f"{role}-pitch") is not None:
            marks.harmonic_role = role


def _up_bow(_element: Element, marks: DraftMarks) -> None:
    marks.bow = "up"


def _down_bow(_element: Element, marks: DraftMarks) -> None:
    marks.bow = "down"


_TECHNICAL = {
    "fingering": _fingering,
    "string": _string,
    "open-string": _open_string,
    "harmonic": _harmonic,
    "thumb-position": _thumb,
    "up-bow": _up_bow,
    "down-bow": _down_bow,
}


def read_notations(notations: Element, marks: DraftMarks) -> None:
    """Add what a ``<notations>`` element says to ``marks``."""
    for element in notations:
        reader = _NOTATIONS.get(element.tag)
        if reader is not None:
            reader(element, marks)


def _technical(element: Element, marks: DraftMarks) -> None:
    for child in element:
        reader = _TECHNICAL.get(child.tag)
        if reader is not None:
            reader(child, marks)
        elif child.tag in TECHNICAL_NAMES:
            marks.names.append(child.tag)
        else:
            marks.remarks.append(_not_kept(child))


def _slur(element: Element, marks: DraftMarks) -> None:
    text = element.get("number", "1")
    number = int(text) if text.isdecimal() and text.isascii() and len(text) <= 2 else 1
    if element.get("type") == "start":
        marks.slur_starts.append(number)
    elif element.get("type") == "stop":
        marks.slur_stops.append(number)


def _tied(element: Element, marks: DraftMarks) -> None:
    marks.tied_start |= element.get("type") == "start"
    marks.tied_stop |= element.get("type") == "stop"


def _not_kept(element: Element) -> str:
    words = text_of(element)[:40] if element.tag.startswith("other-") else ""
    name = f"'{words}'" if words else f"the mark <{element.tag.rpartition('}')[2][:40]}>"
    return f"{name} is none of those that truestop reads; {PASSED_OVER}."


def _slide(element: Element, marks: DraftMarks) -> None:
    line = f"{element.tag} {element.get('number', '1')[:5]}"
    if element.get("type") == "stop":
        marks.slide = True
        marks.slide_stops.append(line)
    elif element.get("type") == "start":
        marks.slide_starts.append(line)


def _ornaments(element: Element, marks: DraftMarks) -> None:
    for child in element:
        if child.tag == "trill-mark":
            marks.trill = True
        elif child.tag in ORNAMENTS:
            marks.names.append(child.tag)
        elif child.tag not in _PART_OF_A_TRILL:
            marks.remarks.append(_not_kept(child))


def _articulations(element: Element, marks: DraftMarks) -> None:
    marks.names.extend(child.tag for child in element if child.tag in ARTICULATIONS)


def _fermata(_element: Element, marks: DraftMarks) -> None:
    marks.names.append("fermata")


_NOTATIONS = {
    "technical": _technical,
    "slur": _slur,
    "tied": _tied,
    "slide": _slide,
    "glissando": _slide,
    "ornaments": _ornaments,
    "articulations": _articulations,
    "fermata": _fermata,
}
