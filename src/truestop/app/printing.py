"""Printing a fingering so that whoever reads the page plays it so."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field, replace
from typing import Protocol

from truestop.domain.fingering import finger_passage
from truestop.domain.hand_mark import words_for
from truestop.domain.instrument import Instrument
from truestop.domain.passage import Passage
from truestop.domain.shift import Way
from truestop.domain.stop import FingeredPassage, Step
from truestop.domain.way import find_way


def without_fingers(passage: Passage) -> Passage:
    """The passage as if the edition printed no finger, no string and no word about the hand; harmonics and bowings
    stay.
    """
    bare = (
        replace(note, marks=replace(note.marks, fingers=(), alternates=(), string=None, hand=None))
        for note in passage.notes
    )
    return replace(passage, notes=tuple(bare), remarks=())


MOST_THINNED = 16
"""So many words are looked at again, each by reading the page once more or a few times."""


@dataclass(frozen=True, slots=True)
class Extra:
    """What is printed beyond an editor's choice, because the page would else be read otherwise."""

    also: frozenset[str] = frozenset()
    """Notes that get finger and string."""
    hands: Mapping[str, str] = field(default_factory=dict)
    """Note id → words that tell how the hand gets there."""


class MarkPrinter(Protocol):
    """Prints a fingering over its passage: what an editor would, and what is extra."""

    def __call__(self, fingered: FingeredPassage, *, also: AbstractSet[str], hands: Mapping[str, str]) -> Passage:
        """The passage with its marks."""
        ...


def extra_marks(fingered: FingeredPassage, print_marks: MarkPrinter) -> Extra:
    """The marks without which the page would be read with other strings, fingers, positions or shifts.

    Fingers alone do not tell whether a note is reached by opening the hand or by moving it: where the reading begins to
    differ in that, words say it, first the plainest, then such as leave no choice.
    """
    extra, way = Extra(), _way_of(fingered)
    while (more := _with_more(extra, fingered, way, print_marks)) != extra:
        extra = more
    return _thinned(extra, fingered, way, print_marks)


def _thinned(extra: Extra, fingered: FingeredPassage, way: Way, print_marks: MarkPrinter) -> Extra:
    """``extra`` without words that words found later have made needless, or with plainer ones."""
    steps = {stop.note_id: step for step in reversed(fingered.steps) for stop in step.stops}
    for note_id, words in [*extra.hands.items()][:MOST_THINNED]:
        plainer = words_for(steps[note_id], fingered.instrument)
        for fewer in ("", *plainer[: plainer.index(words)]):
            hands = {**extra.hands, note_id: fewer} if fewer else {**extra.hands}
            if not fewer:
                del hands[note_id]
            tried = replace(extra, hands=hands)
            if _with_more(tried, fingered, way, print_marks) == tried:
                extra = tried
                break
    return extra


def _with_more(extra: Extra, fingered: FingeredPassage, way: Way, print_marks: MarkPrinter) -> Extra:
    """``extra`` and what one more reading of the page asks for: fingers and strings first, then the hand."""
    read = finger_passage(print_marks(fingered, also=extra.also, hands=extra.hands), fingered.instrument)
    misread = {stop.note_id for step in _first_of_each_stretch(fingered, read, _fingers) for stop in step.stops}
    if misread - extra.also:
        return replace(extra, also=extra.also | misread)
    words = _words_at(_first_of_each_stretch(fingered, read, _position), extra, fingered.instrument)
    if not words and _way_of(read) != way:
        words = _words_at(_first_of_each_stretch(fingered, read, _placement), extra, fingered.instrument)
    return replace(extra, hands={**extra.hands, **words})


def _words_at(steps: Iterable[Step], extra: Extra, instrument: Instrument) -> dict[str, str]:
    """The next plainest words at each step that has fingers, as long as there are more."""
    found: dict[str, str] = {}
    for step in steps:
        if step.fingered:
            note_id, words = step.fingered[0].note_id, words_for(step, instrument)
            tried = words.index(extra.hands[note_id]) + 1 if extra.hands.get(note_id) in words else 0
            found |= {note_id: words[tried]} if tried < len(words) else {}
    return found


def _way_of(fingered: FingeredPassage) -> Way:
    """The way of the hand, whichever of its fingers are printed."""
    steps = (replace(step, stops=tuple(replace(stop, given=False) for stop in step.stops)) for step in fingered.steps)
    return find_way(replace(fingered, steps=tuple(steps)))


def _fingers(step: Step) -> object:
    return [(stop.string, stop.finger) for stop in step.stops]


def _position(step: Step) -> object:
    return step.position if step.fingered else None, [stop.shape for stop in step.fingered]


def _placement(step: Step) -> object:
    return [stop.placement for stop in step.fingered]


def _first_of_each_stretch(
    wanted: FingeredPassage, read: FingeredPassage, what: Callable[[Step], object]
) -> Iterator[Step]:
    """The steps at which a reading begins to differ; the second finger of a substitution cannot be marked."""
    before, last = False, tuple[str, ...]()
    for one, other in zip(wanted.steps, read.steps, strict=False):
        ids = tuple(stop.note_id for stop in one.stops)
        differs = what(one) != what(other)
        if differs and not before and ids != last:
            yield one
        before, last = differs, ids
