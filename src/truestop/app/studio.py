"""How a whole studio stands: one line for each player."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from truestop.app.ports import PracticeStore, Tally
from truestop.domain.statistics import Share, make_share


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


def overview_of_studio(store: PracticeStore) -> tuple[PlayerLine, ...]:
    """Every player with attempts in the record, by name."""
    names = {player.key: player.name for player in store.players()}
    tallies: dict[str, list[Tally]] = {}
    for tally in store.tallies():
        tallies.setdefault(tally.player, []).append(tally)
    lines = (_line(key, names[key], own) for key, own in tallies.items())
    return tuple(sorted(lines, key=lambda line: line.name))


def _line(player: str, name: str, tallies: Iterable[Tally]) -> PlayerLine:
    judged = true = corrected = cold_judged = cold_true = 0
    shifts, days = set(), set()
    for tally in tallies:
        judged += tally.judged
        true += tally.true
        corrected += tally.corrected
        cold_judged += tally.cold_judged
        cold_true += tally.cold_true
        shifts.add(tally.shift)
        days.add(tally.day)
    return PlayerLine(
        player=player,
        name=name,
        shifts=len(shifts),
        days=len(days),
        last_day=date.fromordinal(max(days)),
        all=make_share(true, judged),
        cold=make_share(cold_true, cold_judged),
        corrected=make_share(corrected, judged),
    )
