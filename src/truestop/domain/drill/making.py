"""The drill for one shift: which exercises it calls for and the notes of each.

Conventions: exercises come in the order of the stages; each line fills bars of four quarter notes. Small notes are the
announced guide notes. Every maker below returns None where its exercise makes no sense for the shift.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from truestop.domain.drill.excerpt import take_excerpt
from truestop.domain.drill.frame import Hand, frame_stops, hand_of, make_stop, open_stop, stop_at
from truestop.domain.drill.line import Cell, Setting, play, rest, small, write_line
from truestop.domain.drill.naming import shift_fields
from truestop.domain.drill.stages import ALL_STAGES, Drill, Exercise, Stage, Travel
from truestop.domain.errors import DrillError
from truestop.domain.passage import Finger, Passage
from truestop.domain.pitch import Interval, Pitch
from truestop.domain.shift import Guide, Shift
from truestop.domain.stop import FingeredPassage, Stop
from truestop.domain.wording import ENGLISH, Wording

OCTAVE = Interval(7, 12)
HALF = Fraction(1, 2)
MOST_COVER_NOTES = 2
Stops = tuple[Stop, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Ways:
    """A shift with everything its exercises need: both ends, guide at both ends, and the passage around it."""

    fingered: FingeredPassage
    shift: Shift
    setting: Setting
    departure: Stops
    arrival: Stops
    guide_from: Stops
    guide_to: Stops
    covers: tuple[Stops, ...]

    @property
    def guided(self) -> bool:
        """Whether a finger carries the hand from one place to another."""
        return bool(self.guide_from) and [stop.place for stop in self.guide_from] != [
            stop.place for stop in self.guide_to
        ]

    @property
    def guide_is_written(self) -> bool:
        """Whether the guide starts on the departure and ends on the arrival (same finger): nothing to announce."""
        return not self.set_down and not self.dropped

    @property
    def set_down(self) -> Stops:
        """Guide stops set down in the old frame that are not written notes."""
        return tuple(stop for stop in self.guide_from if not _among(stop, self.departure))

    @property
    def dropped(self) -> Stops:
        """Guide stops reached in the new frame that are not written notes."""
        return tuple(stop for stop in self.guide_to if not _among(stop, self.arrival))


def _among(stop: Stop, others: Stops) -> bool:
    return any((stop.string, stop.place, stop.finger) == (other.string, other.place, other.finger) for other in others)


def make_drill(
    fingered: FingeredPassage,
    shift: Shift,
    *,
    stages: Sequence[Stage] = ALL_STAGES,
    wording: Wording = ENGLISH,
    quarter_bpm: float | None = None,
) -> Drill:
    """The exercises of ``stages`` for one shift of a fingered passage.

    ``quarter_bpm`` is the pulse to practise at, 20–300; the passage's own where None. Raises DrillError for a pulse
    out of range and for a shift whose ends sound nothing.
    """
    if quarter_bpm is not None and not 20.0 <= quarter_bpm <= 300.0:
        raise DrillError(f"A pulse of {quarter_bpm:g} is out of range.", hint="Give 20 to 300 quarter notes a minute.")
    if not shift.departure or not shift.arrival:
        raise DrillError(f"Shift {shift.number} has no note to leave or to reach.", hint="Choose another shift.")
    ways = _ways_of(fingered, shift, quarter_bpm)
    fields = shift_fields(fingered, shift, wording=wording, quarter_bpm=ways.setting.quarter_bpm)
    exercises = []
    for stage in ALL_STAGES:
        for variant, make in MAKERS[stage] if stage in stages else ():
            made = make(ways, f"s{shift.number}-{stage}-{variant}".replace(" ", "-"), wording)
            if made is not None:
                exercises.append(_exercise(made, ways, stage, variant, wording, fields))
    return Drill(shift=shift, exercises=tuple(exercises))


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """An exercise's notes before they get their words."""

    key: str
    passage: Passage
    stops: Stops
    travels: tuple[Travel, ...]
    fields: dict[str, str]


def _exercise(made: Made, ways: Ways, stage: Stage, variant: str, wording: Wording, fields: dict[str, str]) -> Exercise:
    name = f"{stage}.{variant}"
    words = fields | made.fields
    return Exercise(
        key=made.key,
        shift=ways.shift.number,
        stage=stage,
        variant=variant,
        heading=wording.say(f"{name}.heading", **words),
        instruction=wording.say(f"{name}.instruction", **words),
        passage=made.passage,
        stops=made.stops,
        travels=made.travels,
    )


def _ways_of(fingered: FingeredPassage, shift: Shift, quarter_bpm: float | None) -> Ways:
    passage = fingered.passage
    step = fingered.steps[shift.arrival_step]
    measure = passage.measure_at(step.onset)
    between = fingered.steps[shift.departure_step + 1 : shift.arrival_step]
    setting = Setting(
        key_fifths=measure.key_fifths,
        mode=measure.mode,
        family=fingered.instrument.family,
        octave_shift=passage.octave_shift,
        strings=fingered.instrument.strings,
        quarter_bpm=quarter_bpm or passage.quarter_bpm_at(step.onset),
    )
    return Ways(
        fingered=fingered,
        shift=shift,
        setting=setting,
        departure=shift.departure,
        arrival=shift.arrival,
        guide_from=tuple(_guide_stop(guide, shift.departure, start=True) for guide in shift.guide),
        guide_to=tuple(_guide_stop(guide, shift.arrival, start=False) for guide in shift.guide),
        covers=tuple(step.stops for step in between)[-MOST_COVER_NOTES:],
    )


def _guide_stop(guide: Guide, beside: Stops, *, start: bool) -> Stop:
    """The guide finger's stop at one end of its way, in the frame of the written stops ``beside``."""
    pitch, place = (guide.from_pitch, guide.from_place) if start else (guide.to_pitch, guide.to_place)
    for stop in beside:
        if (stop.string, stop.place, stop.finger) == (guide.string, place, guide.finger):
            return stop
    anchor = next((stop for stop in beside if stop.placement is not None), beside[0])
    return Stop(
        note_id="",
        pitch=pitch,
        string=guide.string,
        finger=guide.finger,
        place=place,
        placement=anchor.placement,
        shape=anchor.shape,
    )


def _line(
    ways: Ways,
    key: str,
    cells: Sequence[Cell],
    travels: Sequence[tuple[int, int, int | None]],
    *,
    silent: bool = False,
    **fields: str,
) -> Made:
    """An exercise from cells; ``travels`` are (departure, arrival, announced guide note) as indices of cells."""
    passage, stops = write_line(cells, key=key, title=f"{ways.fingered.passage.title}", setting=ways.setting)
    by_cell: dict[int, Stops] = {}
    taken = 0
    for index, cell in enumerate(cells):
        by_cell[index] = stops[taken : taken + len(cell.stops)]
        taken += len(cell.stops)
    return Made(
        key=key,
        passage=passage,
        stops=stops,
        travels=tuple(
            Travel(
                departure=by_cell[departure],
                arrival=by_cell[arrival],
                guide=() if guide is None else by_cell[guide],
                silent=silent,
            )
            for departure, arrival, guide in travels
        ),
        fields=fields,
    )


# Name and hear


def _name(ways: Ways, key: str, wording: Wording) -> Made:
    return _line(ways, key, [play(ways.departure, 2), play(ways.arrival, 2)], [(0, 1, None)], silent=ways.shift.silent)


def _hear_sing(ways: Ways, key: str, wording: Wording) -> Made:
    cells = [play(ways.departure, 2), rest(2, wording.say("hear.sing.text")), play(ways.arrival, 4)]
    return _line(ways, key, cells, [(0, 2, None)], silent=True)


def _old_hand(ways: Ways) -> Hand | None:
    anchor = next((stop for stop in ways.departure if stop.placement is not None), None)
    return hand_of(anchor, ways.fingered, ways.setting.key_fifths) if anchor else None


def _found_without_travel(ways: Ways, pitch: Pitch) -> Stop | None:
    """``pitch`` in the old position on another string: the nearest string first."""
    hand = _old_hand(ways)
    if hand is None:
        return None
    home = ways.arrival[-1].string
    strings = sorted(range(1, len(ways.fingered.instrument.strings) + 1), key=lambda string: abs(string - home))
    found = (stop_at(pitch, string, hand, ways.fingered) for string in strings)
    return next((stop for stop in found if stop is not None), None)


def _hear_across(ways: Ways, key: str, wording: Wording) -> Made | None:
    if len(ways.arrival) != 1 or ways.arrival[0].harmonic:
        return None
    found = _found_without_travel(ways, ways.arrival[0].pitch)
    if found is None or _among(found, ways.arrival):
        return None
    cells = [play(ways.departure, 2), play((found,), 2), play(ways.departure, 2), play(ways.arrival, 2)]
    return _line(ways, key, cells, [(2, 3, None)])


def _hear_octave(ways: Ways, key: str, wording: Wording) -> Made | None:
    if len(ways.arrival) != 1 or ways.arrival[0].harmonic:
        return None
    below_first = (-OCTAVE, OCTAVE) if ways.shift.direction == "up" else (OCTAVE, -OCTAVE)
    found = (_found_without_travel(ways, ways.arrival[0].pitch.transposed(octave)) for octave in below_first)
    stop = next((stop for stop in found if stop is not None), None)
    if stop is None:
        return None
    cells = [play(ways.departure, 2), play((stop,), 2), play(ways.departure, 2), play(ways.arrival, 2)]
    return _line(ways, key, cells, [(2, 3, None)])


# Settle


def _settle_frame(ways: Ways, key: str, wording: Wording) -> Made | None:
    anchor = next((stop for stop in ways.arrival if stop.placement is not None and not stop.harmonic), None)
    if anchor is None:
        return None
    frame = frame_stops(anchor, ways.fingered, ways.setting.key_fifths)
    if len(frame) < 2:
        return None
    walk = [*frame, *frame[-2::-1]]
    cells = [play((stop,), 1) for stop in walk]
    left = -len(walk) % 4
    cells += [play(ways.arrival, left)] if left else [play(ways.arrival, 4)]
    if left == 1:
        cells += [play(ways.arrival, 4)]
    return _line(ways, key, cells, [])


def _ringing_string(ways: Ways, pitch: Pitch) -> Stop | None:
    """The open string that rings with ``pitch``: the same letter, in unison or octaves, and not the one it lies on."""
    strings = ways.fingered.instrument.strings
    rings = [
        open_stop(strings[number - 1], number)
        for number in range(1, len(strings) + 1)
        if (strings[number - 1].step, strings[number - 1].alter) == (pitch.step, pitch.alter)
    ]
    return min(rings, key=lambda stop: abs(stop.pitch.midi - pitch.midi)) if rings else None


def _settle_check(ways: Ways, key: str, wording: Wording) -> Made | None:
    if len(ways.arrival) != 1 or ways.arrival[0].is_open:
        return None
    ring = _ringing_string(ways, ways.arrival[0].pitch)
    if ring is None:
        return None
    cells = [play(ways.arrival, 2), play((ring,), 2), play(ways.arrival, 4)]
    return _line(ways, key, cells, [], open_string=ring.pitch.pretty)


# Guide


def _guide_slow(ways: Ways, key: str, wording: Wording) -> Made | None:
    if not ways.guided:
        return None
    there = [play(ways.guide_from, 2), play(ways.guide_to, 2, joined=True, slid=True)]
    back = [play(ways.guide_from, 2, joined=True, slid=True), rest(2)]
    other = [play(ways.guide_to, 2), play(ways.guide_from, 2, joined=True, slid=True)]
    again = [play(ways.guide_to, 2, joined=True, slid=True), rest(2)]
    cells = [*there, *back, *other, *again]
    return _line(ways, key, cells, [(0, 1, None), (1, 2, None), (4, 5, None), (5, 6, None)])


def _guide_check(ways: Ways, key: str, wording: Wording) -> Made | None:
    if not ways.guided:
        return None
    cells = [
        play(ways.guide_from, 1), rest(1), play(ways.guide_to, 2),
        play(ways.guide_to, 1), rest(1), play(ways.guide_from, 2),
    ]  # fmt: skip
    return _line(ways, key, cells, [(0, 2, None), (3, 5, None)], silent=True)


def _set_finger(ways: Ways) -> Stop | None:
    """The finger that is set in silence and measured from: the lowest of the arrival's frame."""
    anchor = next((stop for stop in ways.arrival if stop.placement is not None), None)
    if anchor is None:
        return None
    if anchor.harmonic:
        return anchor
    frame = frame_stops(anchor, ways.fingered, ways.setting.key_fifths)
    return next((stop for stop in frame if stop.finger in (Finger.FIRST, Finger.THUMB)), anchor)


def _guide_set(ways: Ways, key: str, wording: Wording) -> Made | None:
    setting_finger = _set_finger(ways)
    if ways.guided or setting_finger is None:
        return None
    cells = [play(ways.departure, 1), rest(1), play((setting_finger,), 1), play(ways.arrival, 1)]
    if _among(setting_finger, ways.arrival):
        cells = [play(ways.departure, 1), rest(1), play(ways.arrival, 2)]
    finger = wording.say(f"finger.{setting_finger.finger}")
    last = len(cells) - 1
    cells = [*cells, play(ways.arrival, 2), rest(2)]
    return _line(
        ways, key, cells, [(0, last, None)], silent=True, set_finger=finger, set_pitch=setting_finger.pitch.pretty
    )


# Land and plain


def _over_small_note(ways: Ways) -> list[Cell]:
    """Departure, announced guide notes as small notes with the slide lines between, arrival."""
    small_cells = []
    if ways.set_down:
        small_cells.append(small(ways.guide_from))
    if ways.dropped:
        small_cells.append(small(ways.guide_to, slid=True))
    arrival_slid = not ways.dropped
    return [play(ways.departure, 2), *small_cells, play(ways.arrival, 1, slid=arrival_slid)]


def _land_guide(ways: Ways, key: str, wording: Wording) -> Made | None:
    if not ways.guided or ways.guide_is_written:
        return None
    once = _over_small_note(ways)
    travel = (0, len(once) - 1, len(once) - 2)
    return _three_times(ways, key, once, travel)


def _land_slide(ways: Ways, key: str, wording: Wording) -> Made | None:
    if not ways.guided or not ways.guide_is_written:
        return None
    once = [play(ways.departure, 2), play(ways.arrival, 1, joined=True, slid=True)]
    return _three_times(ways, key, once, (0, 1, None))


def _land_set(ways: Ways, key: str, wording: Wording) -> Made | None:
    setting_finger = _set_finger(ways)
    if ways.guided or setting_finger is None or _among(setting_finger, ways.arrival):
        return None
    once = [play(ways.departure, 1), rest(1), small((setting_finger,)), play(ways.arrival, 1)]
    return _three_times(ways, key, once, (0, 3, 2), silent=True)


def _three_times(
    ways: Ways, key: str, once: list[Cell], travel: tuple[int, int, int | None], *, silent: bool = False
) -> Made:
    """The same three times, with a rest to lift and begin anew; the last arrival is held."""
    length = len(once) + 1
    cells: list[Cell] = []
    travels = []
    for turn in range(3):
        cells += [*once, rest(1)]
        departure, arrival, guide = travel
        shift_by = turn * length
        travels.append((departure + shift_by, arrival + shift_by, None if guide is None else guide + shift_by))
    return _line(ways, key, cells, travels, silent=silent)


def _plain(ways: Ways, key: str, wording: Wording) -> Made:
    covers = [play(stops, 1) for stops in ways.covers]
    if not covers and ways.shift.cover == "rest":
        covers = [rest(1)]
    bow = ways.shift.on_old_bow and not covers
    if covers:
        lead = [play(ways.departure, 1), *covers] if len(covers) == 1 else [
            play(ways.departure, 1), *(play(stops, HALF) for stops in ways.covers)]
    else:
        lead = [play(ways.departure, 2)]
    once = [*lead, play(ways.arrival, 1, joined=bow)]
    return _three_times(ways, key, once, (0, len(once) - 1, None), silent=ways.shift.silent)


# In time


def _rhythms(ways: Ways, key: str, wording: Wording) -> Made | None:
    if ways.covers or ways.shift.silent:
        return None
    leave, reach = ways.departure, ways.arrival
    cells = [
        play(leave, 1), play(leave, 1), play(reach, 1), rest(1),
        play(leave, Fraction(3, 2)), play(leave, HALF), play(reach, 1), rest(1),
        play(leave, HALF), play(reach, HALF), play(reach, 2), rest(1),
    ]  # fmt: skip
    return _line(ways, key, cells, [(1, 2, None), (5, 6, None), (8, 9, None)])


def _one_bow(ways: Ways, key: str, wording: Wording) -> Made | None:
    if ways.shift.silent:
        return None
    once = [play(ways.departure, 2, bow="down"), play(ways.arrival, 1, joined=True)]
    return _three_times(ways, key, once, (0, 1, None))


def _old_bow(ways: Ways, key: str, wording: Wording) -> Made | None:
    if ways.shift.silent or not ways.guided:
        return None
    way = [small(ways.guide_from, joined=True)] if ways.set_down else []
    once = [play(ways.departure, 2, bow="down"), *way, small(ways.guide_to, joined=True, slid=True)]
    once += [play(ways.arrival, 1, bow="up")]
    return _three_times(ways, key, once, (0, len(once) - 1, len(once) - 2 if ways.dropped else None))


def _new_bow(ways: Ways, key: str, wording: Wording) -> Made | None:
    if ways.shift.silent or not ways.guided:
        return None
    way = [small(ways.guide_to, joined=True, slid=True)] if ways.dropped else []
    once = [play(ways.departure, 2, bow="down"), small(ways.guide_from, bow="up"), *way]
    once += [play(ways.arrival, 1, joined=True, slid=not ways.dropped)]
    return _three_times(ways, key, once, (0, len(once) - 1, len(once) - 2 if ways.dropped else None))


def _return(ways: Ways, key: str, wording: Wording) -> Made | None:
    if ways.shift.silent:
        return None
    leave, reach = ways.departure, ways.arrival
    cells = [play(leave, 1), play(reach, 1), play(leave, 1), play(reach, 1), play(leave, 2), rest(2)]
    return _line(ways, key, cells, [(0, 1, None), (1, 2, None), (2, 3, None), (3, 4, None)])


# In the passage, cold


def _bars(ways: Ways, key: str, wording: Wording) -> Made | None:
    first, last = _measure_span(ways)
    return _excerpt(ways, key, first - 1, last + 1)


PHRASE_MEASURES = 4


def _phrase(ways: Ways, key: str, wording: Wording) -> Made | None:
    """The groups of four measures, counted from the first full one, that hold the shift."""
    first, last = _measure_span(ways)
    measures = ways.fingered.passage.measures
    pickup = 1 if len(measures) > 1 and measures[0].duration < measures[1].duration else 0
    start = pickup + (first - pickup) // PHRASE_MEASURES * PHRASE_MEASURES
    end = pickup + (last - pickup) // PHRASE_MEASURES * PHRASE_MEASURES + PHRASE_MEASURES - 1
    start = 0 if start <= pickup else start
    if max(0, start) >= max(0, first - 1) and min(end, len(measures) - 1) <= last + 1:
        return None
    return _excerpt(ways, key, start, end)


def _measure_span(ways: Ways) -> tuple[int, int]:
    passage = ways.fingered.passage
    return (
        passage.note(ways.departure[0].note_id).measure_index,
        passage.note(ways.arrival[0].note_id).measure_index,
    )


def _excerpt(ways: Ways, key: str, first: int, last: int) -> Made:
    passage, stops = take_excerpt(ways.fingered, first=first, last=last, key=key, marked=(ways.shift,))
    named = {stop.note_id: stop for stop in stops}
    travel = Travel(
        departure=tuple(named[f"{key}-{stop.note_id}"] for stop in ways.departure),
        arrival=tuple(named[f"{key}-{stop.note_id}"] for stop in ways.arrival),
        silent=ways.shift.silent,
    )
    return Made(key=key, passage=passage, stops=stops, travels=(travel,), fields={})


def _expressive(ways: Ways, key: str, wording: Wording) -> Made | None:
    first, last = _measure_span(ways)
    return _excerpt(ways, key, first, last)


Maker = Callable[[Ways, str, Wording], Made | None]

#: The exercises of each stage, in the order they are practised.
MAKERS: dict[Stage, tuple[tuple[str, Maker], ...]] = {
    Stage.NAME: (("name", _name),),
    Stage.HEAR: (("sing", _hear_sing), ("across", _hear_across), ("octave", _hear_octave)),
    Stage.SETTLE: (("frame", _settle_frame), ("check", _settle_check)),
    Stage.GUIDE: (("slow", _guide_slow), ("check", _guide_check), ("set", _guide_set)),
    Stage.LAND: (("guide", _land_guide), ("slide", _land_slide), ("set", _land_set)),
    Stage.PLAIN: (("plain", _plain),),
    Stage.IN_TIME: (
        ("rhythms", _rhythms), ("one bow", _one_bow), ("old bow", _old_bow), ("new bow", _new_bow), ("return", _return),
    ),  # fmt: skip
    Stage.IN_THE_PASSAGE: (("bars", _bars), ("phrase", _phrase)),
    Stage.COLD: (("cold", _expressive),),
}
