"""Texts and lines of an engraved picture, set clear of what they meet.

Conventions: everything is in the library's inner units, y downwards. A text's width is that of so many letters of
average width, half an em. What is moved gets a ``transform``; nothing is taken away but specks of slide lines.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import pairwise
from typing import NamedTuple

from truestop.adapters.engrave.prepare import PAD

EMS_PER_LETTER, EMS_PER_BOLD_LETTER = 0.5, 0.65
"""The second for the widest of the fonts that stand in for the sheets' own in a browser (measured: 0.645)."""
DIGIT_HEIGHT = 0.66
"""Of a font's size."""
CLEARANCE = 0.15
"""Between a digit and the slur below it, of the digit's size."""
WORDS_GAP, MOST_BACK = 0.35, 2.5
"""Between words and the text after them, and how far they may be set back from it: of the words' size."""
SPECK = 60.0
"""A slide line shorter than this looks like dirt: a third of a staff space at staves of 7 mm."""
_STEPS = 24
_TEXT = re.compile(r'<text x="(-?[\d.]+)" y="(-?[\d.]+)"([^>]*)>(.*?)</text>', re.DOTALL)
_ANCHOR = re.compile(r'text-anchor="(\w+)"')
_SHIFTED_BACK = {"middle": 0.5, "end": 1.0}
_RUN = re.compile(r'font-size="([\d.]+)px">([^<]+)<')
_DIRECTION = re.compile(r'(<g id="[^"]*" class="dir"[^>]*)>((?:(?!</?g[ >]).)*)</g>', re.DOTALL)
_FINGER = re.compile(r'(<g id="[^"]*" class="fing"[^>]*)>((?:(?!</?g[ >]).)*)</g>', re.DOTALL)
_SLUR = re.compile(r'class="slur"[^>]*>\s*<path[^>]* d="M([^"]+)"')
_SLIDE = re.compile(r'(class="gliss[^"]*"[^>]*>)\s*<path[^>]* d="M(\d+) (\d+) L(\d+) (\d+)"[^>]*/>')
_NUMBER = re.compile(r"-?[\d.]+")
_MOVED = re.compile(r'transform="translate\((-?\d+), (-?\d+)\)"')
Points = list[tuple[float, float]]


class Text(NamedTuple):
    """Where a text stands."""

    start: float
    end: float
    y: float
    size: float

    @classmethod
    def of(cls, match: re.Match[str]) -> Text:
        """The text that was found."""
        runs = [(float(size), text.strip(PAD)) for size, text in _RUN.findall(match.group(4))]
        ems = EMS_PER_BOLD_LETTER if 'font-weight="bold"' in match.group(4) else EMS_PER_LETTER
        width = sum(size * ems * len(text) for size, text in runs)
        anchor = _ANCHOR.search(match.group(3))
        start = float(match.group(1)) - width * (_SHIFTED_BACK.get(anchor.group(1), 0.0) if anchor else 0.0)
        return cls(start, start + width, float(match.group(2)), max((size for size, _ in runs), default=0.0))

    @property
    def top(self) -> float:
        """Upper edge of its digits."""
        return self.y - DIGIT_HEIGHT * self.size

    def meets(self, other: Text) -> bool:
        """Whether the two overlap sideways."""
        return self.start < other.end and other.start < self.end


def texts_end(svg: str) -> float:
    """Right end of all texts."""
    moved = {
        text.start() + group.start(2): float(across.group(1))
        for group in _DIRECTION.finditer(svg)
        if (across := _MOVED.search(group.group(1)))
        for text in _TEXT.finditer(group.group(2))
    }
    return max((Text.of(text).end + moved.get(text.start(), 0.0) for text in _TEXT.finditer(svg)), default=0.0)


def set_words_back(svg: str, *, right: float) -> str:
    """Words over the staff end at ``right`` and short of the next text at their height, unless others stand before."""
    texts = [Text.of(match) for match in _TEXT.finditer(svg)]

    def placed(group: re.Match[str]) -> str:
        match = _TEXT.search(group.group(2))
        if match is None:
            return group.group(0)
        words = Text.of(match)
        level = [text for text in texts if abs(text.y - words.y) < 0.8 * max(text.size, words.size)]
        after = [text.start - WORDS_GAP * words.size for text in level if text.start > words.start + words.size]
        beyond = words.end - min([right, *(start for start in after if words.end - start < MOST_BACK * words.size)])
        blocked = any(text.start < words.start and text.end + words.size / 2 > words.start - beyond for text in level)
        return group.group(0) if beyond <= 0.0 or blocked else _moved(group, across=-beyond)

    return _DIRECTION.sub(placed, svg)


def raise_fingers(svg: str, *, staff_y: float) -> str:
    """Fingers and numerals above ``staff_y`` that a slur runs through stand over it, with all that is above them.

    Where words are in the way they stay.
    """
    slurs = [outline for match in _SLUR.finditer(svg) if (outline := _outline(match.group(1)))]
    if not slurs:
        return svg
    found = {group.start(): Text.of(text) for group in _FINGER.finditer(svg) if (text := _TEXT.search(group.group(2)))}
    words = [Text.of(text) for group in _DIRECTION.finditer(svg) for text in _TEXT.finditer(group.group(2))]
    up: dict[int, float] = {}
    for finger in found.values():
        lift = max(_lift(finger, slur) for slur in slurs) if finger.y < staff_y else 0.0
        stack = [at for at, text in found.items() if text.y <= finger.y and text.meets(finger)] if lift else []
        if not any(_reaches(found[at], lift, word) for at in stack for word in words):
            up |= {at: max(up.get(at, 0.0), lift) for at in stack}
    return _FINGER.sub(lambda group: _moved(group, down=-up[group.start()]) if group.start() in up else group[0], svg)


def drop_specks(svg: str) -> str:
    """Without slide lines too short to be seen as lines."""

    def kept(match: re.Match[str]) -> str:
        x, y, to_x, to_y = (float(number) for number in match.groups()[1:])
        return match.group(1) if abs(to_x - x) + abs(to_y - y) < SPECK else match.group(0)

    return _SLIDE.sub(kept, svg)


def _moved(group: re.Match[str], *, across: float = 0.0, down: float = 0.0) -> str:
    return f'{group.group(1)} transform="translate({across:.0f}, {down:.0f})">{group.group(2)}</g>'


def _outline(path: str) -> Points:
    """Points along both edges of a slur: two cubic Bézier curves."""
    numbers = [float(number) for number in _NUMBER.findall(path)]
    ends = list(zip(numbers[::2], numbers[1::2], strict=False))
    return [*_curve(ends[:4]), *_curve(ends[3:7])] if len(ends) >= 7 else []


def _curve(ends: Points) -> Iterator[tuple[float, float]]:
    (x0, y0), (x1, y1), (x2, y2), (x3, y3) = ends
    for t in (step / _STEPS for step in range(_STEPS + 1)):
        a, b, c, d = (1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t * t * (1 - t), t**3
        yield a * x0 + b * x1 + c * x2 + d * x3, a * y0 + b * y1 + c * y2 + d * y3


def _lift(finger: Text, slur: Points) -> float:
    """How far up a finger must go to stand over a slur that runs through it; 0 where it does not."""
    over: list[float] = []
    for (x0, y0), (x1, y1) in pairwise(slur):
        low, high = max(min(x0, x1), finger.start), min(max(x0, x1), finger.end)
        if low <= high and x0 != x1:
            over += [y0 + (y1 - y0) * (x - x0) / (x1 - x0) for x in (low, high)]
    if not any(finger.top < y < finger.y for y in over):
        return 0.0
    return finger.y - min(over) + CLEARANCE * finger.size


def _reaches(text: Text, lift: float, word: Text) -> bool:
    """Whether a text lifted so far runs into a word that it was clear of."""
    return text.meets(word) and word.y < text.top and text.top - lift < word.y
