"""The hand at rest: where its fingers lie in a placement, and what else it reaches from there.

Conventions: places are semitones above the open string. The frame's fingers lie where guide notes would put them, so
that an exercise and the guide note before it never disagree.
"""

from __future__ import annotations

from truestop.domain.frame import BACK, FORWARD, RESTING, reaches_from
from truestop.domain.guide import Guidebook, Hand, is_thumb, measure_of
from truestop.domain.passage import Finger
from truestop.domain.pitch import FIFTHS_FROM_C, Pitch
from truestop.domain.stop import Stop

PLAIN_STRETCH = 1.0
AT_REST = RESTING | {BACK, FORWARD}
"""Shapes in which the hand finds a note without travelling: those of its frame, and the cello's extended frames."""


def hand_of(stop: Stop, step: int) -> Hand | None:
    """The hand that makes ``stop`` at a step of the passage; None for an open string."""
    if stop.placement is None:
        return None
    return Hand(placement=stop.placement, thumb=is_thumb(stop), step=step)


def frame_stops(anchor: Stop, step: int, book: Guidebook) -> tuple[Stop, ...]:
    """The stops of all fingers of the frame around ``anchor``, on its string, from the nut's side on."""
    hand = hand_of(anchor, step)
    if hand is None:
        return ()
    reaches = reaches_from(book.instrument.family, hand.placement, hand.thumb)
    fingers = sorted(
        {reach.finger for reach in reaches if reach.shape in RESTING and reach.strain < 1.0},
        key=lambda finger: finger.rank,
    )
    stops = [anchor if finger is anchor.finger else _frame_stop(finger, anchor, hand, book) for finger in fingers]
    found = {stop.place: stop for stop in stops if stop is not None}
    return tuple(found[place] for place in sorted(found))


def _frame_stop(finger: Finger, anchor: Stop, hand: Hand, book: Guidebook) -> Stop | None:
    """Where guide notes would put the finger; the outermost finger stretches to the note of the key."""
    key_fifths = measure_of(book.fingered, hand.step).key_fifths
    lie = book.lie(finger, anchor.string, hand, anchor)
    if lie is None:
        return None
    in_key = _in_key(lie.pitch, key_fifths)
    place = lie.place + in_key.midi - lie.pitch.midi
    reaches = reaches_from(book.instrument.family, hand.placement, hand.thumb)
    stretches = finger is max((reach.finger for reach in reaches if reach.strain < 1.0), key=lambda each: each.rank)
    reached = any(
        reach.finger is finger and hand.placement + reach.offset == place and reach.strain <= PLAIN_STRETCH
        for reach in reaches
    )
    if stretches and reached and place > lie.place and not _is_played(finger, anchor, book):
        return _make_stop(in_key, anchor.string, finger, place, anchor)
    return _make_stop(lie.pitch, anchor.string, finger, lie.place, anchor)


def _in_key(pitch: Pitch, key_fifths: int) -> Pitch:
    alter = (key_fifths - FIFTHS_FROM_C[pitch.step] + 5) // 7
    return Pitch(pitch.step, alter, pitch.octave)


def _is_played(finger: Finger, anchor: Stop, book: Guidebook) -> bool:
    """Whether the passage itself shows where the finger lies in this placement."""
    return any(
        (stop.finger, stop.string, stop.placement) == (finger, anchor.string, anchor.placement)
        for step in book.fingered.steps
        for stop in step.stops
    )


def stop_at(pitch: Pitch, string: int, anchor: Stop, step: int, book: Guidebook) -> Stop | None:
    """How the hand that makes ``anchor`` plays ``pitch`` on ``string`` without travelling; None out of reach.

    The anchor's own finger stays where it lies: it is not slid along its string.
    """
    hand = hand_of(anchor, step)
    place = book.instrument.place_of(pitch.midi, string)
    if hand is None or place < 0:
        return None
    if place == 0:
        return open_stop(pitch, string)
    reaches = [
        (reach.strain, reach.finger.rank, reach.finger)
        for reach in reaches_from(book.instrument.family, hand.placement, hand.thumb)
        if hand.placement + reach.offset == place
        and reach.shape in AT_REST
        and reach.strain <= PLAIN_STRETCH
        and (reach.finger is not anchor.finger or string != anchor.string or place == anchor.place)
    ]
    return _make_stop(pitch, string, min(reaches)[2], place, anchor) if reaches else None


def open_stop(pitch: Pitch, string: int) -> Stop:
    """An open string."""
    return Stop(note_id="", pitch=pitch, string=string, finger=Finger.OPEN, place=0, placement=None, shape="open")


def _make_stop(pitch: Pitch, string: int, finger: Finger, place: int, beside: Stop) -> Stop:
    """A stop of the hand that makes ``beside``, which no passage has shown."""
    return Stop(
        note_id="",
        pitch=pitch,
        string=string,
        finger=finger,
        place=place,
        placement=beside.placement,
        shape=beside.shape,
    )
