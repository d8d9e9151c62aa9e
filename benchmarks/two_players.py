"""Two players at once: when a verdict is withheld, what the error is where it is not, and how often it is in vain.

    python -m benchmarks.two_players [COUNT] [--alone COUNT]

COUNT pairs (default 8, two on each instrument) of synthesised takes of one shift are mixed, the second player so many
cents off and so much softer. *Withheld*: unjudged, for whatever reason. *Wrong*: the word is not that of the first
player's landing, which lies 1.5 cents or more from a threshold. With ``--alone`` so many takes of one player are heard
in all conditions of benchmarks.landing, synthesised and recorded; there no verdict may be withheld for company.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, replace

import numpy as np
from benchmarks.landing import CLEAR_CENTS, LIMIT_CENTS, expectation_of, expectation_of_pair
from benchmarks.one_thread import on_one_thread
from benchmarks.takes import CONDITIONS, in_condition, make_take

from truestop.domain.attempt import Verdict, landing_side
from truestop.listening.frames import Samples
from truestop.listening.judging import judge_take
from truestop.listening.wording import REASONS
from truestop.sounding.takes import PlayedAttempt, render_take

RATE_HZ = 44100
SHIFTS = (
    ("violin", 440.0, 659.26), ("viola", 523.25, 349.23), ("cello", 110.0, 146.83), ("bass", 55.0, 73.42),
    ("violin", 880.0, 1318.5), ("viola", 196.0, 293.66), ("cello", 220.0, 329.63), ("bass", 98.0, 65.41),
)  # fmt: skip
OFFSETS_CENTS = (3, 6, 12, 25, 40)
LEVELS_DB = (0, -6, -12)


PLAIN = PlayedAttempt(arrival_s=1.2)


@dataclass(frozen=True, slots=True, kw_only=True)
class Company:
    """What the second player does."""

    name: str
    ratios: tuple[float, float] = (1.0, 1.0)
    second: PlayedAttempt = PLAIN
    first: PlayedAttempt = PLAIN
    family: str | None = None


def _swinging(cents: float, hz: float) -> PlayedAttempt:
    return PlayedAttempt(arrival_s=1.2, vibrato_cents=cents, vibrato_hz=hz)


UNISON = Company(name="the same shift")
OTHERS = (
    Company(name="vibrato in the second", second=_swinging(15.0, 5.3)),
    Company(name="vibrato in the first", first=_swinging(15.0, 5.9)),
    Company(name="vibrato in both", first=_swinging(15.0, 5.9), second=_swinging(18.0, 5.1)),
    Company(name="120 ms later", second=PlayedAttempt(arrival_s=1.2, departure_s=0.82)),
    Company(name="another shift, a third away", ratios=(1.189, 1.26)),
    Company(name="an octave lower, cello", ratios=(0.5, 0.5), family="cello"),
    Company(name="an octave higher, violin", ratios=(2.0, 2.0), family="violin"),
)


@dataclass(slots=True)
class Count:
    """What became of the attempts of one row."""

    takes: int = 0
    withheld: int = 0
    clear: int = 0
    wrong: int = 0
    worst_cents: float = 0.0


def mixed(number: int, company: Company, off_cents: float, level_db: float) -> tuple[Samples, float]:
    """Two players' sound and the first one's landing."""
    family, departure_hz, arrival_hz = SHIFTS[number % len(SHIFTS)]
    rng = np.random.default_rng([number, 7])
    landing = float(rng.normal(0.0, 15.0))

    def sound(played: PlayedAttempt, seed: int, family: str, ratios: tuple[float, float]) -> Samples:
        return render_take([played], departure_hz=departure_hz * ratios[0], arrival_hz=arrival_hz * ratios[1],
                           rng=np.random.default_rng([number, seed]), family=family).samples  # fmt: skip

    one = sound(replace(company.first, landing_cents=landing), 1, family, (1.0, 1.0))
    two = sound(replace(company.second, landing_cents=landing + off_cents), 2, company.family or family, company.ratios)
    whole = np.zeros(max(len(one), len(two)), np.float32)
    whole[: len(one)] += 0.5 * one
    whole[: len(two)] += 0.5 * 10.0 ** (level_db / 20.0) * two
    return whole, landing


def count_company(count: int, company: Company, off_cents: float, level_db: float) -> Count:
    """One row."""
    row = Count()
    for number in range(count):
        _, departure_hz, arrival_hz = SHIFTS[number % len(SHIFTS)]
        samples, landing = mixed(number, company, off_cents * (1 if number % 2 else -1), level_db)
        judged = [one for one in judge_take(samples, RATE_HZ, expectation_of_pair(departure_hz, arrival_hz))
                  if one.verdict is not Verdict.UNJUDGED]  # fmt: skip
        row.takes += 1
        row.withheld += not judged
        for attempt in judged[:1]:
            row.worst_cents = max(row.worst_cents, abs((attempt.landing_cents or 0.0) - landing))
            if abs(abs(landing) - LIMIT_CENTS) >= CLEAR_CENTS:
                row.clear += 1
                row.wrong += str(attempt.verdict) != landing_side(landing, LIMIT_CENTS)
    return row


def print_company(count: int) -> None:
    """Both tables."""
    print("| the second player | cents off | " + " | ".join(f"{level} dB" for level in LEVELS_DB) + " |")
    print("|---|---" + "|---" * len(LEVELS_DB) + "|")
    rows = [(UNISON, off) for off in OFFSETS_CENTS] + [(company, off) for company in OTHERS for off in (8, 20)]
    for company, off in rows:
        cells = [_cell(count_company(count, company, off, level)) for level in LEVELS_DB]
        print(f"| {company.name} | {off} | " + " | ".join(cells) + " |", flush=True)


def _cell(row: Count) -> str:
    judged = "" if row.withheld == row.takes else f"; {row.wrong} of {row.clear} wrong, worst {row.worst_cents:.1f}"
    return f"{row.withheld} of {row.takes}{judged}"


def print_alone(count: int, first: int) -> None:
    """How often company was heard where there was none."""
    print("\n| condition | " + " | ".join(("synthesis", "recorded")) + " |\n|---|---|---|")
    for condition in CONDITIONS:
        cells = [_alone(count, first, source, condition) for source in ("synthesis", "recorded")]
        print(f"| {condition} | " + " | ".join(cells) + " |", flush=True)


def _alone(count: int, first: int, source: str, condition: str) -> str:
    return f"{sum(_is_taken_for_two(n, source, condition) for n in range(first, first + count))} of {count}"


def _is_taken_for_two(number: int, source: str, condition: str) -> bool:
    take = in_condition(make_take(number, source=source), condition)
    attempts = judge_take(take.samples, take.sample_rate_hz, expectation_of(take))
    return any(attempt.reason == REASONS["not alone"] for attempt in attempts)


def main() -> None:
    """Print the tables."""
    on_one_thread("benchmarks.two_players")
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("count", type=int, nargs="?", default=8)
    parser.add_argument("--alone", type=int, default=0)
    parser.add_argument("--first", type=int, default=0, help="number of the first take of one player")
    options = parser.parse_args()
    if options.count:
        print_company(options.count)
    if options.alone:
        print_alone(options.alone, options.first)


if __name__ == "__main__":
    main()
