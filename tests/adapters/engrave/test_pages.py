"""Pages: embedded fonts, the same bytes, sizes, user text as text, headings that stay with their music."""

from __future__ import annotations

from dataclasses import replace
from io import BytesIO
from itertools import pairwise
from typing import Any
from unicodedata import category

import pytest
import typst
from pypdf import PdfReader

from pdf_lines import Line, lines_on
from truestop.adapters.engrave.pages import COMMON_LETTERS, WHOLE, make_pdf
from truestop.app.drawing_strip import draw_ruler
from truestop.app.sheet_layout import PAPER_MM, Block, Heading, Music, Paper, Plate, Row, Sheet
from truestop.app.sheet_ports import Picture

HOSTILE = '#import "x"; *not bold* $x$ <label> @ref \\ "quoted" `raw` = heading {page}'


def picture(height_mm: float = 20.0, width_mm: float = 60.0, text: str = "") -> Picture:
    return Picture(
        svg=f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width_mm} {height_mm}" '
        f'font-family="Libertinus Serif"><rect x="1" y="1" width="9" height="9"/><text x="2" y="9" font-size="4">{text}'
        "</text></svg>",
        width_mm=width_mm,
        height_mm=height_mm,
    )


def music(number: int, *, systems: int = 1) -> Music:
    return Music(
        label=str(number),
        heading=f"Heading{number:03}",
        instruction=f"Instruction {number}.",
        systems=tuple(picture(text=f"music{number:03}") for _ in range(systems)),
    )


def sheet(*blocks: Block, title: str = "A title", paper: Paper = Paper.A4, landscape: bool = False) -> Sheet:
    return Sheet(
        title=title,
        kind="Shift drill",
        credit="written for a test",
        facts=("Violin", "A = 442 Hz"),
        rules="Rules.",
        cautions="Stop when it hurts.",
        page_words="{page} of {pages}",
        paper=paper,
        landscape=landscape,
        blocks=blocks,
    )


def pages(document: bytes) -> list[str]:
    return [page.extract_text() for page in PdfReader(BytesIO(document)).pages]


def fonts(document: bytes) -> list[dict[str, object]]:
    found = []
    for page in PdfReader(BytesIO(document)).pages:
        for font in (page["/Resources"].get("/Font") or {}).values():
            descendant = font.get_object()["/DescendantFonts"][0].get_object()
            found.append(descendant["/FontDescriptor"].get_object())
    return found


def test_every_font_is_embedded() -> None:
    found = fonts(make_pdf(sheet(music(1), Heading(title="Shift 1", aside="up", lines=("From ♯ to ♭.",)))))
    assert found
    for descriptor in found:
        assert "Libertinus" in str(descriptor["/FontName"])
        assert "/FontFile2" in descriptor or "/FontFile3" in descriptor


def test_the_same_sheet_gives_the_same_bytes() -> None:
    made = sheet(music(1), music(2))
    assert make_pdf(made) == make_pdf(made)


@pytest.mark.parametrize("landscape", [False, True])
@pytest.mark.parametrize("paper", list(Paper))
def test_paper_sizes(paper: Paper, landscape: bool) -> None:
    (page,) = PdfReader(BytesIO(make_pdf(sheet(music(1), paper=paper, landscape=landscape)))).pages
    size_mm = (float(page.mediabox.width) / 72 * 25.4, float(page.mediabox.height) / 72 * 25.4)
    expected = PAPER_MM[paper][::-1] if landscape else PAPER_MM[paper]
    assert size_mm == pytest.approx(expected, abs=0.3)


def test_user_text_is_printed_as_it_is() -> None:
    (text,) = pages(make_pdf(sheet(music(1), title=HOSTILE)))
    assert "".join(HOSTILE.split()) in "".join(text.split())


def test_title_block_page_numbers_and_cautions_are_there() -> None:
    first, *others = pages(make_pdf(sheet(*(music(number) for number in range(1, 31)))))
    assert others
    for words in ("A title", "Shift drill", "written for a test", "A = 442 Hz", "Stop when it hurts."):
        assert words in first
    for number, text in enumerate((first, *others), start=1):
        assert f"{number} of {len(others) + 1}" in text


@pytest.mark.parametrize("before", range(1, 14))
def test_headings_stand_on_the_page_of_their_music(before: int) -> None:
    """A page holds about eleven of these: whatever stands before, no heading is left behind at a page's end."""
    blocks: list[Block] = [music(number) for number in range(1, before + 1)]
    blocks += [Heading(title="Shift 77", aside="down", lines=("One.", "Two."), picture=picture(30.0, 170.0))]
    blocks += [Row(items=(music(91), music(92)), widths_mm=(90.0, 90.0)), music(93, systems=7)]
    made = pages(make_pdf(sheet(*blocks)))
    assert all(any(f"Heading{number:03}" in text for text in made) for number in (1, 91, 92, 93))
    for text in made:
        for number in (*range(1, before + 1), 91, 92, 93):
            assert f"Heading{number:03}" not in text or f"music{number:03}" in text
        if "Shift 77" in text:
            assert "music091" in text


def test_neighbours_on_a_line_have_their_staves_level() -> None:
    """One staff 4 mm, the other 9 mm below its picture's edge: on paper both begin at one height."""
    items = []
    for number, top_mm in ((1, 4.0), (2, 9.0)):
        svg = (
            '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 60 20">'
            f'<path d="M0 {top_mm} L{50 + number} {top_mm}" '
            'stroke="black"/></svg>'
        )
        level = Picture(svg=svg, width_mm=60.0, height_mm=20.0, staff_top_mm=top_mm)
        items.append(replace(music(number), systems=(level,)))
    lines = level_lines(make_pdf(sheet(Row(items=tuple(items), widths_mm=(90.0, 90.0)))))
    first, second = (line for line in lines if round(line.length_mm) in (51, 52))
    assert first.low_mm == pytest.approx(second.low_mm, abs=0.01)
    assert second.left_mm - first.left_mm == pytest.approx(90.0, abs=0.01)


def level_lines(document: bytes) -> list[Line]:
    return [line for line in lines_on(document) if line.is_level]


def test_the_pages_of_a_long_part_are_full_but_for_the_last() -> None:
    """Forty systems of 20 mm: on every page but the last the lowest stands at the foot's margin of 17 mm."""
    svg = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 60 20"><path d="M1 20 L59 20" stroke="black"/></svg>'
    system = Picture(svg=svg, width_mm=60.0, height_mm=20.0)
    document = make_pdf(sheet(Music(label="", heading="", instruction="", systems=(system,) * 40)))
    heights = [[line.low_mm for line in lines_on(document, page) if 57.9 < line.length_mm < 58.1] for page in range(4)]
    assert sum(map(len, heights)) == 40
    for page in heights[:-1]:
        assert min(page) == pytest.approx(17.0, abs=0.1)
        gaps = {round(above - below, 1) for above, below in pairwise(sorted(page, reverse=True))}
        assert max(gaps) - min(gaps) < 0.2
        assert min(gaps) >= 21.8
    last = sorted(heights[-1], reverse=True)
    assert all(above - below < 23.5 for above, below in pairwise(last))


def test_plates_are_printed_at_their_own_size() -> None:
    strip = Picture(
        svg='<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 200 10"><path d="M0 5 L200 5" stroke="black"/></svg>',
        width_mm=200.0,
        height_mm=10.0,
    )
    lines = level_lines(make_pdf(sheet(Plate(caption="", pictures=(strip,)), landscape=True)))
    assert any(line.length_mm == pytest.approx(200.0, abs=0.02) for line in lines)


def test_the_ruler_is_a_hundred_millimetres_on_paper() -> None:
    lines = level_lines(make_pdf(sheet(Plate(caption="", pictures=(draw_ruler(),)), landscape=True)))
    assert any(line.length_mm == pytest.approx(100.0, abs=0.02) for line in lines)


NOWHERE = "\U0010fffd"
"""For private use (Unicode, 23.5), the last but two of all: no font has it."""
IN_A_PICTURE = Plate(caption="", pictures=(picture(text=NOWHERE),))


@pytest.fixture
def own_fonts_asked(monkeypatch: pytest.MonkeyPatch) -> list[bool]:
    """For every time that pages are set, whether it is with the typesetter's own fonts alone."""
    compile_pages, asked = typst.compile, []

    def note(*args: Any, **how: Any) -> Any:
        asked.append(how["ignore_system_fonts"])
        return compile_pages(*args, **how)

    monkeypatch.setattr(typst, "compile", note)
    return asked


@pytest.mark.parametrize("made", [sheet(title=NOWHERE), sheet(IN_A_PICTURE)], ids=["text", "picture"])
def test_letters_that_no_font_has_are_told_once(made: Sheet) -> None:
    told: list[str] = []
    make_pdf(made, tell=told.append)
    (sentence,) = told
    assert sentence.startswith("No font on this machine has ")
    assert "boxes are printed instead" in sentence


def test_common_letters_are_all_in_the_typesetter_s_own_fonts() -> None:
    """The typesetter itself says so: it refuses to make a file of this standard with a box in it."""
    common = [letter for letter in map(chr, range(0x20, 0x10000)) if COMMON_LETTERS.fullmatch(letter)]
    printed = "\n".join(letter for letter in common if not category(letter).startswith("C"))
    texts = {"main": b'#set text(font: "Libertinus Serif"); #read("letters")', "letters": printed.encode()}
    assert len(printed) > 2 * 1900
    typst.compile(texts, ignore_system_fonts=True, format="pdf", pdf_standards=WHOLE)


def test_other_letters_are_looked_for_on_the_machine_last(own_fonts_asked: list[bool]) -> None:
    """Arabic is in the typesetter's own fonts, Chinese is not."""
    told: list[str] = []
    make_pdf(sheet(title="Étude, Łódź, Прелюдия, F♯ → B♭"), tell=told.append)
    assert own_fonts_asked == [True]
    own_fonts_asked.clear()
    make_pdf(sheet(title="عرب"), tell=told.append)
    assert own_fonts_asked == [True, True]
    assert told == []
    own_fonts_asked.clear()
    make_pdf(sheet(title="字"))
    assert own_fonts_asked == [True, False, False]


def test_double_accidentals_are_printed_by_single_ones() -> None:
    """The double signs of Unicode (U+1D12A, U+1D12B) are in no text font that goes into a sheet."""
    told: list[str] = []
    plate = Plate(caption="F\U0001d12a5", pictures=(picture(text="B\U0001d12b4"),))
    text = " ".join(pages(make_pdf(sheet(plate), tell=told.append)))
    assert told == []
    assert "F♯♯5" in text
    assert "B♭♭4" in text
