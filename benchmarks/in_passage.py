"""Whole performances of the built-in study, phrased from recorded notes: landings in the passage against known truth.

    python -m benchmarks.in_passage [COUNT] [--write]

No package registry we know carries recordings of string players with open terms, so the phrases are sampled: every note
is a recorded one bent to its pitch (benchmarks.recorded_notes), intoned with N(0, 5 cents), arrivals of shifts with
N(0, 18 cents); shifts slide 60–180 ms; the tempo wanders by a quarter; every performance stumbles once (goes back some
notes), and repeats or skips some bars. In turn they are dry, in a room, and with 15 dB of noise.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path

import numpy as np
from benchmarks.one_thread import on_one_thread
from benchmarks.recorded_notes import RATE_HZ, STEADY, Floats, bent, labelled_midi, recorded_note
from scipy.signal import fftconvolve

from truestop import bootstrap
from truestop.app.mainjob import HeldSound, InHand, Setup, take_in_hand
from truestop.app.performance import Performed, judge_performance
from truestop.domain.attempt import Verdict
from truestop.domain.expecting import stop_target
from truestop.domain.shift import Cover
from truestop.sounding.bowed import bow_envelope, minimum_jerk

ACCURACY = Path(__file__).parent.parent / "docs" / "accuracy.md"
BEGIN, END = "<!-- in-passage: begin -->", "<!-- in-passage: end -->"
CONDITIONS = ("dry", "room", "noise 15 dB")
TOLERANCE_CENTS, CLEAR_CENTS, MET_WITHIN_S = 20.0, 1.5, 0.35
_OVERLAP_S = 0.012


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


def perform(study: InHand, number: int) -> Performance:
    """Performance ``number``: seeded, stumbling once, repeating or skipping some bars."""
    rng = np.random.default_rng([7, number])
    steps = _played_steps(study, _order(study, rng), rng)
    out = np.zeros(round((steps[-1].end_s + 0.6) * RATE_HZ))
    for place, step in enumerate(steps):
        follower = steps[place + 1] if place + 1 < len(steps) else None
        piece = _sound(study, step, follower, rng)
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


def _played_steps(study: InHand, order: list[int], rng: np.random.Generator) -> tuple[PlayedStep, ...]:
    fingered = study.fingered
    arrivals = {shift.arrival_step: shift for shift in study.way.shifts}
    quarter_s, phase, at = float(rng.uniform(0.62, 0.85)), rng.uniform(0, 6), 0.4
    found = []
    for place, index in enumerate(order):
        step = fingered.steps[index]
        follower = order[place + 1] if place + 1 < len(order) else None
        runs_on = follower == index + 1
        local_s = quarter_s * (1 + 0.12 * np.sin(0.35 * float(step.onset) + phase)) * float(rng.normal(1.0, 0.015))
        sounding_s = max(float(step.duration) * local_s, 0.1)
        until = float(fingered.steps[index + 1].onset) if runs_on else float(step.onset + step.duration)
        lasts_s = max((until - float(step.onset)) * local_s, 0.1)
        shift = arrivals.get(index + 1) if runs_on else None
        slides = shift is not None and shift.cover is Cover.NONE
        found.append(PlayedStep(
            index=index, start_s=at, end_s=at + min(sounding_s, lasts_s),
            cents=float(rng.normal(0.0, 18.0 if index in arrivals else 5.0)),
            slide_s=min(float(rng.uniform(0.06, 0.18)), 0.5 * sounding_s) if slides else 0.0,
            joined=runs_on and fingered.steps[index + 1].bow_continues,
        ))  # fmt: skip
        at += lasts_s if runs_on else lasts_s + float(rng.uniform(0.2, 0.6))
    return tuple(found)


def _hz(study: InHand, index: int, cents: float) -> float:
    step = study.fingered.steps[index]
    stop = step.stops[0]
    return stop_target(stop, step.stops, intonation=study.intonation).hz * float(2.0 ** (cents / 1200.0))


def _sound(study: InHand, step: PlayedStep, follower: PlayedStep | None, rng: np.random.Generator) -> Floats:
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
    stem = min(STEADY["violin"], key=lambda name: abs(labelled_midi(name) - 69 - 12 * np.log2(hz / 440.0)))
    note = recorded_note("violin", stem)
    latest = int(np.searchsorted(note.cycles, note.cycles[-1] - contour.sum() / RATE_HZ - 2.0))
    tone = bent(note, contour, begin=int(rng.integers(0, max(latest, 1))))
    level = bow_envelope(n, sample_rate_hz=RATE_HZ, attack_s=_OVERLAP_S, release_s=_OVERLAP_S if step.joined else 0.03)
    return tone * level * 0.12 / np.sqrt(np.mean(tone**2))


def _in_condition(samples: Floats, condition: str, rng: np.random.Generator) -> Floats:
    if condition == "room":
        t = np.arange(int(0.7 * RATE_HZ)) / RATE_HZ
        tail = rng.standard_normal(len(t)) * 10 ** (-3 * t / 0.6) * (t > 0.004)
        tail *= 10 ** (-4 / 20) / np.sqrt(np.sum(tail**2))
        tail[0] = 1.0
        samples = fftconvolve(samples, tail)[: len(samples)]
    noise_db = -15.0 if condition.startswith("noise") else -60.0
    return samples + 0.12 * 10 ** (noise_db / 20) * rng.standard_normal(len(samples))


@dataclass(slots=True)
class Tally:
    """Counts over performances of one condition."""

    due: int = 0
    met: int = 0
    spurious: int = 0
    judged: int = 0
    clear: int = 0
    right: int = 0
    errors: list[float] = field(default_factory=list)
    """Cents, absolute."""


def tally(study: InHand, performance: Performance, found: tuple[Performed, ...], into: Tally) -> None:
    """Match found shifts with those that were played, by place in time."""
    left = list(found)
    by_arrival = {shift.arrival_step: shift for shift in study.way.shifts}
    for before, step in pairwise(performance.steps):
        shift = by_arrival.get(step.index)
        if shift is None or before.index != step.index - 1 or shift.arrival[0].is_open or shift.arrival[0].harmonic:
            continue
        into.due += 1
        mine = [one for one in left if one.shift.number == shift.number and _is_there(one, step)]
        if not mine:
            continue
        left.remove(mine[0])
        into.met += 1
        _count(mine[0], step, into)
    into.spurious += sum(one.attempt.verdict is not Verdict.UNJUDGED and _is_stopped(one) for one in left)


def _is_stopped(one: Performed) -> bool:
    return not (one.shift.arrival[0].is_open or one.shift.arrival[0].harmonic)


def _is_there(one: Performed, step: PlayedStep) -> bool:
    at_s = one.attempt.arrival_s if one.attempt.arrival_s is not None else one.attempt.end_s
    return step.start_s - MET_WITHIN_S <= at_s <= step.end_s + MET_WITHIN_S


def _count(one: Performed, step: PlayedStep, into: Tally) -> None:
    attempt = one.attempt
    if attempt.landing_cents is None or attempt.verdict is Verdict.UNJUDGED:
        return
    into.judged += 1
    into.errors.append(abs(attempt.landing_cents - step.cents))
    if abs(abs(step.cents) - TOLERANCE_CENTS) < CLEAR_CENTS:
        return
    into.clear += 1
    off = abs(step.cents) > TOLERANCE_CENTS
    word = Verdict.HIGH if step.cents > 0 else Verdict.LOW
    into.right += (word.value in attempt.faults) if off else not {"high", "low"} & set(attempt.faults)


def report(count: int) -> str:
    """The section of docs/accuracy.md."""
    study = take_in_hand(bootstrap.read_study(), Setup())
    tallies = {condition: Tally() for condition in CONDITIONS}
    for number in range(count):
        performance = perform(study, number)
        tally(study, performance, judge_performance(study, performance.sound), tallies[CONDITIONS[number % 3]])
    lines = ["## In the passage", "", f"`python -m benchmarks.in_passage {count} --write`", "",
             "The built-in study phrased from recorded violin notes, each performance with a stumble and a repeat or a",
             "cut, tempo wandering by a quarter. *Met*: shifts found where they were played. *Spurious*: judged, but",
             f"not played there. *Words right*: high, low, neither; landings over {CLEAR_CENTS} cents off a limit.", "",
             "| | performances | shifts | met | spurious | judged | mean error, cents | median | 90 % | words right |",
             "|---|---|---|---|---|---|---|---|---|---|"]  # fmt: skip
    for index, (condition, one) in enumerate(tallies.items()):
        errors = np.array(one.errors or [np.nan])
        lines.append(
            f"| {condition} | {len(range(index, count, 3))} | {one.due} | {one.met} | {one.spurious} | {one.judged} "
            f"| {errors.mean():.2f} | {np.median(errors):.2f} | {np.percentile(errors, 90):.2f} "
            f"| {one.right} of {one.clear} |"
        )
    return "\n".join(lines)


def main() -> None:
    """Print the section, or put it into docs/accuracy.md."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("count", nargs="?", type=int, default=9)
    parser.add_argument("--write", action="store_true")
    chosen = parser.parse_args()
    text = report(chosen.count)
    print(text)
    if chosen.write:
        page = ACCURACY.read_text(encoding="utf-8")
        section = f"{BEGIN}\n{text}\n{END}\n"
        if BEGIN in page:
            before, after = page.split(BEGIN)[0], page.split(END)[1].lstrip("\n")
            ACCURACY.write_text(before + section + after, encoding="utf-8")
        else:
            ACCURACY.write_text(page.rstrip("\n") + "\n\n" + section, encoding="utf-8")


if __name__ == "__main__":
    on_one_thread("benchmarks.in_passage")
    main()
