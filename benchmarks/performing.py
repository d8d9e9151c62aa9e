"""Performances of whole passages with known truth: stumbles, repeats and cuts, slurred or detached, in three rooms.

No package registry we know carries recordings of string players with open terms, so the phrases are sampled: every note
is a recorded one bent to its pitch (benchmarks.recorded_notes), intoned with N(0, 5 cents), arrivals of shifts with
N(0, 18 cents); shifts slide 60–180 ms; the tempo wanders by a quarter. The violin plays the built-in study, the others
melodies of their own in ``benchmarks/music``, invented for this purpose.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from pathlib import Path

import numpy as np
from benchmarks.recorded_notes import RATE_HZ, SOURCES, STEADY, Floats, bent, labelled_midi, recorded_note
from scipy.signal import fftconvolve

from truestop import bootstrap
from truestop.app.mainjob import HeldSound, InHand, Setup, take_in_hand
from truestop.domain.expecting import stop_target
from truestop.domain.shift import Cover
from truestop.sounding.bowed import bow_envelope, minimum_jerk

MUSIC = Path(__file__).parent / "music"
FAMILIES = ("violin", "viola", "cello", "bass")
CONDITIONS = ("dry", "room", "noise 15 dB")
GAP_S = (0.02, 0.06)
_OVERLAP_S = 0.012
_LEVEL = 0.12


class Bow(StrEnum):
    """How the notes are bowed."""

    WRITTEN = "as written"
    SLURRED = "slurred"
    """New bows only after rests and where the player begins again."""
    DETACHED = "detached"
    """A bow and 20 to 60 ms of silence for every note."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlayedStep:
    """A step of the study as it was played."""

    index: int
    start_s: float
    end_s: float
    cents: float
    slide_s: float
    """Length of the slide that leads away from it, at its end."""
    joined: bool
    """Whether the next note follows on the same bow."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Performance:
    """The sound of a performance and what it is made of."""

    sound: HeldSound
    steps: tuple[PlayedStep, ...]


@cache
def study_for(family: str) -> InHand:
    """What the instrument plays."""
    if family == "violin":
        return take_in_hand(bootstrap.read_study(), Setup())
    passage = bootstrap.open_passage(str(MUSIC / f"{family}.abc"), family=family)
    return take_in_hand(passage, Setup(family=family))


def perform(
    family: str, number: int, bow: Bow = Bow.WRITTEN, *, gap_s: tuple[float, float] = GAP_S, even: bool = False
) -> Performance:
    """Performance ``number``: seeded, stumbling once, repeating or skipping some bars.

    ``gap_s`` are the least and the longest silence of detached bows; ``even`` keeps one tempo.
    """
    rng = _generator(family, number, bow)
    return _sounded(family, number, bow, _order(study_for(family), rng), rng, gap_s=gap_s, even=even)


def perform_again_and_again(family: str, number: int, bow: Bow = Bow.WRITTEN, *, times: int = 6) -> Performance:
    """Into the music up to a bar with a shift, this bar so many times in a row, and on for two bars."""
    study = study_for(family)
    rng = _generator(family, 1000 + number, bow)
    steps = study.fingered.steps
    shift = study.way.shifts[int(rng.integers(len(study.way.shifts)))]
    bars = [step.measure for step in steps]
    first, last = shift.departure_step, shift.arrival_step
    while first > 0 and bars[first - 1] == bars[shift.departure_step]:
        first -= 1
    while last + 1 < len(steps) and bars[last + 1] == bars[shift.arrival_step]:
        last += 1
    order = [*range(max(first - 6, 0), first), *([*range(first, last + 1)] * times)]
    order += range(last + 1, min(last + 9, len(steps)))
    return _sounded(family, number, bow, order, rng, hold_s=(0.0, 0.05) if number % 2 else (0.2, 0.6))


def _generator(family: str, number: int, bow: Bow) -> np.random.Generator:
    kind = [FAMILIES.index(family), list(Bow).index(bow)]
    return np.random.default_rng([7, number, *kind] if any(kind) else [7, number])


def _sounded(
    family: str,
    number: int,
    bow: Bow,
    order: list[int],
    rng: np.random.Generator,
    *,
    hold_s: tuple[float, float] = (0.2, 0.6),
    gap_s: tuple[float, float] = GAP_S,
    even: bool = False,
) -> Performance:
    steps = _played_steps(study_for(family), order, bow, hold_s, rng, gap_s=gap_s, even=even)
    out = np.zeros(round((steps[-1].end_s + 0.6) * RATE_HZ))
    for place, step in enumerate(steps):
        follower = steps[place + 1] if place + 1 < len(steps) else None
        piece = _sound(family, step, follower, rng)
        at = round(step.start_s * RATE_HZ)
        out[at : at + len(piece)] += piece[: len(out) - at]
    samples = _in_condition(out, CONDITIONS[number % 3], rng)
    return Performance(sound=HeldSound(samples=samples, sample_rate_hz=RATE_HZ), steps=steps)


def _order(study: InHand, rng: np.random.Generator) -> list[int]:
    """Step indices as played: on through the passage, one stumble back, some bars repeated or left out."""
    steps = study.fingered.steps
    bars = [step.measure for step in steps]
    names = list(dict.fromkeys(bars))
    stumble = int(rng.integers(6, len(steps) - 6))
    back = stumble - int(rng.integers(2, 5))
    order = [*range(stumble), *range(back, len(steps))]
    bar = int(rng.integers(3, len(names) - 4))
    first, last = bars.index(names[bar]), bars.index(names[bar + 2])
    if rng.uniform() < 0.5:
        return [index for index in order if not first <= index < last]
    at = order.index(last)
    return [*order[:at], *range(first, last), *order[at:]]


def _played_steps(
    study: InHand,
    order: list[int],
    bow: Bow,
    hold_s: tuple[float, float],
    rng: np.random.Generator,
    *,
    gap_s: tuple[float, float],
    even: bool,
) -> tuple[PlayedStep, ...]:
    fingered = study.fingered
    arrivals = {shift.arrival_step: shift for shift in study.way.shifts}
    quarter_s, phase, at = float(rng.uniform(0.62, 0.85)), rng.uniform(0, 6), 0.4
    found = []
    for place, index in enumerate(order):
        step = fingered.steps[index]
        follower = order[place + 1] if place + 1 < len(order) else None
        runs_on = follower == index + 1
        wander = (1 + 0.12 * np.sin(0.35 * float(step.onset) + phase)) * float(rng.normal(1.0, 0.015))
        local_s = quarter_s * (1.0 if even else wander)
        sounding_s = max(float(step.duration) * local_s, 0.1)
        until = float(fingered.steps[index + 1].onset) if runs_on else float(step.onset + step.duration)
        lasts_s = max((until - float(step.onset)) * local_s, 0.1)
        shift = arrivals.get(index + 1) if runs_on else None
        slides = shift is not None and shift.cover is Cover.NONE
        silent_s = float(rng.uniform(*gap_s)) if bow is Bow.DETACHED else 0.0
        found.append(PlayedStep(
            index=index, start_s=at, end_s=at + min(sounding_s, lasts_s) - silent_s,
            cents=float(rng.normal(0.0, 18.0 if index in arrivals else 5.0)),
            slide_s=min(float(rng.uniform(0.06, 0.18)), 0.5 * sounding_s) if slides else 0.0,
            joined=runs_on and _on_one_bow(study, index, bow),
        ))  # fmt: skip
        at += lasts_s if runs_on else lasts_s + float(rng.uniform(*hold_s))
    return tuple(found)


def _on_one_bow(study: InHand, index: int, bow: Bow) -> bool:
    """Whether the step after ``index`` is played on the same bow."""
    after = study.fingered.steps[index + 1]
    if bow is Bow.WRITTEN:
        return after.bow_continues
    return bow is Bow.SLURRED and not after.rest_before


def _hz(study: InHand, index: int, cents: float) -> float:
    step = study.fingered.steps[index]
    stop = step.stops[0]
    return stop_target(stop, step.stops, intonation=study.intonation).hz * float(2.0 ** (cents / 1200.0))


def _sound(family: str, step: PlayedStep, follower: PlayedStep | None, rng: np.random.Generator) -> Floats:
    study = study_for(family)
    n = round((step.end_s - step.start_s + (_OVERLAP_S if step.joined else 0.0)) * RATE_HZ)
    open_string = study.fingered.steps[step.index].stops[0].is_open
    hz = _hz(study, step.index, 0.0 if open_string else step.cents)
    contour = np.full(n, hz)
    slide = round(step.slide_s * RATE_HZ)
    if slide and follower is not None:
        far = 1200.0 * np.log2(_hz(study, follower.index, follower.cents) / hz)
        end = n - (round(_OVERLAP_S * RATE_HZ) if step.joined else 0)
        contour[end - slide : end] = hz * 2.0 ** (far * minimum_jerk((np.arange(slide) + 0.5) / slide) / 1200.0)
        contour[end:] = hz * 2.0 ** (far / 1200.0)
    tone = _bowed(family, hz, contour, rng)
    level = bow_envelope(n, sample_rate_hz=RATE_HZ, attack_s=_OVERLAP_S, release_s=_OVERLAP_S if step.joined else 0.03)
    return tone * level * _LEVEL / np.sqrt(np.mean(tone**2))


def _bowed(family: str, hz: float, contour: Floats, rng: np.random.Generator) -> Floats:
    """The nearest recorded note that lasts long enough, along ``contour``."""
    midi = 69 + 12 * np.log2(hz / 440.0)
    stems = [(source, stem) for source in SOURCES[family] for stem in STEADY[source]]
    for source, stem in sorted(stems, key=lambda one: abs(labelled_midi(one[1]) - midi)):
        note = recorded_note(source, stem)
        left = note.cycles[-1] - contour.sum() / RATE_HZ - 2.0
        if left > 0.0:
            latest = int(np.searchsorted(note.cycles, left))
            return bent(note, contour, begin=int(rng.integers(0, max(latest, 1))))
    raise RuntimeError(f"no {family} note near {midi:.1f} lasts {contour.sum() / RATE_HZ:.0f} cycles")


def _in_condition(samples: Floats, condition: str, rng: np.random.Generator) -> Floats:
    if condition == "room":
        t = np.arange(int(0.7 * RATE_HZ)) / RATE_HZ
        tail = rng.standard_normal(len(t)) * 10 ** (-3 * t / 0.6) * (t > 0.004)
        tail *= 10 ** (-4 / 20) / np.sqrt(np.sum(tail**2))
        tail[0] = 1.0
        samples = fftconvolve(samples, tail)[: len(samples)]
    noise_db = -15.0 if condition.startswith("noise") else -60.0
    return samples + _LEVEL * 10 ** (noise_db / 20) * rng.standard_normal(len(samples))
