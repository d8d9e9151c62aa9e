"""Comparing two versions of the measure on the same take.

Conventions: attempts are the same when their stretches of the take overlap by more than half of the shorter one.
Nothing here changes what is in force.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import median

from truestop.domain.attempt import Attempt
from truestop.domain.record import KeptAttempt


@dataclass(frozen=True, slots=True, kw_only=True)
class Pairing:
    """A take's attempts in force against those of another version: pairs, and what only one of them found."""

    pairs: tuple[tuple[KeptAttempt, Attempt], ...]
    lost: tuple[KeptAttempt, ...]
    found: tuple[Attempt, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """What another version of the measure would change, over all takes that could be judged again."""

    old_versions: tuple[int, ...]
    new_version: int
    takes: int
    silent_takes: tuple[str, ...]
    """Takes whose sound is gone or that keep no expectation: they cannot be judged again."""
    same_verdict: int
    changed: tuple[tuple[KeptAttempt, Attempt], ...]
    """Attempts whose verdict differs."""
    lost: tuple[KeptAttempt, ...]
    found: tuple[tuple[str, Attempt], ...]
    """(take id, attempt) that only the other version hears; they are not added."""
    median_shift_cents: float | None
    """Median of |new landing − old landing|."""
    largest_shift_cents: float | None

    @property
    def compared(self) -> int:
        """Attempts that both versions found."""
        return self.same_verdict + len(self.changed)


def pair_attempts(old: Sequence[KeptAttempt], new: Sequence[Attempt]) -> Pairing:
    """Pair a take's attempts by where they lie in it."""
    waiting = list(new)
    pairs: list[tuple[KeptAttempt, Attempt]] = []
    lost: list[KeptAttempt] = []
    for kept in old:
        mate = max(waiting, key=lambda one: _overlap(kept.attempt, one), default=None)
        if mate is None or _overlap(kept.attempt, mate) <= 0.5:
            lost.append(kept)
            continue
        waiting.remove(mate)
        pairs.append((kept, mate))
    return Pairing(pairs=tuple(pairs), lost=tuple(lost), found=tuple(waiting))


def compare_versions(
    pairings: Iterable[tuple[str, Pairing]], *, new_version: int, silent_takes: Sequence[str] = ()
) -> Comparison:
    """Add up pairings of (take id, pairing)."""
    all_pairings = list(pairings)
    pairs = [pair for _, pairing in all_pairings for pair in pairing.pairs]
    moved = [
        abs(new.landing_cents - old.attempt.landing_cents)
        for old, new in pairs
        if new.landing_cents is not None and old.attempt.landing_cents is not None
    ]
    changed = tuple((old, new) for old, new in pairs if old.attempt.verdict is not new.verdict)
    return Comparison(
        old_versions=tuple(sorted({old.attempt.measure_version for old, _ in pairs})),
        new_version=new_version,
        takes=len(all_pairings),
        silent_takes=tuple(silent_takes),
        same_verdict=len(pairs) - len(changed),
        changed=changed,
        lost=tuple(one for _, pairing in all_pairings for one in pairing.lost),
        found=tuple((take, one) for take, pairing in all_pairings for one in pairing.found),
        median_shift_cents=median(moved) if moved else None,
        largest_shift_cents=max(moved, default=None),
    )


def _overlap(one: Attempt, other: Attempt) -> float:
    """Common part over the shorter stretch; 0 for different shifts."""
    if one.shift != other.shift:
        return 0.0
    common = min(one.end_s, other.end_s) - max(one.start_s, other.start_s)
    return common / max(1e-9, min(one.end_s - one.start_s, other.end_s - other.start_s))
