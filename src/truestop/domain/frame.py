"""Frames: where each finger lies or reaches while the hand stays.

Conventions: a *hand* is a placement (semitones above the open string of the first finger when square; of the thumb in a
thumb frame) and whether it is a thumb frame. A reach says that a finger lies ``offset`` semitones from the placement,
in which shape, and with how much strain (0 lies there by itself, 1 a plain stretch, above 2 only where nothing else
serves). Across strings all fingers of one hand share the placement.

Sources: closed and extended cello frames, 1-2-4 on the bass neck and the violin's frame of a fourth are common practice
of the trade, no single source; the strains are ours.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from truestop.domain.passage import Finger

SQUARE, EXTENDED, CONTRACTED = "square", "extended", "contracted"
CLOSED, BACK, FORWARD = "closed", "extended back", "extended forward"
THUMB = "thumb"

#: Shapes in which a finger lies where the frame puts it by itself.
RESTING = frozenset({SQUARE, CLOSED, THUMB})


@dataclass(frozen=True, slots=True)
class Reach:
    """One place a finger gets to without the hand travelling."""

    finger: Finger
    offset: int
    shape: str
    strain: float


@dataclass(frozen=True, slots=True)
class Frame:
    """The reaches of one register, for placements ``lowest`` to ``highest``."""

    name: str
    lowest: int
    highest: int
    reaches: tuple[Reach, ...]
    thumb: bool = False


@dataclass(frozen=True, slots=True)
class Fit:
    """A hand in which a finger gets to a place."""

    placement: int
    thumb: bool
    shape: str
    strain: float


def _reaches(*rows: tuple[str, int, str, float]) -> tuple[Reach, ...]:
    return tuple(Reach(Finger(finger), offset, shape, strain) for finger, offset, shape, strain in rows)


#: Violin and viola, from half position to the octave: a fourth from 1 to 4, semitone alterations of each finger inside.
VIOLIN_NECK = _reaches(
    ("1", 0, SQUARE, 0.0), ("1", -1, SQUARE, 0.08), ("1", -2, EXTENDED, 1.3), ("1", -3, EXTENDED, 2.6),
    ("2", 1, SQUARE, 0.0), ("2", 2, SQUARE, 0.0), ("2", 0, CONTRACTED, 0.7), ("2", 3, EXTENDED, 1.0),
    ("3", 3, SQUARE, 0.0), ("3", 4, SQUARE, 0.08), ("3", 2, CONTRACTED, 0.5), ("3", 5, EXTENDED, 1.2),
    ("4", 5, SQUARE, 0.0), ("4", 4, SQUARE, 0.08), ("4", 3, CONTRACTED, 0.7), ("4", 6, EXTENDED, 0.9),
    ("4", 7, EXTENDED, 2.4),
)  # fmt: skip

#: From fifth position on the same in semitones, smaller in mm: wide stretches become ordinary.
VIOLIN_HIGH = _reaches(
    ("1", 0, SQUARE, 0.0), ("1", -1, SQUARE, 0.05), ("1", -2, EXTENDED, 0.6), ("1", -3, EXTENDED, 1.8),
    ("2", 1, SQUARE, 0.0), ("2", 2, SQUARE, 0.0), ("2", 0, CONTRACTED, 0.8), ("2", 3, EXTENDED, 0.6),
    ("3", 3, SQUARE, 0.0), ("3", 4, SQUARE, 0.05), ("3", 2, CONTRACTED, 0.6), ("3", 5, EXTENDED, 0.6),
    ("4", 5, SQUARE, 0.0), ("4", 4, SQUARE, 0.1), ("4", 3, CONTRACTED, 0.9), ("4", 6, EXTENDED, 0.4),
    ("4", 7, EXTENDED, 0.8),
)  # fmt: skip

#: Cello, half to 4th position: closed 0-1-2-3, extended 0-2-3-4, forward or with the first finger reaching back.
CELLO_NECK = _reaches(
    ("1", 0, CLOSED, 0.0), ("1", -1, BACK, 0.75),
    ("2", 1, CLOSED, 0.0), ("2", 2, FORWARD, 0.45),
    ("3", 2, CLOSED, 0.0), ("3", 3, FORWARD, 0.45),
    ("4", 3, CLOSED, 0.0), ("4", 4, FORWARD, 0.4), ("4", 5, FORWARD, 2.4),
)  # fmt: skip

#: Cello, 5th to 7th position: 1-2-3 a tone or a semitone apart, the fourth finger rare.
CELLO_HIGH = _reaches(
    ("1", 0, SQUARE, 0.0), ("1", -1, EXTENDED, 0.6),
    ("2", 1, SQUARE, 0.0), ("2", 2, SQUARE, 0.05),
    ("3", 3, SQUARE, 0.0), ("3", 2, SQUARE, 0.1), ("3", 4, EXTENDED, 0.4),
    ("4", 3, SQUARE, 1.2), ("4", 4, SQUARE, 1.2), ("4", 5, EXTENDED, 1.4),
)  # fmt: skip

#: Thumb frames: T-1-2-3 as the violin's 1-2-3-4; thumb to third finger a fourth.
THUMB_FRAME = _reaches(
    ("T", 0, THUMB, 0.0),
    ("1", 2, THUMB, 0.0), ("1", 1, THUMB, 0.1), ("1", 3, THUMB, 0.9),
    ("2", 3, THUMB, 0.0), ("2", 4, THUMB, 0.0), ("2", 2, THUMB, 0.6), ("2", 5, THUMB, 1.0),
    ("3", 5, THUMB, 0.0), ("3", 4, THUMB, 0.1), ("3", 6, THUMB, 0.5), ("3", 7, THUMB, 0.9), ("3", 3, THUMB, 0.8),
    ("4", 7, THUMB, 2.4), ("4", 6, THUMB, 2.4),
)  # fmt: skip

#: Double bass neck by the setting of the hand. The finger a setting leaves out stays possible where it is printed.
BASS_NECK = {
    "1-2-4": _reaches(
        ("1", 0, SQUARE, 0.0), ("1", -1, EXTENDED, 1.9), ("2", 1, SQUARE, 0.0), ("4", 2, SQUARE, 0.0),
        ("4", 3, EXTENDED, 1.9), ("3", 2, SQUARE, 1.8),
    ),
    "1-3-4": _reaches(
        ("1", 0, SQUARE, 0.0), ("1", -1, EXTENDED, 1.0), ("3", 1, SQUARE, 0.0), ("4", 2, SQUARE, 0.0),
        ("4", 3, EXTENDED, 1.9), ("2", 1, SQUARE, 1.8),
    ),
    "1-2-3-4": _reaches(
        ("1", 0, SQUARE, 0.0), ("1", -1, EXTENDED, 1.0), ("2", 1, SQUARE, 0.0), ("3", 2, SQUARE, 0.0),
        ("4", 3, SQUARE, 0.2),
    ),
}  # fmt: skip

#: Double bass from about VI: the third finger replaces the fourth.
BASS_HIGH = _reaches(
    ("1", 0, SQUARE, 0.0), ("1", -1, EXTENDED, 0.9), ("2", 1, SQUARE, 0.0), ("2", 2, SQUARE, 0.2),
    ("3", 2, SQUARE, 0.0), ("3", 3, SQUARE, 0.2), ("4", 2, SQUARE, 1.8),
)  # fmt: skip


@cache
def frames(family: str, bass_hand: str = "1-2-4") -> tuple[Frame, ...]:
    """The frames of ``family`` from the nut upwards; where two hold one placement, the first decides."""
    if family == "cello":
        return (
            Frame("neck", 1, 7, CELLO_NECK),
            Frame("upper", 8, 12, CELLO_HIGH),
            Frame("thumb", 5, 30, THUMB_FRAME, thumb=True),
        )
    if family == "bass":
        return (
            Frame("neck", 1, 9, BASS_NECK[bass_hand]),
            Frame("upper", 10, 13, BASS_HIGH),
            Frame("thumb", 7, 26, THUMB_FRAME, thumb=True),
        )
    return (Frame("neck", 1, 7, VIOLIN_NECK), Frame("high", 8, 31, VIOLIN_HIGH))


@cache
def reaches_from(family: str, placement: int, thumb: bool = False, bass_hand: str = "1-2-4") -> tuple[Reach, ...]:
    """Every place the fingers get to from a placement; empty where the family has no such hand."""
    for frame in frames(family, bass_hand):
        if frame.thumb == thumb and frame.lowest <= placement <= frame.highest:
            return frame.reaches
    return ()


@cache
def reach_of(
    family: str, placement: int, finger: Finger, place: int, thumb: bool = False, bass_hand: str = "1-2-4"
) -> Reach | None:
    """How ``finger`` gets to ``place`` from a placement, or None where it cannot without travelling."""
    found = (
        reach
        for reach in reaches_from(family, placement, thumb, bass_hand)
        if reach.finger is finger and placement + reach.offset == place
    )
    return next(found, None)


@cache
def fits(family: str, finger: Finger, place: int, bass_hand: str = "1-2-4") -> tuple[Fit, ...]:
    """Every hand in which ``finger`` gets to ``place`` (≥ 1), the easiest first."""
    found = [
        Fit(place - reach.offset, frame.thumb, reach.shape, reach.strain)
        for frame in frames(family, bass_hand)
        for reach in frame.reaches
        if reach.finger is finger and frame.lowest <= place - reach.offset <= frame.highest
    ]
    return tuple(sorted(found, key=lambda fit: fit.strain))


#: How far the outer fingers get to touch a harmonic: (finger, semitones above the placement) on the neck. The arm
#: opens and the finger need not press. Common practice, no source.
TOUCHING = {
    "violin": ((Finger.THIRD, 6), (Finger.FOURTH, 7)),
    "viola": ((Finger.THIRD, 6), (Finger.FOURTH, 7)),
    "cello": ((Finger.THIRD, 4), (Finger.THIRD, 5), (Finger.FOURTH, 5)),
    "bass": ((Finger.THIRD, 3), (Finger.THIRD, 4), (Finger.THIRD, 5), (Finger.FOURTH, 4)),
}
LOWEST_TOUCHING = {"violin": 4, "viola": 4, "cello": 6, "bass": 6}
"""Placements from which the hand opens so far: below, the frame is too wide."""
TOUCHING_STRAIN = 1.2
"""Strain of such a reach, before ``harmonic_reach`` lessens it."""


def fits_touching(family: str, finger: Finger, place: int, bass_hand: str = "1-2-4") -> tuple[Fit, ...]:
    """As ``fits``, for a finger that only touches the string: it reaches further out."""
    found = {(fit.placement, fit.thumb): fit for fit in fits(family, finger, place, bass_hand)}
    for reaching, offset in TOUCHING[family]:
        hand, known = (place - offset, False), found.get((place - offset, False))
        if reaching is finger and hand[0] >= LOWEST_TOUCHING[family] and (not known or known.strain > TOUCHING_STRAIN):
            found[hand] = Fit(*hand, EXTENDED, TOUCHING_STRAIN)
    return tuple(sorted(found.values(), key=lambda fit: fit.strain))


def first_finger_place(placement: int, thumb: bool) -> int:
    """Where the first finger lies in a hand: a tone above the thumb in a thumb frame."""
    return placement + 2 if thumb else placement


#: Semitones between two fingers that lie in ease, (least, most), by the frame. Wider or narrower is a stretch or a
#: squeeze of the excess. Common practice, no source.
SPANS = {
    "violin": {
        ("1", "2"): (1, 2), ("2", "3"): (1, 2), ("3", "4"): (1, 2), ("1", "3"): (3, 4), ("2", "4"): (3, 4),
        ("1", "4"): (5, 5),
    },
    "violin high": {
        ("1", "2"): (1, 3), ("2", "3"): (1, 3), ("3", "4"): (1, 3), ("1", "3"): (2, 4), ("2", "4"): (2, 4),
        ("1", "4"): (4, 6),
    },
    "violin top": {
        ("1", "2"): (1, 3), ("2", "3"): (1, 3), ("3", "4"): (1, 3), ("1", "3"): (2, 5), ("2", "4"): (2, 5),
        ("1", "4"): (4, 7),
    },
    "cello neck": {
        ("1", "2"): (1, 2), ("2", "3"): (1, 1), ("3", "4"): (1, 1), ("1", "3"): (2, 3), ("2", "4"): (2, 2),
        ("1", "4"): (3, 4),
    },
    "cello upper": {
        ("1", "2"): (1, 2), ("2", "3"): (1, 2), ("3", "4"): (1, 2), ("1", "3"): (2, 4), ("2", "4"): (2, 3),
        ("1", "4"): (3, 5),
    },
    "thumb": {
        ("T", "1"): (1, 2), ("1", "2"): (1, 2), ("2", "3"): (1, 2), ("T", "2"): (3, 4), ("1", "3"): (2, 4),
        ("T", "3"): (4, 6),
    },
    "bass neck": {("1", "2"): (1, 1), ("2", "4"): (1, 1), ("1", "4"): (2, 2)},
    "bass upper": {("1", "2"): (1, 2), ("2", "3"): (1, 2), ("1", "3"): (2, 3)},
}  # fmt: skip


#: Strain by the semitones of excess: the second hurts more than the first, a third is out of reach.
EXCESS_STRAIN = (0.0, 0.6, 3.6, 8.0)


def span_frame(family: str, placement: int, thumb: bool) -> str:
    """The row of ``SPANS`` that holds for a hand."""
    if thumb:
        return "thumb"
    if family in ("cello", "bass"):
        return f"{family} {frame_name(family, placement)}"
    return "violin top" if placement >= 13 else "violin high" if placement >= 8 else "violin"


def frame_name(family: str, placement: int) -> str:
    """'neck' or 'upper' on cello and bass."""
    return "neck" if placement <= frames(family)[0].highest else "upper"


@cache
def span_excess(family: str, placement: int, thumb: bool, lower: Finger, higher: Finger, semitones: int) -> float:
    """Strain of two fingers wider apart or closer than in ease; 0 where the table says nothing."""
    spans = SPANS[span_frame(family, placement, thumb)]
    least, most = spans.get((lower.value, higher.value), (semitones, semitones))
    excess = max(0, least - semitones, semitones - most)
    return EXCESS_STRAIN[min(excess, len(EXCESS_STRAIN) - 1)]


#: How far a hand creeps at most, in semitones of the placement: it re-forms around a finger that reached out from it.
GREATEST_CREEP = {"violin": 2, "viola": 2, "cello": 1, "bass": 1}
GREATEST_CREEP_STRAIN = 1.2
"""A reach or a span with more strain than this carries no creep."""

#: Sounding semitones above the open string of a natural harmonic → places where the string may be touched for it, the
#: usual one first. Source: the partials 2–6 of a string (12, 19.02, 24, 27.86, 31.02 semitones) rounded to semitones.
NATURAL_HARMONICS = {12: (12,), 19: (19, 7), 24: (24, 5), 28: (28, 16, 9, 4), 31: (31,)}
