"""The hand at rest: where its fingers lie in a placement, and what else it reaches from there.

Conventions: places are semitones above the open string. Which fingers a frame has and how far each may stand from the
placement follow from the instrument and the hand's shape (tables below; common practice, no source, but for the cello
neck after Davydov 1888). Fingers that the passage itself shows in the same placement keep the place they have there.
"""

from __future__ import annotations

from dataclasses import dataclass

from truestop.domain.passage import Finger
from truestop.domain.pitch import FIFTHS_FROM_C, Pitch, spell
from truestop.domain.stop import FingeredPassage, Stop

T, F1, F2, F3, F4 = Finger.THUMB, Finger.FIRST, Finger.SECOND, Finger.THIRD, Finger.FOURTH

#: Places of each finger in semitones from the placement, the usual one first.
REACH: dict[str, dict[Finger, tuple[int, ...]]] = {
    "upper": {F1: (0, -1), F2: (2, 1), F3: (3, 4), F4: (5, 4)},
    "closed": {F1: (0,), F2: (1,), F3: (2,), F4: (3,)},
    "extended back": {F1: (-1,), F2: (1,), F3: (2,), F4: (3,)},
    "extended forward": {F1: (0,), F2: (2,), F3: (3,), F4: (4,)},
    "high cello": {F1: (0,), F2: (2, 1), F3: (3, 4)},
    "bass": {F1: (0,), F2: (1,), F4: (2,)},
    "high bass": {F1: (0,), F2: (1,), F3: (2,)},
    "thumb": {T: (0,), F1: (2, 1), F2: (4, 3), F3: (5, 4)},
}
#: Placement from which the cello's fourth finger and the bass's fourth finger give way to the third.
HIGH_FROM = {"cello": 8, "bass": 10}
HIGH_FRAME = {"cello": "high cello", "bass": "high bass"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Hand:
    """A hand at rest at ``placement`` of an instrument ``family``, with its ``shape`` as stops name it."""

    family: str
    placement: int
    shape: str
    key_fifths: int

    @property
    def reach(self) -> dict[Finger, tuple[int, ...]]:
        """Semitones from the placement that each finger of this frame may stand at."""
        if self.shape == "thumb":
            return REACH["thumb"]
        if self.family in ("violin", "viola"):
            return REACH["upper"]
        if self.placement >= HIGH_FROM[self.family]:
            return REACH[HIGH_FRAME[self.family]]
        return REACH["bass"] if self.family == "bass" else REACH.get(self.shape, REACH["closed"])

    def finger_at(self, place: int) -> Finger | None:
        """The finger that stops ``place`` from here; the open string at 0; None out of reach."""
        if place == 0:
            return Finger.OPEN
        found = [
            (offsets.index(place - self.placement), finger.rank, finger)
            for finger, offsets in self.reach.items()
            if place - self.placement in offsets
        ]
        return min(found)[2] if found else None


def hand_of(stop: Stop, fingered: FingeredPassage, key_fifths: int) -> Hand | None:
    """The hand that makes ``stop``; None for an open string."""
    if stop.placement is None:
        return None
    family = fingered.instrument.family
    return Hand(family=family, placement=stop.placement, shape=stop.shape, key_fifths=key_fifths)


def frame_stops(anchor: Stop, fingered: FingeredPassage, key_fifths: int) -> tuple[Stop, ...]:
    """The stops of all fingers of the frame around ``anchor``, on its string, from the nut's side on."""
    hand = hand_of(anchor, fingered, key_fifths)
    if hand is None:
        return ()
    known = _known_stops(anchor, fingered)
    stops = [known.get(finger) or _frame_stop(finger, anchor, hand, fingered) for finger in hand.reach]
    return tuple(sorted((stop for stop in stops if stop.place > 0), key=lambda stop: stop.place))


def stop_at(pitch: Pitch, string: int, hand: Hand, fingered: FingeredPassage) -> Stop | None:
    """How ``hand`` plays ``pitch`` on ``string`` without travelling; None out of reach."""
    if not 1 <= string <= len(fingered.instrument.strings):
        return None
    place = fingered.instrument.place_of(pitch.midi, string)
    finger = hand.finger_at(place) if place >= 0 else None
    if finger is None:
        return None
    if finger is Finger.OPEN:
        return open_stop(pitch, string)
    return make_stop(pitch, string, finger, place, hand)


def open_stop(pitch: Pitch, string: int) -> Stop:
    """An open string."""
    return Stop(note_id="", pitch=pitch, string=string, finger=Finger.OPEN, place=0, placement=None, shape="open")


def make_stop(pitch: Pitch, string: int, finger: Finger, place: int, hand: Hand) -> Stop:
    """A stop of ``hand`` that no passage has shown."""
    return Stop(
        note_id="", pitch=pitch, string=string, finger=finger, place=place, placement=hand.placement, shape=hand.shape
    )


def _known_stops(anchor: Stop, fingered: FingeredPassage) -> dict[Finger, Stop]:
    known = {anchor.finger: anchor}
    for step in fingered.steps:
        for stop in step.stops:
            same_hand = stop.placement == anchor.placement and (stop.shape == "thumb") == (anchor.shape == "thumb")
            if same_hand and stop.string == anchor.string and not stop.harmonic:
                known.setdefault(stop.finger, stop)
    return known


def _frame_stop(finger: Finger, anchor: Stop, hand: Hand, fingered: FingeredPassage) -> Stop:
    offsets = hand.reach[finger]
    open_midi = fingered.instrument.open_pitch(anchor.string).midi
    letter = _letter_pitch(finger, anchor, hand)
    place = letter.midi - open_midi - hand.placement
    if place in offsets and len(offsets) > 1:
        return make_stop(letter, anchor.string, finger, place + hand.placement, hand)
    place = hand.placement + min(offsets, key=lambda offset: abs(offset - place))
    pitch = spell(open_midi + place, key_fifths=hand.key_fifths)
    return make_stop(pitch, anchor.string, finger, place, hand)


def _letter_pitch(finger: Finger, anchor: Stop, hand: Hand) -> Pitch:
    """The pitch a finger has when each finger takes the next letter, altered as the key has it."""
    octave, index = divmod(anchor.pitch.diatonic + finger.rank - anchor.finger.rank, 7)
    step = "CDEFGAB"[index]
    return Pitch(step, key_alter(step, hand.key_fifths), octave)


def key_alter(step: str, key_fifths: int) -> int:
    """Alteration of a letter by the key signature.

    >>> key_alter("F", 1), key_alter("B", -2), key_alter("C", 1)
    (1, -1, 0)
    """
    return (key_fifths - FIFTHS_FROM_C[step] + 5) // 7
