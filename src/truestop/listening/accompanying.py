"""Whether two notes sound where one is tracked: beside it, or in its place.

Beside it: a second series of harmonics lies between those of the note that is tracked.

Half-way between its harmonics a single note leaves next to nothing: noise, which comes and goes from window to window,
a room's tail, which dies away, an open string that rings on, softly. Another note of like strength, a third or an
octave below, puts its own harmonics there, and they stand still. The tracker may then follow either of the two.

In its place: two strings a fifth apart, as in tuning, have one common period and are heard as the note an octave below
the lower. Of that note's harmonics only those are there that are multiples of two or three; a string has all of them.

Conventions: dB re the power of the note's own harmonics.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from truestop.listening.turning import Turned

LOUD_DB = -8.0
"""From here on another note moves the landing by more than two cents."""
LOUD_BESIDE_A_STRANGER_DB = -14.0
"""The same where the landing is no note that was expected: the other one may have been followed."""
STEADY = 0.35
"""Standard deviation of a power from window to window over its mean: noise has 1, a dying room more."""
LEAST_MOMENTS = 6
CHORDS = ((2, 3), (3, 4))
"""Fifth and fourth: strings that are tuned together."""
MISSING_DB = -30.0
"""So far below the others are the harmonics of a common fundamental that neither string has, most of the time; a single
recorded note's are above −26 dB, a telephone's above −19. While bows change all harmonics sound for a moment."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Beside:
    """What sounds between the harmonics."""

    level_db: float
    """Its power."""
    unrest: float
    """How much it comes and goes."""

    def is_note(self, *, strange: bool) -> bool:
        """Whether it is another note, loud enough to be in the way; ``strange``: the landing is far off its target."""
        return self.unrest <= STEADY and self.level_db >= (LOUD_BESIDE_A_STRANGER_DB if strange else LOUD_DB)


def find_beside(turned: Turned) -> Beside | None:
    """What sounds beside a held note; None where it is too short to tell."""
    powers = turned.powers()
    if len(powers.moments_s) < LEAST_MOMENTS:
        return None
    between = powers.between.mean(axis=1)
    whole = max(float(between.sum()), 1e-30)
    unrest = float(powers.between.std(axis=1).sum()) / whole
    level_db = 10.0 * float(np.log10(whole / max(float(powers.on.mean(axis=1).sum()), 1e-30)))
    return Beside(level_db=level_db, unrest=unrest)


def is_chord(turned: Turned) -> bool:
    """Whether the note is no note but the common period of two strings a fifth or a fourth apart."""
    on = np.median(turned.powers().on, axis=1)
    k = np.arange(1, len(on) + 1)
    for low, high in CHORDS:
        theirs = (k % low == 0) | (k % high == 0)
        if k[-1] >= low * high and on[~theirs].sum() < 10.0 ** (MISSING_DB / 10.0) * on[theirs].sum():
            return True
    return False


__all__ = ["Beside", "find_beside", "is_chord"]
