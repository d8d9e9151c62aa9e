"""Reference sounds for the ear: what ``truestop tones`` renders.

Conventions: pitches come from the intonation in force; ``off_cents`` moves every arrival on purpose, + is sharp, for
training the ear. The whole comes out at about −18 LUFS, and its first second and a half swells in.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise
from math import ceil

import numpy as np

from truestop.app.mainjob import InHand
from truestop.domain.errors import DrillError
from truestop.domain.expecting import stop_target
from truestop.domain.passage import Measure
from truestop.domain.pitch import Interval, Pitch
from truestop.domain.shift import Shift
from truestop.domain.stop import Step, Stop
from truestop.domain.tuning import Against, tonic_of_key
from truestop.sounding.bowed import Floats, Samples
from truestop.sounding.clicks import ACCENT_HZ, CLICK_HZ, make_click
from truestop.sounding.loudness import TARGET_LUFS, at_loudness
from truestop.sounding.tones import (
    RATE_HZ,
    Held,
    silence,
    sound_guide_path,
    sound_held,
    sound_legato,
    starting_quiet,
)

NOTE_S, GAP_S, GUIDE_NOTE_S, SLIDE_S, DRONE_S = 2.0, 0.4, 0.9, 0.45, 12.0
GRACE_S = 0.12
SLOWEST_CLICK_BPM = 40.0
"""The lowest mark of the usual mechanical metronome; from memory."""
LOWEST_BPM, HIGHEST_BPM = 20.0, 400.0
MOST_OFF_CENTS = 300.0
_CLICK_DB = -12.0
PERFECT_FIFTH = Interval(4, 7)


@dataclass(frozen=True, slots=True, kw_only=True)
class TonesWanted:
    """What to render. ``shifts`` by number, empty for all; ``kinds`` among ``KINDS``, in the order wanted."""

    kinds: tuple[str, ...] = ("arrival", "interval", "guide")
    shifts: tuple[int, ...] = ()
    off_cents: float = 0.0
    bpm: float | None = None
    """Quarter notes a minute for phrase and clicks; None for the passage's own tempo."""
    drone: str = "tonic"
    """'tonic', 'fifth' (tonic and fifth), 'open' (the arrival's open string), or a pitch such as 'D3'."""
    click: bool = True
    """Whether clicks and a measure of count-in go with the phrase."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SoundedPart:
    """One stretch of the rendered sound. ``sounds`` are pitch name and Hz of what is heard, in order."""

    kind: str
    shift: int | None
    start_s: float
    end_s: float
    sounds: tuple[tuple[str, float], ...]
    off_cents: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class RenderedTones:
    """The sound and what is in it."""

    samples: Samples
    sample_rate_hz: int
    parts: tuple[SoundedPart, ...]
    clicks_s: tuple[float, ...] = ()


@dataclass(slots=True)
class _Reel:
    """Sound under way."""

    pieces: list[Floats] = field(default_factory=list)
    parts: list[SoundedPart] = field(default_factory=list)
    clicks_s: list[float] = field(default_factory=list)
    n: int = 0

    def add(self, piece: Floats) -> None:
        self.pieces.append(piece)
        self.n += len(piece)

    @property
    def now_s(self) -> float:
        return self.n / RATE_HZ


@dataclass(frozen=True, slots=True)
class _Ear:
    """The passage and the wish, with the pitches looked up."""

    in_hand: InHand
    wanted: TonesWanted

    @property
    def family(self) -> str:
        return self.in_hand.instrument.family

    def hz(self, stop: Stop, together: Sequence[Stop], step: Step) -> float:
        measure = self.in_hand.fingered.passage.measure_at(step.onset)
        against = Against(tonic=tonic_of_key(measure.key_fifths, mode=measure.mode))
        return stop_target(stop, tuple(together), intonation=self.in_hand.intonation, against=against).hz

    def departure_hz(self, shift: Shift) -> list[float]:
        step = self.in_hand.fingered.steps[shift.departure_step]
        return [self.hz(stop, shift.departure, step) for stop in shift.departure]

    def arrival_hz(self, shift: Shift) -> list[float]:
        step = self.in_hand.fingered.steps[shift.arrival_step]
        off = 2.0 ** (self.wanted.off_cents / 1200.0)
        return [self.hz(stop, shift.arrival, step) * (1.0 if stop.is_open else off) for stop in shift.arrival]

    def guide_hz(self, shift: Shift) -> tuple[list[float], list[float]]:
        """Where each guide starts and where it comes to; moved on purpose where the arrivals are."""
        measure = self.in_hand.fingered.passage.measure_at(self.in_hand.fingered.steps[shift.arrival_step].onset)
        against = Against(tonic=tonic_of_key(measure.key_fifths, mode=measure.mode))
        off = 2.0 ** (self.wanted.off_cents / 1200.0)
        target = self.in_hand.intonation.target
        begin = [target(g.from_pitch, string=g.string, place=g.from_place, against=against).hz for g in shift.guide]
        end = [target(g.to_pitch, string=g.string, place=g.to_place, against=against).hz * off for g in shift.guide]
        return begin, end


def make_tones(in_hand: InHand, wanted: TonesWanted) -> RenderedTones:
    """Render the wanted sounds one after the other. DrillError or PitchError where something asked for is not there."""
    _check(wanted)
    ear, reel = _Ear(in_hand, wanted), _Reel()
    numbers = wanted.shifts or tuple(shift.number for shift in in_hand.way.shifts)
    shifts = [in_hand.shift(number) for number in numbers]
    for kind in wanted.kinds:
        if kind in _FOR_SHIFT:
            for shift in shifts:
                _one(reel, kind, shift, _FOR_SHIFT[kind], ear)
        else:
            _FOR_PASSAGE[kind](reel, ear, shifts)
    samples = np.concatenate([*reel.pieces, silence(GAP_S)])
    levelled = at_loudness(starting_quiet(samples), sample_rate_hz=RATE_HZ, lufs=TARGET_LUFS)
    return RenderedTones(
        samples=levelled, sample_rate_hz=RATE_HZ, parts=tuple(reel.parts), clicks_s=tuple(reel.clicks_s)
    )


def _check(wanted: TonesWanted) -> None:
    unknown = [kind for kind in wanted.kinds if kind not in KINDS]
    if unknown or not wanted.kinds:
        raise DrillError(f"There is no tone '{', '.join(unknown)}'.", hint=f"Choose among {', '.join(KINDS)}.")
    if not abs(wanted.off_cents) <= MOST_OFF_CENTS:
        raise DrillError(f"{wanted.off_cents:g} cents is too far off.", hint=f"Give at most ±{MOST_OFF_CENTS:g} cents.")
    if wanted.bpm is not None and not LOWEST_BPM <= wanted.bpm <= HIGHEST_BPM:
        raise DrillError(f"A tempo of {wanted.bpm:g} is out of range.", hint="Give 20 to 400 quarter notes a minute.")


def _one(reel: _Reel, kind: str, shift: Shift, sound: Callable[[Shift, _Ear], _Sounded], ear: _Ear) -> None:
    if reel.n:
        reel.add(silence(GAP_S))
    start_s = reel.now_s
    piece, sounds = sound(shift, ear)
    reel.add(piece)
    reel.parts.append(SoundedPart(kind=kind, shift=shift.number, start_s=start_s, end_s=reel.now_s, sounds=sounds,
                                  off_cents=ear.wanted.off_cents))  # fmt: skip


_Sounded = tuple[Floats, tuple[tuple[str, float], ...]]


def _named(stops: Sequence[Stop], hz: Sequence[float]) -> tuple[tuple[str, float], ...]:
    return tuple((stop.pitch.name, value) for stop, value in zip(stops, hz, strict=True))


def _arrival(shift: Shift, ear: _Ear) -> _Sounded:
    hz = ear.arrival_hz(shift)
    return sound_held(hz, NOTE_S, family=ear.family), _named(shift.arrival, hz)


def _interval(shift: Shift, ear: _Ear) -> _Sounded:
    departure, arrival = ear.departure_hz(shift), ear.arrival_hz(shift)
    pieces = [sound_held(departure, NOTE_S, family=ear.family), silence(0.5 * GAP_S),
              sound_held(arrival, NOTE_S, family=ear.family)]  # fmt: skip
    return np.concatenate(pieces), _named(shift.departure, departure) + _named(shift.arrival, arrival)


def _guide(shift: Shift, ear: _Ear) -> _Sounded:
    """Every guide finger's way, then the arrival; a silent travel is departure, silence, arrival."""
    if not shift.guide:
        return _interval(shift, ear)
    begin, end = ear.guide_hz(shift)
    waiting = list(zip(shift.arrival, ear.arrival_hz(shift), strict=True))
    reached = {stop.pitch.midi for stop, _ in waiting}
    drops = any(guide.to_pitch.midi not in reached for guide in shift.guide)
    voices: list[list[tuple[str, float]]] = []
    for guide, from_hz, to_hz in sorted(zip(shift.guide, begin, end, strict=True), key=lambda way: way[1]):
        voice = [(guide.from_pitch.name, from_hz), (guide.to_pitch.name, to_hz)]
        near = min(waiting, key=lambda pair: abs(pair[0].string - guide.string), default=None)
        if near is not None:
            waiting.remove(near)
        if drops:
            voice.append(voice[-1] if near is None else (near[0].pitch.name, near[1]))
        voices.append(voice)
    joining = [(stop.pitch.name, hz) for stop, hz in waiting]
    sound = sound_guide_path(
        [[Held(hz, GUIDE_NOTE_S) for _, hz in voice] for voice in voices],
        slide_s=SLIDE_S,
        family=ear.family,
        joining_hz=[hz for _, hz in joining],
    )
    return sound, (*(pitch for together in zip(*voices, strict=True) for pitch in together), *joining)


def _drone(reel: _Reel, ear: _Ear, shifts: Sequence[Shift]) -> None:
    pitches = _drone_pitches(ear, shifts)
    hz = [ear.in_hand.intonation.note_hz(pitch) for pitch in pitches]
    if reel.n:
        reel.add(silence(GAP_S))
    start_s = reel.now_s
    reel.add(sound_held(hz, DRONE_S, family=ear.family))
    sounds = tuple((pitch.name, value) for pitch, value in zip(pitches, hz, strict=True))
    reel.parts.append(SoundedPart(kind="drone", shift=None, start_s=start_s, end_s=reel.now_s, sounds=sounds))


def _drone_pitches(ear: _Ear, shifts: Sequence[Shift]) -> list[Pitch]:
    wish = ear.wanted.drone
    if wish == "open":
        if not shifts:
            raise DrillError("No shift says which open string to sound.", hint="Name a pitch for the drone, like D3.")
        return [ear.in_hand.instrument.open_pitch(shifts[0].arrival[0].string)]
    if wish not in ("tonic", "fifth"):
        return [Pitch.parse(wish)]
    first = ear.in_hand.fingered.passage.measures[0]
    tonic = tonic_of_key(first.key_fifths, mode=first.mode)
    lowest = ear.in_hand.instrument.lowest_midi
    tonic = Pitch(tonic.step, tonic.alter, tonic.octave - (tonic.midi - lowest) // 12)
    return [tonic] if wish == "tonic" else [tonic, tonic.transposed(PERFECT_FIFTH)]


def _phrase(reel: _Reel, ear: _Ear, shifts: Sequence[Shift]) -> None:
    """The measures around the shifts (all of them without a choice), each note as the hand plays it."""
    first, last = _span(ear, shifts)
    steps = [step for step in ear.in_hand.fingered.steps if first.onset <= step.onset < last.onset + last.duration]
    if not steps:
        raise DrillError("There is nothing to play there.", hint="Choose another shift.")
    if reel.n:
        reel.add(silence(GAP_S))
    if ear.wanted.click:
        _count_in(reel, ear, first)
    begin, start_s = reel.n, reel.now_s
    sound, sounds = _play_steps(ear, steps, first.onset)
    reel.add(sound)
    reel.parts.append(SoundedPart(kind="phrase", shift=None, start_s=start_s, end_s=reel.now_s, sounds=sounds))
    if ear.wanted.click:
        _click_along(reel, ear, first.onset, last.onset + last.duration, begin)


def _span(ear: _Ear, shifts: Sequence[Shift]) -> tuple[Measure, Measure]:
    """First and last measure: one either side of the chosen shifts, or the whole passage."""
    measures = ear.in_hand.fingered.passage.measures
    if not ear.wanted.shifts:
        return measures[0], measures[-1]
    steps = ear.in_hand.fingered.steps
    onsets = [steps[index].onset for shift in shifts for index in (shift.departure_step, shift.arrival_step)]
    starts = [measure.onset for measure in measures]
    low = max(bisect_right(starts, min(onsets)) - 2, 0)
    high = min(bisect_right(starts, max(onsets)), len(measures) - 1)
    return measures[low], measures[high]


def _seconds(ear: _Ear, start: Fraction, end: Fraction) -> float:
    """Time from one onset to another at the tempo in force."""
    if ear.wanted.bpm is not None:
        return float(end - start) * 60.0 / ear.wanted.bpm
    passage = ear.in_hand.fingered.passage
    edges = [start, *(tempo.onset for tempo in passage.tempos if start < tempo.onset < end), end]
    return sum(float(after - before) * 60.0 / passage.quarter_bpm_at(before) for before, after in pairwise(edges))


def _play_steps(ear: _Ear, steps: Sequence[Step], origin: Fraction) -> tuple[Floats, tuple[tuple[str, float], ...]]:
    """Legato groups laid over one another at their times."""
    placed: list[tuple[float, Floats]] = []
    sounds: list[tuple[str, float]] = []
    for group in _bows(steps):
        begin_s = _seconds(ear, origin, group[0].onset) - GRACE_S * _leading_graces(group)
        line = [[ear.hz(stop, step.stops, step) for stop in step.stops] for step in group]
        lengths = [_length_s(ear, step) for step in group]
        sounds.extend(pair for step, hz in zip(group, line, strict=True) for pair in _named(step.stops, hz))
        if all(len(hz) == 1 for hz in line):
            held = [Held(hz[0], seconds) for hz, seconds in zip(line, lengths, strict=True)]
            placed.append((begin_s, sound_legato(held, family=ear.family)))
            continue
        for hz, seconds in zip(line, lengths, strict=True):
            placed.append((begin_s, sound_held(hz, seconds, family=ear.family)))
            begin_s += seconds
    first = min(0.0, *(begin_s for begin_s, _ in placed))
    out = np.zeros(max(round((begin_s - first) * RATE_HZ) + len(piece) for begin_s, piece in placed))
    for begin_s, piece in placed:
        at = round((begin_s - first) * RATE_HZ)
        out[at : at + len(piece)] += piece
    return out, tuple(sounds)


def _length_s(ear: _Ear, step: Step) -> float:
    return GRACE_S if step.grace else max(_seconds(ear, step.onset, step.onset + step.duration), 0.05)


def _leading_graces(group: Sequence[Step]) -> int:
    return next((index for index, step in enumerate(group) if not step.grace), len(group))


def _bows(steps: Sequence[Step]) -> Iterator[list[Step]]:
    """Steps that are joined under one bow."""
    group: list[Step] = []
    for step in steps:
        joined = group and step.bow_continues and not step.rest_before
        if group and not joined:
            yield group
            group = []
        group.append(step)
    if group:
        yield group


def _count_in(reel: _Reel, ear: _Ear, measure: Measure, *, lead: bool = True) -> None:
    """One full measure of clicks, and to ``lead`` into a pickup the beats before it."""
    beat = _clicked(ear, measure)
    bar = int(_bar(measure) / beat)
    seconds = _seconds(ear, measure.onset, measure.onset + beat)
    beats = bar + (_missing(ear, measure) / beat if lead else Fraction(0))
    piece = silence(seconds * float(beats))
    start_s = reel.now_s
    for index in range(ceil(beats)):
        _put_click(piece, index * seconds, accent=index % bar == 0)
        reel.clicks_s.append(start_s + index * seconds)
    reel.add(piece)
    reel.parts.append(SoundedPart(kind="count-in", shift=None, start_s=start_s, end_s=reel.now_s, sounds=()))


def _bar(measure: Measure) -> Fraction:
    """Quarter notes in a full bar of the measure's time signature."""
    return Fraction(4 * measure.beats, measure.beat_type)


def _missing(ear: _Ear, measure: Measure) -> Fraction:
    """Quarter notes of its bar that a pickup leaves out before it; a bar cut short at its end leaves out none.

    A pickup begins the passage, or completes the short measure before it.
    """
    measures, bar = ear.in_hand.fingered.passage.measures, _bar(measure)
    before = measures[measures.index(measure) - 1].duration if measure is not measures[0] else Fraction(0)
    return max(bar - measure.duration, Fraction(0)) if before + measure.duration <= bar else Fraction(0)


def _clicked(ear: _Ear, measure: Measure) -> Fraction:
    """What a click counts: the metre's beat, or the notes of the signature where that is slower than a metronome."""
    beat, written = measure.beat_beats, Fraction(4, measure.beat_type)
    slow = _seconds(ear, measure.onset, measure.onset + beat) > 60.0 / SLOWEST_CLICK_BPM
    return written if slow or not measure.metre_shown else beat


def _click_along(reel: _Reel, ear: _Ear, start: Fraction, end: Fraction, begin: int) -> None:
    piece = reel.pieces[-1]
    for measure in ear.in_hand.fingered.passage.measures:
        if not start <= measure.onset < end:
            continue
        for onset, first in _beats_in(measure, _clicked(ear, measure), _missing(ear, measure)):
            at_s = _seconds(ear, start, onset)
            _put_click(piece, at_s, accent=first)
            reel.clicks_s.append(begin / RATE_HZ + at_s)


def _beats_in(measure: Measure, beat: Fraction, missing: Fraction) -> Iterator[tuple[Fraction, bool]]:
    """Where the beats of a measure fall, and whether each is the first of its bar."""
    count = ceil(missing / beat)
    while (onset := measure.onset + count * beat - missing) < measure.onset + measure.duration:
        yield onset, count == 0
        count += 1


def _put_click(piece: Floats, at_s: float, *, accent: bool) -> None:
    click = make_click(sample_rate_hz=RATE_HZ, hz=ACCENT_HZ if accent else CLICK_HZ, level_db=_CLICK_DB)
    at = round(at_s * RATE_HZ)
    n = max(min(len(click), len(piece) - at), 0)
    piece[at : at + n] += click[:n]


def _clicks(reel: _Reel, ear: _Ear, shifts: Sequence[Shift]) -> None:
    """A measure of count-in and four measures to play to."""
    first, _ = _span(ear, shifts)
    for _ in range(5):
        _count_in(reel, ear, first, lead=False)


_FOR_SHIFT: dict[str, Callable[[Shift, _Ear], _Sounded]] = {
    "arrival": _arrival,
    "interval": _interval,
    "guide": _guide,
}
_FOR_PASSAGE: dict[str, Callable[[_Reel, _Ear, Sequence[Shift]], None]] = {
    "drone": _drone,
    "phrase": _phrase,
    "clicks": _clicks,
}
KINDS = (*_FOR_SHIFT, *_FOR_PASSAGE)
