"""Words, tempos, dynamics and scordatura from MusicXML directions."""

from __future__ import annotations

from fractions import Fraction
from re import search
from xml.etree.ElementTree import Element

from truestop.adapters.score.bounds import HIGHEST_BPM, LOWEST_BPM, cut
from truestop.adapters.score.draft import ZERO, DraftPart, StringEvent
from truestop.adapters.score.musicxml_numbers import decimal, text_of, whole
from truestop.domain.hand_mark import parse_hand_mark
from truestop.domain.passage import Direction, Tempo
from truestop.domain.pitch import Pitch

_BEAT_UNITS = {
    "maxima": Fraction(32), "long": Fraction(16), "breve": Fraction(8), "whole": Fraction(4), "half": Fraction(2),
    "quarter": Fraction(1), "eighth": Fraction(1, 2), "16th": Fraction(1, 4), "32nd": Fraction(1, 8),
    "64th": Fraction(1, 16),
}  # fmt: skip


def read_direction(element: Element, part: DraftPart, onset: Fraction, divisions: Fraction | None) -> None:
    """Add what a ``<direction>`` at ``onset`` says to ``part``."""
    onset = max(onset + _offset(element, divisions), ZERO)
    words: list[Element] = []
    tempo_mark = False
    for kind in element.findall("direction-type"):
        for child in kind:
            if child.tag == "words":
                words.append(child)
            elif child.tag == "metronome":
                tempo_mark |= _metronome(child, part, onset)
            else:
                _other(child, element, part, onset)
    sound = element.find("sound")
    if sound is not None:
        tempo_mark |= read_sound(sound, part, onset)
    _words(words, element, part, onset, tempo=tempo_mark)


def read_sound(element: Element, part: DraftPart, onset: Fraction) -> bool:
    """Keep the tempo of a ``<sound>``; tells whether it had one. MusicXML gives it in quarter notes a minute."""
    text = (element.get("tempo") or "").strip()
    return bool(text) and _keep_tempo(part, onset, float(decimal(text, "the tempo")))


def _keep_tempo(part: DraftPart, onset: Fraction, quarter_bpm: float) -> bool:
    if not LOWEST_BPM <= quarter_bpm <= HIGHEST_BPM:
        return False
    while part.tempos and part.tempos[-1].onset == onset:
        part.tempos.pop()
    part.tempos.append(Tempo(onset=onset, quarter_bpm=quarter_bpm))
    return True


def _offset(element: Element, divisions: Fraction | None) -> Fraction:
    text = text_of(element.find("offset"))
    if not text or not divisions:
        return ZERO
    beats = decimal(text, "an <offset>") / divisions
    return beats if abs(beats) < 1000 else ZERO


def _metronome(element: Element, part: DraftPart, onset: Fraction) -> bool:
    number = search(r"\d{1,4}(\.\d{1,3})?", text_of(element.find("per-minute")))
    units = [child for child in element if child.tag in ("beat-unit", "beat-unit-dot")]
    if number is None or not units:
        return False
    length = _BEAT_UNITS.get(text_of(units[0]), Fraction(1))
    dots = sum(1 for child in units[1:] if child.tag == "beat-unit-dot")
    length *= 2 - Fraction(1, 2 ** min(dots, 4))
    return _keep_tempo(part, onset, float(Fraction(number[0]) * length))


def _words(words: list[Element], direction: Element, part: DraftPart, onset: Fraction, *, tempo: bool) -> None:
    text = cut(" ".join(child.text or "" for child in words))
    if not text:
        return
    if parse_hand_mark(text) is not None:
        part.hand_words = f"{part.hand_words}, {text}" if part.hand_words else text
        part.hand_words_onset = onset
        return
    bold = any(child.get("font-weight") == "bold" for child in words)
    part.directions.append(
        Direction(onset=onset, text=text, placement=_placement(direction), kind="tempo" if tempo or bold else "words")
    )
    part.string_events.append(StringEvent(onset=onset, kind="words", text=text))


def _placement(direction: Element) -> str:
    return "below" if direction.get("placement") == "below" else "above"


def _other(child: Element, direction: Element, part: DraftPart, onset: Fraction) -> None:
    if child.tag == "dynamics":
        text = "".join(mark.tag if mark.tag != "other-dynamics" else (mark.text or "") for mark in child)
        _keep(part, direction, onset, text, "dynamics")
    elif child.tag == "rehearsal":
        _keep(part, direction, onset, child.text or "", "rehearsal")
    elif child.tag in ("dashes", "bracket") and child.get("type") in ("start", "stop"):
        part.string_events.append(StringEvent(onset=onset, kind=f"line {child.get('type')}s"))
    elif child.tag == "scordatura" and not part.retuned:
        part.retuned = _scordatura(child)


def _keep(part: DraftPart, direction: Element, onset: Fraction, text: str, kind: str) -> None:
    if cut(text):
        part.directions.append(Direction(onset=onset, text=cut(text), placement=_placement(direction), kind=kind))


def _scordatura(element: Element) -> dict[int, Pitch]:
    strings: dict[int, Pitch] = {}
    for accord in element.findall("accord"):
        number = whole(accord.get("string", "").strip(), "An <accord>'s string", 1, 9)
        alter = whole(text_of(accord.find("tuning-alter"), "0") or "0", "<tuning-alter>", -3, 3)
        octave = whole(text_of(accord.find("tuning-octave")), "<tuning-octave>", 0, 9)
        strings[number] = Pitch(text_of(accord.find("tuning-step")), alter, octave)
    return strings
