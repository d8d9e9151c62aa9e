"""Pictures of progress as plain SVG: landings over time, share true by day, the diary, how secure each shift is.

Conventions: mm on paper; days run to the right; + is towards the bridge and drawn upwards. Shape says what colour
would: a disc is a true landing, a triangle a high or low one pointing to its side, a square a corrected one, a cross a
wrong note, a diamond an early or late one; a ring around a mark is a cold attempt, a small ring on a stalk the other
note of a double stop. Readable in black and white.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from xml.sax.saxutils import escape

from truestop.app.drawing import INK, PALE
from truestop.app.ports import DiaryDay
from truestop.app.sheet_ports import TEXT_FAMILY, Picture
from truestop.domain.attempt import Verdict
from truestop.domain.progress import ShiftProgress
from truestop.domain.record import Outcome
from truestop.domain.statistics import Standing, make_share
from truestop.domain.wording import ENGLISH, Wording

LEFT_MM, RIGHT_MM, TOP_MM, BOTTOM_MM = 14.0, 3.0, 3.0, 7.0
MARK_MM, OTHER_NOTE_MM, TEXT_MM = 1.15, 0.7, 2.7
BAND = "#e4e4e0"
LEAST_SPAN_MM = 4.0
DAY_TEXT_MM = 9.0
"""Room for a day's text; days between two texts stay without one."""

#: How a shift stands, by shape: full, half, empty; a dash where it was never tried.
STANDING_SHAPES = {Standing.SECURE: "full", Standing.OPEN: "half", Standing.NOT_YET: "empty"}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Frame:
    """A plot's box and its scales."""

    width_mm: float
    height_mm: float
    low: float
    high: float
    count: int

    @property
    def right(self) -> float:
        return self.width_mm - RIGHT_MM

    @property
    def floor(self) -> float:
        return self.height_mm - BOTTOM_MM

    def x(self, place: float) -> float:
        """``place`` from 0 to ``count``."""
        return LEFT_MM + (self.right - LEFT_MM) * (place + 0.5) / max(self.count, 1)

    def y(self, value: float) -> float:
        inside = min(max(value, self.low), self.high)
        return self.floor - (self.floor - TOP_MM) * (inside - self.low) / (self.high - self.low)


def draw_landings(
    outcomes: Sequence[Outcome],
    *,
    tolerance_mm: float,
    width_mm: float,
    height_mm: float,
    wording: Wording = ENGLISH,
) -> Picture:
    """Every judged landing of a shift in order, in mm from its place on the string; days divided by lines.

    The note of a double stop that did not decide is a small ring, joined to the mark of the one that did.
    """
    shown = [one for one in outcomes if one.counts and one.landing_mm is not None]
    landed_mm = [abs(mm or 0.0) for one in shown for mm in (one.landing_mm, *one.notes_mm)]
    reach = max([LEAST_SPAN_MM, 1.5 * tolerance_mm, *landed_mm])
    reach = min(reach, max(6 * tolerance_mm, LEAST_SPAN_MM))
    frame = _Frame(width_mm=width_mm, height_mm=height_mm, low=-reach, high=reach, count=len(shown))
    parts = [
        _band(frame, -tolerance_mm, tolerance_mm),
        line(LEFT_MM, frame.y(0), frame.right, frame.y(0)),
        *(
            _scale_text(frame, value, wording.say("picture.mm", mm=f"{value:+.0f}") if value else "0")
            for value in (-reach, 0.0, reach)
        ),
        *_day_lines(frame, [one.day for one in shown], wording),
        *(_other_note(frame, index, one) for index, one in enumerate(shown)),
        *(_landing_mark(frame.x(index), frame.y(one.landing_mm or 0.0), one) for index, one in enumerate(shown)),
    ]
    return picture(parts, width_mm, height_mm, wording.say("picture.landings"))


def draw_share(
    outcomes: Sequence[Outcome], *, width_mm: float, height_mm: float, wording: Wording = ENGLISH
) -> Picture:
    """Share true day by day with its 95 % Wilson bounds; a number tells how many were judged."""
    days: dict[int, list[bool]] = {}
    for one in outcomes:
        if one.counts:
            days.setdefault(one.day, []).append(one.verdict is Verdict.TRUE)
    frame = _Frame(width_mm=width_mm, height_mm=height_mm, low=0.0, high=1.0, count=len(days))
    parts = [
        line(LEFT_MM, frame.y(level), frame.right, frame.y(level), pale=level not in (0, 1)) for level in (0, 0.5, 1)
    ]
    parts += [_scale_text(frame, level, f"{level:.0%}") for level in (0.0, 0.5, 1.0)]
    free_x = 0.0
    for index, (day, results) in enumerate(sorted(days.items())):
        share = make_share(sum(results), len(results))
        x = frame.x(index)
        parts.append(line(x, frame.y(share.wilson_low), x, frame.y(share.wilson_high), wide=1.2, pale=True))
        parts.append(_disc(x, frame.y(share.rate or 0.0)))
        if x >= free_x:
            parts.append(text(x, frame.height_mm - 1.2, _day_text(date.fromordinal(day), wording), anchor="middle"))
            free_x = x + DAY_TEXT_MM
    return picture(parts, width_mm, height_mm, wording.say("picture.share"))


def draw_diary(days: Sequence[DiaryDay], *, width_mm: float, height_mm: float, wording: Wording = ENGLISH) -> Picture:
    """One column a day: its height is the attempts, the filled part those that were true; a ring marks a cold test."""
    most = max([1, *(one.judged for one in days)])
    frame = _Frame(width_mm=width_mm, height_mm=height_mm, low=0.0, high=float(most), count=len(days))
    half = min(3.0, 0.35 * (frame.right - LEFT_MM) / max(len(days), 1))
    parts = [line(LEFT_MM, frame.floor, frame.right, frame.floor), _scale_text(frame, most, str(most))]
    free_x = 0.0
    for index, day in enumerate(days):
        x = frame.x(index)
        parts.append(box(x - half, frame.y(day.judged), 2 * half, frame.floor - frame.y(day.judged), fill="none"))
        parts.append(box(x - half, frame.y(day.true), 2 * half, frame.floor - frame.y(day.true), fill=PALE))
        if day.cold_judged:
            parts.append(ring(x, frame.y(day.judged) - 1.6, 0.8))
        if x >= free_x:
            parts.append(text(x, frame.height_mm - 1.2, _day_text(day.day, wording), anchor="middle"))
            free_x = x + DAY_TEXT_MM
    return picture(parts, width_mm, height_mm, wording.say("picture.diary"))


def draw_standing(shifts: Sequence[ShiftProgress], *, width_mm: float, wording: Wording = ENGLISH) -> Picture:
    """The shifts in the order of the music: full is secure, half still open, empty not yet, a dash untried."""
    step = 9.0
    per_row = max(1, int((width_mm - 4) / step))
    rows = (len(shifts) + per_row - 1) // per_row
    parts = []
    for index, shift in enumerate(shifts):
        x, y = 4.0 + step * (index % per_row), 4.0 + 10.0 * (index // per_row)
        shape = STANDING_SHAPES[shift.progress.tested.standing] if shift.progress.attempts else "dash"
        parts += standing_mark(x, y, shape)
        parts.append(text(x, y + 4.6, str(shift.card.number), anchor="middle"))
    return picture(parts, width_mm, 10.0 * rows + 2.0, wording.say("picture.standing"))


def beside(left: Picture, right: Picture, *, gap_mm: float, wording: Wording = ENGLISH) -> Picture:
    """Two pictures of one height as one."""
    moved = right.svg.replace("<svg ", f'<svg x="{left.width_mm + gap_mm:g}" ', 1)
    width_mm, height_mm = left.width_mm + gap_mm + right.width_mm, max(left.height_mm, right.height_mm)
    inner = (left.svg + moved).replace('mm" height=', '" height=').replace('mm" viewBox=', '" viewBox=')
    return picture([inner], width_mm, height_mm, wording.say("picture.beside"))


def ring(x: float, y: float, radius: float, *, wide: float = 0.25, fill: str = "none") -> str:
    """A circle around ``x``, ``y``."""
    return f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{radius}" fill="{fill}" stroke="{INK}" stroke-width="{wide}"/>'


def standing_mark(x: float, y: float, shape: str) -> list[str]:
    """How a shift stands: 'full', 'half', 'empty' or 'dash'."""
    if shape == "dash":
        return [line(x - 1.2, y, x + 1.2, y)]
    outline = ring(x, y, 1.8, wide=0.35, fill=INK if shape == "full" else "none")
    half = f'<path d="M{x:.2f} {y + 1.8:.2f} A1.8 1.8 0 0 1 {x:.2f} {y - 1.8:.2f} Z" fill="{INK}"/>'
    return [outline, half] if shape == "half" else [outline]


def _landing_mark(x: float, y: float, one: Outcome) -> str:
    shapes = {
        Verdict.TRUE: _disc(x, y),
        Verdict.HIGH: _polygon(x, y, ((-1, 0.8), (1, 0.8), (0, -1))),
        Verdict.LOW: _polygon(x, y, ((-1, -0.8), (1, -0.8), (0, 1))),
        Verdict.CORRECTED: _polygon(x, y, ((-0.85, -0.85), (0.85, -0.85), (0.85, 0.85), (-0.85, 0.85)), hollow=True),
        Verdict.EARLY: _polygon(x, y, ((0, -1.1), (1.1, 0), (0, 1.1), (-1.1, 0)), hollow=True),
        Verdict.LATE: _polygon(x, y, ((0, -1.1), (1.1, 0), (0, 1.1), (-1.1, 0)), hollow=True),
    }
    mark = shapes.get(one.verdict) or (line(x - 1, y - 1, x + 1, y + 1) + line(x - 1, y + 1, x + 1, y - 1))
    around = ring(x, y, 2.0, wide=0.2) if one.cold else ""
    return mark + around


def _other_note(frame: _Frame, index: int, one: Outcome) -> str:
    others = [mm for mm in one.notes_mm if mm is not None and mm != one.landing_mm]
    x, y = frame.x(index), frame.y(one.landing_mm or 0.0)
    return "".join(
        line(x, y, x, frame.y(mm), pale=True) + ring(x, frame.y(mm), OTHER_NOTE_MM, wide=0.2) for mm in others
    )


def _day_lines(frame: _Frame, days: Sequence[int], wording: Wording) -> Iterable[str]:
    last_x = -100.0
    for index, day in enumerate(days):
        if index and day == days[index - 1]:
            continue
        x = frame.x(index - 0.5)
        if index:
            yield line(x, TOP_MM, x, frame.floor, pale=True)
        if x - last_x > 9.0:
            yield text(x + 0.6, frame.height_mm - 1.2, _day_text(date.fromordinal(day), wording))
            last_x = x


def _day_text(day: date, wording: Wording) -> str:
    return wording.say("picture.day", day=day.day, month=day.month)


def _band(frame: _Frame, low: float, high: float) -> str:
    top = frame.y(high)
    return (
        f'<rect x="{LEFT_MM}" y="{top:.2f}" width="{frame.right - LEFT_MM:.2f}" height="{frame.y(low) - top:.2f}" '
        f'fill="{BAND}"/>'
    )


def _scale_text(frame: _Frame, value: float, words: str) -> str:
    return text(LEFT_MM - 1.2, frame.y(value) + 0.9, words.replace("-", "−"), anchor="end")


def _disc(x: float, y: float) -> str:
    return f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{MARK_MM * 0.85:.2f}" fill="{INK}"/>'


def _polygon(x: float, y: float, corners: Iterable[tuple[float, float]], *, hollow: bool = False) -> str:
    points = " ".join(f"{x + MARK_MM * dx:.2f},{y + MARK_MM * dy:.2f}" for dx, dy in corners)
    fill = "none" if hollow else INK
    return f'<polygon points="{points}" fill="{fill}" stroke="{INK}" stroke-width="0.25"/>'


def line(x1: float, y1: float, x2: float, y2: float, *, wide: float = 0.25, pale: bool = False) -> str:
    """A straight line."""
    return (
        f'<line x1="{x1:.2f}" y1="{y1:.2f}" x2="{x2:.2f}" y2="{y2:.2f}" stroke="{PALE if pale else INK}" '
        f'stroke-width="{wide}"/>'
    )


def box(x: float, y: float, wide: float, high: float, *, fill: str) -> str:
    """A rectangle from its upper left corner."""
    return (
        f'<rect x="{x:.2f}" y="{y:.2f}" width="{wide:.2f}" height="{max(high, 0):.2f}" fill="{fill}" '
        f'stroke="{INK}" stroke-width="0.25"/>'
    )


def text(x: float, y: float, words: str, *, anchor: str = "start", size_mm: float = TEXT_MM) -> str:
    """Words in one line; ``y`` is their base line."""
    return (
        f'<text x="{x:.2f}" y="{y:.2f}" font-size="{size_mm}" text-anchor="{anchor}" font-family="{TEXT_FAMILY}" '
        f'fill="{INK}">{escape(words)}</text>'
    )


def picture(parts: Iterable[str], width_mm: float, height_mm: float, title: str) -> Picture:
    """The parts as one picture; ``title`` is read aloud."""
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width_mm:g}mm" height="{height_mm:g}mm" '
        f'viewBox="0 0 {width_mm:g} {height_mm:g}" role="img"><title>{escape(title)}</title>{"".join(parts)}</svg>'
    )
    return Picture(svg=svg, width_mm=width_mm, height_mm=height_mm)
