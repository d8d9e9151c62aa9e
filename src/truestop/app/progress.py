"""Asking the record how things stand: one function gives the numbers that command, room and report show."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import PurePath

from truestop.app.keeping import USUAL_PLAYER, find_or_add_player, named_player
from truestop.app.ports import PracticeStore, ShiftSum
from truestop.domain.diagnosis import USUAL_LIMITS, Diagnosis, Limits, find_kin
from truestop.domain.diagnosis_words import diagnose
from truestop.domain.errors import StoreError
from truestop.domain.progress import PassageProgress, Relative, ShiftProgress, summarise_passage
from truestop.domain.record import Outcome, PassageCard, Player, ShiftCard, plainly
from truestop.domain.statistics import USUAL_TEST, TestSettings


@dataclass(frozen=True, slots=True, kw_only=True)
class PassageReport:
    """A passage's numbers and, for each of its shifts in the same order, the diagnosis."""

    progress: PassageProgress
    diagnoses: tuple[Diagnosis, ...]

    @property
    def lines(self) -> tuple[tuple[ShiftProgress, Diagnosis], ...]:
        """Shift by shift: the numbers and the diagnosis."""
        return tuple(zip(self.progress.shifts, self.diagnoses, strict=True))


def report_of_passage(
    store: PracticeStore, *, player: str, passage: str, settings: TestSettings = USUAL_TEST
) -> PassageReport:
    """How a player's passage stands; ``passage`` is a key or a title. StoreError where it or the player is unknown."""
    card = find_passage(store, passage, player=player)
    shifts = [one for one in store.shifts(card.key) if one.in_the_music]
    keys = {one.key for one in shifts}
    outcomes = [one for one in store.outcomes(player=player, passage=card.key) if one.shift in keys]
    relatives = find_relatives(store, player=player, without=card.key)
    return make_report(card, shifts, outcomes, settings, relatives=relatives)


def find_relatives(store: PracticeStore, *, player: str, without: str) -> tuple[Relative, ...]:
    """The player's shifts of all other passages, to borrow from."""
    return tuple(
        Relative(kind=one.shift.kind, true=one.true, judged=one.judged, bias_cents=_mean_with_error(one))
        for one in store.sums(player=player, without=without)
    )


def _mean_with_error(one: ShiftSum) -> tuple[float, float] | None:
    if one.landed < 3 or one.mean_cents is None or one.sd_cents is None:
        return None
    return one.mean_cents, one.sd_cents / one.landed**0.5


def reports_of_player(
    store: PracticeStore, *, player: str, settings: TestSettings = USUAL_TEST
) -> tuple[PassageReport, ...]:
    """How all passages stand that a player has recorded, by title."""
    passages = store.passages(player=player)
    return tuple(report_of_passage(store, player=player, passage=card.key, settings=settings) for card in passages)


def make_report(
    card: PassageCard,
    shifts: Sequence[ShiftCard],
    outcomes: Sequence[Outcome],
    settings: TestSettings = USUAL_TEST,
    limits: Limits = USUAL_LIMITS,
    relatives: Sequence[Relative] = (),
) -> PassageReport:
    """Numbers and diagnoses of attempts in time order."""
    progress = summarise_passage(card, shifts, outcomes, settings, relatives)
    kin = find_kin(progress.shifts, limits)
    by_shift: dict[str, list[Outcome]] = {}
    for one in outcomes:
        by_shift.setdefault(one.shift, []).append(one)
    diagnoses = tuple(diagnose(one, by_shift.get(one.card.key, ()), kin, limits) for one in progress.shifts)
    return PassageReport(progress=progress, diagnoses=diagnoses)


def find_passage(store: PracticeStore, wanted: str, *, player: str | None = None) -> PassageCard:
    """The passage with this key, title or file, or the only one whose title begins so.

    Where several fit, those that ``player`` (a key) has takes of go before the others. StoreError where none fits, or
    still several: it names their keys.
    """
    cards = store.passages()
    own = {card.key for card in store.passages(player=player)} if player is not None else set()
    for fits in _ways_to_name(wanted):
        fitting = [card for card in cards if fits(card)]
        found = [card for card in fitting if card.key in own] or fitting
        if len(found) == 1:
            return found[0]
        if found:
            raise _several(wanted, found)
    raise StoreError(f"The record knows no passage '{wanted}'.", hint=_known([card.title for card in cards]))


def _ways_to_name(wanted: str) -> tuple[Callable[[PassageCard], bool], ...]:
    """Whether a card is meant, the surest way first."""
    name = plainly(wanted)
    file = PurePath(name).name
    return (
        lambda card: card.key == wanted.strip(),
        lambda card: card.title == wanted,
        lambda card: plainly(card.title) == name,
        lambda card: file != "" and plainly(PurePath(card.source).name) == file,
        lambda card: name != "" and plainly(card.title).startswith(name),
    )


def _several(wanted: str, cards: Sequence[PassageCard]) -> StoreError:
    keys = ", ".join(f"{card.key} ({card.part or card.title}, {card.instrument})" for card in cards[:MOST_NAMED])
    return StoreError(f"'{wanted}' may be any of {len(cards)} passages.", hint=f"Name one by its key: {keys}.")


def find_player(store: PracticeStore, wanted: str) -> Player:
    """The player of that name or key, the usual one where the record is empty. StoreError names those with takes."""
    practising = [player for player in store.players() if store.passages(player=player.key)]
    found = named_player(practising or store.players(), wanted.strip() or USUAL_PLAYER.key)
    if found is not None:
        return found
    if not practising:
        return find_or_add_player(store, USUAL_PLAYER.key)
    names = " or ".join(f"--player {_quoted(player.name)}" for player in practising[:MOST_NAMED])
    raise StoreError(f"The record holds nothing of '{wanted}'.", hint=f"Ask for {names}.")


MOST_NAMED = 12
"""Titles or names listed in a remedy."""


def _known(titles: Sequence[str]) -> str:
    if not titles:
        return "Keep a take of it first: truestop judge PASSAGE TAKE."
    more = f" and {len(titles) - MOST_NAMED} more" if len(titles) > MOST_NAMED else ""
    return f"It holds {', '.join(_quoted(title) for title in titles[:MOST_NAMED])}{more}."


def _quoted(name: str) -> str:
    return f"'{name}'" if " " in name or not name else name
