"""What an imported value must be beyond its kind, so that nothing comes in that could not be read again.

Conventions: a check takes a value of the kind that its column has, never None, and returns it as the record keeps it;
ValueError, or what a reader of the domain raises, where it is none of ours.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import date
from typing import Any

from truestop.adapters.store.double_stops import notes_of, notes_text
from truestop.adapters.store.expectations import expectations_of, expectations_text
from truestop.app.ports import Value
from truestop.domain.attempt import Verdict
from truestop.domain.errors import StoreError, TruestopError
from truestop.domain.instrument import MOST_STRINGS, STRINGS
from truestop.domain.pitch import Pitch
from truestop.domain.record import OWN_EAR_ANSWERS, local_day

_NOT_READ = (TruestopError, ValueError, KeyError, TypeError, AttributeError, OverflowError, OSError)


def kept_value(table: str, number: int, column: str, value: Value) -> Any:
    """The value of one column as the record keeps it; StoreError names table, row and column where it is none."""
    check = _CHECKS.get(column)
    if value is None or check is None:
        return value
    try:
        return check(value)
    except _NOT_READ as error:
        raise StoreError(
            f"'{str(value)[:40]}' in column '{column}' is not {_WHAT.get(column, 'what export writes there')}.",
            where=f"{table}, row {number}",
            hint="Nothing was added; mend it, or export it again.",
        ) from error


def _day(value: Any) -> int:
    return date.fromisoformat(value).toordinal()


def _instant(value: Any) -> float:
    local_day(value, 0)
    return float(value)


def _pitch(value: Any) -> str:
    return Pitch.parse(value).name


def _string(value: Any) -> int:
    return int(_among(range(1, MOST_STRINGS + 1))(value))


def _among(choices: Any) -> Callable[[Any], Any]:
    def check(value: Any) -> Any:
        if value not in choices:
            raise ValueError(value)
        return value

    return check


_CHECKS: dict[str, Callable[[Any], Any]] = {
    "day": _day,
    "deadline": _day,
    "at_s": _instant,
    "judged_at_s": _instant,
    "recorded_at_s": _instant,
    "faults": lambda value: json.dumps(value.split("; "), ensure_ascii=False) if value else None,
    "notes": lambda value: notes_text(notes_of(value)),
    "expected": lambda value: expectations_text(*expectations_of(value)),
    "verdict": lambda value: str(Verdict(value)),
    "own_ear": _among(OWN_EAR_ANSWERS),
    "direction": _among(("up", "down")),
    "instrument": _among(STRINGS),
    "departure_pitch": _pitch,
    "arrival_pitch": _pitch,
    "target_pitch": _pitch,
    "departure_string": _string,
    "string": _string,
    "target_string": _string,
}
_WHAT = {
    "at_s": "an instant",
    "judged_at_s": "an instant",
    "recorded_at_s": "an instant",
    "notes": "the notes of a double stop",
    "expected": "what a drill expects",
    "verdict": "a verdict",
    "own_ear": "high, low or true",
    "direction": "up or down",
    "instrument": f"one of {', '.join(STRINGS)}",
    "departure_pitch": "a pitch",
    "arrival_pitch": "a pitch",
    "target_pitch": "a pitch",
    "departure_string": f"a string from 1 to {MOST_STRINGS}",
    "string": f"a string from 1 to {MOST_STRINGS}",
    "target_string": f"a string from 1 to {MOST_STRINGS}",
}
