"""Completing: string, finger and placement of every note, from what the page prints."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from truestop.domain.errors import FingeringError
from truestop.domain.fingering.choices import departure
from truestop.domain.fingering.figures import Patterns, find_patterns, liken_figures
from truestop.domain.fingering.grips import Grip
from truestop.domain.fingering.moments import Moment, make_moments, renew_moments
from truestop.domain.fingering.search import Pin, Problem, shelf_for, solve, state_problem
from truestop.domain.fingering.steps import make_steps
from truestop.domain.fingering.weights import USUAL, Style
from truestop.domain.instrument import Instrument
from truestop.domain.passage import Passage
from truestop.domain.stop import FingeredPassage, Step

_NOTE_IDS = (
    "truestop shifts PASSAGE --ids shows the notes' ids; where the file has none they are m, bar, n, place: m3n2."
)
NO_PINS: Mapping[str, Pin] = {}


def pose(passage: Passage, instrument: Instrument, style: Style, pins: Mapping[str, Pin]) -> Problem:
    """The problem a passage poses; FingeringError where it is empty or a note cannot be played as marked."""
    return _pose(passage, make_moments(passage), instrument, style, pins)


def _pose(
    passage: Passage, moments: Sequence[Moment], instrument: Instrument, style: Style, pins: Mapping[str, Pin]
) -> Problem:
    if not moments:
        raise FingeringError("The passage holds no notes.", hint="Choose bars or a part with notes.")
    unknown = sorted(set(pins) - {note.id for note in passage.notes})
    if unknown:
        raise FingeringError(f"No note is called '{unknown[0]}'.", hint=_NOTE_IDS)
    return state_problem(moments, shelf_for(instrument, style), pins)


def finger_passage(
    passage: Passage,
    instrument: Instrument,
    *,
    style: Style = USUAL,
    pins: Mapping[str, Pin] = NO_PINS,
    numbering: str = "lower-upper",
) -> FingeredPassage:
    """Every note of ``passage`` in the hand: printed marks (and the player's ``pins``) kept, the rest completed.

    Raises FingeringError for an empty passage, a note out of range, or a mark that cannot be played.
    """
    problem = pose(passage, instrument, style, pins)
    return put_in_hand(passage, problem, solve_alike(problem), numbering)


class Reader:
    """Fingers one passage again and again under other marks; what its notes alone tell is worked out once."""

    def __init__(self, passage: Passage, instrument: Instrument, *, numbering: str = "lower-upper") -> None:
        self._instrument, self._numbering = instrument, numbering
        self._moments = make_moments(passage)
        self._patterns = find_patterns(self._moments)

    def read(self, passage: Passage) -> tuple[Step, ...]:
        """The steps that ``finger_passage`` gives for the same notes with the marks of ``passage``."""
        moments = renew_moments(self._moments, {note.id: note for note in passage.notes})
        if moments is None:
            return finger_passage(passage, self._instrument, numbering=self._numbering).steps
        problem = _pose(passage, moments, self._instrument, USUAL, NO_PINS)
        path = solve_alike(problem, self._patterns)
        grips = [choices.grips[index] for choices, index in zip(problem.choices, path, strict=True)]
        return make_steps(passage, moments, grips, self._instrument, self._numbering)


def put_in_hand(passage: Passage, problem: Problem, path: Sequence[int], numbering: str) -> FingeredPassage:
    """The fingered passage of one way through the problem."""
    instrument = problem.shelf.instrument
    grips = [choices.grips[index] for choices, index in zip(problem.choices, path, strict=True)]
    steps = make_steps(passage, problem.moments, grips, instrument, numbering)
    remarks = (*_passed_over(passage), *_not_so(problem, grips), *_broken_chords(problem.moments, grips))
    return FingeredPassage(passage=passage, instrument=instrument, steps=steps, remarks=remarks)


def _passed_over(passage: Passage) -> Iterator[str]:
    """A sentence for every printed mark that was not taken in."""
    for remark in passage.remarks:
        yield f"bar {passage.measure_at(remark.onset).number}: {remark.text}"


def _not_so(problem: Problem, grips: Sequence[Grip]) -> Iterator[str]:
    """A sentence for all words about the hand that no hand can follow at their note."""
    for moment, choices, grip in zip(problem.moments, problem.choices, grips, strict=True):
        for note, wish in zip(moment.notes, choices.wishes, strict=False):
            if wish.hand is not None and departure(grip, wish.hand, problem.shelf.instrument) is None:
                what = f"'{note.marks.hand}' does not fit {note.written.pretty} as it is taken"
                yield f"bar {note.measure}: {what}; it is passed over."


def _broken_chords(moments: Sequence[Moment], grips: Sequence[Grip]) -> Iterator[str]:
    """A sentence for every chord that no hand holds at once."""
    for moment, grip in zip(moments, grips, strict=True):
        if not grip.together:
            chord = " and ".join(note.written.pretty for note in moment.notes)
            where = f"bar {moment.notes[0].measure}"
            yield f"{where}: no hand holds {chord} together; they are taken one after another."


def solve_alike(problem: Problem, patterns: Patterns | None = None) -> tuple[int, ...]:
    """The cheapest way, then again with repeated figures drawn to one fingering."""
    path = solve(problem)
    alike = liken_figures(problem, path, patterns)
    return solve(problem, alike) if alike else path
