"""Note values: which head, dots and tuplet a length is written with.

Conventions: lengths are exact quarter notes. A value is (type, dots) as MusicXML names it; inside a tuplet of
``actual`` in the time of ``normal`` a written value lasts ``normal / actual`` of itself.
"""

from __future__ import annotations

from fractions import Fraction
from functools import lru_cache

from truestop.domain.passage import Measure

TYPES = {
    "long": Fraction(16), "breve": Fraction(8), "whole": Fraction(4), "half": Fraction(2), "quarter": Fraction(1),
    "eighth": Fraction(1, 2), "16th": Fraction(1, 4), "32nd": Fraction(1, 8), "64th": Fraction(1, 16),
    "128th": Fraction(1, 32), "256th": Fraction(1, 64),
}  # fmt: skip
FLAGS = {"eighth": 1, "16th": 2, "32nd": 3, "64th": 4, "128th": 5, "256th": 6}
"""Beams or flags of each value."""
_MOST_DOTS = 2
_TUPLETS = ((3, 2), (5, 4), (7, 4), (6, 4), (9, 8), (2, 3), (4, 3), (11, 8), (13, 8))


@lru_cache(maxsize=4096)
def value_of(length: Fraction, tuplet: tuple[int, int] | None = None) -> tuple[str, int] | None:
    """The (type, dots) that lasts ``length``, None where no single head does.

    >>> value_of(Fraction(3, 2)), value_of(Fraction(1, 3), (3, 2)), value_of(Fraction(5, 4))
    (('quarter', 1), ('eighth', 0), None)
    """
    written = length * tuplet[0] / tuplet[1] if tuplet else length
    for dots in range(_MOST_DOTS + 1):
        for name, beats in TYPES.items():
            if beats * (2 - Fraction(1, 2**dots)) == written:
                return name, dots
    return None


def length_of(name: str, dots: int, tuplet: tuple[int, int] | None = None) -> Fraction:
    """How long a written value lasts, in quarter notes."""
    beats = TYPES[name] * (2 - Fraction(1, 2**dots))
    return beats * tuplet[1] / tuplet[0] if tuplet else beats


def tuplet_of(length: Fraction) -> tuple[int, int] | None:
    """The usual tuplet in which ``length`` can be written; None where it needs none or none fits."""
    if value_of(length) is not None:
        return None
    return next((tuplet for tuplet in _TUPLETS if value_of(length, tuplet) is not None), None)


def is_dyadic(position: Fraction) -> bool:
    """Whether a position or length can be reached with halves alone."""
    return position.denominator & (position.denominator - 1) == 0


def beat_unit(measure: Measure) -> Fraction:
    """The pulse of a measure in quarter notes: a dotted quarter in 6/8, 9/8, 12/8, else one beat."""
    unit = Fraction(4, measure.beat_type)
    compound = measure.beat_type >= 8 and measure.beats % 3 == 0 and measure.beats > 3
    return 3 * unit if compound else unit


def split_length(start: Fraction, length: Fraction, pulse: Fraction) -> list[Fraction]:
    """``length`` cut into lengths that single heads have, falling on the metre as well as may be.

    ``start`` is where it begins in the measure; ``pulse`` the beat. A length off the dyadic grid stays whole.

    >>> [str(part) for part in split_length(Fraction(1, 2), Fraction(5, 2), Fraction(1))]
    ['1/2', '2']
    """
    parts: list[Fraction] = []
    while length > 0:
        part = _first_part(start, length, pulse)
        parts.append(part)
        start, length = start + part, length - part
    return parts


def _first_part(start: Fraction, length: Fraction, pulse: Fraction) -> Fraction:
    if not is_dyadic(start) or not is_dyadic(length):
        to_grid = -start % Fraction(1, 2) or Fraction(1, 2)
        return min(length, to_grid) if not is_dyadic(start) else length
    if value_of(length) is not None and (start % pulse == 0 or (start % pulse) + length <= pulse):
        return length
    if start % pulse != 0:
        return _largest_within(min(length, pulse - start % pulse), start)
    return _largest_within(length, start, pulse)


def _largest_within(length: Fraction, start: Fraction, pulse: Fraction | None = None) -> Fraction:
    if pulse is not None and pulse.numerator == 3 and length >= pulse:
        return pulse * (2 if length >= 2 * pulse and start % (2 * pulse) == 0 else 1)
    fitting = [beats for beats in TYPES.values() if beats <= length and start % beats == 0]
    return fitting[0] if fitting else length


def rest_length(start: Fraction, length: Fraction, measure: Measure) -> Fraction:
    """How long the first rest is that begins to fill ``length`` from ``start``: rests show the beats, without dots.

    A dotted rest stands only for whole beats of compound metres; no rest spans two beats of a triple metre.
    """
    pulse = beat_unit(measure)
    longest = length if measure.beats % 3 or pulse.numerator == 3 else min(length, pulse)
    if start % pulse == 0 and length >= pulse and pulse.numerator == 3:
        return pulse * (2 if length >= 2 * pulse and start % (2 * pulse) == 0 else 1)
    if start % pulse != 0 or pulse.numerator == 3:
        longest = min(longest, pulse - start % pulse)
    start = start % pulse if pulse.numerator == 3 else start
    fitting = [beats for beats in TYPES.values() if beats <= longest and start % beats == 0]
    return fitting[0] if fitting else length
