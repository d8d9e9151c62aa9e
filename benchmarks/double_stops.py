"""Double stops: both notes judged, against the synthesiser's truth.

    python -m benchmarks.double_stops [TAKES]

Two voices of the bowed-string synthesiser play one double stop and slide to another of the same kind; each finger
misses by N(0, 20 cents) of its own, one attempt in four is corrected in one voice, one in four has vibrato. The upper
string sounds −6…+6 dB against the lower one, over a noise floor 60 dB or, in every other take, 20 dB below. A note
counts as *right* where its word is the truth's; those within 1.5 cents of a limit are left out. TAKES are for each row
and instrument.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from benchmarks.landing import expectation_of_pair
from benchmarks.one_thread import on_one_thread
from numpy.typing import NDArray

from truestop.domain.attempt import Expectation, NoteLanding, Verdict
from truestop.domain.pitch import equal_hz
from truestop.listening.judging import judge_take
from truestop.sounding.takes import PlayedAttempt, RenderedTake, TrueAttempt, render_take

ACCURACY = Path(__file__).parent.parent / "docs" / "accuracy.md"
BEGIN, END = "<!-- double stops: begin -->", "<!-- double stops: end -->"
RATE_HZ = 44100
CLEAR_CENTS = 1.5
#: Semitones of both double stops, lower to upper; the kinds of one row alternate.
INTERVALS = {
    "thirds": (3, 4), "fourths": (5, 5), "sixths": (8, 9), "octaves": (12, 12), "tenths": (15, 16),
    "fifths": (7, 7), "sevenths": (10, 11), "twelfths": (19, 19),
}  # fmt: skip
LOWEST = {"violin": (57, 74), "viola": (50, 67), "cello": (40, 57), "bass": (36, 52)}
"""Range of the lower note, MIDI."""


@dataclass(slots=True)
class Tally:
    """Counts of one row."""

    due: int = 0
    met: int = 0
    extra: int = 0
    unjudged: list[int] = field(default_factory=lambda: [0, 0])
    clear: list[int] = field(default_factory=lambda: [0, 0])
    right: list[int] = field(default_factory=lambda: [0, 0])
    errors: tuple[list[float], list[float]] = field(default_factory=lambda: ([], []))
    wrong: list[str] = field(default_factory=list)
    sound_s: float = 0.0
    took_s: float = 0.0


def play(kind: str, family: str, number: int) -> tuple[NDArray[np.float32], Expectation, tuple[RenderedTake, ...]]:
    """One take of a row, with what is expected and the truth of both voices."""
    rng = np.random.default_rng([5, number, list(INTERVALS).index(kind), list(LOWEST).index(family)])
    travel = int(rng.integers(2, 8)) * int(rng.choice([-1, 1]))
    least, most = LOWEST[family]
    low = int(rng.integers(max(least, least - travel), min(most, most - travel) + 1))
    one, two = rng.permutation(INTERVALS[kind])
    takes = tuple(
        render_take([attempt], departure_hz=equal_hz(low + up), arrival_hz=equal_hz(low + travel + up_after),
                    rng=rng, family=family, wander_cents=0.3, floor_db=-120.0)
        for attempt, up, up_after in zip(_draw(rng), (0, one), (0, two), strict=True)
    )  # fmt: skip
    count = min(len(take.samples) for take in takes)
    sound = takes[0].samples[:count] + 10 ** (rng.uniform(-6, 6) / 20) * takes[1].samples[:count]
    noise_db = -20.0 if number % 2 else -60.0
    sound = sound + 0.1 * 10 ** (noise_db / 20) * rng.standard_normal(count)
    return sound.astype(np.float32), expect_pair(low, low + travel, one, two), takes


def _draw(rng: np.random.Generator) -> tuple[PlayedAttempt, PlayedAttempt]:
    """Both fingers' attempts: one travel in time, each its own miss."""
    basic = PlayedAttempt(
        departure_s=float(rng.uniform(0.5, 0.8)), slide_s=float(rng.uniform(0.08, 0.35)),
        arrival_s=float(rng.uniform(0.9, 1.1)),
    )  # fmt: skip
    way = str(rng.choice(["plain", "plain", "corrected", "vibrato"]))
    corrected = int(rng.integers(2)) if way == "corrected" else -1
    return tuple(_one(rng, basic, corrected=voice == corrected, vibrato=way == "vibrato") for voice in (0, 1))  # type: ignore[return-value]


def _one(rng: np.random.Generator, basic: PlayedAttempt, *, corrected: bool, vibrato: bool) -> PlayedAttempt:
    played = replace(basic, landing_cents=float(rng.normal(0, 20)), departure_cents=float(rng.normal(0, 6)))
    if corrected:
        away = float(rng.choice([-1.0, 1.0]) * rng.uniform(15, 45))
        return replace(played, landing_cents=away, correct_to_cents=float(rng.normal(0, 3)))
    if vibrato:
        return replace(played, vibrato_cents=float(rng.uniform(8, 25)), vibrato_after_s=0.0)
    return played


def expect_pair(departure: int, arrival: int, up: int, up_after: int) -> Expectation:
    """What a drill would say of two double stops by MIDI numbers."""
    lower = expectation_of_pair(equal_hz(departure), equal_hz(arrival))
    upper = expectation_of_pair(equal_hz(departure + up), equal_hz(arrival + up_after))
    return replace(lower, upper_departure=upper.departure, upper_arrival=upper.arrival)


def count_take(kind: str, family: str, number: int, into: Tally) -> None:
    """Judge one take and count its notes."""
    sound, expectation, takes = play(kind, family, number)
    begun = time.thread_time()
    attempts = judge_take(sound, RATE_HZ, expectation)
    into.took_s += time.thread_time() - begun
    into.sound_s += len(sound) / RATE_HZ
    into.due += 1
    into.met += bool(attempts)
    into.extra += max(len(attempts) - 1, 0)
    if not attempts:
        return
    for voice, (note, take) in enumerate(zip(attempts[0].notes, takes, strict=True)):
        if note.verdict is Verdict.UNJUDGED or note.landing_cents is None:
            into.unjudged[voice] += 1
            continue
        real = take.attempts[0]
        into.errors[voice].append(abs(note.landing_cents - real.landing_cents))
        if abs(abs(real.landing_cents) - 20.0) > CLEAR_CENTS and abs(real.landing_cents) < 68.0:
            into.clear[voice] += 1
            into.right[voice] += note.verdict.value == word(real)
            if note.verdict.value != word(real):
                into.wrong.append(
                    f"{kind} {family} {number} {voice}: {_told(note)}, {word(real)} {real.landing_cents:.1f}"
                )


def _told(note: NoteLanding) -> str:
    return f"{note.verdict} {note.landing_cents} ± {note.landing_se_cents} to {note.settled_cents}"


def word(real: TrueAttempt) -> str:
    """What should be said of one note."""
    if abs(real.settled_cents - real.landing_cents) >= 6.0:
        return "corrected"
    return "true" if abs(real.landing_cents) <= 20.0 else "high" if real.landing_cents > 0 else "low"


def rows(count: int) -> Iterator[tuple[str, Tally]]:
    """One row for each kind of double stop, over all instruments."""
    for kind in INTERVALS:
        tally = Tally()
        for family in LOWEST:
            for number in range(count):
                count_take(kind, family, number, tally)
        yield kind, tally


def report(count: int) -> str:
    """The section of docs/accuracy.md."""
    lines = [
        "## Double stops", "", f"`python -m benchmarks.double_stops {count}`", "",
        "Two synthesised voices on violin, viola, cello and bass, each with its own error N(0, 20 cents), in noise",
        "60 or 20 dB below; a quarter corrected in one voice, a quarter with vibrato. Mean and 90 % of the landing",
        "error in cents, and words right of those over 1.5 cents from a limit: lower note | upper note.", "",
        "| | takes | found | extra | unjudged | mean | 90 % | words right | × real time |",
        "|---|---|---|---|---|---|---|---|---|",
    ]  # fmt: skip
    for kind, one in rows(count):
        mean, most = (
            " \\| ".join(f"{pick(np.array(errors or [np.nan])):.2f}" for errors in one.errors)
            for pick in (np.mean, _ninety)
        )
        words = " \\| ".join(f"{right} of {clear}" for right, clear in zip(one.right, one.clear, strict=True))
        lines.append(
            f"| {kind} | {one.due} | {one.met} | {one.extra} | {one.unjudged[0]} \\| {one.unjudged[1]} "
            f"| {mean} | {most} | {words} | {one.sound_s / one.took_s:.0f} |"
        )
        for wrong in one.wrong:
            print(wrong)
    return "\n".join(lines)


def _ninety(values: NDArray[np.float64]) -> float:
    return float(np.percentile(values, 90))


def main() -> None:
    """Print the section, or put it into docs/accuracy.md."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("count", nargs="?", type=int, default=10)
    chosen = parser.parse_args()
    text = report(chosen.count)
    print(text)


if __name__ == "__main__":
    on_one_thread("benchmarks.double_stops")
    main()
