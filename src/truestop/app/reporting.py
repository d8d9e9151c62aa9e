"""A report of one or two pages on a passage, for a player or their teacher.

Conventions: the numbers are those of app/progress.py, the pictures those of app/pictures.py.
"""

from __future__ import annotations

from collections.abc import Sequence

from truestop.app.pictures import beside, draw_diary, draw_landings, draw_share, draw_standing
from truestop.app.ports import DiaryDay
from truestop.app.progress import PassageReport
from truestop.app.sheet_layout import Block, Heading, Paper, Plate, Sheet, text_width_mm
from truestop.app.sheet_ports import PageMaker
from truestop.domain.diagnosis import Diagnosis
from truestop.domain.fingerboard import cents_to_mm
from truestop.domain.progress import Progress, ShiftProgress
from truestop.domain.record import Outcome
from truestop.domain.statistics import Landings, Share
from truestop.domain.wording import ENGLISH, Wording, saying

MOST_SHIFTS = 6
PLOT_MM, LOW_PLOT_MM, GAP_MM = 30.0, 24.0, 4.0


def make_report_sheet(
    report: PassageReport,
    outcomes: Sequence[Outcome],
    diary: Sequence[DiaryDay],
    *,
    player: str,
    make_pdf: PageMaker,
    paper: Paper = Paper.A4,
    wording: Wording = ENGLISH,
) -> bytes:
    """The report as a PDF: how secure each shift is, the diary, and the shifts that most need work with their cause."""
    width_mm = text_width_mm(paper)
    whole = report.progress.whole
    blocks: list[Block] = [
        Plate(
            caption=wording.say("report.standing"),
            pictures=(draw_standing([shift for shift, _ in report.lines], width_mm=width_mm, wording=wording),),
        ),
        Plate(
            caption=wording.say("report.diary"),
            pictures=(draw_diary(diary[-30:], width_mm=width_mm, height_mm=LOW_PLOT_MM, wording=wording),),
        ),
    ]
    by_shift: dict[str, list[Outcome]] = {}
    for one in outcomes:
        by_shift.setdefault(one.shift, []).append(one)
    for shift, diagnosis in worth_a_word(report):
        blocks += _shift_blocks(shift, diagnosis, by_shift[shift.card.key], width_mm, wording)
    sheet = Sheet(
        title=report.progress.card.title,
        kind=wording.say("report.kind"),
        credit=player,
        facts=(
            wording.say("report.landings", true=whole.all.true, judged=whole.all.judged),
            *trend_words(whole, wording),
            wording.say("report.cold", share=_share_words(whole.cold, wording)),
            wording.say("report.warm", share=_share_words(whole.warm, wording)),
            wording.say("report.days.one" if whole.days == 1 else "report.days", days=whole.days),
        ),
        rules=wording.tell(saying("report.rules", test=whole.tested.settings.words)),
        cautions=wording.say("sheet.cautions"),
        page_words=wording.texts["sheet.page"],
        paper=paper,
        blocks=tuple(blocks),
    )
    return make_pdf(sheet)


def trend_words(progress: Progress, wording: Wording = ENGLISH) -> tuple[str, ...]:
    """Whether more or fewer landings are true from week to week; nothing while that is not clear."""
    word = "" if progress.trend is None else progress.trend.word
    return (wording.say(f"report.trend.{word}"),) if word in ("rising", "falling") else ()


def worth_a_word(report: PassageReport) -> list[tuple[ShiftProgress, Diagnosis]]:
    """The tried shifts that are least often true, at most ``MOST_SHIFTS``, in the order of the music."""
    tried = [line for line in report.lines if line[0].progress.all.judged]
    weakest = sorted(tried, key=lambda line: line[0].progress.all.mean)[:MOST_SHIFTS]
    return sorted(weakest, key=lambda line: line[0].card.number)


def _shift_blocks(
    shift: ShiftProgress, diagnosis: Diagnosis, outcomes: Sequence[Outcome], width_mm: float, wording: Wording
) -> list[Block]:
    card, progress = shift.card, shift.progress
    tolerance_mm = cents_to_mm(progress.tolerance_cents or 20.0, card.place, card.length_mm)
    landings_mm = 0.62 * (width_mm - GAP_MM)
    heading = Heading(
        title=wording.tell(card.label),
        aside=wording.tell(progress.tested.words),
        lines=(
            wording.say(
                "report.shift",
                true=progress.all.true,
                judged=progress.all.judged,
                cold=_share_words(progress.cold, wording),
                warm=_share_words(progress.warm, wording),
                landings=_landing_words(progress.landing_cents, progress.landing_mm, wording),
            ),
            f"{wording.tell(diagnosis.sentence)} {wording.tell(diagnosis.exercise)}",
        ),
    )
    plate = Plate(
        caption="",
        pictures=(
            beside(
                draw_landings(
                    outcomes, tolerance_mm=tolerance_mm, width_mm=landings_mm, height_mm=PLOT_MM, wording=wording
                ),
                draw_share(outcomes, width_mm=width_mm - GAP_MM - landings_mm, height_mm=PLOT_MM, wording=wording),
                gap_mm=GAP_MM,
                wording=wording,
            ),
        ),
    )
    return [heading, plate]


def _share_words(share: Share, wording: Wording) -> str:
    if not share.judged:
        return wording.say("report.share.none")
    return wording.say(
        "report.share",
        true=share.true,
        judged=share.judged,
        low=f"{share.wilson_low:.0%}",
        high=f"{share.wilson_high:.0%}",
    )


def _landing_words(cents: Landings | None, mm: Landings | None, wording: Wording) -> str:
    if cents is None or mm is None:
        return ""
    bias = {"cents": _signed(cents.bias), "mm": _signed(mm.bias)}
    if cents.spread is None or mm.spread is None:
        return wording.say("report.bias", **bias)
    spread = {"spread_cents": f"{cents.spread:.1f}", "spread_mm": f"{mm.spread:.1f}"}
    return wording.say("report.bias.spread", **bias, **spread)


def _signed(value: float) -> str:
    return f"{value:+.1f}".replace("-", "−")
