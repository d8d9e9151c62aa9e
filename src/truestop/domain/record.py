"""The record of practice: what is kept of every attempt, and which attempts are cold.

Conventions: instants are seconds since 1970-01-01 UTC (``_at_s``); a *local day* starts at 04:00 on the player's clock,
so that a late evening belongs to the day it began on. A *touch* is anything that put the hand through a shift: an
attempt at any stage, or a run through a passage that holds it. + is sharp, + is late, + is towards the bridge.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from hashlib import sha256
from unicodedata import normalize

from truestop.domain.attempt import Attempt, Expectation, Verdict
from truestop.domain.errors import StoreError
from truestop.domain.passage import Passage
from truestop.domain.run import Run
from truestop.domain.shift import OUTSIDE_THE_MUSIC, Shift
from truestop.domain.stop import FingeredPassage, Stop
from truestop.domain.wording import Saying, saying

#: Stages whose attempts count for a shift's record; every other stage is stage practice.
RECORD_STAGES = frozenset({"plain", "in time", "in the passage", "cold"})
#: Stages in which the shift is met inside the music.
PASSAGE_STAGES = frozenset({"in the passage"})
DAY_STARTS_HOUR = 4
COLD_REST_S = 6 * 3600.0
OWN_EAR_ANSWERS = ("high", "low", "true")


def plainly(name: str) -> str:
    """A name as names are compared: capitals, spaces around it and how its accents are composed make no difference.

    >>> plainly(" Zoe\u0308 ") == plainly("ZO\u00cb")
    True
    """
    return normalize("NFC", normalize("NFC", name).casefold()).strip()


@dataclass(frozen=True, slots=True, kw_only=True)
class Player:
    """Whose practice it is. ``key`` is short and stable, ``name`` is shown."""

    key: str
    name: str

    def is_called(self, name: str) -> bool:
        """Whether ``name`` is this player's name or key."""
        return plainly(name) in (self.key, plainly(self.name))


@dataclass(frozen=True, slots=True, kw_only=True)
class PassageCard:
    """What the record knows of a passage."""

    key: str
    title: str
    part: str = ""
    instrument: str = "violin"
    source: str = ""
    """Name of the file it was read from, for finding it again."""
    deadline: date | None = None
    """The day of the performance."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ShiftCard:
    """What the record knows of a shift: enough to name it, to group it with its kin and to turn cents into mm."""

    key: str
    passage: str
    """The passage's key."""
    number: int
    """Through the passage from 1; 0 for the way back of a drill, which the music does not hold."""
    measure: str
    direction: str
    relation: str
    crossing: bool
    cover: str
    interval: str
    departure_pitch: str
    departure_finger: str
    departure_string: int
    departure_place: int
    arrival_pitch: str
    arrival_finger: str
    string: int
    """The string of arrival, 1 for I."""
    place: int
    from_position: str
    to_position: str
    guide_finger: str | None
    travel_mm: float
    length_mm: float

    @property
    def in_the_music(self) -> bool:
        """Whether the passage holds it; the way back of a drill is kept, but no part of how the passage stands."""
        return self.number != OUTSIDE_THE_MUSIC

    @property
    def kind(self) -> str:
        """Direction, finger relation and crossing in words: 'up, same finger', 'down, to lower finger, across'."""
        relation = {"same": "same finger", "to higher": "to higher finger", "to lower": "to lower finger"}
        across = ", across" if self.crossing else ""
        return f"{self.direction}, {relation.get(self.relation, self.relation)}{across}"

    @property
    def label(self) -> Saying:
        """One line a player recognises: 'no. 3, bar 7: A4 1 → E5 3, 1st to 3rd'."""
        return saying(
            "shift.label" if self.in_the_music else "shift.label.back",
            number=self.number,
            measure=self.measure,
            departure=_stop_words(self.departure_pitch, self.departure_finger),
            arrival=_stop_words(self.arrival_pitch, self.arrival_finger),
            start=self.from_position,
            end=self.to_position,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptTake:
    """One recording with everything in force when it was judged."""

    id: str
    player: str
    passage: str
    recorded_at_s: float
    utc_offset_s: int
    duration_s: float
    sample_rate_hz: int
    sha256: str
    """Of the sound file's bytes: the same recording is never counted twice."""
    file: str | None = None
    """Name on the shelf of takes; None where the sound was not kept."""
    original_name: str = ""
    shift: str | None = None
    """Key of the shift it was recorded for; None for a run through the passage, which touches every shift it holds."""
    a4_hz: float = 440.0
    measure_version: int = 1
    expected: tuple[Expectation, ...] = ()
    """What the drill said was coming, so that the take can be judged again by a later version of the measure."""
    run: Run | None = None
    """The same of a run through the passage: its line and all its shifts."""

    @property
    def day(self) -> date:
        """The local day it was recorded on."""
        return local_day(self.recorded_at_s, self.utc_offset_s)


def is_same_attempt(one: Attempt, other: Attempt) -> bool:
    """Whether two attempts heard in one recording are the same: one shift, and most of the shorter in the other."""
    shared_s = min(one.end_s, other.end_s) - max(one.start_s, other.start_s)
    shorter_s = min(one.end_s - one.start_s, other.end_s - other.start_s)
    return one.shift == other.shift and shared_s > 0.5 * shorter_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Strike:
    """One line of the trace: an attempt was struck out (or put back), when and why."""

    at_s: float
    struck: bool
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptAttempt:
    """One attempt in the record. ``id`` is the take's id, a dot and the attempt's number in the take."""

    id: str
    take: str
    player: str
    passage: str
    at_s: float
    day: date
    day_order: int
    """1 for the first touch of this shift on its day."""
    cold: bool
    attempt: Attempt
    a4_hz: float = 440.0
    own_ear: str | None = None
    """'high', 'low' or 'true', said before being told; None where not asked."""
    struck_out: bool = False
    strikes: tuple[Strike, ...] = ()

    @property
    def shift(self) -> str:
        """The shift's key."""
        return self.attempt.shift

    @property
    def outcome(self) -> Outcome:
        """The part of it that statistics use."""
        a = self.attempt
        return Outcome(
            shift=a.shift, stage=a.stage, at_s=self.at_s, day=self.day.toordinal(), cold=self.cold, verdict=a.verdict,
            landing_cents=a.landing_cents, landing_se_cents=a.landing_se_cents, landing_mm=a.landing_mm,
            departure_cents=a.departure_cents, interval_error_cents=a.interval_error_cents,
            correction_cents=a.correction_cents, guide_landing_cents=a.guide_landing_cents, slide_s=a.slide_s,
            timing_s=a.timing_s, tolerance_cents=a.tolerance_cents, own_ear=self.own_ear,
            notes_mm=tuple(note.landing_mm for note in a.notes),
        )  # fmt: skip


@dataclass(slots=True)
class Outcome:
    """What statistics need of one attempt; built by the ten thousand, so neither frozen nor by keyword.

    ``day`` is the ordinal of the local day.
    """

    shift: str
    stage: str
    at_s: float
    day: int
    cold: bool
    verdict: Verdict
    landing_cents: float | None = None
    landing_se_cents: float | None = None
    landing_mm: float | None = None
    departure_cents: float | None = None
    interval_error_cents: float | None = None
    correction_cents: float | None = None
    guide_landing_cents: float | None = None
    slide_s: float | None = None
    timing_s: float | None = None
    tolerance_cents: float = 20.0
    own_ear: str | None = None
    notes_mm: tuple[float | None, ...] = ()
    """Where both notes of a double stop landed, lower first, None where one is not known; empty for one note."""

    @property
    def counts(self) -> bool:
        """Whether it counts for the shift's record: its stage does, and it could be judged."""
        return self.stage in RECORD_STAGES and self.verdict is not Verdict.UNJUDGED


def local_day(at_s: float, utc_offset_s: int) -> date:
    """The player's local day of an instant; days start at 04:00.

    >>> local_day(datetime(2026, 3, 2, 3, 59, tzinfo=UTC).timestamp(), 0)
    datetime.date(2026, 3, 1)
    """
    clock = datetime.fromtimestamp(at_s, UTC) + timedelta(seconds=utc_offset_s)
    return (clock - timedelta(hours=DAY_STARTS_HOUR)).date()


def is_cold(at_s: float, utc_offset_s: int, last_touch: tuple[float, date] | None) -> bool:
    """Whether an attempt at ``at_s`` is cold, given the instant and the local day of the last touch before it.

    Cold: the first touch on its local day, and at least six hours after the last one. So there is one a day at most.
    """
    if last_touch is None:
        return True
    last_at_s, last_day = last_touch
    return last_day < local_day(at_s, utc_offset_s) and at_s - last_at_s >= COLD_REST_S


@dataclass(frozen=True, slots=True, kw_only=True)
class Touch:
    """One time the hand went through a shift, in the order of the record."""

    at_s: float
    utc_offset_s: int
    stage: str
    """'' for a run through the passage in which this shift was not found."""


def mark_cold(touches: Sequence[Touch], before: tuple[float, date] | None = None) -> tuple[tuple[bool, int], ...]:
    """For each touch of one shift, in time order: (is it a cold attempt, its number on its day).

    ``before`` is the touch before the first. Only record stages give a cold attempt; a touch at another stage uses up
    the day's chance.
    """
    marks: list[tuple[bool, int]] = []
    last, order = before, 0
    for touch in touches:
        day = local_day(touch.at_s, touch.utc_offset_s)
        order = order + 1 if last is not None and last[1] == day and order else 1
        cold = is_cold(touch.at_s, touch.utc_offset_s, last) and touch.stage in RECORD_STAGES
        marks.append((cold, order))
        last = (touch.at_s, day)
    return tuple(marks)


def passage_key(passage: Passage) -> str:
    """A passage's stable key: it survives another fingering, another choice of measures and another file name.

    Made of title, part and composer; eight hexadecimal digits behind a readable beginning.
    """
    words = re.sub(r"[^a-z0-9]+", "-", (passage.title or "untitled").lower()).strip("-")[:24] or "untitled"
    return f"{words}-{_digest((passage.title, passage.part, passage.composer), 8)}"


def shift_key(fingered: FingeredPassage, shift: Shift) -> str:
    """A shift's stable key: the same stops at the same place of the same passage, whatever else is selected."""
    passage = fingered.passage
    arrival = passage.note(_upper(shift.arrival).note_id)
    again = passage.measures[arrival.measure_index].same_number_before
    strings = " ".join(pitch.name for pitch in fingered.instrument.strings)
    parts = [passage_key(passage), fingered.instrument.family, strings, arrival.measure, str(arrival.beat)]
    parts += [f"again {again}"] if again else []
    parts += [_spell_stop(stop) for stop in shift.departure] + [">"] + [_spell_stop(stop) for stop in shift.arrival]
    return f"s{_digest(parts, 12)}"


def card_of_passage(fingered: FingeredPassage, *, source: str = "") -> PassageCard:
    """The card of a passage."""
    passage = fingered.passage
    return PassageCard(
        key=passage_key(passage),
        title=passage.title or "Untitled",
        part=passage.part,
        instrument=fingered.instrument.family,
        source=source,
    )


def card_of_shift(fingered: FingeredPassage, shift: Shift) -> ShiftCard:
    """The card of a shift; of a double stop its upper note."""
    departure, arrival = _upper(shift.departure), _upper(shift.arrival)
    guide = max(shift.guide, key=lambda guide: guide.to_pitch.midi) if shift.guide else None
    return ShiftCard(
        key=shift_key(fingered, shift),
        passage=passage_key(fingered.passage),
        number=shift.number,
        measure=shift.measure,
        direction=shift.direction,
        relation=str(shift.relation),
        crossing=shift.crossing,
        cover=str(shift.cover),
        interval=shift.interval.name,
        departure_pitch=departure.pitch.name,
        departure_finger=str(departure.finger),
        departure_string=departure.string,
        departure_place=departure.place,
        arrival_pitch=arrival.pitch.name,
        arrival_finger=str(arrival.finger),
        string=arrival.string,
        place=arrival.place,
        from_position=shift.from_position,
        to_position=shift.to_position,
        guide_finger=str(guide.finger) if guide else None,
        travel_mm=guide.travel_mm if guide else 0.0,
        length_mm=fingered.instrument.length_mm,
    )


def parse_attempt_id(text: str) -> tuple[str, int]:
    """Take id and number of an attempt id like '20260302-1f3a9c.2'. StoreError where it is none."""
    take, dot, number = text.strip().rpartition(".")
    if not dot or not take or not number.isdecimal():
        raise StoreError(
            f"'{text}' is not the number of an attempt.",
            hint="Write it as progress and judge show it: the take, a dot and the attempt, like 20260302-1f3a9c.2.",
        )
    return take, int(number)


def _upper(stops: tuple[Stop, ...]) -> Stop:
    return max(stops, key=lambda stop: stop.pitch.midi)


def _spell_stop(stop: Stop) -> str:
    return f"{stop.pitch.name}/{stop.string}/{stop.finger}/{stop.place}"


def _digest(parts: Iterable[str], length: int) -> str:
    return sha256("\x1f".join(parts).encode()).hexdigest()[:length]


def _stop_words(pitch: str, finger: str) -> Saying:
    return saying("shift.label.stop", pitch=pitch.replace("#", "♯").replace("b", "♭"), finger=finger)
