"""Landings against known truth: recorded notes bent along known paths, in seven conditions, with peers in the same run.

    python -m benchmarks.landing [COUNT] [--synthesis] [--peers]

Each of COUNT takes (default 28) is heard in all seven conditions. The truth is the path the sound was bent along, read
by the measure itself, so that only the hearing is judged here. *Slide* is how far the line that is kept lies off the
path between leaving and arriving, in cents: its median of each slide, and of these. Unjudged attempts are counted
apart. The peers (praat-parselmouth, librosa, swift-f0) give a contour, read over the true landing's window; what
they miss is failed.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
from benchmarks.one_thread import on_one_thread
from benchmarks.takes import CONDITIONS, BenchTake, in_condition, make_take
from numpy.typing import NDArray

from truestop.domain.attempt import Attempt, Expectation, Target, Verdict
from truestop.domain.pitch import Pitch, hz_to_cents
from truestop.listening.frames import Plan
from truestop.listening.judging import judge_take
from truestop.listening.landing import Landing, measure_landing
from truestop.listening.resting import Travel
from truestop.listening.tracking import track_pitch

if TYPE_CHECKING:
    import swift_f0

Cents = NDArray[np.float64]
FAILED_CENTS = 50.0
LIMIT_CENTS, CLEAR_CENTS = 20.0, 1.5


def expectation_of(take: BenchTake, **more: object) -> Expectation:
    """What a drill would say about the take."""
    return expectation_of_pair(take.departure_hz, take.arrival_hz, **more)


def expectation_of_pair(departure_hz: float, arrival_hz: float, **more: object) -> Expectation:
    """What a drill would say of a shift between two pitches."""
    return Expectation(
        shift="bench",
        stage="plain",
        departure=_target(departure_hz),
        arrival=_target(arrival_hz),
        **more,  # type: ignore[arg-type]
    )


def _target(hz: float) -> Target:
    return Target(pitch=Pitch.parse("A4"), hz=hz, system="equal", reference=None, string=1, place=7)


def true_landing(take: BenchTake) -> Landing:
    """The measure on the path itself."""
    path = take.path_cents.astype(np.float64)
    return measure_landing(path, Travel(interval_cents=_interval(take), smoothing_ms=0.0))


def _interval(take: BenchTake) -> float:
    return hz_to_cents(take.arrival_hz, take.departure_hz)


@dataclass(slots=True)
class Tally:
    """What one ear heard in one condition."""

    errors: list[float] = field(default_factory=list)
    arrivals_ms: list[float] = field(default_factory=list)
    slides: list[float] = field(default_factory=list)
    failed: int = 0
    unjudged: int = 0
    takes: int = 0
    extra: int = 0
    right: int = 0
    clear: int = 0
    moved: dict[tuple[bool, bool], int] = field(default_factory=dict)
    vibrato_right: int = 0
    heard_s: float = 0.0
    took_s: float = 0.0


def judge_into(tally: Tally, take: BenchTake) -> None:
    """Hear one take with the whole pipeline and compare with its truth."""
    truth = true_landing(take)
    start = time.thread_time()
    attempts = judge_take(take.samples, take.sample_rate_hz, expectation_of(take))
    tally.took_s += time.thread_time() - start
    tally.heard_s += len(take.samples) / take.sample_rate_hz
    tally.takes += 1
    tally.extra += max(len(attempts) - 1, 0)
    if truth.landing_cents is None:
        tally.takes -= 1
        return
    attempt = next((one for one in attempts if one.landing_cents is not None), None)
    if attempt is None or abs(attempt.landing_cents - truth.landing_cents) > FAILED_CENTS:
        tally.failed += 1
        return
    if attempt.verdict is Verdict.UNJUDGED:
        tally.unjudged += 1
        return
    tally.errors.append(abs(attempt.landing_cents - truth.landing_cents))
    if attempt.arrival_s is not None and truth.arrival is not None:
        tally.arrivals_ms.append(1000.0 * attempt.arrival_s - truth.arrival)
    tally.slides += _off_the_slide(take, attempt)
    _compare_words(tally, attempt, truth)


def _off_the_slide(take: BenchTake, attempt: Attempt) -> list[float]:
    """Median distance in cents of the kept line from the path while the finger travels; nothing where none is kept."""
    played, times_s = take.attempts[0], np.array(attempt.trace_s)
    travelling = (times_s > played.departure_s) & (times_s < played.arrival_s)
    path = np.interp(1000.0 * times_s, np.arange(len(take.path_cents)), take.path_cents)
    off = np.abs(np.array(attempt.trace_cents) - path)[travelling]
    return [float(np.median(off))] if len(off) else []


def _compare_words(tally: Tally, attempt: Attempt, truth: Landing) -> None:
    assert truth.landing_cents is not None
    moved = bool(truth.correction_cents) and truth.toward
    heard = "corrected" in attempt.faults
    if attempt.verdict is not Verdict.UNJUDGED:
        tally.moved[moved, heard] = tally.moved.get((moved, heard), 0) + 1
        tally.vibrato_right += attempt.vibrato.present == (truth.vibrato is not None)
        if all(abs(abs(truth.landing_cents) - limit) >= CLEAR_CENTS for limit in (LIMIT_CENTS, 70.0)):
            tally.clear += 1
            tally.right += str(attempt.verdict) == _word(truth, moved)


def _word(truth: Landing, moved: bool) -> str:
    cents, settled = truth.landing_cents, truth.settled_cents
    assert cents is not None
    if abs(cents) > 70.0 and (settled is None or abs(settled) > 70.0):
        return "wrong note"
    if moved:
        return "corrected"
    return "true" if abs(cents) <= LIMIT_CENTS else "high" if cents > 0 else "low"


def f1(moved: dict[tuple[bool, bool], int]) -> float:
    """F1 of corrected landings."""
    hits, misses, alarms = (moved.get(key, 0) for key in ((True, True), (True, False), (False, True)))
    return 2 * hits / max(2 * hits + misses + alarms, 1)


Contour = Callable[[BenchTake], tuple[Cents, Cents]]


def _ours(take: BenchTake) -> tuple[Cents, Cents]:
    track = track_pitch(take.samples, take.sample_rate_hz, take.departure_hz, take.arrival_hz)
    return track.times_s, track.f0_hz


def _praat(take: BenchTake, *, told: bool) -> tuple[Cents, Cents]:
    import parselmouth

    plan = Plan(take.sample_rate_hz, take.departure_hz, take.arrival_hz)
    low, high = (plan.low_hz, plan.high_hz) if told else (35.0, 2500.0)
    sound = parselmouth.Sound(take.samples.astype(np.float64), take.sample_rate_hz)
    pitch = sound.to_pitch_ac(time_step=0.005, pitch_floor=low, pitch_ceiling=high)
    hz = pitch.selected_array["frequency"]
    return pitch.xs(), np.where(hz > 0, hz, np.nan)


def _yin(take: BenchTake) -> tuple[Cents, Cents]:
    import librosa

    plan = Plan(take.sample_rate_hz, take.departure_hz, take.arrival_hz)
    hop, frame = 256, 2048 if plan.low_hz > 60 else 4096
    hz = librosa.yin(
        take.samples, fmin=plan.low_hz, fmax=plan.high_hz, sr=take.sample_rate_hz, hop_length=hop, frame_length=frame
    )
    return np.arange(len(hz)) * hop / take.sample_rate_hz, hz


def _swift(take: BenchTake) -> tuple[Cents, Cents]:
    """A neural tracker of 47–2094 Hz, told the range where it lies within."""
    import swift_f0

    plan = Plan(take.sample_rate_hz, take.departure_hz, take.arrival_hz)
    low, high = max(plan.low_hz, swift_f0.FMIN), min(plan.high_hz, swift_f0.FMAX)
    found = _swift_ear().detect(take.samples, take.sample_rate_hz, fmin=low, fmax=high)
    return found.timestamps, np.where(found.confidence >= 0.5, found.pitch_hz, np.nan)


@cache
def _swift_ear() -> swift_f0.SwiftF0:
    import swift_f0

    return swift_f0.SwiftF0(threads=1)


EARS: dict[str, Contour] = {
    "truestop tracker": _ours,
    "praat-parselmouth ac": lambda take: _praat(take, told=False),
    "the same, told the range": lambda take: _praat(take, told=True),
    "librosa yin, told the range": _yin,
    "swift-f0, told the range": _swift,
}


def contour_into(tally: Tally, take: BenchTake, ear: Contour) -> None:
    """Median error over the true landing window and the slide, arrival known; speed of the tracker alone."""
    truth = true_landing(take)
    if truth.landing_cents is None or truth.window is None:
        return
    start = time.thread_time()
    times_s, hz = ear(take)
    tally.took_s += time.thread_time() - start
    tally.heard_s += len(take.samples) / take.sample_rate_hz
    tally.takes += 1
    grid = np.arange(len(take.path_cents))
    with np.errstate(invalid="ignore"):
        off = 1200.0 * np.log2(hz / take.arrival_hz) - np.interp(times_s * 1000.0, grid, take.path_cents)
    landing = off[(times_s * 1000 >= truth.window[0]) & (times_s * 1000 < truth.window[1])]
    if not np.isfinite(landing).any() or abs(np.nanmedian(landing)) > FAILED_CENTS:
        tally.failed += 1
        return
    tally.errors.append(abs(float(np.nanmedian(landing))))
    attempt = take.attempts[0]
    slide = off[(times_s > attempt.departure_s) & (times_s < attempt.arrival_s)]
    if np.isfinite(slide).any():
        tally.slides.append(float(np.nanmedian(np.abs(slide))))


def bench_pipeline(count: int, source: str) -> dict[str, Tally]:
    """The whole pipeline in all conditions."""
    tallies = {condition: Tally() for condition in CONDITIONS}
    for number in range(count):
        clean = make_take(number, source=source)
        for condition, tally in tallies.items():
            judge_into(tally, in_condition(clean, condition))
    return tallies


def bench_contours(count: int, source: str, ears: dict[str, Contour]) -> dict[str, dict[str, Tally]]:
    """Trackers side by side, interleaved take by take."""
    tallies = {name: {condition: Tally() for condition in CONDITIONS} for name in ears}
    for number in range(count):
        clean = make_take(number, source=source)
        for condition in CONDITIONS:
            take = in_condition(clean, condition)
            for name, ear in ears.items():
                contour_into(tallies[name][condition], take, ear)
    return tallies


def print_pipeline(tallies: dict[str, Tally]) -> None:
    """One line a condition."""
    print("| condition | takes | failed | unjudged | mean | median | 90 % | arrival median, 90 % (ms) | words right |"
          " slide | corrected F1 | vibrato right | × real time |")  # fmt: skip
    print("|---|---|---|---|---|---|---|---|---|---|---|---|---|")
    every = [error for tally in tallies.values() for error in tally.errors]
    for name, tally in tallies.items():
        errors, arrivals = np.array(tally.errors), np.abs(tally.arrivals_ms)
        judged = sum(tally.moved.values())
        print(
            f"| {name} | {tally.takes} | {tally.failed} | {tally.unjudged} | {errors.mean():.2f} |"
            f" {np.median(errors):.2f} | {np.percentile(errors, 90):.2f} | {np.median(arrivals):.1f},"
            f" {np.percentile(arrivals, 90):.1f} | {tally.right} of {tally.clear} |"
            f" {np.median(tally.slides):.1f} | {f1(tally.moved):.3f} |"
            f" {tally.vibrato_right / max(judged, 1):.3f} | {tally.heard_s / tally.took_s:.0f} |"
        )
    print(f"\nall conditions: mean {np.mean(every):.2f}, 90 % {np.percentile(every, 90):.2f} cents")


def print_contours(tallies: dict[str, dict[str, Tally]]) -> None:
    """One line an ear: mean error, failed takes in brackets; slides; speed."""
    print("| arrival known | " + " | ".join(CONDITIONS) + " | slide, dry | slide, room | × real time |")
    print("|---" * (len(CONDITIONS) + 4) + "|")
    for name, by_condition in tallies.items():
        cells = [
            f"{np.mean(tally.errors):.2f}" + (f" ({tally.failed})" if tally.failed else "")
            for tally in by_condition.values()
        ]
        slides = [np.median(by_condition[condition].slides) for condition in ("clean", "room")]
        speed = sum(t.heard_s for t in by_condition.values()) / sum(t.took_s for t in by_condition.values())
        print(f"| {name} | " + " | ".join(cells) + f" | {slides[0]:.2f} | {slides[1]:.1f} | {speed:.0f} |")


def main() -> None:
    """Print the tables."""
    on_one_thread("benchmarks.landing")
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("count", type=int, nargs="?", default=28)
    parser.add_argument("--synthesis", action="store_true")
    parser.add_argument("--peers", action="store_true")
    options = parser.parse_args()
    source = "synthesis" if options.synthesis else "recorded"
    print_pipeline(bench_pipeline(options.count, source))
    ears = EARS if options.peers else {"truestop tracker": _ours}
    print()
    print_contours(bench_contours(options.count, source, ears))


if __name__ == "__main__":
    main()
