"""The studio and the plan on a page; one record gives the same numbers on command line, report and in the room."""

from __future__ import annotations

import calendar
import io
import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
from pypdf import PdfReader

from domain.test_plan import TODAY, candidate
from keeping_samples import PASSAGE, PLAYER, attempt, drafts, instant, shift_card, take
from truestop.adapters.engrave.pages import make_pdf
from truestop.adapters.spacing import FsrsSpacing
from truestop.adapters.store import SqlPracticeStore
from truestop.app.describing_progress import describe_report, describe_studio
from truestop.app.pictures_studio import NAME_MM, SHIFTS, draw_studio
from truestop.app.plan_sheet import make_plan_sheet
from truestop.app.planning import plan_today
from truestop.app.progress import find_relatives, report_of_passage
from truestop.app.reporting import make_report_sheet
from truestop.app.sheet_layout import Heading, Sheet
from truestop.app.studio import PlayerLine, make_studio_sheet, overview_of_studio
from truestop.domain.plan import plan_session
from truestop.domain.record import PassageCard, Player
from truestop.domain.statistics import make_share
from truestop.domain.wording import ENGLISH, ENGLISH_TEXTS, Wording
from truestop.web import recorded

SECOND = Player(key="oke", name="Oke Brandt")


@pytest.fixture
def store(tmp_path: Path) -> Iterator[SqlPracticeStore]:
    """Fourteen days: the first shift always true, the second one in three; another player for one day."""
    store = SqlPracticeStore(tmp_path / "record.sqlite")
    for player in (PLAYER, SECOND):
        store.keep_player(player)
    store.keep_passage(PASSAGE, [shift_card(1), shift_card(2), shift_card(3)])
    for day in range(1, 15):
        for shift in (1, 2):
            true = shift == 1 or day % 3 == 0
            played = [
                attempt(f"s{shift}", start_s=4.0 * n, verdict="true" if true else "high",
                        landing_cents=(3.0 if true else 31.0) + n)
                for n in range(3)
            ]  # fmt: skip
            at_s = instant(day, 10.0 + shift)
            store.keep_take(take(10 * day + shift, at_s, shift=f"s{shift}"), drafts(*played))
    store.keep_take(take(999, instant(9), player=SECOND.key), drafts(attempt(verdict="low", landing_cents=-25.0)))
    yield store
    store.close()


def _text(pdf: bytes) -> str:
    return " ".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages)


def test_the_studio_counts_shifts_by_standing_as_progress_does(store: SqlPracticeStore) -> None:
    mira, oke = overview_of_studio(store)
    assert (mira.name, mira.shifts, mira.secure, mira.not_yet, mira.still_open) == (PLAYER.name, 2, 1, 1, 0)
    assert (oke.shifts, oke.still_open, oke.days, oke.last_day) == (1, 1, 1, date(2026, 3, 9))
    assert mira.recent == (6,) * 14
    assert sum(oke.recent) == 1
    whole = report_of_passage(store, player=PLAYER.key, passage=PASSAGE.key).progress.whole
    assert (mira.all, mira.cold, mira.corrected) == (whole.all, whole.cold, whole.corrected)
    assert describe_studio((mira,))["players"][0]["cold"]["true"] == whole.cold.true


def test_the_studio_page_names_everybody(store: SqlPracticeStore) -> None:
    lines = overview_of_studio(store)
    pdf = make_studio_sheet(lines, make_pdf=make_pdf)
    for words in (PLAYER.name, SECOND.name, "2 players", "0.70 against 0.90", "Stop when it hurts"):
        assert words in _text(pdf)
    assert len(PdfReader(io.BytesIO(make_studio_sheet(lines * 30, make_pdf=make_pdf))).pages) > 1
    assert "no attempts yet" in _text(make_studio_sheet((), make_pdf=make_pdf))


def test_the_plan_page_says_why_each_shift_is_there(store: SqlPracticeStore) -> None:
    now_s = instant(16)
    plan = plan_today(store, FsrsSpacing(), player=PLAYER.key, minutes=30, now_s=now_s, utc_offset_s=0)
    text = " ".join(_text(make_plan_sheet(plan, player=PLAYER.name, make_pdf=make_pdf)).split())
    assert "Cold tests" in text
    assert "two misses in a row" in text
    for item in plan.items:
        if item.what in ("cold test", "work"):
            assert " ".join(str(item.reason).split()) in text
    secure = [item for item in plan.items if item.shift and item.shift.card.key == "s1"]
    assert not secure or plan.day - date(2026, 3, 14) >= timedelta(days=2)


def test_the_plan_page_names_the_piece_where_there_are_several() -> None:
    waltz = replace(PASSAGE, key="waltz", title="Slow Waltz")
    weak = [candidate(1, true=3, judged=9), candidate(2, true=3, judged=9, passage=waltz)]
    plan = plan_session(weak, today=TODAY, minutes=30)
    text = " ".join(_text(make_plan_sheet(plan, player=PLAYER.name, make_pdf=make_pdf)).split())
    assert "Slow Waltz: ☐ no. 2" in text.replace("\u00a0", " ")
    assert "Slow Waltz, no. 2, bar" in text
    alone = plan_session(weak[1:], today=TODAY, minutes=30)
    assert "Slow Waltz:" not in _text(make_plan_sheet(alone, player=PLAYER.name, make_pdf=make_pdf))


def test_one_record_says_the_same_on_command_line_report_and_in_the_room(store: SqlPracticeStore) -> None:
    report = report_of_passage(store, player=PLAYER.key, passage=PASSAGE.key)
    printed = json.loads(json.dumps(describe_report(report)))
    pdf = make_report_sheet(
        report, store.outcomes(player=PLAYER.key), store.diary(player=PLAYER.key), player="", make_pdf=make_pdf
    )
    text = _text(pdf)
    shown = [recorded._view_progress(one.card.number, one, diagnosis) for one, diagnosis in report.lines]
    assert [row["number"] for row in shown] == [row["number"] for row in printed["shifts"]] == [1, 2, 3]
    for row, line in zip(shown, printed["shifts"], strict=True):
        assert row["attempts"] == line["attempts"]
        assert row["standing"] == line["standing"]["word"]
        assert row["sentence"] == line["diagnosis"]["sentence"]
        if line["cold"]["judged"]:
            assert row["cold"] == f"{line['cold']['true']} of {line['cold']['judged']}"
            assert f"cold {line['cold']['true']}/{line['cold']['judged']}" in text
            assert f"{line['all']['true']} of {line['all']['judged']} true" in text
            assert f"{line['landing_cents']['bias']:+.1f} cents".replace("-", "−") in text
            assert f"{abs(line['landing_mm']['bias']):.1f}" in row["bias"]
            assert line["standing"]["word"] in text
    assert printed["shifts"][0]["standing"]["settings"] in " ".join(text.split())


def test_other_passages_lend_what_the_record_holds_of_them(store: SqlPracticeStore) -> None:
    other = PassageCard(key="quay-2", title="Quay")
    store.keep_passage(other, [shift_card(1, key="q1", passage="quay-2")])
    steep = [attempt("q1", start_s=4.0 * n, verdict="true", landing_cents=6.0 + 2 * n) for n in range(5)]
    wrong = attempt("q1", start_s=40.0, verdict="wrong note", landing_cents=200.0)
    store.keep_take(take(500, instant(15), shift="q1", passage="quay-2"), drafts(*steep, wrong))
    (lent,) = store.sums(player=PLAYER.key, without=PASSAGE.key)
    assert (lent.shift.key, lent.judged, lent.true, lent.landed) == ("q1", 6, 5, 5)
    # by hand: 6, 8, 10, 12, 14
    assert (lent.mean_cents, lent.sd_cents) == pytest.approx((10.0, 10.0**0.5))
    (one,) = find_relatives(store, player=PLAYER.key, without=PASSAGE.key)
    assert one.bias_cents == pytest.approx((10.0, 2.0**0.5))
    assert {each.shift.key for each in store.sums(player=PLAYER.key, without="quay-2")} == {"s1", "s2"}
    (shift,) = report_of_passage(store, player=PLAYER.key, passage="quay-2").progress.shifts
    assert shift.pooled_share is not None
    assert shift.pooled_share.mean < 5 / 6


def test_every_word_of_studio_and_plan_comes_from_the_table(store: SqlPracticeStore) -> None:
    """The sheets made with marked texts: what bears no mark was not from the table."""
    marked = Wording({key: f"§{text}" for key, text in ENGLISH_TEXTS.items()})
    sheets: list[Sheet] = []

    def keep(sheet: Sheet) -> bytes:
        sheets.append(sheet)
        return b""

    plan = plan_today(store, FsrsSpacing(), player=PLAYER.key, minutes=30, now_s=instant(16), utc_offset_s=0)
    make_plan_sheet(plan, player=PLAYER.name, make_pdf=keep, wording=marked)
    make_studio_sheet(overview_of_studio(store), make_pdf=keep, wording=marked)
    texts = [text for sheet in sheets for text in (sheet.title, sheet.kind, *sheet.facts[:2])]
    headings = [block for block in sheets[0].blocks if isinstance(block, Heading)]
    texts += [text for heading in headings for text in (heading.title, *heading.lines)]
    texts += [sheets[0].rules, sheets[1].credit, sheets[1].rules]
    assert len(headings) >= 3
    assert [text for text in texts if not text.startswith("§")] == []


def test_days_are_named_as_the_calendar_names_them() -> None:
    """Against the standard library's calendar, in the C locale."""
    for number in range(12):
        day = date(2026, number + 1, number + 1)
        names = calendar.day_name[day.weekday()], calendar.month_name[day.month]
        assert (ENGLISH.day_fields(day)["weekday"], ENGLISH.day_fields(day)["month"]) == names


def test_a_long_plan_begins_on_its_first_page() -> None:
    waltz = replace(PASSAGE, key="waltz", title="Slow Waltz")
    many = [candidate(n, true=3, judged=9, passage=PASSAGE if n % 2 else waltz) for n in range(1, 14)]
    plan = plan_session(many, today=TODAY, minutes=60)
    pages = PdfReader(io.BytesIO(make_plan_sheet(plan, player=PLAYER.name, make_pdf=make_pdf))).pages
    assert len(pages) > 1
    assert "Cold tests" in pages[0].extract_text()


@pytest.mark.parametrize("letter", ["W", "山"])
def test_a_long_name_keeps_to_its_column(letter: str) -> None:
    """No letter of a text font is wider than its size: so many of the widest must fit before the next column."""
    line = PlayerLine(player="p", name=40 * letter, shifts=1, days=1, last_day=TODAY, all=make_share(1, 2),
                      cold=make_share(0, 0), corrected=make_share(0, 2), secure=0, not_yet=0, still_open=1,
                      recent=(0, 2))  # fmt: skip
    svg = draw_studio([line, replace(line, name="Mirela Oduya-Pellworm")], width_mm=180.0).svg
    assert "Mirela Oduya-Pellworm<" in svg
    kept = svg.count(letter)
    assert kept >= 8
    assert (kept + 1) * NAME_MM <= SHIFTS * 180.0


def test_a_clear_trend_is_told(store: SqlPracticeStore) -> None:
    """The first shift from missed to true over four weeks."""
    for day in range(1, 29):
        played = [attempt("s3", start_s=4.0 * n, verdict="true" if day > 10 + 4 * n else "low") for n in range(4)]
        store.keep_take(take(5000 + day, instant(day, 20.0), shift="s3", player=SECOND.key), drafts(*played))
    report = report_of_passage(store, player=SECOND.key, passage=PASSAGE.key)
    trend = describe_report(report)["whole"]["trend"]
    assert trend["word"] == "rising"
    assert 0.0 < trend["slope_low"] < trend["slope_per_week"] < trend["slope_high"]
    page = make_report_sheet(report, report.progress.outcomes, (), player="Oke", make_pdf=make_pdf)
    assert "more are true from week to week" in _text(page)
    steady = report_of_passage(store, player=PLAYER.key, passage=PASSAGE.key)
    assert describe_report(steady)["whole"]["trend"]["word"] == "no clear trend"


def test_the_studio_counts_what_progress_counts(store: SqlPracticeStore) -> None:
    """A drill's way back is kept, but the music does not hold it."""
    store.keep_passage(PASSAGE, [shift_card(0, key="back")])
    legs = drafts(attempt("s1", start_s=1.0), attempt("back", start_s=4.0, verdict="high", landing_cents=30.0))
    store.keep_take(take(7000, instant(20), shift="s1"), legs)
    (line,) = (one for one in overview_of_studio(store) if one.player == PLAYER.key)
    progress = report_of_passage(store, player=PLAYER.key, passage=PASSAGE.key).progress
    assert (line.all, line.cold, line.corrected) == (
        progress.whole.all, progress.whole.cold, progress.whole.corrected,
    )  # fmt: skip
    assert line.shifts == sum(one.progress.attempts > 0 for one in progress.shifts)
    assert line.recent[-1] == 1
