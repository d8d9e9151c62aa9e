"""Pictures of progress and the report: the numbers are those of the record, and no meaning by colour alone."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import date
from xml.etree import ElementTree

import pytest
from pypdf import PdfReader

from truestop.adapters.engrave.pages import make_pdf
from truestop.app.pictures import beside, draw_diary, draw_landings, draw_share, draw_standing
from truestop.app.ports import DiaryDay
from truestop.app.progress import PassageReport, make_report
from truestop.app.reporting import make_report_sheet, worth_a_word
from truestop.app.sheet_layout import Heading, Plate, Sheet
from truestop.domain.attempt import Verdict
from truestop.domain.record import Outcome, PassageCard, ShiftCard
from truestop.domain.wording import ENGLISH_TEXTS, Wording

SVG = "{http://www.w3.org/2000/svg}"
CARD = PassageCard(key="p", title="Ebb & Flow")
DAY = date(2026, 3, 2).toordinal()


def _shift(number: int) -> ShiftCard:
    return ShiftCard(
        key=f"s{number}", passage="p", number=number, measure=str(number), direction="up", relation="same",
        crossing=False, cover="none", interval="+m3", departure_pitch="B4", departure_finger="1", departure_string=2,
        departure_place=2, arrival_pitch="D5", arrival_finger="1", string=2, place=5, from_position="1st",
        to_position="3rd", guide_finger="1", travel_mm=46.5, length_mm=328.0,
    )  # fmt: skip


def _outcome(shift: int, day: int, verdict: Verdict, cents: float, *, cold: bool = False) -> Outcome:
    return Outcome(
        shift=f"s{shift}", stage="plain", at_s=86400.0 * day, day=DAY + day, cold=cold, verdict=verdict,
        landing_cents=cents, landing_mm=cents * 0.14,
    )  # fmt: skip


OUTCOMES = [
    _outcome(1, 0, Verdict.LOW, -31.0, cold=True),
    _outcome(1, 0, Verdict.TRUE, 4.0),
    _outcome(1, 1, Verdict.CORRECTED, 22.0, cold=True),
    _outcome(1, 1, Verdict.WRONG_NOTE, 190.0),
    _outcome(1, 1, Verdict.LATE, 3.0),
    _outcome(2, 1, Verdict.TRUE, 1.0, cold=True),
]
DIARY = [
    DiaryDay(
        day=date(2026, 3, 2 + n), takes=1, recorded_s=9.0, attempts=4, judged=4, true=2, cold_judged=n, cold_true=0
    )
    for n in range(3)
]


@pytest.fixture
def report() -> PassageReport:
    return make_report(CARD, [_shift(n) for n in (1, 2, 3)], OUTCOMES)


def _elements(svg: str, name: str) -> list[ElementTree.Element]:
    return ElementTree.fromstring(svg).findall(f".//{SVG}{name}")


def test_every_landing_is_a_mark_and_cold_ones_have_a_ring() -> None:
    picture = draw_landings(OUTCOMES[:5], tolerance_mm=2.8, width_mm=100, height_mm=30)
    rings = [c for c in _elements(picture.svg, "circle") if c.get("fill") == "none"]
    discs = [c for c in _elements(picture.svg, "circle") if c.get("fill") != "none"]
    assert (len(rings), len(discs), len(_elements(picture.svg, "polygon"))) == (2, 1, 3)


def test_both_notes_of_a_double_stop_are_shown() -> None:
    """The mark stands where the deciding note landed, a small ring where the other one did, to the same scale."""
    both = replace(_outcome(1, 0, Verdict.LOW, -30.0), notes_mm=(-30.0 * 0.14, 1.5))
    unknown = replace(_outcome(1, 0, Verdict.TRUE, 5.0), notes_mm=(5.0 * 0.14, None))
    alone = replace(_outcome(1, 1, Verdict.TRUE, 1.5 / 0.14), landing_mm=1.5)
    picture = draw_landings([both, unknown, alone], tolerance_mm=2.8, width_mm=100, height_mm=30)
    (other,) = [c for c in _elements(picture.svg, "circle") if c.get("fill") == "none"]
    discs = [c for c in _elements(picture.svg, "circle") if c.get("fill") != "none"]
    assert len(discs) == 2
    assert float(other.get("cy", "")) == pytest.approx(float(discs[1].get("cy", "")), abs=0.01)


def test_shapes_differ_without_colour() -> None:
    marks = {
        verdict: draw_landings([_outcome(1, 0, verdict, 10.0)], tolerance_mm=2.8, width_mm=60, height_mm=30).svg
        for verdict in (Verdict.TRUE, Verdict.HIGH, Verdict.LOW, Verdict.CORRECTED, Verdict.LATE, Verdict.WRONG_NOTE)
    }
    assert len(set(marks.values())) == len(marks)


def test_shares_show_each_day_once() -> None:
    picture = draw_share(OUTCOMES[:5], width_mm=60, height_mm=30)
    assert len(_elements(picture.svg, "circle")) == 2


def test_the_diary_has_a_column_a_day_and_a_ring_for_cold_tests() -> None:
    picture = draw_diary(DIARY, width_mm=100, height_mm=24)
    assert len(_elements(picture.svg, "rect")) == 6
    assert len(_elements(picture.svg, "circle")) == 2


def test_standing_is_told_by_shape(report: PassageReport) -> None:
    picture = draw_standing([shift for shift, _ in report.lines], width_mm=100)
    assert len(_elements(picture.svg, "circle")) == 2
    assert len(_elements(picture.svg, "path")) == 2
    assert len(_elements(picture.svg, "line")) == 1


def test_pictures_stand_side_by_side() -> None:
    left = draw_share(OUTCOMES, width_mm=40, height_mm=30)
    both = beside(left, draw_share(OUTCOMES, width_mm=50, height_mm=30), gap_mm=4)
    assert both.width_mm == 94
    assert len(ElementTree.fromstring(both.svg).findall(f"{SVG}svg")) == 2


def test_the_weakest_shifts_come_in_the_order_of_the_music(report: PassageReport) -> None:
    assert [shift.card.number for shift, _ in worth_a_word(report)] == [1, 2]


def test_the_report_says_the_records_numbers(report: PassageReport) -> None:
    pdf = make_report_sheet(report, OUTCOMES, DIARY, player="Mirela Oduya", make_pdf=make_pdf)
    pages = PdfReader(io.BytesIO(pdf)).pages
    text = pages[0].extract_text()
    assert len(pages) <= 2
    for words in ("Ebb & Flow", "Mirela Oduya", "2 of 6 landings true", "1 of 5 true", "Stop when it hurts"):
        assert words in text
    assert pdf == make_report_sheet(report, OUTCOMES, DIARY, player="Mirela Oduya", make_pdf=make_pdf)


def test_every_word_of_the_report_comes_from_the_table(report: PassageReport) -> None:
    """The sheet made with marked texts: what bears no mark was not from the table."""
    marked = Wording({key: f"§{text}" for key, text in ENGLISH_TEXTS.items()})
    sheets = []

    def keep(sheet: Sheet) -> bytes:
        sheets.append(sheet)
        return b""

    make_report_sheet(report, OUTCOMES, DIARY, player="Mirela Oduya", make_pdf=keep, wording=marked)
    plates = [block for block in sheets[0].blocks if isinstance(block, Plate)]
    headings = [block for block in sheets[0].blocks if isinstance(block, Heading)]
    texts = [
        sheets[0].kind,
        *sheets[0].facts,
        sheets[0].rules,
        *(line for heading in headings for line in heading.lines),
    ]
    texts += [text for heading in headings for text in (heading.title, heading.aside)]
    texts += [plate.caption for plate in plates if plate.caption]
    titles = [title.text or "" for plate in plates for pic in plate.pictures for title in _elements(pic.svg, "title")]
    assert len(headings) == 2
    assert len(titles) == 2 + 3 * len(headings)
    assert [text for text in (*texts, *titles) if not text.startswith("§")] == []
