"""Words over the staff that name a string: 'sul G', 'sulla IV', 'IIa corda', 'III. Saite', 'IV'.

Conventions: a named string holds from its words on until other words name a string or say 'ordinario' or 'loco', until
the end of the dashed line drawn after it, until another string number or an open string is printed, or until a note
lies below that open string or beyond its end. A bare numeral ends also at the next rest. Chords take no string from
words: it would be unclear for which note. The wordings are common practice of printed editions, no single source.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from truestop.domain.pitch import Pitch


@dataclass(frozen=True, slots=True, kw_only=True)
class StringWord:
    """A string named by words: by ``number`` (I = 1), or by its open note's ``letter`` (and ``alter``)."""

    number: int | None = None
    letter: str = ""
    alter: int = 0
    bare: bool = False
    """A numeral alone, without 'sul' or 'corda'."""

    def string_on(self, strings: Sequence[Pitch]) -> int | None:
        """The string's number among the open ``strings``, I first; None where there is no such string."""
        if self.number is not None:
            usual = 5 if strings and strings[0].midi <= _HIGHEST_BASS else 4
            return self.number if self.number <= max(len(strings), usual) else None
        for number, pitch in enumerate(strings, start=1):
            if pitch.step == self.letter and (pitch.alter == self.alter or self.alter == 0):
                return number
        return None


_HIGHEST_BASS = 45
"""MIDI number of A2, the highest string of a double bass in solo tuning: a bass may have a fifth string."""
CANCEL = StringWord()
"""What 'ordinario' and 'loco' read as."""

_NUMERALS = {"i": 1, "ii": 2, "iii": 3, "iv": 4, "v": 5}
_ORDINALS = {
    1: "prima|erste|première|premiere|first|chanterelle",
    2: "seconda|zweite|deuxième|deuxieme|seconde|second",
    3: "terza|dritte|troisième|troisieme|third",
    4: "quarta|vierte|quatrième|quatrieme|fourth",
    5: "quinta|fünfte|cinquième|cinquieme|fifth",
}
_SYLLABLES = {"do": "C", "ut": "C", "re": "D", "ré": "D", "mi": "E", "fa": "F", "sol": "G", "la": "A", "si": "B"}
_NUMERAL = r"(?P<numeral>iv|v|i{1,3})"
_DIGIT = r"(?P<digit>[1-5])"
_LETTER = r"(?P<letter>[a-g])(?P<alter>[#♯b♭]|-?(?:flat|sharp))?"
_SYLLABLE = r"(?P<syllable>do|ut|r[eé]|mi|fa|sol|la|si)"
_ORDINAL = "(?:" + "|".join(f"(?P<ordinal{number}>{words})" for number, words in _ORDINALS.items()) + ")"
_ENDING = r"(?:a|ª|o|º|°|e|ème|eme|me|te|er|re|ère|st|nd|rd|th|\.)*"
_STRING_NOUN = r"(?:corda|cord\.?|c\.|corde|saite|string|str\.?)"
_ON = r"(?:sul(?:la|l')?|sur(?: la| le)?|auf(?: der)?|on(?: the)?|alla|à la)"
_TAIL = r"[\s.:,;_–—-]*"
_WORDINGS = tuple(
    re.compile(pattern + _TAIL, re.IGNORECASE)
    for pattern in (
        rf"{_ON}\s*{_NUMERAL}{_ENDING}(?:\s*{_STRING_NOUN})?",
        rf"{_ON}\s*{_DIGIT}{_ENDING}(?:\s*{_STRING_NOUN})?",
        rf"{_ON}\s*{_ORDINAL}(?:\s*{_STRING_NOUN})?",
        rf"{_ON}\s+{_LETTER}(?:[\s-]*{_STRING_NOUN})?",
        rf"{_ON}\s+{_SYLLABLE}(?:\s*{_STRING_NOUN})?",
        rf"{_NUMERAL}{_ENDING}\s*{_STRING_NOUN}",
        rf"{_DIGIT}{_ENDING}\s*{_STRING_NOUN}",
        rf"{_ORDINAL}\s*{_STRING_NOUN}",
        rf"{_LETTER}[\s-]*(?:saite|string|str\.)",
        rf"corde d[e']\s*{_SYLLABLE}",
        rf"corda (?:di )?{_SYLLABLE}",
    )
)
_BARE = re.compile(r"(?P<numeral>IV|V|I{1,3})" + _TAIL)
_CANCEL = re.compile(
    r"(ordinario|ord\.?|loco|naturale|nat\.?|normale|gewöhnlich|gew\.|ordinaire|jeu ordinaire)" + _TAIL, re.IGNORECASE
)
_TIMBRE = re.compile(r"\b(ponticello|pont\.?|tasto|tast\.|tastiera)", re.IGNORECASE)


def parse_string_words(text: str) -> StringWord | None:
    """The string that ``text`` names, ``CANCEL`` where it ends a string, None where it is about something else.

    >>> parse_string_words("sul G").letter, parse_string_words("IVa corda").number, parse_string_words("sul ponticello")
    ('G', 4, None)
    """
    line = " ".join(text.split())[:80]
    if _TIMBRE.search(line):
        return None
    bare = _BARE.fullmatch(line)
    if bare is not None:
        return StringWord(number=_NUMERALS[bare["numeral"].lower()], bare=True)
    if _CANCEL.fullmatch(line):
        return CANCEL
    for candidate in (line, *_phrases(line)):
        for wording in _WORDINGS:
            match = wording.fullmatch(candidate)
            if match is not None:
                return _named(match.groupdict())
    return None


def _phrases(line: str) -> list[str]:
    """Parts of a longer line that may name a string: 'dolce, sul G' and 'p sul D'."""
    parts = [part.strip() for part in re.split(r"[,;()]", line)]
    start = re.search(r"\b(sul|sulla|auf der|sur la|sur le|on the)\b.*", line, re.IGNORECASE)
    return [part for part in parts if part and part != line] + ([start[0]] if start and start[0] != line else [])


def _named(groups: dict[str, str | None]) -> StringWord:
    if groups.get("numeral"):
        return StringWord(number=_NUMERALS[str(groups["numeral"]).lower()])
    if groups.get("digit"):
        return StringWord(number=int(str(groups["digit"])))
    if groups.get("syllable"):
        return StringWord(letter=_SYLLABLES[str(groups["syllable"]).lower()])
    if groups.get("letter"):
        sign = (groups.get("alter") or "").strip("-").lower()
        alter = 1 if sign in ("#", "♯", "sharp") else -1 if sign else 0
        return StringWord(letter=str(groups["letter"]).upper(), alter=alter)
    return StringWord(number=next(number for number in _ORDINALS if groups.get(f"ordinal{number}")))
