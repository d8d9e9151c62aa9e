"""Tempos, words, dynamics and scordatura as MusicXML directions."""

from __future__ import annotations

from fractions import Fraction
from xml.etree.ElementTree import Element, SubElement

from truestop.adapters.score.note_values import beat_unit
from truestop.domain.passage import Direction, Measure, Tempo
from truestop.domain.pitch import Pitch

_DYNAMICS = frozenset((
    "p", "pp", "ppp", "pppp", "ppppp", "pppppp", "f", "ff", "fff", "ffff", "fffff", "ffffff", "mp", "mf", "sf", "sfp",
    "sfpp", "fp", "rf", "rfz", "sfz", "sffz", "fz", "n", "pf", "sfzp",
))  # fmt: skip
_UNITS = {Fraction(1, 2): "eighth", Fraction(1): "quarter", Fraction(2): "half", Fraction(4): "whole"}


def write_tempo(measure: Element, tempo: Tempo, at: Measure, offset: str) -> None:
    """Add a metronome mark and its sound. The mark counts the measure's beat where that is a whole number."""
    direction, kind = _direction(measure, "above")
    unit = beat_unit(at)
    beats = unit / Fraction(3, 2) if unit.numerator == 3 else unit
    per_minute = Fraction(tempo.quarter_bpm) / unit
    if per_minute.denominator != 1 or beats not in _UNITS:
        unit = beats = Fraction(1)
        per_minute = Fraction(tempo.quarter_bpm)
    metronome = SubElement(kind, "metronome")
    SubElement(metronome, "beat-unit").text = _UNITS[beats]
    if unit != beats:
        SubElement(metronome, "beat-unit-dot")
    SubElement(metronome, "per-minute").text = f"{float(per_minute):g}"
    _offset(direction, offset)
    SubElement(direction, "sound", {"tempo": _decimal(tempo.quarter_bpm)})


def _decimal(value: float) -> str:
    return f"{value:.12f}".rstrip("0").rstrip(".")


def write_direction(measure: Element, words: Direction, text: str, offset: str) -> None:
    """Add words, dynamics or a rehearsal mark."""
    direction, kind = _direction(measure, words.placement)
    if words.kind == "dynamics":
        dynamics = SubElement(kind, "dynamics")
        if text in _DYNAMICS:
            SubElement(dynamics, text)
        else:
            SubElement(dynamics, "other-dynamics").text = text
    elif words.kind == "rehearsal":
        SubElement(kind, "rehearsal").text = text
    else:
        SubElement(kind, "words", {"font-weight": "bold"} if words.kind == "tempo" else {}).text = text
    _offset(direction, offset)


def write_hand(measure: Element, text: str) -> None:
    """Add words about the hand; they belong to the note written next."""
    _, kind = _direction(measure, "above")
    SubElement(kind, "words").text = text


def write_scordatura(measure: Element, strings: tuple[Pitch, ...]) -> None:
    """Add the open strings, I first."""
    _, kind = _direction(measure, "above")
    scordatura = SubElement(kind, "scordatura")
    for number, pitch in enumerate(strings, start=1):
        accord = SubElement(scordatura, "accord", {"string": str(number)})
        SubElement(accord, "tuning-step").text = pitch.step
        if pitch.alter:
            SubElement(accord, "tuning-alter").text = str(pitch.alter)
        SubElement(accord, "tuning-octave").text = str(pitch.octave)


def _direction(measure: Element, placement: str) -> tuple[Element, Element]:
    direction = SubElement(measure, "direction", {"placement": "below" if placement == "below" else "above"})
    return direction, SubElement(direction, "direction-type")


def _offset(direction: Element, offset: str) -> None:
    if offset != "0":
        SubElement(direction, "offset").text = offset
