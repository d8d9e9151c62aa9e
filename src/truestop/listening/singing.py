"""Hearing before playing: a sung or hummed note against its target, in any octave.

The note is the longest that is held (see holding.py).

Conventions: times in seconds from the first sample; cents above the target once the octave is taken out, −600…600; + is
sharp. Samples mono, ±1 full scale.
"""

from __future__ import annotations

from dataclasses import dataclass

from truestop.domain.pitch import hz_to_cents
from truestop.listening.holding import HeldNote, HeldNotes, Samples

TOLERANCE_CENTS = 50.0
LOWEST_HZ, HIGHEST_HZ = 60.0, 1400.0
"""From a man's humming to whistling low."""
SHORTEST_S = 0.3


@dataclass(frozen=True, slots=True, kw_only=True)
class SungNote:
    """What was sung. ``word`` is 'true', 'high', 'low' or 'unheard'; numbers are None when nothing was heard."""

    word: str
    reason: str | None = None
    hz: float | None = None
    cents: float | None = None
    se_cents: float | None = None
    octaves: int | None = None
    """How many octaves above the target it was sung."""
    start_s: float | None = None
    end_s: float | None = None


def check_singing(
    samples: Samples, sample_rate_hz: float, target_hz: float, *, tolerance_cents: float = TOLERANCE_CENTS
) -> SungNote:
    """The longest note sung in ``samples``, held against ``target_hz`` in whatever octave it lies nearest."""
    notes = HeldNotes(sample_rate_hz, LOWEST_HZ, HIGHEST_HZ, SHORTEST_S, whole=True)
    held = [*notes.feed(samples), *notes.finish()]
    if notes.latest is None:
        return SungNote(word="unheard", reason="No voice was heard. Sing or hum closer to the microphone.")
    if not held:
        return SungNote(word="unheard", reason="No note was held long enough. Hold it for half a second.")
    return _judged(max(held, key=lambda note: note.held_s), target_hz, tolerance_cents)


def _judged(note: HeldNote, target_hz: float, tolerance_cents: float) -> SungNote:
    off = sung_cents(note.hz, target_hz)
    word = "true" if abs(off) <= tolerance_cents else "high" if off > 0 else "low"
    octaves = round(hz_to_cents(note.hz, target_hz) / 1200.0)
    return SungNote(word=word, hz=note.hz, cents=off, se_cents=note.se_cents, octaves=octaves, start_s=note.at_s,
                    end_s=note.at_s + note.held_s)  # fmt: skip


def sung_cents(hz: float, target_hz: float) -> float:
    """Cents of ``hz`` above ``target_hz``, the octave taken out: −600 to 600.

    >>> sung_cents(220.0, 440.0)
    0.0
    """
    cents = hz_to_cents(hz, target_hz)
    return cents - 1200.0 * round(cents / 1200.0)
