"""Where a pitch lies on a string.

Conventions: places are semitones above the open string (fractions allowed), distances are mm from the nut, + towards
the bridge. An ideal string: stopping a fraction of it raises the pitch by the inverse fraction (Mersenne 1636).
"""

from __future__ import annotations

from math import log2

from truestop.domain.errors import InstrumentError


def place_to_mm(place: float, length_mm: float) -> float:
    """Distance from the nut of ``place`` semitones above the open string: L (1 − 2^(−n/12)).

    >>> round(place_to_mm(7, 328.0), 2)
    109.09
    """
    return float(length_mm * (1.0 - 2.0 ** (-place / 12.0)))


def mm_to_place(distance_mm: float, length_mm: float) -> float:
    """Semitones above the open string at ``distance_mm`` from the nut, which must lie between nut and bridge."""
    if distance_mm >= length_mm:
        raise InstrumentError(
            f"{distance_mm:g} mm lies beyond the bridge.",
            hint=f"The string is {length_mm:g} mm long; give less than that.",
        )
    return -12.0 * log2(1.0 - distance_mm / length_mm)


def cents_to_mm(cents: float, place: float, length_mm: float) -> float:
    """How far a finger that sounds ``cents`` off ``place`` lies from it, in mm; exact, not linear.

    >>> round(cents_to_mm(100, 2, 328.0), 2)
    16.4
    """
    return place_to_mm(place + cents / 100.0, length_mm) - place_to_mm(place, length_mm)


def mm_to_cents(offset_mm: float, place: float, length_mm: float) -> float:
    """Cents off ``place`` of a finger ``offset_mm`` towards the bridge from it."""
    return 100.0 * (mm_to_place(place_to_mm(place, length_mm) + offset_mm, length_mm) - place)


def mm_per_cent(place: float, length_mm: float) -> float:
    """Local size of a cent at ``place`` in mm: L 2^(−n/12) ln 2 / 1200."""
    return float(length_mm * 2.0 ** (-place / 12.0) * 0.6931471805599453 / 1200.0)


def travel_mm(from_place: float, to_place: float, length_mm: float) -> float:
    """Way of a finger from one place to another on a string in mm, + towards the bridge."""
    return place_to_mm(to_place, length_mm) - place_to_mm(from_place, length_mm)
