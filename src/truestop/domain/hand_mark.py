"""Words at a note that tell what its finger does not: that the hand reaches from where it is, or where it comes to.

Conventions: 'ext.' or 'x' (beside a finger: 'x4', '4 ext.'): the finger reaches out while the hand stays; 'contr.': it
is drawn in. '3rd pos.', 'pos. III', 'third position', 'III. Lage', 'lower 2nd pos.', 'thumb on A4': where the hand
comes to. Violin and viola: '3rd pos.' is the placement that bears no other name, where a finger gets there so, else one
that may bear it too; 'low 3rd pos.' is the lowest of these, 'high 3rd pos.' the highest.
Several may stand together, parted by commas. Common practice of editions and methods, no single source.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache

from truestop.domain.frame import CONTRACTED, RESTING
from truestop.domain.instrument import Instrument
from truestop.domain.pitch import Pitch
from truestop.domain.position import (
    BASS_SIMANDL,
    CELLO_LOWER_UPPER,
    CELLO_MAJOR_SCALE,
    CELLO_RESPELLED,
    LETTER_FAMILIES,
    letter_positions,
    ordinal,
)
from truestop.domain.stop import Step

Hand = tuple[int, bool]
"""Placement, and whether a thumb frame."""
REACHES_OUT, DRAWN_IN = "extended", "contracted"
HIGHEST_PLACEMENT = 31
LONGEST = 40
"""Characters of words that are looked at."""

_REACH = {
    REACHES_OUT: re.compile(r"x|ext\.?|extend(?:ed)?|extension|estensione|Streckung", re.IGNORECASE),
    DRAWN_IN: re.compile(r"contr\.|contract(?:ed)?|contraction|contrazione", re.IGNORECASE),
}
_NUMBERS = {
    1: "first|erste", 2: "second|zweite", 3: "third|dritte", 4: "fourth|vierte", 5: "fifth|fünfte", 6: "sixth",
    7: "seventh",
}  # fmt: skip
_ROMANS = ("", "I", "II", "III", "IV", "V", "VI", "VII", "VIII", "IX", "X", "XI", "XII", "XIII", "XIV")
_NAME = (
    r"(?:(?P<side>low|high|lower|upper)\s+)?(?:(?P<half>half|halbe)|(?P<roman>[IVX]{1,4}(?:\s*[–-]\s*[IVX]{1,4})?)"
    r"|(?P<number>\d{1,2})(?P<more>½)?|(?P<word>" + "|".join(_NUMBERS.values()) + r"))(?:st|nd|rd|th|\.|e|ème|a|ª)?"
)
_POSITION_NOUN = r"(?:pos\.|position|posizione|Lage)"
_POSITION = re.compile(
    rf"{_NAME}\s*{_POSITION_NOUN}|{_POSITION_NOUN}\s*{_NAME.replace('?P<', '?P<after_')}", re.IGNORECASE
)
_ON_NOTE = re.compile(r"(?P<finger>thumb|1) on (?P<pitch>[A-G](?:𝄪|𝄫|♯|♭|##?|bb?)?\d)")


@dataclass(frozen=True, slots=True)
class HandMark:
    """What words say of the hand at one note; one of the two at least."""

    reach: str | None = None
    """'extended' or 'contracted'."""
    position: str | None = None
    """'3rd', 'low 3rd', 'lower 2nd', 'II–III', 'half', 'thumb on A4', '1 on C#5'."""


@cache
def parse_hand_mark(text: str) -> HandMark | None:
    """What ``text`` says of the hand; None where it is about something else, wholly or in part.

    >>> parse_hand_mark("x"), parse_hand_mark("III. Lage, ext.").position, parse_hand_mark("dolce")
    (HandMark(reach='extended', position=None), '3rd', None)
    """
    if len(text) > LONGEST:
        return None
    reach: str | None = None
    position: str | None = None
    for part in text.split(","):
        words = part.strip()
        reached = next((kind for kind, pattern in _REACH.items() if pattern.fullmatch(words)), None)
        named = None if reached else _position_in(words)
        if reached is None and named is None:
            return None
        reach, position = reached or reach, named or position
    return HandMark(reach, position)


_BESIDE = re.compile(
    r"(?P<x>x)\s*(?P<after>[0-4T].*)|(?P<before>.*[0-4T])\s*(?:(?P<glued>x)|\s(?P<words>ext\.?|contr\.))", re.IGNORECASE
)


def split_reach(text: str) -> tuple[str | None, str]:
    """The words for a stretch beside a printed fingering, and what remains of it.

    >>> split_reach("x4"), split_reach("4 ext."), split_reach("3-1")
    (('x', '4'), ('ext.', '4'), (None, '3-1'))
    """
    match = _BESIDE.fullmatch(text.strip())
    if match is None:
        return None, text
    return match["x"] or match["glued"] or match["words"], match["after"] or match["before"]


def _position_in(words: str) -> str | None:
    on_note = _ON_NOTE.fullmatch(words)
    if on_note is not None:
        return f"{on_note['finger']} on {Pitch.parse(on_note['pitch']).name}"
    match = _POSITION.fullmatch(words)
    if match is None:
        return None
    groups = {name.removeprefix("after_"): text for name, text in match.groupdict().items() if text}
    side = f"{groups['side'].lower()} " if "side" in groups else ""
    if "half" in groups:
        return f"{side}half"
    if "roman" in groups:
        romans = [_roman(text) for text in re.split(r"\s*[–-]\s*", groups["roman"])]
        if None in romans:
            return None
        return (
            f"{side}{ordinal(romans[0] or 0)}"
            if len(romans) == 1
            else f"{side}{'–'.join(_ROMANS[n or 0] for n in romans)}"
        )
    if "word" in groups:
        word = groups["word"].lower()
        return side + ordinal(next(number for number, words in _NUMBERS.items() if word in words.split("|")))
    return f"{side}{groups['number']}½" if "more" in groups else f"{side}{ordinal(int(groups['number']))}"


def _roman(text: str) -> int | None:
    return _ROMANS.index(text.upper()) if text.upper() in _ROMANS else None


@cache
def hands_named(position: str, instrument: Instrument) -> frozenset[Hand]:
    """The hands that bear a position's name on an instrument; empty where it knows no such name."""
    if " on " in position:
        finger, _, name = position.partition(" on ")
        midi = Pitch.parse(name).midi
        return frozenset((midi - pitch.midi, finger == "thumb") for pitch in instrument.strings if midi > pitch.midi)
    if instrument.family in LETTER_FAMILIES:
        return _by_letters(position)
    table = _cello_names() if instrument.family == "cello" else _bass_names()
    return frozenset((placement, False) for placement in table.get(position, ()))


def _by_letters(position: str) -> frozenset[Hand]:
    side, _, name = position.rpartition(" ")
    bearing = [placement for placement in range(1, HIGHEST_PLACEMENT + 1) if name in _letter_names(placement)]
    if side and bearing:
        bearing = [bearing[0] if side in ("low", "lower") else bearing[-1]]
    return frozenset((placement, False) for placement in bearing)


@cache
def _letter_names(placement: int) -> tuple[str, ...]:
    return tuple(ordinal(number) for number in letter_positions(placement))


@cache
def _cello_names() -> dict[str, tuple[int, ...]]:
    """Names of both numberings; where they differ, 'lower-upper' wins, and a bare number is lower or upper."""
    names: dict[str, tuple[int, ...]] = {name: (placement,) for placement, name in CELLO_MAJOR_SCALE.items()}
    names |= {name: (placement,) for (placement, _), name in CELLO_RESPELLED.items()}
    names |= {name: (placement,) for placement, name in CELLO_LOWER_UPPER.items()}
    for number in ("2nd", "3rd", "5th", "6th"):
        names[number] = tuple(placement for side in ("lower", "upper") for placement in names[f"{side} {number}"])
    return names


@cache
def _bass_names() -> dict[str, tuple[int, ...]]:
    """Simandl's names, single numbers as ordinals."""
    return {
        ordinal(_ROMANS.index(name)) if name in _ROMANS else name: (placement,)
        for placement, name in BASS_SIMANDL.items()
    }


def departs(mark: HandMark, hand: Hand, shapes: tuple[str, ...], instrument: Instrument) -> int | None:
    """How far a hand, with its fingers in these shapes, departs from what the mark says: 0 is just so, 1 the position
    by another of its placements, 2 and 3 the same with a finger out of its resting place; None where it is not so.
    """
    reaches = [shape for shape in shapes if shape not in RESTING and shape != "open"]
    if mark.reach == DRAWN_IN and CONTRACTED not in reaches:
        return None
    if mark.reach == REACHES_OUT and not any(shape != CONTRACTED for shape in reaches):
        return None
    if mark.position is None:
        return 0
    if hand not in hands_named(mark.position, instrument):
        return None
    return (not _bears_only(mark.position, hand, instrument)) + 2 * bool(reaches and mark.reach is None)


def _bears_only(position: str, hand: Hand, instrument: Instrument) -> bool:
    """Whether a hand bears a position's name and no other; told low or high, or by a note, it need not."""
    plain = instrument.family in LETTER_FAMILIES and " " not in position
    return not plain or _letter_names(hand[0]) == (position,)


def words_for(step: Step, instrument: Instrument) -> tuple[str, ...]:
    """What to print at a step's note, the plainest words first: each further wording leaves the hand less freedom."""
    shapes = {stop.shape for stop in step.fingered} - RESTING
    reach = (
        "" if not shapes else "contr." if shapes == {CONTRACTED} else "x" if instrument.family == "cello" else "ext."
    )
    names = list(_names_for(step, instrument))
    both = [f"{name}, {reach}" if reach else name for name in names]
    return (reach, *both) if reach else tuple(both)


def _names_for(step: Step, instrument: Instrument) -> list[str]:
    placement, label = step.placement or 0, step.position or ""
    if " on " in label:
        return [label]
    if instrument.family == "bass":
        return [f"pos. {BASS_SIMANDL[placement]}" if placement > 1 else f"{BASS_SIMANDL[placement]} pos."]
    if instrument.family == "cello":
        return [f"{CELLO_LOWER_UPPER[placement]} pos."]
    bearing = sorted(placement for placement, _ in _by_letters(label))
    exact = [f"{side} {label} pos." for side, index in (("low", 0), ("high", -1)) if bearing[index] == placement]
    return [f"{label} pos.", *exact]
