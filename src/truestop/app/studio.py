"""How a whole studio stands: one line for each player, on the screen and on a page."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from truestop.app.pictures_studio import draw_studio
from truestop.app.ports import PlayerSum, PracticeStore
from truestop.app.sheet_layout import Paper, Plate, Sheet, text_width_mm
from truestop.app.sheet_ports import PageMaker
from truestop.domain.statistics import USUAL_TEST, Share, Standing, TestSettings, make_share, run_sequential_test
from truestop.domain.wording import ENGLISH, Wording, saying


@dataclass(frozen=True, slots=True, kw_only=True)
class PlayerLine:
    """One player: what was tried and how often it was true."""

    player: str
    """The player's key."""
    name: str
    shifts: int
    days: int
    last_day: date
    all: Share
    cold: Share
    corrected: Share
    """Corrected landings among judged ones (``true`` counts the corrected)."""
    secure: int
    not_yet: int
    still_open: int
    """Shifts by how they stand; together ``shifts``."""
    recent: tuple[int, ...]
    """Judged attempts on each of the ``RECENT_DAYS`` days up to the last day in the studio's record."""


RECENT_DAYS = 14
PER_PLATE = 18
"""Players in one picture: a picture is never broken over pages."""


def overview_of_studio(store: PracticeStore, *, settings: TestSettings = USUAL_TEST) -> tuple[PlayerLine, ...]:
    """Every player with attempts in the record, by name."""
    lines = (_line(one, settings) for one in store.studio(recent_days=RECENT_DAYS))
    return tuple(sorted(lines, key=lambda line: (line.name, line.player)))


def make_studio_sheet(
    lines: Sequence[PlayerLine],
    *,
    make_pdf: PageMaker,
    settings: TestSettings = USUAL_TEST,
    paper: Paper = Paper.A4,
    wording: Wording = ENGLISH,
) -> bytes:
    """The studio on a page as a PDF."""
    width_mm = text_width_mm(paper)
    last = max(line.last_day for line in lines) if lines else None
    tried = sum(line.shifts for line in lines)
    until = (
        wording.say("studio.until", days=RECENT_DAYS, **wording.day_fields(last))
        if last
        else wording.say("studio.until.none")
    )
    sheet = Sheet(
        title=wording.say("studio.title"),
        kind=wording.say("studio.kind"),
        credit=until,
        facts=(
            wording.say("studio.players.one" if len(lines) == 1 else "studio.players", players=len(lines)),
            wording.say(
                "studio.shifts.one" if tried == 1 else "studio.shifts",
                tried=tried,
                secure=sum(line.secure for line in lines),
            ),
        ),
        rules=wording.tell(saying("studio.rules", test=settings.words)),
        cautions=wording.say("sheet.cautions"),
        page_words=wording.texts["sheet.page"],
        paper=paper,
        blocks=tuple(
            Plate(
                caption="",
                pictures=(draw_studio(lines[start : start + PER_PLATE], width_mm=width_mm, wording=wording),),
            )
            for start in range(0, len(lines), PER_PLATE)
        ),
    )
    return make_pdf(sheet)


def _line(one: PlayerSum, settings: TestSettings) -> PlayerLine:
    standings = Counter(run_sequential_test(results, settings).standing for results in one.cold)
    return PlayerLine(
        player=one.player,
        name=one.name,
        shifts=one.shifts,
        days=one.days,
        last_day=one.last_day,
        all=make_share(one.true, one.judged),
        cold=make_share(sum(map(sum, one.cold)), sum(map(len, one.cold))),
        corrected=make_share(one.corrected, one.judged),
        secure=standings[Standing.SECURE],
        not_yet=standings[Standing.NOT_YET],
        still_open=one.shifts - standings[Standing.SECURE] - standings[Standing.NOT_YET],
        recent=one.recent,
    )
