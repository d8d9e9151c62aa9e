"""One specimen of every kind of shift, for galleries and tests.

Conventions: a specimen is a passage of four bars, in common time unless asked for otherwise, with every finger and
string printed: the old position, the shift, the new position, a long note. Its shift is found as in any other passage.
The music is made from tables.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import product

from truestop.domain.drill.clef import choose_clef
from truestop.domain.drill.line import NOTE_VALUES, fill_measures, note_value, written_pitch
from truestop.domain.drill.metre import COMMON, Metre
from truestop.domain.fingering import finger_passage
from truestop.domain.instrument import Instrument, make_instrument
from truestop.domain.passage import Finger, Harmonic, Marks, Note, Passage, Tempo
from truestop.domain.pitch import spell
from truestop.domain.shift import Cover, GuideRule, Relation, Shift
from truestop.domain.stop import FingeredPassage
from truestop.domain.way import find_way

#: (finger, semitones above the open string) of the lower and the upper position, from the nut's side on.
Frame = tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """What the specimens of one instrument are made of."""

    key_fifths: int
    string: int
    """The string of shifts on one string, and the old string of the others."""
    other_string: int
    lower: Frame
    upper: Frame
    ringing_low: Frame
    """A frame with a natural harmonic to leave upwards from."""
    ringing_high: Frame
    """A frame with a natural harmonic to leave downwards from."""
    ringing: tuple[str, str]
    """The finger on that harmonic in either frame."""
    thumb: Frame = ()


GROUNDS = {
    "violin": Ground(
        key_fifths=1,
        string=3,
        other_string=2,
        lower=(("1", 2), ("2", 4), ("3", 5), ("4", 7)),
        upper=(("1", 5), ("2", 7), ("3", 9), ("4", 10)),
        ringing_low=(("1", 2), ("2", 4), ("3", 5), ("4", 7)),
        ringing_high=(("1", 5), ("2", 7), ("3", 9), ("4", 10)),
        ringing=("3", "2"),
    ),
    "viola": Ground(
        key_fifths=-1,
        string=2,
        other_string=1,
        lower=(("1", 2), ("2", 3), ("3", 5), ("4", 7)),
        upper=(("1", 5), ("2", 7), ("3", 8), ("4", 10)),
        ringing_low=(("1", 2), ("2", 3), ("3", 5), ("4", 7)),
        ringing_high=(("1", 5), ("2", 7), ("3", 8), ("4", 10)),
        ringing=("3", "2"),
    ),
    "cello": Ground(
        key_fifths=1,
        string=2,
        other_string=1,
        lower=(("1", 2), ("2", 3), ("3", 4), ("4", 5)),
        upper=(("1", 7), ("2", 8), ("3", 9), ("4", 10)),
        ringing_low=(("1", 4), ("2", 5), ("3", 6), ("4", 7)),
        ringing_high=(("1", 5), ("2", 6), ("3", 7), ("4", 8)),
        ringing=("2", "3"),
        thumb=(("T", 12), ("1", 14), ("2", 15), ("3", 17)),
    ),
    "bass": Ground(
        key_fifths=-2,
        string=2,
        other_string=1,
        lower=(("1", 3), ("2", 4), ("4", 5)),
        upper=(("1", 7), ("2", 8), ("4", 9)),
        ringing_low=(("1", 4), ("2", 5), ("4", 6)),
        ringing_high=(("1", 6), ("2", 7), ("4", 8)),
        ringing=("2", "2"),
        thumb=(("T", 12), ("1", 14), ("2", 15), ("3", 17)),
    ),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Specimen:
    """One shift of a wanted kind, in its passage."""

    name: str
    fingered: FingeredPassage
    shift: Shift


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """What is asked of a specimen."""

    relation: Relation
    direction: str
    crossing: bool
    cover: Cover = Cover.NONE
    double: bool = False
    """Two notes at once, on neighbouring strings."""

    @property
    def name(self) -> str:
        """For file names: 'to-higher-up-across-rest'."""
        parts = [self.relation, self.direction, "across" if self.crossing else "one string"]
        parts += ["double stop"] if self.double else []
        parts += [] if self.cover is Cover.NONE else [f"over {self.cover}"]
        return "-".join(parts).replace(" ", "-")


FINGERED = (Relation.SAME, Relation.TO_HIGHER, Relation.TO_LOWER)


def kinds_of(family: str) -> tuple[Kind, ...]:
    """Every kind of shift of an instrument: relation × direction × crossing × cover, the thumb and open strings."""
    return tuple(_kinds(family))


def _kinds(family: str) -> Iterator[Kind]:
    for relation, direction, crossing, cover in product(FINGERED, ("up", "down"), (False, True), Cover):
        yield Kind(relation=relation, direction=direction, crossing=crossing, cover=cover)
    for direction in ("up", "down"):
        yield Kind(relation=Relation.SAME, direction=direction, crossing=False, double=True)
    if GROUNDS[family].thumb:
        for direction, crossing in product(("up", "down"), (False, True)):
            yield Kind(relation=Relation.THROUGH_THUMB, direction=direction, crossing=crossing)
    for crossing in (False, True):
        yield Kind(relation=Relation.FROM_OPEN, direction="up", crossing=crossing)
        yield Kind(relation=Relation.TO_OPEN, direction="down", crossing=crossing)


def make_specimen(
    family: str,
    kind: Kind,
    *,
    guide_rule: GuideRule = GuideRule.LOWER,
    key_fifths: int | None = None,
    metre: Metre = COMMON,
) -> Specimen:
    """The specimen of one kind; ValueError where the passage does not hold the shift it was made for.

    ``key_fifths`` −7…7 puts it into another key than the instrument's usual one; ``metre`` counts two, three or four.
    """
    ground, instrument = GROUNDS[family], make_instrument(family)
    if key_fifths is not None:
        ground = replace(ground, key_fifths=key_fifths)
    plan = _plan(kind, ground)
    passage = _write(_barred(plan, metre), kind.name, ground, instrument, metre)
    fingered = finger_passage(passage, instrument)
    way = find_way(fingered, guide_rule=guide_rule, drill_open=_drilled(fingered, kind))
    for shift in way.shifts:
        found = Kind(
            relation=shift.relation,
            direction=shift.direction,
            crossing=shift.crossing,
            cover=shift.cover,
            double=len(shift.arrival) > 1,
        )
        if found == kind:
            return Specimen(name=f"{family}-{kind.name}", fingered=fingered, shift=replace(shift, number=1))
    raise ValueError(f"the {family} specimen {kind.name} holds {[(s.relation, s.direction) for s in way.shifts]}")


def _drilled(fingered: FingeredPassage, kind: Kind) -> frozenset[str]:
    """The first open note after the last stopped one, where the shift is to lead to an open string."""
    if kind.relation is not Relation.TO_OPEN:
        return frozenset()
    stops = [stop for step in fingered.steps for stop in step.stops]
    last = max(index for index, stop in enumerate(stops) if stop.is_fingered)
    return frozenset({stops[last + 1].note_id})


#: Semitones that a natural harmonic sounds above the open string, by the place where it is touched.
SOUNDING = {5: 24, 7: 19, 12: 12}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Touch:
    """One note of the plan: string, finger, place, beats; no string: a rest."""

    string: int
    finger: str
    place: int
    beats: int
    harmonic: bool = False
    above: tuple[int, str, int] | None = None
    """String, finger and place of a second note that sounds with it."""


def _plan(kind: Kind, ground: Ground) -> list[_Touch]:
    if kind.relation is Relation.FROM_OPEN:
        return _open_plan(kind, ground, arrive=True)
    if kind.relation is Relation.TO_OPEN:
        return _open_plan(kind, ground, arrive=False)
    old, new = (ground.lower, ground.upper) if kind.direction == "up" else (ground.upper, ground.lower)
    if kind.relation is Relation.THROUGH_THUMB:
        old, new = (ground.lower, ground.thumb) if kind.direction == "up" else (ground.thumb, ground.lower)
    if kind.cover is Cover.HARMONIC:
        old = ground.ringing_low if kind.direction == "up" else ground.ringing_high
    leave, reach = _ends(kind, old, new)
    if kind.cover is Cover.HARMONIC:
        leave, reach = _ringing_ends(kind, ground, old, new)
    string, other = ground.string, ground.other_string if kind.crossing else ground.string
    lead = [_Touch(string=string, finger=finger, place=place, beats=1) for finger, place in (*old, old[0])[:4]]
    away = [_Touch(string=other, finger=finger, place=place, beats=1) for finger, place in (*new, new[0])[:4]]
    shift = [
        _Touch(
            string=string,
            finger=leave[0],
            place=leave[1],
            beats=1 if kind.cover in (Cover.REST, Cover.OPEN) else 2,
            harmonic=kind.cover is Cover.HARMONIC,
        ),
        *_covers(kind, ground, string),
        _Touch(string=other, finger=reach[0], place=reach[1], beats=2),
    ]
    if kind.double:
        shift = [_double(ground, old, 2), _double(ground, new, 2)]
    return [*lead, *shift, *away, _Touch(string=other, finger=reach[0], place=reach[1], beats=4)]


def _double(ground: Ground, frame: Frame, beats: int) -> _Touch:
    """The first finger with the third of the frame's fingers on the next string."""
    finger, place = frame[0]
    return _Touch(string=ground.string, finger=finger, place=place, beats=beats, above=(ground.other_string, *frame[2]))


def _ends(kind: Kind, old: Frame, new: Frame) -> tuple[tuple[str, int], tuple[str, int]]:
    if kind.relation is Relation.SAME:
        return old[1], new[1]
    if kind.relation is Relation.TO_HIGHER:
        return old[0], new[-2]
    if kind.relation is Relation.TO_LOWER:
        return old[-2], new[0]
    return old[1], new[0] if new[0][0] == "T" else new[1]


def _ringing_ends(kind: Kind, ground: Ground, old: Frame, new: Frame) -> tuple[tuple[str, int], tuple[str, int]]:
    """From the harmonic's finger to the next finger of the wanted side in the new frame."""
    finger = ground.ringing[0 if kind.direction == "up" else 1]
    leave = next(lie for lie in old if lie[0] == finger)
    if kind.relation is Relation.SAME:
        return leave, next(lie for lie in new if lie[0] == finger)
    if kind.relation is Relation.TO_HIGHER:
        return leave, new[-1]
    return leave, new[0]


def _covers(kind: Kind, ground: Ground, string: int) -> list[_Touch]:
    if kind.cover is Cover.REST:
        return [_Touch(string=0, finger="", place=0, beats=1)]
    if kind.cover is Cover.OPEN:
        return [_Touch(string=string, finger="0", place=0, beats=1)]
    return []


def _open_plan(kind: Kind, ground: Ground, *, arrive: bool) -> list[_Touch]:
    """Open strings, then the upper position, or the other way round."""
    strings = (ground.other_string, ground.string) if kind.crossing else (ground.string, ground.string)
    opened = [_Touch(string=strings[0], finger="0", place=0, beats=beats) for beats in (2, 2)]
    stopped = [
        _Touch(string=strings[1], finger=finger, place=place, beats=1)
        for finger, place in (*ground.upper, ground.upper[0])[:4]
    ]
    held = [_Touch(string=strings[1], finger=stopped[0].finger, place=stopped[0].place, beats=4)]
    return [*opened, *opened, *stopped, *held] if arrive else [*held, *stopped, *opened, *opened]


#: Four beats of the plan, and the lengths of their first notes in bars of three and of two beats; a rest fills up.
_THREES: dict[tuple[int, ...], tuple[int, ...]] = {
    (1, 1, 1, 1): (1, 1, 1),
    (2, 2): (1, 2),
    (1, 1, 2): (1, 1, 1),
    (4,): (2,),
}
_TWOS: dict[tuple[int, ...], tuple[int, ...]] = {(4,): (2,)}


def _barred(plan: Sequence[_Touch], metre: Metre) -> list[_Touch]:
    """The plan in bars of the metre: in threes a bar of four notes loses its last; a long note stays in its bar."""
    if metre.counted == 4 and metre.bar in NOTE_VALUES:
        return list(plan)
    lengths, total = (_THREES, 3) if metre.in_threes else (_TWOS, 4)
    kept: list[_Touch] = []
    group: list[_Touch] = []
    for touch in plan:
        group.append(touch)
        if sum(each.beats for each in group) == 4:
            beats = lengths.get(as_planned := tuple(each.beats for each in group), as_planned)
            kept += [replace(each, beats=length) for each, length in zip(group, beats, strict=False)]
            kept += [_Touch(string=0, finger="", place=0, beats=total - sum(beats))] if sum(beats) < total else []
            group = []
    return kept


def _write(plan: Sequence[_Touch], name: str, ground: Ground, instrument: Instrument, metre: Metre) -> Passage:
    octave_shift = -1 if instrument.family == "bass" else 0
    notes, onset = [], Fraction(0)
    for index, touch in enumerate(plan):
        if touch.string:
            notes.append(_note(touch, f"n{index + 1}", onset, ground, instrument, octave_shift, metre))
            if touch.above is not None:
                string, finger, place = touch.above
                upper = replace(touch, string=string, finger=finger, place=place)
                notes.append(_note(upper, f"n{index + 1}a", onset, ground, instrument, octave_shift, metre))
        onset += touch.beats * metre.beat
    clef = choose_clef(instrument.family, [note.written for note in notes])
    measures = fill_measures(onset, metre=metre, clef=clef, key_fifths=ground.key_fifths)
    return Passage(
        title=name.replace("-", " "),
        notes=tuple(notes),
        measures=measures,
        tempos=(Tempo(onset=Fraction(0), quarter_bpm=float(72 * metre.beat)),),
        instrument=instrument.family,
        octave_shift=octave_shift,
    )


def _note(
    touch: _Touch,
    name: str,
    onset: Fraction,
    ground: Ground,
    instrument: Instrument,
    octave_shift: int,
    metre: Metre,
) -> Note:
    open_midi = instrument.open_pitch(touch.string).midi
    sounding = SOUNDING[touch.place] if touch.harmonic else touch.place
    pitch = spell(open_midi + sounding, key_fifths=ground.key_fifths)
    touched = spell(open_midi + touch.place, key_fifths=ground.key_fifths) if touch.harmonic else None
    value, dots = note_value(touch.beats * metre.beat)
    measure, place = divmod(onset, metre.bar)
    return Note(
        id=name,
        pitch=pitch,
        written=written_pitch(touched or pitch, octave_shift),
        onset=onset,
        duration=touch.beats * metre.beat,
        measure=str(measure + 1),
        measure_index=measure,
        beat=place + 1,
        type=value,
        dots=dots,
        marks=Marks(
            fingers=(Finger(touch.finger),),
            string=touch.string,
            harmonic=Harmonic.NATURAL if touch.harmonic else Harmonic.NONE,
            touched=touched,
        ),
    )
