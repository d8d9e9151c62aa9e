"""The live mark and the word after it: how often a mark that was drawn is followed by *unjudged*, and why.

    python -m benchmarks.marks [COUNT]

COUNT takes (default 28) in all conditions of benchmarks.landing, recorded and synthesised; untidy takes; two players.
A mark is *moved* where the verdict's landing differs from it, *taken back* where the verdict has none.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from benchmarks.landing import expectation_of, expectation_of_pair
from benchmarks.one_thread import on_one_thread
from benchmarks.takes import CONDITIONS, in_condition, make_take
from benchmarks.two_players import OTHERS, SHIFTS, UNISON, mixed
from benchmarks.untidy import ALL_SHIFTS, RATE_HZ, make_untidy

from truestop.domain.attempt import Expectation, Verdict
from truestop.domain.pitch import equal_hz
from truestop.listening.frames import Samples
from truestop.listening.judging import LandingFinal, Listener, VerdictFinal
from truestop.listening.wording import REASONS

BLOCK = 4410
NAMES = {sentence: name for name, sentence in REASONS.items()}
Sounds = Iterator[tuple[Samples, float, Expectation]]


@dataclass(slots=True)
class Marks:
    """What became of the attempts of one group, and how long after the rest the marks came."""

    attempts: int = 0
    marked: int = 0
    judged_unmarked: int = 0
    moved: int = 0
    taken_back: int = 0
    reasons: Counter[str] = field(default_factory=Counter)
    unmarked_reasons: Counter[str] = field(default_factory=Counter)
    after_ms: list[float] = field(default_factory=list)


def count_marks(sounds: Sounds) -> Marks:
    """Hear every take live."""
    marks = Marks()
    for samples, rate_hz, expectation in sounds:
        listener = Listener(expectation, rate_hz)
        drawn: LandingFinal | None = None
        events = [event for a in range(0, len(samples), BLOCK) for event in listener.feed(samples[a : a + BLOCK])]
        for event in [*events, *listener.finish()]:
            if isinstance(event, LandingFinal):
                drawn = event
                marks.after_ms.append(1000.0 * (event.at_s - event.rest_s))
            elif isinstance(event, VerdictFinal):
                _compare(marks, drawn, event)
                drawn = None
    return marks


def _compare(marks: Marks, drawn: LandingFinal | None, event: VerdictFinal) -> None:
    marks.attempts += 1
    reason = NAMES.get(event.attempt.reason or "", "")
    unjudged = event.attempt.verdict is Verdict.UNJUDGED
    if drawn is None:
        marks.judged_unmarked += not unjudged
        marks.unmarked_reasons.update([reason] if unjudged else [])
        return
    marks.marked += 1
    cents = event.attempt.landing_cents
    marks.taken_back += cents is None
    marks.moved += cents is not None and abs(cents - drawn.landing_cents) > 0.001
    marks.reasons.update([reason] if unjudged else [])


def landing_takes(count: int, condition: str) -> Sounds:
    """Takes of benchmarks.landing."""
    for source in ("recorded", "synthesis"):
        for number in range(count):
            take = in_condition(make_take(number, source=source), condition)
            yield take.samples, take.sample_rate_hz, expectation_of(take)


def untidy_takes(count: int) -> Sounds:
    """Takes of benchmarks.untidy, on all instruments."""
    for number in range(count):
        family, departure, arrival = ALL_SHIFTS[number % len(ALL_SHIFTS)]
        sound, _ = make_untidy(np.random.default_rng([7, number]), departure, arrival, family=family,
                               slides_s=(0.06, 2.0))  # fmt: skip
        yield sound, RATE_HZ, expectation_of_pair(equal_hz(departure), equal_hz(arrival))


def two_players() -> Sounds:
    """The pairs of benchmarks.two_players."""
    for company in (UNISON, *OTHERS):
        for off in (8, 20):
            for level_db in (0, -6, -12):
                for number in range(8):
                    samples, _ = mixed(number, company, off * (1 if number % 2 else -1), level_db)
                    _, departure_hz, arrival_hz = SHIFTS[number % len(SHIFTS)]
                    yield samples, RATE_HZ, expectation_of_pair(departure_hz, arrival_hz)


def print_marks(name: str, marks: Marks) -> None:
    """One line."""
    told = ", ".join(f"{reason} {count}" for reason, count in marks.reasons.most_common()) or "none"
    never = ", ".join(f"{reason} {count}" for reason, count in marks.unmarked_reasons.most_common()) or "none"
    late = np.array(marks.after_ms or [np.nan])
    print(f"| {name} | {marks.attempts} | {marks.marked} | {told} | {never} | {marks.judged_unmarked} |"
          f" {marks.moved}, {marks.taken_back} | {np.median(late):.0f}, {np.max(late):.0f} |", flush=True)  # fmt: skip


def main() -> None:
    """Print the table."""
    on_one_thread("benchmarks.marks")
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("count", type=int, nargs="?", default=28)
    options = parser.parse_args()
    print("| takes | attempts | marked | marked, then unjudged | unjudged without a mark | judged without a mark |"
          " mark moved, taken back | mark after rest, median, longest (ms) |")  # fmt: skip
    print("|---" * 8 + "|")
    for condition in CONDITIONS:
        print_marks(condition, count_marks(landing_takes(options.count, condition)))
    print_marks("untidy", count_marks(untidy_takes(len(ALL_SHIFTS))))
    print_marks("two players", count_marks(two_players()))


if __name__ == "__main__":
    main()
