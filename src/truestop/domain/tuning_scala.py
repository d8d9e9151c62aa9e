"""Scales in the Scala format (.scl).

Conventions: a scale's degrees are cents above its 1/1, which is not written in the file; the last degree is the
interval at which the scale repeats. The rules are those of the public description of the format: comment lines
begin with '!', the first other line is a description, the second the number of notes, then one pitch a line: with a
period it is in cents, otherwise a ratio or a whole number; what follows a valid pitch is ignored.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from math import log2

from truestop.domain.errors import PitchError

_MOST_NOTES = 2048
_LARGEST_CENTS = 120_000.0
_VALUE = re.compile(r"[ \t]*(-?\d*\.\d*|-?\d+(?:[ \t]*/[ \t]*-?\d+)?)")


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """A scale: ``cents[i]`` is degree i + 1 above 1/1; the last one is the repeating interval."""

    name: str
    description: str
    cents: tuple[float, ...]

    @property
    def period_cents(self) -> float:
        """The interval after which the scale repeats, usually 1200."""
        return self.cents[-1]

    def degree_cents(self, degree: int) -> float:
        """Cents of any degree, negative ones and those beyond the period included; degree 0 is 1/1."""
        periods, within = divmod(degree, len(self.cents))
        return periods * self.period_cents + (self.cents[within - 1] if within else 0.0)


def parse_scale(text: str, *, name: str) -> Scale:
    """The scale written in ``text`` (the content of a .scl file). PitchError names the line that cannot be read.

    >>> parse_scale("!\\nfifths\\n 2\\n 3/2\\n 2/1", name="fifths").cents
    (701.9550008653874, 1200.0)
    """
    lines = [(n, line) for n, line in enumerate(text.splitlines(), 1) if not line.startswith("!")]
    if len(lines) < 2:
        raise PitchError("The scale ends before its number of notes.", where=name, hint=_SHAPE)
    (_, description), (count_line, count_text), *rest = lines
    count = _read_count(count_text, f"{name}, line {count_line}")
    if len(rest) < count:
        raise PitchError(f"The scale promises {count} notes and gives {len(rest)}.", where=name, hint=_SHAPE)
    cents = tuple(_read_value(line, f"{name}, line {n}") for n, line in rest[:count])
    return Scale(name=name, description=description.strip(), cents=cents)


_SHAPE = "A .scl file holds a description, the number of notes, then one ratio or cents value a line."


def _read_count(text: str, where: str) -> int:
    match = re.match(r"\s*(\d+)(?!\S)", text)
    if match is None:
        raise PitchError(f"'{text.strip()[:40]}' is not a number of notes.", where=where, hint=_SHAPE)
    count = int(match[1])
    if not 1 <= count <= _MOST_NOTES:
        raise PitchError(
            f"A scale of {count} notes is no use here.", where=where, hint=f"Give 1 to {_MOST_NOTES} notes."
        )
    return count


def _read_value(text: str, where: str) -> float:
    match = _VALUE.match(text)
    value = match[1].replace(" ", "").replace("\t", "") if match else ""
    if not value or value in (".", "-."):
        raise PitchError(f"'{text.strip()[:40]}' is neither a ratio nor cents.", where=where, hint=_SHAPE)
    cents = float(value) if "." in value else _ratio_cents(value, where)
    if abs(cents) > _LARGEST_CENTS:
        raise PitchError(f"{value} cents are out of range.", where=where, hint="Give at most 120000 cents.")
    return cents


def _ratio_cents(value: str, where: str) -> float:
    numerator, _, denominator = value.partition("/")
    above, below = int(numerator), int(denominator or "1")
    if above <= 0 or below <= 0:
        raise PitchError(f"The ratio {value} is not above zero.", where=where, hint="Write a ratio like 3/2.")
    return 1200.0 * (log2(above) - log2(below))
