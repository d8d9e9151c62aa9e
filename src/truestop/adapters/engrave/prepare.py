"""MusicXML made ready for an engraver that draws neither string numbers nor thumbs.

Conventions: fingers, thumbs and string numbers all become texts over the note, nearest the head first: fingers, then
the string as a Roman numeral, which the 0 of an open string makes needless. A substitution becomes one text with a
dash.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import pairwise, zip_longest
from xml.etree.ElementTree import Element, ParseError, SubElement, tostring

from defusedxml.ElementTree import fromstring

from truestop.domain.errors import EngravingError

SHIFT_MARK = re.compile(r"(\d+)( [↗↘] .+)")
PAD = "\u00a0"
"""Around every finger, so that the engraver keeps it clear of stems; taken out of the picture again."""
_CLEF_DEGREES = {"G": (32, 2), "C": (28, 3), "F": (24, 4)}
"""Diatonic degree (C0 is 0) that a clef's sign stands for, and the line it usually stands on."""
ROMAN = {"1": "I", "2": "II", "3": "III", "4": "IV", "5": "V"}


def prepare_musicxml(musicxml: bytes) -> bytes:
    """The same music with every left-hand mark as a text the engraver draws; EngravingError for what is no XML."""
    try:
        root = fromstring(musicxml, forbid_dtd=False)
    except ParseError as error:
        raise EngravingError(
            f"The page could not be engraved: its MusicXML breaks off or is broken ({error}).", hint="Write it anew."
        ) from error
    for name in root.iter("part-name"):
        name.text = ""
    for abbreviation in root.iter("part-abbreviation"):
        abbreviation.text = ""
    for measure in root.iter("measure"):
        _drop_metronomes(measure)
    for part in root.iter("part"):
        _stand_by_the_new_clef(part)
    for measure in root.iter("measure"):
        notes = measure.findall("note")
        _keep_slides_of_chords(notes)
        _write_hand_marks(notes)
        _make_room_for_slides(measure)
    for direction_type in root.iter("direction-type"):
        _box_number(direction_type)
    return bytes(tostring(root, encoding="utf-8", xml_declaration=True))


def _stand_by_the_new_clef(part: Element) -> None:
    """Grace notes right after a clef inside a bar: the engraver draws the clef before them but counts from the last.

    They get the pitch that stands by the old clef where theirs stands by the new one.
    """
    clef = 0
    for measure in part.iter("measure"):
        off, begun = 0, False
        for element in measure:
            new = element.find("clef") if element.tag == "attributes" else None
            if new is not None:
                off, clef = (clef - _lowest_line(new) if begun else 0), _lowest_line(new)
            elif element.tag == "note" and element.find("grace") is None:
                off, begun = 0, True
            elif element.tag == "note" and off:
                _move_by_steps(element, off)


def _lowest_line(clef: Element) -> int:
    """Diatonic degree (C0 is 0) of the staff's lowest line under ``clef``."""
    line, octaves = clef.findtext("line"), int(clef.findtext("clef-octave-change") or 0)
    degree, usual = _CLEF_DEGREES[clef.findtext("sign") or "G"]
    return degree - 2 * (int(line or usual) - 1) + 7 * octaves


def _move_by_steps(note: Element, steps: int) -> None:
    step, octave = note.find("pitch/step"), note.find("pitch/octave")
    if step is not None and octave is not None:
        moved = "CDEFGAB".index(step.text or "C") + 7 * int(octave.text or 4) + steps
        step.text, octave.text = "CDEFGAB"[moved % 7], str(moved // 7)


def _keep_slides_of_chords(notes: Sequence[Element]) -> None:
    """A bow mark moves from a double stop's first note to its second: the engraver loses slides that begin under it."""
    for note, following in pairwise(notes):
        bowed = note.find("notations/technical")
        if bowed is None or note.find("notations/slide[@type='start']") is None or following.find("chord") is None:
            continue
        notations = following.find("notations")
        notations = SubElement(following, "notations") if notations is None else notations
        technical = notations.find("technical")
        technical = SubElement(notations, "technical") if technical is None else technical
        for mark in [mark for mark in bowed if mark.tag in ("down-bow", "up-bow")]:
            bowed.remove(mark)
            technical.insert(0, mark)


def _make_room_for_slides(measure: Element) -> None:
    """A grace note that slides to the note after it stands further left by an unseen grace note, or no line is seen."""
    elements = list(measure)
    slides = False
    for element, following in pairwise(elements):
        if element.tag != "note" or element.find("grace") is None:
            continue
        slides = slides or element.find("notations/slide[@type='start']") is not None
        pitch = element.find("pitch")
        if not slides or pitch is None or following.tag != "note" or following.find("grace") is not None:
            continue
        unseen = Element("note", {"print-object": "no"})
        SubElement(unseen, "grace")
        unseen.append(pitch)
        unseen.extend(each for each in map(element.find, ("voice", "type", "staff")) if each is not None)
        measure.insert(list(measure).index(following), unseen)
        slides = False


def _write_hand_marks(notes: Sequence[Element]) -> None:
    """Marks of all notes of a measure: the lowest note of a double stop has its own below the staff."""
    after_grace = False
    for note, following in zip_longest(notes, notes[1:]):
        is_grace = note.find("grace") is not None
        is_chord = note.find("chord") is not None
        leads_chord = not is_chord and following is not None and following.find("chord") is not None
        for technical in note.iter("technical"):
            _write_as_text(technical, pad="" if is_grace or after_grace else PAD, below=leads_chord)
        if not is_chord:
            after_grace = is_grace


def _drop_metronomes(measure: Element) -> None:
    """Metronome marks need a music font in texts, which pages and screens lack; the sheet states the pulse in words."""
    for direction in measure.findall("direction"):
        kinds = direction.findall("direction-type")
        for kind in kinds:
            if kind.find("metronome") is not None or kind.find("scordatura") is not None:
                direction.remove(kind)
        if direction.find("direction-type") is None:
            measure.remove(direction)


def _box_number(direction_type: Element) -> None:
    """Shift marks like '3 ↗ 4th' get their number in a box and stand upright."""
    words = direction_type.find("words")
    if words is None:
        return
    words.set("font-style", "normal")
    match = SHIFT_MARK.fullmatch(words.text or "")
    if match is None:
        return
    words.text, rest = match.groups()
    words.set("enclosure", "rectangle")
    words.set("font-weight", "bold")
    SubElement(direction_type, "words", {"font-style": "normal"}).text = f"\u2002{rest.strip()}"


def _write_as_text(technical: Element, *, pad: str, below: bool) -> None:
    fingers = _finger_text(technical)
    strings = [element for element in technical if element.tag == "string"]
    removed = [
        element for element in technical if element.tag in ("fingering", "string", "thumb-position", "open-string")
    ]
    texts = [fingers] if fingers else []
    if fingers != "0" or technical.find("harmonic") is not None:
        texts += [ROMAN.get(element.text or "", element.text or "") for element in strings]
    for element in removed:
        technical.remove(element)
    for text in texts:
        SubElement(technical, "fingering", {"placement": "below"} if below else {}).text = f"{pad}{text}{pad}"


def _finger_text(technical: Element) -> str:
    written = ["T"] if any(element.tag == "thumb-position" for element in technical) else []
    if any(element.tag == "open-string" for element in technical):
        written.append("0")
    main = [element for element in technical if element.tag == "fingering" and element.get("alternate") != "yes"]
    other = [element for element in technical if element.tag == "fingering" and element.get("alternate") == "yes"]
    written += [element.text or "" for element in main]
    kept = [text for index, text in enumerate(written) if text and (index == 0 or text != written[index - 1])]
    alternates = "".join(f"({element.text})" for element in other if element.text)
    return "–".join(kept) + alternates
