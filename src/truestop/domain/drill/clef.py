"""Which clef a line is read in.

Conventions: pitches are as written. The clef is the first of the instrument's own in which a line stays within what its
players read at ease; where none does, the one with the fewest ledger lines. A cellist reads bass clef up to E4, tenor
clef up to D5 and treble clef above. Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence

from truestop.domain.pitch import Pitch

#: Diatonic degree (C0 is 0) of the lowest and highest line of each clef's staff.
STAFF_LINES = {"treble": (30, 38), "alto": (24, 32), "tenor": (22, 30), "bass": (18, 26)}

#: Clefs of each instrument in the order of preference, each with the steps above its top line that are read at ease.
READ_IN = {
    "violin": (("treble", 19),),
    "viola": (("alto", 7), ("treble", 19)),
    "cello": (("bass", 4), ("tenor", 6), ("treble", 19)),
    "bass": (("bass", 9), ("tenor", 7), ("treble", 19)),
}
LEDGERS_BELOW_AT_EASE = 2
STEPS_MORE = 2
"""A line that keeps to its drill's clef may go so many steps further."""


def ledger_lines(pitch: Pitch, clef: str) -> tuple[int, int]:
    """Ledger lines that ``pitch`` needs below and above the staff.

    >>> ledger_lines(Pitch.parse("C4"), "treble")
    (1, 0)
    """
    low, high = STAFF_LINES[clef]
    return max(0, (low - pitch.diatonic) // 2), max(0, (pitch.diatonic - high) // 2)


def is_at_ease(family: str, clef: str, written: Sequence[Pitch]) -> bool:
    """Whether the ``written`` pitches stay within a ledger line more than is read at ease in ``clef``."""
    above_at_ease = dict(READ_IN[family])[clef] + STEPS_MORE
    below = max(ledger_lines(pitch, clef)[0] for pitch in written)
    return below <= LEDGERS_BELOW_AT_EASE + 1 and _steps_above(written, clef) <= above_at_ease


def _steps_above(written: Sequence[Pitch], clef: str) -> int:
    """Steps of the highest pitch above the top line; negative inside the staff."""
    return max(pitch.diatonic for pitch in written) - STAFF_LINES[clef][1]


def choose_clef(family: str, written: Sequence[Pitch]) -> str:
    """The clef for a line of ``family`` that holds the ``written`` pitches."""
    clefs = READ_IN[family]
    if not written:
        return clefs[0][0]
    for clef, above_at_ease in clefs:
        below = max(ledger_lines(pitch, clef)[0] for pitch in written)
        if _steps_above(written, clef) <= above_at_ease and (below <= LEDGERS_BELOW_AT_EASE or clef == clefs[0][0]):
            return clef
    return min((clef for clef, _ in clefs), key=lambda clef: sum(sum(ledger_lines(pitch, clef)) for pitch in written))
