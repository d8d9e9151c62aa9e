"""What the player chose for the room, kept in its folder.

Conventions: values are those of the command line; an impossible choice is refused with a remedy and nothing changes.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields, replace
from pathlib import Path
from typing import Any

from truestop.app.mainjob import Setup
from truestop.domain.attempt import TOLERANCES_CENTS
from truestop.domain.errors import InstrumentError, PitchError
from truestop.domain.instrument import Instrument, make_instrument
from truestop.domain.shift import GuideRule
from truestop.domain.tuning import SYSTEMS, check_a4_hz, make_intonation

NUMBERINGS = ("lower-upper", "major-scale")


@dataclass(frozen=True, slots=True, kw_only=True)
class Choices:
    """Instrument, tuning and what counts as true."""

    instrument: str = "violin"
    size: str | None = None
    length_mm: float | None = None
    """Vibrating string length from a ruler; None for the size's usual one."""
    strings: str | None = None
    a4_hz: float = 440.0
    intonation: str = "pythagorean"
    tolerance: str = "student"
    guide: str = "lower"
    numbering: str = "lower-upper"
    measured_hz: tuple[float | None, ...] | None = None
    """Open strings as they were measured on ``instrument``, I first."""

    def make_instrument(self) -> Instrument:
        """The player's instrument."""
        return make_instrument(self.instrument, size=self.size, strings=self.strings, length_mm=self.length_mm)

    def setup(self, family: str) -> Setup:
        """How a passage for ``family`` is read and judged; size and strings hold for the chosen instrument only."""
        own = family == self.instrument
        measured = self.measured_hz if own and self.intonation == "strings" else None
        return Setup(
            family=family,
            size=self.size if own else None,
            length_mm=self.length_mm if own else None,
            strings=self.strings if own else None,
            numbering=self.numbering,
            guide_rule=GuideRule(self.guide),
            a4_hz=self.a4_hz,
            system=self.intonation,
            open_strings_hz=measured,
            tolerance_cents=TOLERANCES_CENTS[self.tolerance],
        )


def change(choices: Choices, asked: Mapping[str, Any]) -> Choices:
    """``choices`` with what was asked for, checked as a whole."""
    known = {each.name for each in fields(Choices)}
    unknown = sorted(set(asked) - known)
    if unknown:
        raise InstrumentError(f"The room has no setting '{unknown[0]}'.", hint="Reload the page.")
    wanted = dict(asked)
    if "measured_hz" in wanted and wanted["measured_hz"] is not None:
        wanted["measured_hz"] = tuple(wanted["measured_hz"])
    if wanted.get("instrument", choices.instrument) != choices.instrument:
        wanted = {"size": None, "strings": None} | wanted
    changed = replace(choices, **wanted)
    if (changed.instrument, changed.strings) != (choices.instrument, choices.strings) and "measured_hz" not in asked:
        changed = replace(changed, measured_hz=None)
    if (changed.instrument, changed.size) != (choices.instrument, choices.size) and "length_mm" not in asked:
        changed = replace(changed, length_mm=None)
    return check(changed)


def check(choices: Choices) -> Choices:
    """``choices`` where they fit together; an error that names the remedy where they do not."""
    tables = (
        ("tolerance", choices.tolerance, tuple(TOLERANCES_CENTS)),
        ("guide rule", choices.guide, tuple(GuideRule)),
        ("numbering", choices.numbering, NUMBERINGS),
        ("tuning system", choices.intonation, SYSTEMS),
    )
    for what, value, possible in tables:
        if value not in possible:
            raise InstrumentError(f"'{value}' is no {what}.", hint=f"Choose one of {', '.join(possible)}.")
    if not isinstance(choices.a4_hz, int | float):
        raise PitchError("The reference pitch must be a number.", hint="Give A4 between 380 and 470 Hz.")
    check_a4_hz(float(choices.a4_hz))
    if choices.length_mm is not None and not isinstance(choices.length_mm, int | float):
        raise InstrumentError("The string length must be a number.", hint="Measure from nut to bridge, in mm.")
    instrument = choices.make_instrument()
    if choices.measured_hz is not None:
        make_intonation("strings", instrument=instrument, a4_hz=choices.a4_hz, open_strings_hz=choices.measured_hz)
    return choices


class ChoiceFile:
    """The choices on disk."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def read(self) -> Choices:
        """What was chosen; the usual where nothing was, or where the file was spoiled."""
        try:
            return change(Choices(), json.loads(self._path.read_text(encoding="utf-8")))
        except (OSError, ValueError, TypeError, InstrumentError, PitchError):
            return Choices()

    def write(self, choices: Choices) -> None:
        """Replace the file as a whole."""
        draft = self._path.with_suffix(".new")
        draft.write_text(json.dumps(asdict(choices)), encoding="utf-8")
        draft.replace(self._path)
