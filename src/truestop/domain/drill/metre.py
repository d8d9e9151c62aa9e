"""Which metre a line of an exercise is written in, and how rounds are laid into its bars.

Conventions: a *round* leaves, arrives and rests once. Its arrival falls on a strong beat: the third beat of four, the
downbeat of the second bar in metres of two and three beats. Lengths are quarter notes; what a metre counts is a beat,
the dotted quarter of 6/8. Common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from truestop.domain.passage import Measure

COUNTED = (2, 3, 4)
"""Beats in a bar of the metres that rounds fit; in 5/4 or 7/8 nobody knows from the signature where the weights lie."""
WRITTEN = (2, 4, 8, 16)
LONGEST_BEAT = Fraction(3)
"""Two beats are still one note."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Metre:
    """A time signature, and whether it is printed: an exercise without a pulse has none."""

    beats: int = 4
    beat_type: int = 4
    shown: bool = True

    @property
    def bar(self) -> Fraction:
        """Length of a bar."""
        return Fraction(4 * self.beats, self.beat_type)

    @property
    def beat(self) -> Fraction:
        """Length of what is counted."""
        return self.bar / self.counted

    @property
    def counted(self) -> int:
        """Beats in a bar."""
        return self.beats // 3 if self._by_threes else self.beats

    @property
    def _by_threes(self) -> bool:
        return self.beats in (6, 9, 12)

    @property
    def in_threes(self) -> bool:
        """Whether a bar counts three beats: a round then takes six."""
        return self.counted == 3

    @property
    def lead(self) -> int:
        """Beats of a round before its arrival."""
        return 3 if self.in_threes else 2

    @property
    def stay(self) -> int:
        """Beats that the arrival is held; a beat of rest follows."""
        return 2 if self.in_threes else 1

    @property
    def parts(self) -> tuple[Fraction, Fraction]:
        """A beat in two: halves, or the long and the short of a beat of three.

        >>> Metre(beats=6, beat_type=8).parts
        (Fraction(1, 1), Fraction(1, 2))
        """
        short = self.beat / (3 if self._by_threes else 2)
        return self.beat - short, short


COMMON = Metre()
FREE = Metre(shown=False)
"""For exercises that have no pulse; their bar lines only set off what belongs together."""


def metre_of(measure: Measure) -> Metre:
    """The metre of a bar of the passage, common time where rounds do not fit its own."""
    metre = Metre(beats=measure.beats, beat_type=measure.beat_type)
    plain = metre.counted in COUNTED and metre.beat_type in WRITTEN and metre.beat <= LONGEST_BEAT
    return metre if plain and measure.metre_shown else COMMON
