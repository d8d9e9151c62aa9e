"""What the use cases ask of the world outside, as Protocols. Adapters fulfil them; bootstrap puts them together."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import BinaryIO, Protocol

from truestop.domain.attempt import Attempt, Expectation
from truestop.domain.record import KeptAttempt, KeptTake, Outcome, PassageCard, Player, ShiftCard, Strike
from truestop.domain.run import Run

#: A plain value of an exported row.
Value = str | int | float | bool | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PlayerSum:
    """A player's attempts at the music's shifts, added up, struck-out ones left out. Only what counts is judged."""

    player: str
    """The player's key."""
    name: str
    days: int
    last_day: date
    judged: int
    true: int
    corrected: int
    recent: tuple[int, ...]
    """Judged attempts on each of the days asked for."""
    shifts: int
    """Shifts tried."""
    cold: tuple[tuple[bool, ...], ...]
    """For each shift with cold attempts, whether they were true, oldest first."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ShiftSum:
    """A player's attempts at one shift, added up over all days; struck-out attempts are left out."""

    shift: ShiftCard
    judged: int
    true: int
    landed: int
    """Landings that count in bias and spread."""
    mean_cents: float | None
    sd_cents: float | None
    """Plain mean and standard deviation of these landings; the latter from two on."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DiaryDay:
    """One local day of practice: what was recorded on it."""

    day: date
    takes: int
    recorded_s: float
    attempts: int
    judged: int
    true: int
    cold_judged: int
    cold_true: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """A judged attempt on its way into the record, which gives it its number and tells whether it is cold."""

    attempt: Attempt
    own_ear: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Rejudged:
    """A kept attempt as another version of the measure sees it."""

    attempt: str
    """The attempt's id."""
    judged_at_s: float
    measured: Attempt


class PracticeStore(Protocol):
    """The record of practice. Every method that writes does so in one transaction and returns when it is on the disk.

    Unknown keys and ids raise StoreError; so does a record that cannot be read or written.
    """

    def keep_player(self, player: Player) -> None:
        """Add a player, or rename the one with this key."""

    def players(self) -> tuple[Player, ...]:
        """All players, by name."""

    def keep_passage(self, card: PassageCard, shifts: Sequence[ShiftCard]) -> None:
        """Add or renew the cards of a passage and its shifts. Shifts no longer in it keep their record."""

    def set_deadline(self, passage: str, day: date | None) -> None:
        """Note the day of the performance."""

    def passages(self, *, player: str | None = None) -> tuple[PassageCard, ...]:
        """All passages, or those a player has recorded, by title."""

    def shifts(self, passage: str | None = None) -> tuple[ShiftCard, ...]:
        """The cards of a passage's shifts (of all), in the order of the music."""

    def keep_take(self, take: KeptTake, drafts: Sequence[Draft]) -> tuple[KeptAttempt, ...]:
        """Keep a take and its attempts; numbers them, and marks the cold ones."""

    def takes_of_sound(self, *, player: str, passage: str, sha256: str) -> tuple[KeptTake, ...]:
        """The kept takes of exactly this recording, for whatever purpose, as they were kept."""

    def takes(self, *, player: str | None = None, passage: str | None = None) -> tuple[KeptTake, ...]:
        """Kept takes in the order they were recorded."""

    def take(self, take_id: str) -> KeptTake:
        """One take."""

    def attempts_of(self, take_id: str) -> tuple[KeptAttempt, ...]:
        """The attempts of a take, struck-out ones too, with their traces."""

    def attempts_at(self, *, player: str, shift: str) -> tuple[KeptAttempt, ...]:
        """All attempts at a shift in time order, struck-out ones too, without traces."""

    def attempt(self, attempt_id: str) -> KeptAttempt:
        """One attempt, with its trace."""

    def outcomes(self, *, player: str, passage: str | None = None) -> tuple[Outcome, ...]:
        """What statistics need of a player's attempts (at one passage), in time order; struck-out ones are left out."""

    def studio(self, *, recent_days: int) -> tuple[PlayerSum, ...]:
        """Every player with attempts; recent days are the last ones up to the last day in the whole record."""

    def sums(self, *, player: str, without: str) -> tuple[ShiftSum, ...]:
        """A player's attempts by shift, those at one passage left out."""

    def diary(self, *, player: str) -> tuple[DiaryDay, ...]:
        """Every day with practice on it."""

    def strike(self, attempt_id: str, strike: Strike) -> KeptAttempt:
        """Strike an attempt out or put it back, with a line in its trace; cold marks of its day are set anew."""

    def keep_rejudged(self, rejudged: Sequence[Rejudged]) -> None:
        """Keep what another version of the measure says, beside what is in force."""

    def rejudged(self, *, measure_version: int, player: str | None = None) -> tuple[Rejudged, ...]:
        """What a version of the measure that is not in force said."""

    def adopt(self, attempt_ids: Sequence[str], *, measure_version: int, at_s: float) -> int:
        """Put a version's numbers in force; those that were stay beside them. Returns how many changed."""

    def delete_take(self, take_id: str) -> None:
        """Delete a take with its attempts for good."""

    def delete_passage(self, passage: str) -> None:
        """Delete a passage with all that was recorded of it, for good."""

    def delete_player(self, player: str) -> None:
        """Delete a player with all that is theirs, for good."""

    def rows_of(self, table: str) -> Iterator[dict[str, Value]]:
        """The rows of a table of app.exchange.TABLES as plain values, for export."""

    def load(self, tables: Mapping[str, Iterable[Mapping[str, Value]]]) -> dict[str, int]:
        """Add exported rows that are not there yet. Returns how many rows each table gained."""

    def save_copy(self, path: Path) -> None:
        """Write a complete copy of the record, taken at one instant, to ``path``."""

    def check_copy(self, path: Path) -> None:
        """Bring such a copy up to date. Raises StoreError where it is damaged or from a newer version."""

    def replace_with(self, path: Path) -> None:
        """Replace the whole record by such a copy."""

    def close(self) -> None:
        """Let go of the files."""


class TakeShelf(Protocol):
    """Where the sound of takes is kept."""

    def put(self, take_id: str, source: Path) -> str:
        """Copy a sound file onto the shelf, whole or not at all. Returns its name there."""

    def path(self, name: str) -> Path:
        """Where a take on the shelf lies. StoreError where it is not."""

    def names(self) -> tuple[str, ...]:
        """Everything on the shelf."""

    def fill(self, name: str, stream: BinaryIO) -> None:
        """Write a take from a stream, whole or not at all; used when restoring."""

    def remove(self, name: str) -> None:
        """Delete a take's sound; nothing happens where it is gone already."""


class Spacing(Protocol):
    """When a shift should be tested cold again."""

    def next_day(self, results: Sequence[tuple[date, bool]], *, longest_gap_days: int) -> date:
        """The day of the next cold test after cold ``results`` (day, true), oldest first, at least one."""


class TakeJudge(Protocol):
    """Judges a kept take again."""

    @property
    def measure_version(self) -> int:
        """The version of the measure it judges by."""

    def judge(self, sound: Path, expected: Expectation) -> Sequence[Attempt]:
        """The attempts in a sound file, measured against what was expected."""
        ...

    def judge_run(self, sound: Path, run: Run) -> Sequence[Attempt]:
        """The attempts in a sound file of a run through a passage, which is followed as a whole."""
