"""The studio as a picture: one row for each player.

Conventions: mm on paper; shape says what colour would, as in app/pictures.py. Readable in black and white.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING
from unicodedata import east_asian_width

from truestop.app.pictures import box, line, picture, ring, standing_mark, text
from truestop.app.sheet_ports import Picture
from truestop.domain.statistics import Share
from truestop.domain.wording import ENGLISH, Wording

if TYPE_CHECKING:
    from truestop.app.studio import PlayerLine

ROW_MM, HEAD_MM, WORDS_MM, NAME_MM = 11.0, 6.0, 3.2, 3.6
NAME_GAP_MM = 1.5
#: Where each column begins, and how wide the bars are, as parts of the width.
NAME, SHIFTS, COLD, ALL, DAYS, LAST = 0.0, 0.25, 0.42, 0.58, 0.73, 0.88
BAR = 0.13


def draw_studio(lines: Sequence[PlayerLine], *, width_mm: float, wording: Wording = ENGLISH) -> Picture:
    """Name, shifts by standing, cold and overall share with bounds, attempts a day, last day."""
    heads = ((NAME, "player"), (SHIFTS, "shifts"), (COLD, "cold"), (ALL, "all"), (DAYS, "a day"), (LAST, "last"))
    parts = [text(at * width_mm, 3.6, wording.say(f"picture.studio.{key}"), size_mm=WORDS_MM) for at, key in heads]
    most = max([1, *(count for one in lines for count in one.recent)])
    for number, one in enumerate(lines):
        top = HEAD_MM + ROW_MM * number
        parts.append(line(0.0, top, width_mm, top, pale=True))
        parts += _row(one, top, width_mm, most, wording)
    return picture(parts, width_mm, HEAD_MM + ROW_MM * len(lines) + 1.0, wording.say("picture.studio"))


def _row(one: PlayerLine, top: float, width_mm: float, most: int, wording: Wording) -> list[str]:
    middle = top + 0.62 * ROW_MM
    name = _cut(one.name, (SHIFTS - NAME) * width_mm - NAME_GAP_MM)
    last = wording.say("picture.day", day=one.last_day.day, month=one.last_day.month)
    return [
        text(NAME * width_mm, middle, name, size_mm=NAME_MM),
        *_standings(one, SHIFTS * width_mm, top + 0.5 * ROW_MM),
        *_share(one.cold, COLD * width_mm, top, BAR * width_mm, wording),
        *_share(one.all, ALL * width_mm, top, BAR * width_mm, wording),
        *_days(one.recent, DAYS * width_mm, top, BAR * width_mm, most),
        text(LAST * width_mm, middle, last, size_mm=WORDS_MM),
        text(width_mm, middle, _practised(one.days, wording), anchor="end", size_mm=WORDS_MM),
    ]


def _cut(name: str, room_mm: float) -> str:
    """As much of a name as its column holds, by generous widths of its letters."""
    widths_mm = [NAME_MM * _width(letter) for letter in name]
    if sum(widths_mm) <= room_mm:
        return name
    held, left_mm = 0, room_mm - NAME_MM
    while left_mm >= widths_mm[held]:
        left_mm -= widths_mm[held]
        held += 1
    return f"{name[:held].rstrip()}…"


def _width(letter: str) -> float:
    """Width of a letter in its own size: wide scripts, then what is widest in Latin, capitals, the rest."""
    if east_asian_width(letter) in "WF" or letter in "MWШЩЖЮ":
        return 1.0
    return 0.75 if letter.isupper() or letter in "mw" else 0.5


def _standings(one: PlayerLine, x: float, y: float) -> list[str]:
    """A mark and a number for each standing."""
    parts: list[str] = []
    for shape, count in (("full", one.secure), ("half", one.still_open), ("empty", one.not_yet)):
        parts += [*standing_mark(x + 1.8, y, shape), text(x + 4.4, y + 1.2, str(count), size_mm=WORDS_MM)]
        x += 9.5
    return parts


def _share(share: Share, x: float, top: float, width: float, wording: Wording) -> list[str]:
    """The bounds as a bar on a line from 0 to 100 %, the share as a ring, the counts above."""
    y = top + 0.74 * ROW_MM
    counts = f"{share.true}/{share.judged}" if share.judged else wording.say("report.share.none")
    words = text(x, top + 0.45 * ROW_MM, counts, size_mm=WORDS_MM)
    scale = line(x, y, x + width, y, pale=True)
    if not share.judged:
        return [words, scale]
    low, high, at = (x + width * part for part in (share.wilson_low, share.wilson_high, share.rate or 0.0))
    return [words, scale, line(low, y, high, y, wide=1.4), ring(at, y, 1.0, fill="white")]


def _days(recent: Sequence[int], x: float, top: float, width: float, most: int) -> list[str]:
    floor, high = top + 0.86 * ROW_MM, 0.66 * ROW_MM
    step = width / max(1, len(recent))
    columns = [
        box(x + step * n, floor - high * count / most, 0.7 * step, high * count / most, fill="#888")
        for n, count in enumerate(recent)
        if count
    ]
    return [line(x, floor, x + width, floor, pale=True), *columns]


def _practised(days: int, wording: Wording) -> str:
    return wording.say("picture.studio.days.one" if days == 1 else "picture.studio.days", days=days)
