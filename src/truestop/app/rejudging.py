"""Judging kept takes again with the measure of today, beside what is in force."""

from __future__ import annotations

from truestop.app.ports import PracticeStore, Rejudged, TakeJudge, TakeShelf
from truestop.domain.errors import TruestopError
from truestop.domain.record import KeptAttempt, KeptTake
from truestop.domain.rejudging import Comparison, Pairing, compare_versions, pair_attempts


def rejudge(
    store: PracticeStore,
    shelf: TakeShelf,
    judge: TakeJudge,
    *,
    now_s: float,
    player: str | None = None,
    passage: str | None = None,
) -> Comparison:
    """Judge takes again and compare. What differs in version is kept beside what is in force, which stays as it is."""
    pairings: list[tuple[str, Pairing]] = []
    silent: list[str] = []
    for take in store.takes(player=player, passage=passage):
        pairing = _judge_again(store, shelf, judge, take)
        if pairing is None:
            silent.append(take.id)
            continue
        pairings.append((take.id, pairing))
        store.keep_rejudged(
            [
                Rejudged(attempt=kept.id, judged_at_s=now_s, measured=new)
                for kept, new in pairing.pairs
                if new.measure_version != kept.attempt.measure_version
            ]
        )
    return compare_versions(pairings, new_version=judge.measure_version, silent_takes=silent)


def adopt(store: PracticeStore, *, measure_version: int, now_s: float, player: str | None = None) -> int:
    """Put a version's numbers in force wherever it judged; the old ones stay beside them. Returns how many changed."""
    judged = store.rejudged(measure_version=measure_version, player=player)
    return store.adopt([one.attempt for one in judged], measure_version=measure_version, at_s=now_s)


def _judge_again(store: PracticeStore, shelf: TakeShelf, judge: TakeJudge, take: KeptTake) -> Pairing | None:
    if take.file is None or (take.run is None and (take.shift is None or not take.expected)):
        return None
    try:
        sound = shelf.path(take.file)
        if take.run is not None:
            attempts = list(judge.judge_run(sound, take.run))
        else:
            attempts = [one for expected in take.expected for one in judge.judge(sound, expected)]
    except TruestopError:
        return None
    kept: tuple[KeptAttempt, ...] = store.attempts_of(take.id)
    return pair_attempts(kept, attempts)
