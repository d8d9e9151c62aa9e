"""Between rows of the record and the values of the domain.

Conventions: a trace is stored as two runs of 32-bit floats, times then cents, deflated; everything else goes in and out
unchanged.
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Sequence
from datetime import date
from typing import Any

import numpy as np
from sqlalchemy import Row

from truestop.adapters.store.double_stops import notes_of, notes_text
from truestop.adapters.store.expectations import expectations_of, expectations_text
from truestop.adapters.store.tables import MEASURED_NUMBERS
from truestop.domain.attempt import Attempt, Target, Verdict, Vibrato
from truestop.domain.pitch import Pitch
from truestop.domain.record import KeptAttempt, KeptTake, PassageCard, ShiftCard, Strike

SHIFT_FIELDS = tuple(name for name in ShiftCard.__slots__ if name not in ("key", "passage"))
TAKE_FIELDS = (
    "id", "recorded_at_s", "utc_offset_s", "duration_s", "sample_rate_hz", "sha256", "file", "original_name", "a4_hz",
    "measure_version",
)  # fmt: skip
_VERDICTS = {str(verdict): verdict for verdict in Verdict}


def passage_row(card: PassageCard) -> dict[str, Any]:
    """The row of a passage; the deadline is kept apart, by its own method."""
    return {
        "key": card.key, "title": card.title, "part": card.part, "instrument": card.instrument, "source": card.source,
    }  # fmt: skip


def passage_of(row: Row[Any]) -> PassageCard:
    """A passage's card."""
    return PassageCard(
        key=row.key,
        title=row.title,
        part=row.part,
        instrument=row.instrument,
        source=row.source,
        deadline=None if row.deadline is None else date.fromordinal(row.deadline),
    )


def shift_row(card: ShiftCard, passage: int) -> dict[str, Any]:
    """The row of a shift's card."""
    return {"key": card.key, "passage_row": passage} | {name: getattr(card, name) for name in SHIFT_FIELDS}


def shift_of(row: Row[Any]) -> ShiftCard:
    """A shift's card; the row also holds the passage's key as ``passage``."""
    return ShiftCard(key=row.key, passage=row.passage, **{name: getattr(row, name) for name in SHIFT_FIELDS})


def take_row(take: KeptTake, *, player: int, passage: int) -> dict[str, Any]:
    """The row of a take."""
    values = {name: getattr(take, name) for name in TAKE_FIELDS}
    values["expected"] = expectations_text(take.expected, take.run)
    return values | {
        "player_row": player, "passage_row": passage, "shift": take.shift or "", "day": take.day.toordinal(),
    }  # fmt: skip


def take_of(row: Row[Any]) -> KeptTake:
    """A take; the row also holds the keys of player and passage."""
    values = {name: getattr(row, name) for name in TAKE_FIELDS}
    values["expected"], values["run"] = expectations_of(row.expected)
    return KeptTake(player=row.player, passage=row.passage, shift=row.shift or None, **values)


def measured_row(attempt: Attempt) -> dict[str, Any]:
    """What was measured of an attempt, with the stage it was judged for."""
    target = attempt.target
    return {name: getattr(attempt, name) for name in MEASURED_NUMBERS} | {
        "stage": attempt.stage,
        "start_s": attempt.start_s,
        "end_s": attempt.end_s,
        "departure_s": attempt.departure_s,
        "arrival_s": attempt.arrival_s,
        "target_pitch": target.pitch.name,
        "target_hz": target.hz,
        "target_system": target.system,
        "target_reference": target.reference,
        "target_string": target.string,
        "target_place": target.place,
        "verdict": str(attempt.verdict),
        "faults": json.dumps(attempt.faults, ensure_ascii=False) if attempt.faults else None,
        "reason": attempt.reason,
        "borderline": attempt.borderline,
        "stops": attempt.stops,
        "reversals": attempt.reversals,
        "vibrato_present": attempt.vibrato.present,
        "vibrato_rate_hz": attempt.vibrato.rate_hz,
        "vibrato_extent_cents": attempt.vibrato.extent_cents,
        "tolerance_cents": attempt.tolerance_cents,
        "measure_version": attempt.measure_version,
        "notes": notes_text(attempt.notes),
    }


def attempt_of(row: Row[Any], shift: str, points: bytes | None) -> Attempt:
    """The attempt as it was measured."""
    times, cents = unpack_trace(points)
    return Attempt(
        shift=shift,
        stage=row.stage,
        start_s=row.start_s,
        end_s=row.end_s,
        departure_s=row.departure_s,
        arrival_s=row.arrival_s,
        target=Target(
            pitch=Pitch.parse(row.target_pitch),
            hz=row.target_hz,
            system=row.target_system,
            reference=row.target_reference,
            string=row.target_string,
            place=row.target_place,
        ),
        verdict=_VERDICTS[row.verdict],
        faults=tuple(json.loads(row.faults)) if row.faults else (),
        reason=row.reason,
        borderline=row.borderline,
        stops=row.stops,
        reversals=row.reversals,
        vibrato=Vibrato(
            present=row.vibrato_present, rate_hz=row.vibrato_rate_hz, extent_cents=row.vibrato_extent_cents
        ),
        tolerance_cents=row.tolerance_cents,
        trace_s=times,
        trace_cents=cents,
        measure_version=row.measure_version,
        notes=notes_of(row.notes),
        **{name: getattr(row, name) for name in MEASURED_NUMBERS},
    )


def kept_of(row: Row[Any], *, points: bytes | None = None, strikes: Sequence[Strike] = ()) -> KeptAttempt:
    """A kept attempt; the row also holds the take's id and a4, and the keys of player, passage and shift."""
    return KeptAttempt(
        id=f"{row.take_id}.{row.number}",
        take=row.take_id,
        player=row.player,
        passage=row.passage,
        at_s=row.at_s,
        day=date.fromordinal(row.day),
        day_order=row.day_order,
        cold=row.cold,
        attempt=attempt_of(row, row.shift_key, points),
        a4_hz=row.a4_hz,
        own_ear=row.own_ear,
        struck_out=row.struck_out,
        strikes=tuple(strikes),
    )


def pack_trace(attempt: Attempt) -> bytes | None:
    """The trace as bytes, None where there is none."""
    if not attempt.trace_s:
        return None
    return pack_points(attempt.trace_s, attempt.trace_cents)


def pack_points(times_s: Sequence[float], cents: Sequence[float]) -> bytes:
    """Times and cents as bytes."""
    return zlib.compress(np.array([times_s, cents], dtype="<f4").tobytes())


def unpack_trace(points: bytes | None) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Times and cents of a trace."""
    if points is None:
        return (), ()
    times, cents = np.frombuffer(zlib.decompress(points), dtype="<f4").reshape(2, -1).tolist()
    return tuple(times), tuple(cents)
