"""Keeping takes: a judged recording goes into the record once, whole, with its sound on the shelf."""

from __future__ import annotations

import re
import secrets
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path

from truestop.app.ports import Draft, PracticeStore, TakeShelf
from truestop.domain.attempt import MEASURE_VERSION, Expectation
from truestop.domain.errors import StoreError
from truestop.domain.record import (
    KeptAttempt,
    KeptTake,
    Player,
    Strike,
    card_of_passage,
    card_of_shift,
    is_same_attempt,
)
from truestop.domain.run import Run
from truestop.domain.shift import Shift, Way
from truestop.domain.stop import FingeredPassage

#: Who plays where nobody says.
USUAL_PLAYER = Player(key="me", name="Me")


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """What became of a take: its place in the record and its attempts there."""

    take: KeptTake
    attempts: tuple[KeptAttempt, ...]
    already: bool
    """The same recording had been kept before; nothing was added."""
    before: KeptTake | None = None
    """The take of the same recording, judged for another purpose, that holds the attempts not counted again."""
    not_counted: int = 0
    """So many attempts were in the record already."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Recording:
    """A sound file on its way into the record. ``recorded_at_s`` is its first sample's instant."""

    path: Path
    recorded_at_s: float
    utc_offset_s: int
    duration_s: float
    sample_rate_hz: int
    a4_hz: float = 440.0
    original_name: str = ""


def keep_passage(
    store: PracticeStore, fingered: FingeredPassage, way: Way, *, source: str = "", also: Sequence[Shift] = ()
) -> str:
    """Put a passage and its shifts into the record, ``also`` those that a drill adds; returns the passage's key.

    A way back that the music holds as well is the music's own shift.
    """
    card = card_of_passage(fingered, source=source)
    cards = {one.key: one for shift in (*also, *way.shifts) if (one := card_of_shift(fingered, shift))}
    store.keep_passage(card, list(cards.values()))
    return card.key


def keep_take(
    store: PracticeStore,
    recording: Recording,
    drafts: Sequence[Draft],
    *,
    passage: str,
    shift: str | None,
    player: str = USUAL_PLAYER.key,
    shelf: TakeShelf | None = None,
    expected: Sequence[Expectation] = (),
    run: Run | None = None,
) -> Kept:
    """Keep a take and its judged attempts; with a shelf, its sound as well.

    ``shift`` is the key of the shift that was drilled, None for a run through the passage. ``expected``, or ``run``, is
    what the take was judged against; with it the take can be judged again later. The same recording is kept once: a
    second time nothing is added and ``already`` is set. Judged for another purpose, as another shift's drill or a run,
    it adds only the attempts that were not counted yet; the same shift at the same moment is one attempt.
    """
    digest = digest_of(recording.path)
    takes = store.takes_of_sound(player=player, passage=passage, sha256=digest)
    same = [known for known in takes if known.shift == shift]
    if same:
        return Kept(take=same[0], attempts=store.attempts_of(same[0].id), already=True)
    before, fresh = _not_counted_yet(store, takes, drafts)
    if before is not None and not fresh:
        return Kept(
            take=before, attempts=store.attempts_of(before.id), already=True, before=before, not_counted=len(drafts)
        )
    not_counted, drafts = len(drafts) - len(fresh), fresh
    take = KeptTake(
        id=new_take_id(recording.recorded_at_s),
        player=player,
        passage=passage,
        shift=shift,
        recorded_at_s=recording.recorded_at_s,
        utc_offset_s=recording.utc_offset_s,
        duration_s=recording.duration_s,
        sample_rate_hz=recording.sample_rate_hz,
        sha256=digest,
        original_name=recording.original_name or recording.path.name,
        a4_hz=recording.a4_hz,
        expected=tuple(expected),
        run=run,
        measure_version=max((draft.attempt.measure_version for draft in drafts), default=MEASURE_VERSION),
    )
    if shelf is not None:
        take = replace(take, file=shelf.put(take.id, recording.path))
    try:
        kept = store.keep_take(take, drafts)
    except BaseException:
        if shelf is not None:
            shelf.remove(take.file or "")
        raise
    return Kept(take=take, attempts=kept, already=False, before=before, not_counted=not_counted)


def _not_counted_yet(
    store: PracticeStore, takes: Sequence[KeptTake], drafts: Sequence[Draft]
) -> tuple[KeptTake | None, list[Draft]]:
    """The first take that holds some of ``drafts`` already, and those that none holds; struck-out ones are held."""
    before, fresh = None, list(drafts)
    for take in takes:
        known = [kept.attempt for kept in store.attempts_of(take.id)]
        left = [draft for draft in fresh if not any(is_same_attempt(draft.attempt, one) for one in known)]
        if before is None and len(left) < len(fresh):
            before = take
        fresh = left
    return before, fresh


def named_player(players: Sequence[Player], wanted: str) -> Player | None:
    """The player whose name or key is exactly ``wanted``, else the first that is called so."""
    exact = (player for player in players if wanted in (player.key, player.name))
    return next(exact, None) or next((player for player in players if player.is_called(wanted)), None)


def find_or_add_player(store: PracticeStore, name: str) -> Player:
    """The player of that name or key; added to the record where there is none yet."""
    players = store.players()
    player = player_for(players, name)
    if player not in players:
        store.keep_player(player)
    return player


def player_for(players: Sequence[Player], name: str) -> Player:
    """The player of that name or key among ``players``, else a new one with a key of its own."""
    wanted = name.strip() or USUAL_PLAYER.name
    known = named_player(players, wanted)
    if known is not None:
        return known
    if USUAL_PLAYER.is_called(wanted):
        return USUAL_PLAYER
    taken = {USUAL_PLAYER.key, *(player.key for player in players)}
    key = base = re.sub(r"[^a-z0-9]+", "-", wanted.lower()).strip("-")[:40] or "player"
    number = 2
    while key in taken:
        key, number = f"{base}-{number}", number + 1
    return Player(key=key, name=wanted)


def strike_attempt(
    store: PracticeStore, attempt_id: str, *, why: str, at_s: float, put_back: bool = False
) -> KeptAttempt:
    """Strike an attempt out of the record because it was none, or put it back. The trace keeps when and why."""
    kept = store.attempt(attempt_id)
    if kept.struck_out is not put_back:
        word = "in the record" if put_back else "struck out"
        raise StoreError(f"Attempt {attempt_id} is already {word}.", hint="Nothing was changed.")
    return store.strike(attempt_id, Strike(at_s=at_s, struck=not put_back, why=why.strip()))


def forget_take(store: PracticeStore, shelf: TakeShelf, take_id: str) -> None:
    """Delete a take for good, its sound too."""
    file = store.take(take_id).file
    store.delete_take(take_id)
    if file:
        shelf.remove(file)


def forget_passage(store: PracticeStore, shelf: TakeShelf, passage: str) -> int:
    """Delete a passage and all takes of it for good. Returns how many takes there were."""
    takes = store.takes(passage=passage)
    store.delete_passage(passage)
    _remove_sound(shelf, takes)
    return len(takes)


def forget_player(store: PracticeStore, shelf: TakeShelf, player: str) -> int:
    """Delete a player and all that is theirs for good. Returns how many takes there were."""
    takes = store.takes(player=player)
    store.delete_player(player)
    _remove_sound(shelf, takes)
    return len(takes)


def new_take_id(recorded_at_s: float) -> str:
    """A take's number: the day of the recording in UTC and six hexadecimal digits."""
    return f"{datetime.fromtimestamp(recorded_at_s, UTC):%Y%m%d}-{secrets.token_hex(3)}"


def digest_of(path: Path) -> str:
    """SHA-256 of a file's bytes."""
    digest = sha256()
    try:
        with path.open("rb") as file:
            while block := file.read(1 << 20):
                digest.update(block)
    except OSError as error:
        raise StoreError(
            f"{path} cannot be read: {error.strerror}.", hint="Check its name and that you may read it."
        ) from error
    return digest.hexdigest()


def _remove_sound(shelf: TakeShelf, takes: Sequence[KeptTake]) -> None:
    for take in takes:
        if take.file:
            shelf.remove(take.file)
