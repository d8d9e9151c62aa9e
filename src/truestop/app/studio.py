"""How a whole studio stands: one line for each player, on the screen and on a page."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from truestop.app.pictures_studio import draw_studio
from truestop.app.ports import PracticeStore, Tally
from truestop.app.sheet_layout import Paper, Plate, Sheet, text_width_mm
from truestop.app.sheet_ports import PageMaker
from truestop.domain.statistics import USUAL_TEST, Share, Standing, TestSettings, make_share, run_sequential_test
from truestop.domain.wording import ENGLISH, Wording


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
    names = {player.key: player.name for player in store.players()}
    tallies: dict[str, list[Tally]] = {}
    for tally in store.tallies():
        tallies.setdefault(tally.player, []).append(tally)
    last = max((tally.day for own in tallies.values() for tally in own), default=0)
    lines = (_line(key, names[key], own, last, settings) for key, own in tallies.items())
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
            wording.say("studio.players", players=len(lines)),
            wording.say(
                "studio.shifts",
                tried=sum(line.shifts for line in lines),
                secure=sum(line.secure for line in lines),
            ),
        ),
        rules=wording.say("studio.rules", test=settings.words),
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


def _line(player: str, name: str, tallies: Sequence[Tally], last: int, settings: TestSettings) -> PlayerLine:
    """One player's line from their tallies by shift and day, in that order."""
    judged = true = corrected = 0
    days: set[int] = set()
    recent = [0] * RECENT_DAYS
    first = last - RECENT_DAYS + 1
    cold: list[list[bool]] = []
    shift = ""
    for tally in tallies:
        judged += tally.judged
        true += tally.true
        corrected += tally.corrected
        days.add(tally.day)
        if tally.day >= first:
            recent[tally.day - first] += tally.judged
        if tally.shift != shift:
            shift = tally.shift
            cold.append([])
        if tally.cold_judged:
            cold[-1].append(tally.cold_true > 0)
    standings = Counter(run_sequential_test(results, settings).standing for results in cold)
    return PlayerLine(
        player=player,
        name=name,
        shifts=len(cold),
        days=len(days),
        last_day=date.fromordinal(max(days)),
        all=make_share(true, judged),
        cold=make_share(sum(map(sum, cold)), sum(map(len, cold))),
        corrected=make_share(corrected, judged),
        secure=standings[Standing.SECURE],
        not_yet=standings[Standing.NOT_YET],
        still_open=standings[Standing.OPEN],
        recent=tuple(recent),
    )
