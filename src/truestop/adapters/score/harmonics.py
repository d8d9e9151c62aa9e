"""Which pitch a lightly touched string gives.

Conventions: places are semitones above the open (or stopped) string; the string divides into as many equal parts as the
partial's number. Source: physics of the ideal string; places rounded to the tempered semitone.
"""

from __future__ import annotations

from collections.abc import Sequence

from truestop.domain.pitch import Interval, Pitch

#: Place touched → sounding interval above the open string, as letters and semitones.
SOUNDS_ABOVE_OPEN = {
    12: Interval(7, 12), 7: Interval(11, 19), 19: Interval(11, 19), 5: Interval(14, 24), 24: Interval(14, 24),
    4: Interval(16, 28), 9: Interval(16, 28), 16: Interval(16, 28), 28: Interval(16, 28),
    3: Interval(18, 31), 31: Interval(18, 31),
}  # fmt: skip
#: Intervals above an open string that its natural harmonics 2 to 6 and 8 sound, in semitones.
PARTIALS = (12, 19, 24, 28, 31, 36)


def artificial_pitch(base: Pitch, touched: Pitch) -> Pitch | None:
    """What sounds when ``base`` is stopped and ``touched`` is touched; None where that is no common harmonic.

    >>> artificial_pitch(Pitch.parse("A4"), Pitch.parse("D5")).name
    'A6'
    """
    interval = SOUNDS_ABOVE_OPEN.get(touched.midi - base.midi)
    return base.transposed(interval) if interval else None


def natural_pitch(touched: Pitch, strings: Sequence[Pitch], string: int | None) -> Pitch | None:
    """What sounds when ``touched`` is touched on ``string``, or on the string where it is the simplest harmonic.

    >>> natural_pitch(Pitch.parse("G4"), [Pitch.parse(name) for name in ("E5", "A4", "D4", "G3")], 3).name
    'D6'
    """
    numbers = [string] if string is not None else range(1, len(strings) + 1)
    sounding = [
        (interval.semitones, strings[number - 1].transposed(interval))
        for number in numbers
        if number <= len(strings)
        and (interval := SOUNDS_ABOVE_OPEN.get(touched.midi - strings[number - 1].midi)) is not None
    ]
    return min(sounding, key=lambda item: item[0])[1] if sounding else None


def is_open_or_harmonic(midi: int, strings: Sequence[Pitch]) -> str:
    """'open', 'harmonic' or '' for a note that bears a 0: what it is on any of ``strings``."""
    if any(pitch.midi == midi for pitch in strings):
        return "open"
    return "harmonic" if any(midi - pitch.midi in PARTIALS for pitch in strings) else ""
