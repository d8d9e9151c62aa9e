"""Which fingers and strings an editor would print over a fingered passage: enough to play it so, and no more.

Conventions: a finger is printed at the first stop, where the hand comes to another placement, where it stretches or
squeezes, where the same finger moves to another place, where an open string's pitch could be stopped or open, and at
the second finger of a substitution. A string is printed where finger and pitch alone would be read as another string.
What the edition already prints is not printed again. Common practice of editors, no single source.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, replace
from functools import lru_cache

from truestop.domain.frame import RESTING, fits
from truestop.domain.instrument import Instrument
from truestop.domain.passage import Finger, Harmonic, Note, Passage
from truestop.domain.stop import FingeredPassage, Step, Stop

NO_WORDS: Mapping[str, str] = {}


@dataclass(frozen=True, slots=True, kw_only=True)
class PrintedMarks:
    """What is to be added at one note."""

    fingers: tuple[Finger, ...] = ()
    substitutes: bool = False
    """Whether the first of ``fingers`` replaces a finger that the edition prints."""
    string: int | None = None
    harmonic: bool = False
    hand: str | None = None


@dataclass(slots=True)
class _Hand:
    """Where the reader of the page believes the hand to be."""

    placement: int
    string: int | None = None
    last: dict[int, Stop] | None = None
    arrived: bool = False


def choose_marks(
    fingered: FingeredPassage,
    *,
    sparse: bool = True,
    also: AbstractSet[str] = frozenset(),
    hands: Mapping[str, str] = NO_WORDS,
) -> dict[str, PrintedMarks]:
    """Note id → marks to add. Without ``sparse`` every stop gets finger and string; ``also`` names notes that do.

    ``hands`` has words for notes at which a finger alone does not tell how the hand gets there.
    """
    notes = {note.id: note for note in fingered.passage.notes}
    hand = _Hand(placement=2)
    chosen: dict[str, PrintedMarks] = {}
    for step in fingered.steps:
        told = any(stop.note_id in hands for stop in step.stops)
        wanted = told or not sparse or _step_needs_fingers(step, hand, fingered.instrument)
        for stop in step.stops:
            string = not sparse or stop.note_id in also or _needs_string(stop, hand, fingered.instrument)
            _add(chosen, stop, notes[stop.note_id], finger=wanted or string, string=string)
            if stop.note_id in hands:
                chosen[stop.note_id] = replace(chosen[stop.note_id], hand=hands[stop.note_id])
        _follow(hand, step)
    return chosen


def _add(chosen: dict[str, PrintedMarks], stop: Stop, note: Note, *, finger: bool, string: bool) -> None:
    before = chosen.get(stop.note_id)
    printed = note.marks.fingers
    second = before is not None and (before.fingers[-1:] or printed[:1]) not in ((), (stop.finger,))
    wants_finger = (not printed and finger and before is None) or (second and stop.finger not in printed)
    fingers = (*(before.fingers if before else ()), stop.finger) if wants_finger else before.fingers if before else ()
    chosen[stop.note_id] = PrintedMarks(
        fingers=fingers,
        substitutes=bool(printed) and bool(fingers),
        string=(before.string if before else None) or (stop.string if string and note.marks.string is None else None),
        harmonic=stop.harmonic and note.marks.harmonic.value == "none",
        hand=before.hand if before else None,
    )


def _step_needs_fingers(step: Step, hand: _Hand, instrument: Instrument) -> bool:
    fingered = step.fingered
    if not hand.arrived and fingered:
        return True
    if any(stop.placement is not None and stop.placement != hand.placement for stop in fingered):
        return True
    return any(_stop_needs_finger(stop, hand, instrument) for stop in step.stops)


def _stop_needs_finger(stop: Stop, hand: _Hand, instrument: Instrument) -> bool:
    stretched = stop.is_fingered and stop.shape not in RESTING
    before = (hand.last or {}).get(stop.string)
    slides = before is not None and stop.is_fingered and before.finger is stop.finger and before.place != stop.place
    opens = any(pitch.midi == stop.pitch.midi for pitch in instrument.strings)
    unclear = opens and (stop.is_fingered or hand.placement > 2)
    return stretched or slides or unclear or stop.harmonic


def _needs_string(stop: Stop, hand: _Hand, instrument: Instrument) -> bool:
    if stop.is_open or stop.harmonic:
        return stop.harmonic
    assumed = _assumed_string(stop.pitch.midi, stop.finger, hand.placement, hand.string, instrument)
    return assumed not in (None, stop.string)


@lru_cache(maxsize=4096)
def _assumed_string(
    midi: int, finger: Finger, placement: int, last_string: int | None, instrument: Instrument
) -> int | None:
    """The string that pitch and finger suggest to a reader: where the hand has least far to go; None without any."""
    ranked: list[tuple[float, int, int]] = []
    for string in range(1, len(instrument.strings) + 1):
        place = instrument.place_of(midi, string)
        if 1 <= place <= instrument.highest_place:
            ways = [abs(fit.placement - placement) + fit.strain for fit in fits(instrument.family, finger, place)]
            if ways:
                ranked.append((min(ways), 0 if string == last_string else 1, string))
    return min(ranked)[2] if ranked else None


def _follow(hand: _Hand, step: Step) -> None:
    fingered: Sequence[Stop] = step.fingered
    if fingered:
        hand.placement = step.placement if step.placement is not None else hand.placement
        hand.arrived = True
    hand.string = step.stops[-1].string if step.stops else hand.string
    hand.last = {stop.string: stop for stop in step.stops}


def print_marks(
    fingered: FingeredPassage, *, also: AbstractSet[str] = frozenset(), hands: Mapping[str, str] = NO_WORDS
) -> Passage:
    """The passage with the marks added, for sources that are not written in MusicXML."""
    chosen = choose_marks(fingered, also=also, hands=hands)
    notes = tuple(_printed(note, chosen[note.id]) if note.id in chosen else note for note in fingered.passage.notes)
    return replace(fingered.passage, notes=notes)


def _printed(note: Note, added: PrintedMarks) -> Note:
    if not (added.fingers or added.string or added.harmonic or added.hand):
        return note
    marks = note.marks
    harmonic = Harmonic.NATURAL if added.harmonic and marks.harmonic is Harmonic.NONE else marks.harmonic
    fingers = (*marks.fingers, *added.fingers)
    hand = ", ".join(words for words in (marks.hand, added.hand) if words) or None
    return replace(
        note,
        marks=replace(marks, fingers=fingers, string=added.string or marks.string, harmonic=harmonic, hand=hand),
    )
