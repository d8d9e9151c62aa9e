"""Whether somebody else sounds close to the same pitch: two sources near unison beat.

One bowed string is one line at every harmonic. Two of them, Δ apart, are two lines kΔ apart at harmonic k, so the power
of harmonic k beats kΔ times a second: all harmonics with one Δ. Nothing that one player does makes that pattern.
Vibrato and tremolo swing all harmonics at one and the same rate, a new bow dips them all alike, and a room swings each
at random.

The sound is turned back along the tracked pitch, harmonic by harmonic; the powers that are left, freed of a straight
line, are fitted with two sources at rest and, where that proves nothing, with two whose distance swings as
under vibrato. What the best fit explains is compared with what one common rate explains.

Conventions: Hz, seconds from the start of the take, cents. Powers are relative to a harmonic's own mean.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from truestop.listening.frames import Floats
from truestop.listening.turning import LEAST_HARMONICS, Powers, Turned
from truestop.listening.wandering import Fit, Swinging, fit_steady, fit_swinging, fitted

LEAST_WINDOW_S = 0.01
"""Shorter windows let more noise through, and a note's own beats need none."""
NEAREST_CENTS = 2.5
"""Sources nearer than this pull the landing by less than their distance and are let pass."""
FASTEST_WINDOWS = 1.2
"""Beats faster than this, in cycles a window, pass through it no more."""
COMMON_HZ = (1.5, 20.0, 0.5)
LEAST_DEPTH = 0.25
"""Amplitude of the powers' swing about their mean: the other source at about −17 dB; ringing strings are softer."""
SHARED = (1, 2, 3, 4)
"""Another source in unison, an octave, a twelfth or two octaves above beats with every so many harmonics only."""
STEADY_PROOFS = ((0.85, 1.25), (0.6, 3.0))
"""Parts of all the swinging that beats must explain, each with how many times what a common rate explains."""
BEFORE_COMMON = 0.1
"""Slow beats of a low note are hardly more than one turn, which a common rate explains nearly as well: then the part of
what it leaves that beats at rest may leave."""
SWINGING_PROOFS = ((0.85, 1.25), (0.55, 5.0))
"""The same for a distance that swings, which fits more of what is no beat."""
BEFORE_ALIKE = 1.25
"""How many times what one course for all harmonics explains."""
LEAST_SWINGING_S = 0.3
"""In less than this anything is a part of a swing."""
LEAST_MOMENTS = 12
ABOVE_NOISE, BELOW_LOUDEST = 30.0, 1e-4


@dataclass(frozen=True, slots=True, kw_only=True)
class Beats:
    """What swings in the powers of the harmonics."""

    cents: float
    """Distance of the two sources that explains it best, root mean square where it wanders."""
    explained: float
    """The part of the swinging that this distance explains, 0…1."""
    common: float
    """The part that one rate for all harmonics explains."""
    alike: float
    """The part that one and the same course for all harmonics explains, as a new bow gives it."""
    depth: float
    harmonics: int
    proofs: tuple[tuple[float, float], ...] = STEADY_PROOFS

    @property
    def of_two(self) -> bool:
        """Whether two sources make them."""
        return (
            self.harmonics >= LEAST_HARMONICS
            and self.depth >= LEAST_DEPTH
            and self.cents >= NEAREST_CENTS
            and self.explained >= _needed(self.common, self.alike, self.proofs)
        )


def find_beats(turned: Turned) -> Beats | None:
    """The beats in a held note; None where it is too short or too soft to tell."""
    if len(turned.sound) < 2.0 * LEAST_WINDOW_S * turned.rate_hz:
        return None
    return _explained(turned.powers(LEAST_WINDOW_S), turned.hz)


def _explained(powers: Powers, hz: float) -> Beats | None:
    between, on, moments_s = powers.between.mean(axis=1), powers.on.mean(axis=1), powers.moments_s
    good = (on > ABOVE_NOISE * 0.5 * (between[:-1] + between[1:])) & (on > BELOW_LOUDEST * on.max())
    k = np.flatnonzero(good) + 1
    if len(k) < LEAST_HARMONICS or len(moments_s) < LEAST_MOMENTS:
        return None
    moment_s = moments_s - moments_s.mean()
    line = np.stack([np.full(len(moment_s), len(moment_s) ** -0.5), moment_s / np.linalg.norm(moment_s)])
    swing = powers.on[good] / on[good, None]
    swing = swing - (swing @ line.T) @ line
    whole = float(np.square(swing).sum())
    depth = _depth(swing, k)
    if depth < LEAST_DEPTH:
        return Beats(cents=0.0, explained=0.0, common=0.0, alike=0.0, depth=depth, harmonics=len(k))
    note = Swinging(
        powers=swing, line=line, k=k, moment_s=moment_s, hz=hz, fastest_hz=FASTEST_WINDOWS / powers.window_s
    )
    together = np.exp(2j * np.pi * np.arange(*COMMON_HZ)[:, None, None] * moment_s)
    common = float((fitted(swing, line, together).sum(axis=1) / whole).max())
    alike = _alike(swing) / whole

    def beats(fit: Fit, proofs: tuple[tuple[float, float], ...]) -> Beats:
        return Beats(cents=fit.cents, explained=fit.explained / whole, common=common, alike=alike,
                     depth=depth, harmonics=len(k), proofs=proofs)  # fmt: skip

    if _needed(common, alike, STEADY_PROOFS) > 1.0:
        return beats(Fit(explained=0.0, cents=0.0), STEADY_PROOFS)
    steady = beats(fit_steady(note), STEADY_PROOFS)
    needed = _needed(common, alike, SWINGING_PROOFS)
    if steady.of_two or moments_s[-1] < LEAST_SWINGING_S or needed > 1.0:
        return steady
    return beats(fit_swinging(note, needed), SWINGING_PROOFS)


def _needed(common: float, alike: float, proofs: tuple[tuple[float, float], ...]) -> float:
    """The part of the swinging that beats must explain; more than 1 where they cannot be told from what is common."""
    least = min(max(least, ahead * common) for least, ahead in proofs)
    if proofs is STEADY_PROOFS:
        least = min(least, 1.0 - BEFORE_COMMON * (1.0 - common))
    return max(BEFORE_ALIKE * alike, least)


def _depth(swing: Floats, k: NDArray[np.int_]) -> float:
    """Amplitude of the swing on the harmonics that another source may share."""
    shared = (swing[k % every == 0] for every in SHARED)
    return max(float(np.sqrt(2.0 * np.square(part).mean())) for part in shared if len(part) >= LEAST_HARMONICS)


def _alike(swing: Floats) -> float:
    """Power that one course, the mean of all harmonics, explains in those that follow it."""
    course = swing.mean(axis=0)
    followed = np.maximum(swing @ course, 0.0)
    return float(np.square(followed).sum() / max(float(np.square(course).sum()), 1e-30))


__all__ = ["Beats", "find_beats"]
