"""Where a pitch lies on a string.

Conventions: places are semitones above the open string (fractions allowed), distances are mm from the nut, + towards
the bridge. An ideal string: stopping a fraction of it raises the pitch by the inverse fraction (Mersenne 1636).
"""

from __future__ import annotations


def place_to_mm(place: float, length_mm: float) -> float:
    """Distance from the nut of ``place`` semitones above the open string: L (1 − 2^(−n/12)).

    >>> round(place_to_mm(7, 328.0), 2)
    109.09
    """
    return float(length_mm * (1.0 - 2.0 ** (-place / 12.0)))


def cents_to_mm(cents: float, place: float, length_mm: float) -> float:
    """How far a finger that sounds ``cents`` off ``place`` lies from it, in mm; exact, not linear.

    >>> round(cents_to_mm(100, 2, 328.0), 2)
    16.4
    """
    return place_to_mm(place + cents / 100.0, length_mm) - place_to_mm(place, length_mm)


def travel_mm(from_place: float, to_place: float, length_mm: float) -> float:
    """Way of a finger from one place to another on a string in mm, + towards the bridge."""
    return place_to_mm(to_place, length_mm) - place_to_mm(from_place, length_mm)
