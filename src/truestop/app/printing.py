"""Printing a fingering so that whoever reads the page plays it so."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Protocol

from truestop.domain.fingering import Reader
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


MOST_TRIALS = 16
"""So many times the page is read to find words that may go."""
APART = 24
"""Steps between words that have nothing to do with each other: they are tried in one reading."""


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
    page = _Page(fingered, print_marks)
    extra, reading = Extra(), page.read(Extra())
    while (more := _with_more(extra, reading, fingered)) != extra:
        extra, reading = more, page.read(more)
    return _thinned(extra, reading, page)


@dataclass(frozen=True, slots=True)
class _Reading:
    """At which steps the page is read otherwise than it was meant, in three respects."""

    fingers: tuple[bool, ...]
    position: tuple[bool, ...]
    placement: tuple[bool, ...]
    """Told only where it makes another way of the hand by itself."""

    @property
    def faults(self) -> frozenset[int]:
        """The steps that are read otherwise in any respect."""
        return frozenset(index for index, kinds in enumerate(zip(*self._all, strict=True)) if any(kinds))

    @property
    def _all(self) -> tuple[tuple[bool, ...], ...]:
        return self.fingers, self.position, self.placement


class _Page:
    """A fingering to be printed, and how the page of it is read."""

    def __init__(self, fingered: FingeredPassage, print_marks: MarkPrinter) -> None:
        self.fingered, self._print = fingered, print_marks
        self._hands, self._way = [_hand(step) for step in fingered.steps], _way_of(fingered)
        self._reader = Reader(fingered.passage, fingered.instrument)
        self._known: dict[tuple[AbstractSet[str], tuple[tuple[str, str], ...]], _Reading] = {}

    def read(self, extra: Extra) -> _Reading:
        """The page with these extra marks, read."""
        key = extra.also, tuple(sorted(extra.hands.items()))
        if key not in self._known:
            self._known[key] = self._read(extra)
        return self._known[key]

    def _read(self, extra: Extra) -> _Reading:
        steps = self._reader.read(self._print(self.fingered, also=extra.also, hands=extra.hands))
        otherwise = [index for index, step in enumerate(steps) if _hand(step) != self._hands[index]]
        fingers, position, placement = ([False] * len(steps) for _ in range(3))
        for index in otherwise:
            one, other = self.fingered.steps[index], steps[index]
            fingers[index] = _fingers(one) != _fingers(other)
            position[index] = _position(one) != _position(other)
            placement[index] = _placement(one) != _placement(other)
        alone = any(placement[index] and not fingers[index] and not position[index] for index in otherwise)
        if not alone or _way_of(replace(self.fingered, steps=steps)) == self._way:
            placement = [False] * len(steps)
        return _Reading(tuple(fingers), tuple(position), tuple(placement))


def _with_more(extra: Extra, reading: _Reading, fingered: FingeredPassage) -> Extra:
    """``extra`` and what a reading of the page with it asks for: fingers and strings first, then the hand."""
    steps = fingered.steps
    misread = {stop.note_id for step in _first_of_each_stretch(steps, reading.fingers) for stop in step.stops}
    if misread - extra.also:
        return replace(extra, also=extra.also | misread)
    words = _words_at(_first_of_each_stretch(steps, reading.position), extra, fingered.instrument)
    words = words or _words_at(_first_of_each_stretch(steps, reading.placement), extra, fingered.instrument)
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


@dataclass(slots=True)
class _Trials:
    """What may be tried with a few words near each other, one thing after another."""

    left: list[tuple[int, str, list[str]]]
    """Step, note, and the words to try there instead, '' for none, the best first."""

    def refused(self) -> None:
        """What was tried is misread: the next thing at that note, or the next note."""
        self.left[0][2].pop(0)
        if not self.left[0][2]:
            self.left.pop(0)


def _thinned(extra: Extra, reading: _Reading, page: _Page) -> Extra:
    """``extra`` without words that words found later have made needless, or with plainer ones.

    Words far from each other are tried together: a misreading tells against the one it begins nearest to. Where that
    does not come out, they are tried one by one.
    """
    for apart in (APART, len(page.fingered.steps)):
        thinned, known = _without_needless(extra, reading, page, apart), reading.faults
        if thinned is extra or page.read(thinned).faults <= known:
            return thinned
    return extra


def _without_needless(extra: Extra, reading: _Reading, page: _Page, apart: int) -> Extra:
    """``extra`` after all trials, with words further ``apart`` than so many steps tried together."""
    groups, thinned = _groups(extra, page.fingered, apart), extra
    for _ in range(MOST_TRIALS):
        trying = [group for group in groups if group.left]
        if not trying:
            break
        changes = {note_id: words[0] for _, note_id, words in (group.left[0] for group in trying)}
        begun = _beginnings(page.read(_reworded(thinned, changes)).faults - reading.faults)
        blamed = {min(range(len(trying)), key=lambda n: abs(trying[n].left[0][0] - step)) for step in begun}
        for number, group in enumerate(trying):
            if number in blamed:
                group.refused()
            else:
                _, note_id, words = group.left.pop(0)
                thinned = _reworded(thinned, {note_id: words[0]})
    return thinned


def _groups(extra: Extra, fingered: FingeredPassage, apart: int) -> list[_Trials]:
    """The words that may go or be plainer, in the order in which they were found, parted where they lie apart."""
    index_of = {stop.note_id: index for index, step in reversed([*enumerate(fingered.steps)]) for stop in step.stops}
    starts = sorted(index_of[note_id] for note_id in extra.hands)
    ends = [later for before, later in pairwise(starts) if later - before > apart]
    groups = [_Trials([]) for _ in range(len(ends) + 1)]
    for note_id, words in extra.hands.items():
        index = index_of[note_id]
        plainer = words_for(fingered.steps[index], fingered.instrument)
        groups[bisect_right(ends, index)].left.append((index, note_id, ["", *plainer[: plainer.index(words)]]))
    return groups


def _reworded(extra: Extra, changes: Mapping[str, str]) -> Extra:
    """``extra`` with other words at some notes, '' for none."""
    hands = {note_id: changes.get(note_id, words) for note_id, words in extra.hands.items()}
    return replace(extra, hands={note_id: words for note_id, words in hands.items() if words})


def _beginnings(indices: Iterable[int]) -> list[int]:
    """The first of every row of indices that follow each other."""
    rows = sorted(indices)
    return [index for number, index in enumerate(rows) if number == 0 or rows[number - 1] != index - 1]


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


def _hand(step: Step) -> object:
    """All that the way of the hand follows from."""
    return step.position, [
        (stop.string, stop.finger, stop.place, stop.placement, stop.shape, stop.harmonic) for stop in step.stops
    ]


def _first_of_each_stretch(steps: Sequence[Step], differs: Sequence[bool]) -> Iterator[Step]:
    """The steps at which a reading begins to differ; the second finger of a substitution cannot be marked."""
    before, last = False, tuple[str, ...]()
    for step, now in zip(steps, differs, strict=False):
        ids = tuple(stop.note_id for stop in step.stops)
        if now and not before and ids != last:
            yield step
        before, last = now, ids
