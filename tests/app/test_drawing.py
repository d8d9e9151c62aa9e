"""The fingerboard and the strip: places to scale, mirrored for the left-handed, readable without colour."""

from __future__ import annotations

import re
from itertools import combinations, pairwise
from xml.etree.ElementTree import Element

import pytest
from defusedxml.ElementTree import fromstring

from truestop.app.drawing import (
    FRAME,
    GUIDE,
    LEAST_LETTER_MM,
    LEAVE,
    LOOKS,
    REACH,
    Mark,
    Path,
    draw_board,
    draw_shift,
)
from truestop.app.drawing_strip import draw_strip
from truestop.app.sheet_ports import Picture
from truestop.domain.drill.specimens import kinds_of, make_specimen
from truestop.domain.errors import DrillError, InstrumentError
from truestop.domain.fingerboard import place_to_mm
from truestop.domain.instrument import make_instrument
from truestop.domain.wording import ENGLISH_TEXTS

SVG = "{http://www.w3.org/2000/svg}"
VIOLIN = make_instrument("violin")
MARKS = (
    Mark(kind=LEAVE, string=2, place=2, label="1"),
    Mark(kind=GUIDE, string=2, place=5, label="1"),
    Mark(kind=REACH, string=2, place=9, label="3"),
    Mark(kind=FRAME, string=2, place=10, label="4"),
    Mark(kind=FRAME, string=1, place=5, label="1", harmonic=True),
)
PATHS = (Path(string=2, from_place=2, to_place=5),)


def centres(picture: Picture) -> dict[tuple[int, float], float]:
    """x of every mark by string and place."""
    found = {}
    for group in fromstring(picture.svg).iter(f"{SVG}g"):
        if group.get("data-place"):
            shape = group[0]
            x = shape.get("cx") or shape.get("d", "").removeprefix("M").split()[0]
            found[int(group.get("data-string", "")), float(group.get("data-place", ""))] = float(x)
    return found


def test_places_lie_to_scale() -> None:
    """Places against the closed form L (1 − 2^(−n/12))."""
    x = centres(draw_board(VIOLIN, marks=MARKS, paths=PATHS, width_mm=170.0))
    per_mm = (x[2, 9] - x[2, 2]) / (place_to_mm(9, 328.0) - place_to_mm(2, 328.0))
    for place in (5, 10):
        expected = x[2, 2] + per_mm * (place_to_mm(place, 328.0) - place_to_mm(2, 328.0))
        assert x[2, place] == pytest.approx(expected, abs=0.02)


def test_left_handed_boards_are_mirrored_with_their_text_upright() -> None:
    right = draw_board(VIOLIN, marks=MARKS, paths=PATHS, width_mm=170.0)
    left = draw_board(VIOLIN, marks=MARKS, paths=PATHS, width_mm=170.0, left_handed=True)
    mirrored = centres(left)
    for key, x in centres(right).items():
        assert mirrored[key] == pytest.approx(170.0 - x, abs=0.02)
    assert "scale(-1" not in left.svg


def test_distances_from_the_nut_are_printed() -> None:
    texts = [
        element.text for element in fromstring(draw_board(VIOLIN, marks=MARKS, width_mm=170.0).svg).iter(f"{SVG}text")
    ]
    for place in (2, 5, 9):
        assert f"{place_to_mm(place, 328.0):.0f}" in texts


def test_shapes_differ_without_their_colours() -> None:
    """Fill light or dark, line solid or dashed, size: no two kinds agree in all three.

    Contrast after WCAG 2.1 (relative luminance, at least 4.5 : 1 for text).
    """

    def luminance(colour: str) -> float:
        parts = (int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5))
        red, green, blue = (part / 12.92 if part <= 0.03928 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
        return 0.2126 * red + 0.7152 * green + 0.0722 * blue

    looks = {
        kind: (luminance(fill) > 0.5, bool(dashes), radius) for kind, (fill, _, _, dashes, _, radius) in LOOKS.items()
    }
    assert len(set(looks.values())) == len(looks)
    for fill, _, _, _, ink, _ in LOOKS.values():
        dark, light = sorted((luminance(fill), luminance(ink)))
        assert (light + 0.05) / (dark + 0.05) >= 4.5


def test_high_positions_leave_the_nut_out_and_discs_do_not_touch() -> None:
    marks = [
        Mark(kind=kind, string=1, place=place, label="1") for kind, place in ((LEAVE, 21), (GUIDE, 22), (REACH, 24))
    ]
    picture = draw_board(VIOLIN, marks=marks, width_mm=170.0)
    circles = [
        c for g in fromstring(picture.svg).iter(f"{SVG}g") if g.get("data-place") for c in g.iter(f"{SVG}circle")
    ]
    spans = sorted((float(c.get("cx", "")), float(c.get("r", ""))) for c in circles)
    for (low, low_r), (high, high_r) in pairwise(spans):
        assert low + low_r <= high - high_r + 0.05


def test_every_shift_of_the_matrix_can_be_drawn_with_its_marks_inside() -> None:
    for family in ("violin", "cello"):
        for kind in kinds_of(family)[::5]:
            specimen = make_specimen(family, kind)
            picture = draw_shift(specimen.fingered, specimen.shift, width_mm=174.0)
            assert all(0.0 < x < 174.0 for x in centres(picture).values()), specimen.name


@pytest.mark.parametrize("family", ["violin", "viola", "cello", "bass"])
def test_a_bare_board_has_letters_of_one_size_at_least_and_none_touches_another(family: str) -> None:
    """For every kind of shift; a digit is taken to be half its size wide."""
    for kind in kinds_of(family):
        specimen = make_specimen(family, kind)
        picture = draw_shift(specimen.fingered, specimen.shift, width_mm=67.0, bare=True)
        root = fromstring(picture.svg)
        texts = [element for element in root.iter() if element.tag.endswith("text")]
        assert min(float(text.get("font-size", "0")) for text in texts) >= LEAST_LETTER_MM, kind.name
        assert not [element for element in root.iter() if element.get("class") == "board-legend"]
        named = [text.text for text in texts]
        for stop in (*specimen.shift.departure, *specimen.shift.arrival):
            assert stop.is_open or str(stop.finger) in named, kind.name
        digits = [(float(text.get("x", "0")), float(text.get("y", "0"))) for text in texts if len(text.text or "") == 1]
        for (x, y), (other_x, other_y) in combinations(digits, 2):
            assert abs(y - other_y) > 1.0 or abs(x - other_x) > 0.5 * LEAST_LETTER_MM, kind.name


@pytest.mark.parametrize("name", ["to-higher-down-one-string", "to-lower-up-one-string-over-harmonic"])
def test_where_the_hand_leaves_and_arrives_at_one_place_both_marks_are_seen(name: str) -> None:
    kind = next(kind for kind in kinds_of("violin") if kind.name == name)
    specimen = make_specimen("violin", kind)
    leave, reach = specimen.shift.departure[0], specimen.shift.arrival[0]
    assert (leave.string, leave.place) == (reach.string, reach.place)
    picture = draw_shift(specimen.fingered, specimen.shift, width_mm=110.0)
    groups = {group.get("class"): group for group in fromstring(picture.svg).iter(f"{SVG}g")}
    labels = [groups[f"board-{which}"].findtext(f"{SVG}text") for which in (LEAVE, REACH)]
    assert labels == [str(leave.finger), str(reach.finger)]
    heights = [float(groups[f"board-{which}"][-1].get("y", "")) for which in (LEAVE, REACH)]
    assert heights[0] - heights[1] > 2.0
    assert ENGLISH_TEXTS["board.legend.reach"] in [text.text for text in groups["board-legend"].iter(f"{SVG}text")]


@pytest.mark.parametrize("width_mm", [62.0, 78.0, 110.0])
def test_the_legend_stays_on_a_narrow_board_and_the_board_holds_all_its_lines(width_mm: float) -> None:
    kind = next(kind for kind in kinds_of("violin") if kind.name == "to-higher-up-one-string")
    specimen = make_specimen("violin", kind)
    picture = draw_shift(specimen.fingered, specimen.shift, width_mm=width_mm)
    groups = {group.get("class"): group for group in fromstring(picture.svg).iter(f"{SVG}g")}
    legend = groups["board-legend"]
    (top,) = re.findall(r"translate\(0 ([\d.]+)\)", legend.get("transform", ""))
    for words in legend.iter(f"{SVG}text"):
        widest_mm = 0.55 * float(words.get("font-size", "")) * len(words.text or "")
        assert float(words.get("x", "")) + widest_mm < width_mm + 1.0
        assert float(top) + float(words.get("y", "")) < picture.height_mm


def ticks_mm(pictures: tuple[Picture, ...]) -> list[float]:
    """Distances of all ticks from the nut, pieces joined edge to edge."""
    found, start = [], 0.0
    for picture in pictures:
        lines = re.findall(r'<line x1="([\d.]+)" y1="[\d.]+" x2="\1"', picture.svg)
        found += [start + float(x) - 0.6 for x in lines]
        start += picture.width_mm - 1.2
    return sorted({round(value, 2) for value in found})


@pytest.mark.parametrize("family", ["violin", "viola", "cello", "bass"])
def test_strips_are_true_to_scale(family: str) -> None:
    """One unit of the picture is one mm: every tick against the closed form L (1 − 2^(−n/12))."""
    instrument = make_instrument(family)
    pictures = draw_strip(instrument, string=1, longest_mm=259.0)
    assert all(picture.width_mm <= 261.0 for picture in pictures)
    for picture in pictures:
        view = re.search(r'viewBox="0 0 ([\d.]+) ', picture.svg)
        assert view is not None
        assert float(view[1]) == pytest.approx(picture.width_mm, abs=0.001)
    ticks = ticks_mm(pictures)
    for place in range(1, 23):
        expected = place_to_mm(place, instrument.length_mm)
        assert min(abs(tick - expected) for tick in ticks) < 0.02, place


@pytest.mark.parametrize("longest_mm", [247.0, 265.0])
@pytest.mark.parametrize("left_handed", [False, True])
@pytest.mark.parametrize("family", ["violin", "viola", "cello", "bass"])
def test_no_text_of_a_strip_touches_another_or_an_edge(family: str, left_handed: bool, longest_mm: float) -> None:
    """Boxes of the texts by a letter's width of .56 of its size (Libertinus; bold capitals and figures are wider)."""
    for string in (1, 4):
        strip = draw_strip(make_instrument(family), string=string, longest_mm=longest_mm, left_handed=left_handed)
        assert len(strip) <= {"violin": 1, "viola": 2, "cello": 3, "bass": 4}[family]
        for picture in strip:
            boxes = [_box_of(text) for text in fromstring(picture.svg).iter(f"{SVG}text")]
            for left, top, right, bottom in boxes:
                assert left > 0
                assert right < picture.width_mm
                touching = [
                    each for each in boxes if each[0] < right and left < each[2] and each[1] < bottom and top < each[3]
                ]
                assert len(touching) == 1, touching


def _box_of(text: Element) -> tuple[float, float, float, float]:
    x, y, size = (float(text.get(name, "")) for name in ("x", "y", "font-size"))
    half = 0.28 * size * len(text.text or "")
    if text.get("transform"):
        return x - 0.8 * size, y - half, x, y + half
    return x - half, y - 0.7 * size, x + half, y


def test_strips_of_no_string_or_no_length_are_refused() -> None:
    with pytest.raises(DrillError, match="out of range"):
        draw_strip(VIOLIN, string=1, longest_mm=5.0)
    with pytest.raises(InstrumentError, match="no string 7"):
        draw_strip(VIOLIN, string=7, longest_mm=250.0)


def test_all_words_of_the_drawing_are_in_the_catalogue() -> None:
    for kind in LOOKS:
        assert f"board.legend.{kind}" in ENGLISH_TEXTS
