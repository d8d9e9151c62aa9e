"""The fingerboard as a picture: strings, fingers, the way of the guide, mm from the nut.

Conventions: seen with string I on top and the nut on the left (on the right for a left-handed player), to scale along
the string. Shape tells what colour tells: a ring is where the hand leaves, a disc where it arrives, a dashed ring the
guide note, a small ring another finger of the arrival frame, a diamond a harmonic. Where the hand leaves and arrives at
one place, the disc stands over the ring. A *bare* board, for small screens, has no legend and no letter under
``LEAST_LETTER_MM``: of the arrival frame it shows the digits that have room. Units are mm on paper.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from xml.sax.saxutils import escape

from truestop.app.sheet_ports import TEXT_FAMILY, Picture
from truestop.domain.drill.frame import frame_stops
from truestop.domain.fingerboard import place_to_mm
from truestop.domain.guide import Guidebook
from truestop.domain.instrument import ROMAN, Instrument
from truestop.domain.shift import Shift
from truestop.domain.stop import FingeredPassage, Stop
from truestop.domain.wording import ENGLISH, Wording

LEAVE, REACH, GUIDE, FRAME = "leave", "reach", "guide", "frame"
INK, REACH_INK, GUIDE_INK, PALE = "#1a1a1a", "#0b4f8a", "#a8440c", "#8a8a8a"
STRING_GAP_MM, TOP_MM, SIDE_MM, END_MM = 4.8, 4.8, 15.0, 5.0
EDGE_MM = 2.6
"""Board beyond the outer strings."""
DISC_MM, SMALL_DISC_MM = 2.05, 1.45
STACKED = 0.62
"""Size of a ring and a disc at one place, of what they are alone."""
AXIS_MM, LABEL_MM, BOTTOM_MM = 4.2, 2.8, 4.8
LABEL_SIZE_MM, LABEL_GAP_MM = 2.6, 1.2
LEGEND_ROW_MM, LEGEND_LETTER_MM = 3.6, 1.16
LEAST_LETTER_MM = 2.3
BOARD_FILL = "#f4f2ee"
NUT_SHOWN_UP_TO = 8
"""Places from which on the nut is left out of the picture."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A finger on the board. ``kind`` is one of leave, reach, guide, frame."""

    kind: str
    string: int
    place: float
    label: str
    harmonic: bool = False
    level: int = 0
    """Where two marks share a place: 1 above the string, -1 below it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Path:
    """The way of a guide finger along a string."""

    string: int
    from_place: float
    to_place: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _View:
    """What part of the board is seen, and how it is laid on paper."""

    instrument: Instrument
    width_mm: float
    from_mm: float
    to_mm: float
    mirrored: bool

    def x(self, board_mm: float) -> float:
        scale = (self.width_mm - SIDE_MM - END_MM) / (self.to_mm - self.from_mm)
        x = SIDE_MM + (board_mm - self.from_mm) * scale
        return self.width_mm - x if self.mirrored else x

    def x_of(self, place: float) -> float:
        if place == 0:
            return self.x(self.from_mm) + (2.8 if self.mirrored else -2.8)
        return self.x(place_to_mm(place, self.instrument.length_mm))

    def y_of(self, string: int) -> float:
        return TOP_MM + (string - 1) * STRING_GAP_MM

    @property
    def floor(self) -> float:
        return self.y_of(len(self.instrument.strings)) + EDGE_MM


def draw_shift(
    fingered: FingeredPassage,
    shift: Shift,
    *,
    width_mm: float,
    left_handed: bool = False,
    bare: bool = False,
    wording: Wording = ENGLISH,
    book: Guidebook | None = None,
) -> Picture:
    """One shift on the board: both ends, the arrival frame, the guide's way, and their distances from the nut."""
    paths = tuple(
        Path(string=guide.string, from_place=guide.from_place, to_place=guide.to_place) for guide in shift.guide
    )
    return draw_board(
        fingered.instrument,
        marks=_shift_marks(shift, book or Guidebook(fingered)),
        paths=paths,
        width_mm=width_mm,
        left_handed=left_handed,
        bare=bare,
        wording=wording,
    )


def _shift_marks(shift: Shift, book: Guidebook) -> tuple[Mark, ...]:
    marks: dict[tuple[int, int], Mark] = {}

    def add(kind: str, stops: Iterable[Stop]) -> None:
        for stop in stops:
            marks.setdefault((stop.string, stop.place), _stop_mark(kind, stop))

    left = {(stop.string, stop.place): stop for stop in shift.departure}
    reached = {(stop.string, stop.place): stop for stop in shift.arrival}
    shared = left.keys() & reached.keys()
    add(LEAVE, shift.departure)
    add(REACH, shift.arrival)
    for guide in shift.guide:
        for place in (guide.from_place, guide.to_place):
            mark = Mark(kind=GUIDE, string=guide.string, place=place, label=str(guide.finger))
            marks.setdefault((guide.string, place), mark)
    for stop in shift.arrival:
        add(FRAME, frame_stops(stop, shift.arrival_step, book))
    stacked = [_stop_mark(LEAVE, left[at], level=-1) for at in sorted(shared)]
    stacked += [_stop_mark(REACH, reached[at], level=1) for at in sorted(shared)]
    return (*(mark for at, mark in marks.items() if at not in shared), *stacked)


def _stop_mark(kind: str, stop: Stop, *, level: int = 0) -> Mark:
    return Mark(
        kind=kind,
        string=stop.string,
        place=stop.place,
        label="" if stop.is_open else str(stop.finger),
        harmonic=stop.harmonic,
        level=level,
    )


def draw_board(
    instrument: Instrument,
    *,
    marks: Sequence[Mark],
    paths: Sequence[Path] = (),
    width_mm: float,
    left_handed: bool = False,
    bare: bool = False,
    wording: Wording = ENGLISH,
) -> Picture:
    """A board with ``marks`` and ``paths``; places are semitones above the open string."""
    view = _make_view(instrument, marks, width_mm, left_handed)
    legend, legend_mm = ([], 0.0) if bare else _legend(view, marks, paths, wording)
    height_mm = view.floor + AXIS_MM + LABEL_MM + legend_mm
    drawn = sorted(marks, key=_drawing_order)
    body = [
        *_board(view),
        *_axis(view, wording),
        *_distances(view, marks),
        *(_path(view, path, _disc_size(view, marks)) for path in paths),
        *(_bare_marks(view, drawn) if bare else (_mark(view, mark, _disc_size(view, marks)) for mark in drawn)),
        *legend,
    ]
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="board" width="{width_mm:g}mm" height="{height_mm:.2f}mm" '
        f'viewBox="0 0 {width_mm:g} {height_mm:.2f}" font-family="{TEXT_FAMILY}">' + "".join(body) + "</svg>"
    )
    return Picture(svg=svg, width_mm=width_mm, height_mm=height_mm)


def _make_view(instrument: Instrument, marks: Sequence[Mark], width_mm: float, mirrored: bool) -> _View:
    places = [mark.place for mark in marks] or [0.0, 7.0]
    stopped = [place for place in places if place > 0] or [0.0]
    highest = min(max(max(places) + 1.5, 12.0), 40.0)
    lowest = 0.0 if min(places) < NUT_SHOWN_UP_TO else min(stopped) - 3
    return _View(
        instrument=instrument,
        width_mm=width_mm,
        from_mm=place_to_mm(lowest, instrument.length_mm),
        to_mm=place_to_mm(highest if lowest == 0 else max(places) + 2, instrument.length_mm),
        mirrored=mirrored,
    )


def _drawing_order(mark: Mark) -> int:
    return (FRAME, GUIDE, LEAVE, REACH).index(mark.kind)


def _board(view: _View) -> list[str]:
    start, end = view.x(view.from_mm), view.x(view.to_mm)
    left, right = min(start, end), max(start, end)
    shape = (
        f'<rect x="{left:.2f}" y="{TOP_MM - EDGE_MM:.2f}" width="{right - left:.2f}" '
        f'height="{view.floor - TOP_MM + EDGE_MM:.2f}" fill="{BOARD_FILL}" stroke="none"/>'
    )
    lines = [shape]
    if view.from_mm == 0:
        lines.append(_line(start, TOP_MM - EDGE_MM, start, view.floor, width=0.9))
    for number, pitch in enumerate(view.instrument.strings, start=1):
        y = view.y_of(number)
        lines.append(_line(start, y, end, y, width=0.16 + 0.09 * number, ink="#4a4a4a"))
        lines.append(_text(_name_x(view), y, f"{ROMAN[number]}  {pitch.pretty}", anchor=_name_anchor(view), size=2.7))
    return lines


def _name_x(view: _View) -> float:
    return view.width_mm - 0.2 if view.mirrored else 0.2


def _name_anchor(view: _View) -> str:
    return "end" if view.mirrored else "start"


def _axis(view: _View, wording: Wording) -> list[str]:
    """A ruler under the board: a tick every 10 mm of string."""
    y = view.floor + 0.9
    lines = [_line(view.x(view.from_mm), y, view.x(view.to_mm), y, width=0.12, ink=PALE)]
    words = wording.say("board.mm")
    lines.append(_text(_name_x(view), view.floor + AXIS_MM, words, anchor=_name_anchor(view), size=2.3, ink="#5a5a5a"))
    first, last = int(view.from_mm // 10) + 1, int(view.to_mm // 10)
    for ten in range(first if view.from_mm else 0, last + 1):
        x = view.x(ten * 10.0)
        lines.append(_line(x, y, x, y + (1.1 if ten % 5 == 0 else 0.6), width=0.12, ink=PALE))
    return lines


def _distances(view: _View, marks: Sequence[Mark]) -> list[str]:
    """The distance from the nut of every place that matters; what would touch its neighbour goes a line lower."""
    length_mm = view.instrument.length_mm
    places = sorted({mark.place for mark in marks if mark.kind != FRAME and mark.place > 0})
    texts, row, last_end = [], 0, -99.0
    for x, place in sorted((view.x_of(place), place) for place in places):
        digits = f"{place_to_mm(place, length_mm):.0f}"
        half_mm = 0.25 * LABEL_SIZE_MM * len(digits)
        row = (row + 1) % 2 if x - half_mm - last_end < LABEL_GAP_MM else 0
        y = view.floor + AXIS_MM + row * LABEL_MM
        texts.append(_line(x, view.floor + 0.9, x, view.floor + 2.4, width=0.25))
        texts.append(_text(x, y, digits, anchor="middle", size=LABEL_SIZE_MM))
        last_end = x + half_mm
    return texts


def _disc_size(view: _View, marks: Sequence[Mark]) -> float:
    """1 where discs have room; smaller where two places on one string lie closer than a disc is wide."""
    by_string: dict[int, set[float]] = {}
    for mark in marks:
        by_string.setdefault(mark.string, set()).add(view.x_of(mark.place))
    gaps = [abs(high - low) for xs in by_string.values() for low, high in pairwise(sorted(xs))]
    return max(0.55, min(1.0, min(gaps, default=99.0) / (2.05 * DISC_MM)))


def _path(view: _View, path: Path, size: float) -> str:
    """An arrow in a flat arc from disc to disc, above the string."""
    start, end = view.x_of(path.from_place), view.x_of(path.to_place)
    if start == end:
        return ""
    side = 1.0 if end > start else -1.0
    foot = view.y_of(path.string) - DISC_MM * size - 0.25
    top = foot - min(1.7, 0.35 + abs(end - start) * 0.06)
    bend = min(4.0, abs(end - start) / 3) * side
    neck = end - 0.9 * side
    arc = (
        f"M{start:.2f} {foot:.2f} C{start + bend:.2f} {top:.2f} {end - bend:.2f} {top:.2f} {neck:.2f} {foot - 0.75:.2f}"
    )
    slant = 0.62 * side
    tip = f"M{end:.2f} {foot + 0.1:.2f} l{-2.0 * side:.2f} -0.35 l{slant:.2f} -1.5 z"
    return (
        f'<g class="board-path"><path d="{arc}" fill="none" stroke="{GUIDE_INK}" stroke-width="0.55"/>'
        f'<path d="{tip}" fill="{GUIDE_INK}"/></g>'
    )


#: Fill, stroke, stroke width, dashes, ink of the figure, relative size.
LOOKS = {
    LEAVE: ("#ffffff", INK, 0.42, "", INK, DISC_MM),
    REACH: (REACH_INK, REACH_INK, 0.42, "", "#ffffff", DISC_MM),
    GUIDE: ("#ffffff", GUIDE_INK, 0.42, "0.8 0.55", GUIDE_INK, DISC_MM),
    FRAME: ("#ffffff", PALE, 0.22, "", "#5a5a5a", SMALL_DISC_MM),
}


def _bare_marks(view: _View, marks: Sequence[Mark]) -> Iterator[str]:
    """The marks with digits that a small screen shows; of the frame those alone that touch no other mark."""
    size = _disc_size(view, [mark for mark in marks if mark.kind != FRAME])
    taken = {(mark.string, view.x_of(mark.place)) for mark in marks if mark.kind != FRAME}
    for mark in marks:
        x = view.x_of(mark.place)
        if mark.kind != FRAME:
            yield _mark(view, mark, size, least_letter_mm=LEAST_LETTER_MM)
        elif all(string != mark.string or abs(at - x) > DISC_MM * size + 0.4 * LEAST_LETTER_MM for string, at in taken):
            y = view.y_of(mark.string)
            clear = f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{0.5 * LEAST_LETTER_MM:.2f}" fill="{BOARD_FILL}"/>'
            digit = _text(x, y, mark.label, anchor="middle", size=LEAST_LETTER_MM, ink="#5a5a5a")
            yield f'<g class="board-{FRAME}">{clear}{digit}</g>'


def _mark(view: _View, mark: Mark, size: float, *, least_letter_mm: float = 0.0) -> str:
    fill, stroke, stroke_width, dashes, ink, radius = LOOKS[mark.kind]
    radius *= size * (STACKED if mark.level else 1.0)
    x, y = view.x_of(mark.place), view.y_of(mark.string) - mark.level * radius
    dash = f' stroke-dasharray="{dashes}"' if dashes else ""
    paint = f'fill="{fill}" stroke="{stroke}" stroke-width="{stroke_width}"{dash}'
    if mark.harmonic:
        r = radius * 1.2
        shape = f'<path d="M{x:.2f} {y - r:.2f} l{r:.2f} {r:.2f} l{-r:.2f} {r:.2f} l{-r:.2f} {-r:.2f} z" {paint}/>'
    else:
        shape = f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{radius:.2f}" {paint}/>'
    label = _text(
        x, y, mark.label, anchor="middle", size=max(radius * 1.55, least_letter_mm), ink=ink, bold=mark.kind != FRAME
    )
    return (
        f'<g class="board-{mark.kind}" data-string="{mark.string}" data-place="{mark.place:g}">'
        f"{shape}{label if mark.label else ''}</g>"
    )


def _legend(view: _View, marks: Sequence[Mark], paths: Sequence[Path], wording: Wording) -> tuple[list[str], float]:
    """Names the shapes in use below the board, and the height that takes."""
    kinds = [kind for kind in (LEAVE, REACH, GUIDE, FRAME) if any(mark.kind == kind for mark in marks)]
    parts, x, row = [], 0.0, 0
    for kind in (*kinds, *(["path"] if paths else [])):
        text = wording.say(f"board.legend.{kind}")
        sign_mm = 5.4 if kind == "path" else 3.0
        end = x + sign_mm + LEGEND_LETTER_MM * len(text)
        if x > 0 and end > view.width_mm:
            x, row, end = 0.0, row + 1, end - x
        y = row * LEGEND_ROW_MM
        parts.append(_legend_sign(kind, x, y) + _text(x + sign_mm, y, text, size=2.5))
        x = end + 2.6
    top_mm = view.floor + AXIS_MM + LABEL_MM + BOTTOM_MM - 1.4
    group = [f'<g class="board-legend" transform="translate(0 {top_mm:.2f})">', *parts, "</g>"]
    return group, BOTTOM_MM + row * LEGEND_ROW_MM


def _legend_sign(kind: str, x: float, y: float) -> str:
    if kind == "path":
        tip = f'<path d="M{x + 4.4:.2f} {y:.2f} l-1.7 -0.7 v1.4 z" fill="{GUIDE_INK}"/>'
        return _line(x, y, x + 3.0, y, width=0.5, ink=GUIDE_INK) + tip
    fill, stroke, stroke_width, dashes, _, _ = LOOKS[kind]
    dash = f' stroke-dasharray="{dashes}"' if dashes else ""
    return (
        f'<circle cx="{x + 1.2:.2f}" cy="{y:.2f}" r="1.0" fill="{fill}" stroke="{stroke}" '
        f'stroke-width="{stroke_width * 0.8:.2f}"{dash}/>'
    )


def _line(x1: float, y1: float, x2: float, y2: float, *, width: float, ink: str = INK) -> str:
    return f'<line x1="{x1:.2f}" y1="{y1:.2f}" x2="{x2:.2f}" y2="{y2:.2f}" stroke="{ink}" stroke-width="{width:.2f}"/>'


def _text(
    x: float, y: float, text: str, *, anchor: str = "start", size: float, ink: str = INK, bold: bool = False
) -> str:
    """Text centred on ``y`` (cap height .65 of the size)."""
    weight = ' font-weight="bold"' if bold else ""
    return (
        f'<text x="{x:.2f}" y="{y + 0.325 * size:.2f}" font-size="{size:.2f}" text-anchor="{anchor}" fill="{ink}"'
        f"{weight}>{escape(text)}</text>"
    )
