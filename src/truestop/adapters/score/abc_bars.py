"""Where the barlines of an ABC voice fall.

Conventions: positions are exact quarter notes. In free metre every bar takes its own length for its metre. Past the end
of the metre only notes lengthen a bar, rests do not. Source of the barlines: the ABC music standard 2.1, section 4.8.
"""

from __future__ import annotations

from fractions import Fraction
from math import ceil

from truestop.adapters.score.abc_fields import AbcKey
from truestop.adapters.score.bounds import LONGEST_DURATION_BEATS, MOST_MEASURES
from truestop.adapters.score.draft import ZERO, ClefEvent, DraftMeasure, DraftPart
from truestop.domain.errors import ScoreError

Metre = tuple[int, int]


class Bars:
    """Opens and closes the bars of one voice."""

    def __init__(self, part: DraftPart, clef: str) -> None:
        self._part = part
        self.clef = clef
        self._start = self._cursor = self._sounded = ZERO
        self._opened: DraftMeasure | None = None
        self._metre: Metre | None = None
        self._number = 0
        self._repeat_starts = False

    @property
    def onset(self) -> Fraction:
        """Where the next note begins."""
        return self._start + self._cursor

    @property
    def index(self) -> int:
        """The bar in which the next note begins."""
        return len(self._part.measures) - (self._opened is not None)

    @property
    def begun(self) -> bool:
        """Whether the bar has lasted any time."""
        return self._cursor > 0

    def open(self, key: AbcKey, metre: Metre | None) -> None:
        """Begin a bar, unless one has begun. Raises ScoreError where there are too many."""
        if self._opened is not None:
            return
        if len(self._part.measures) >= MOST_MEASURES:
            raise ScoreError(f"The tune has more than {MOST_MEASURES} bars.", hint="Split it into several tunes.")
        self._metre = metre
        beats, beat_type = metre or (4, 4)
        self._opened = DraftMeasure(
            number="", onset=self._start, duration=ZERO, key_fifths=key.fifths, mode=key.mode, beats=beats,
            beat_type=beat_type, clef=self.clef, repeat_starts=self._repeat_starts,
        )  # fmt: skip
        self._repeat_starts = False
        self._part.measures.append(self._opened)

    def advance(self, length: Fraction, *, sounds: bool) -> None:
        """A note or rest of ``length`` in the open bar; negative where broken rhythm shortens what was read."""
        self._cursor += length
        self._sounded = self._cursor if sounds else self._sounded
        if self._cursor > LONGEST_DURATION_BEATS:
            hint = "Write barlines with |."
            raise ScoreError(f"The bar is longer than {LONGEST_DURATION_BEATS} quarter notes.", hint=hint)

    def change_clef(self, clef: str) -> None:
        """From here on the staff has another clef."""
        if clef == self.clef:
            return
        self.clef = clef
        if self._opened is not None and self._cursor > 0:
            self._part.clef_events.append(ClefEvent(onset=self.onset, measure_index=self.index, clef=clef))
        elif self._opened is not None:
            self._opened.clef = clef

    def close(self) -> None:
        """End the open bar."""
        measure = self._opened
        assert measure is not None
        measure.duration = self._length(measure)
        if self._metre is None:
            measure.beats, measure.beat_type = _own_metre(measure.duration)
        self._start += measure.duration
        self._cursor = self._sounded = ZERO
        self._opened = None
        measure.number = self._numbered(measure)

    def _length(self, measure: DraftMeasure) -> Fraction:
        whole = Fraction(4 * measure.beats, measure.beat_type)
        return self._cursor if self._metre is None else min(self._cursor, max(whole, self._sounded))

    def _numbered(self, measure: DraftMeasure) -> str:
        """A pickup is 0; the second part of a bar that a repeat cuts in two bears the first one's number and b."""
        before = self._part.measures[-2] if len(self._part.measures) > 1 else None
        whole = Fraction(4 * measure.beats, measure.beat_type)
        if self._metre is not None and measure.duration < whole:
            if before is None:
                return "0"
            same = (before.beats, before.beat_type) == (measure.beats, measure.beat_type)
            if same and before.duration + measure.duration == whole and before.number == str(self._number):
                return f"{self._number}b"
        self._number += 1
        return str(self._number)

    def line(self, text: str) -> bool:
        """Take in a barline; whether it ended a bar."""
        ended = self.begun
        if ended:
            self.close()
        last = self._part.measures[-1] if self._part.measures and self._opened is None else None
        ends = text.startswith(":")
        if last is not None:
            last.repeat_ends |= ends
            last.final_barline = (last.final_barline or text.endswith("|]")) and not last.repeat_ends
        self._repeat_starts |= text.endswith(":")
        return ended


def _own_metre(duration: Fraction) -> Metre:
    """The metre that a bar of free metre fills; where none does, the quarters that it begins."""
    for beat_type in (4, 8, 16, 32, 64):
        beats = duration * beat_type / 4
        if beats.denominator == 1 and beats <= 256:
            return int(beats), beat_type
    return min(256, ceil(duration)), 4
