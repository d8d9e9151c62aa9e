"""Simulated players measure the diagnosis and the sequential test.

    python -m benchmarks.practice                  both, printed
    python -m benchmarks.practice diagnosis        one of them: diagnosis, test
    python -m benchmarks.practice --write          into docs/accuracy.md

Everything is seeded: the same command gives the same tables.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
from benchmarks.players import Habits, play
from benchmarks.tables import replace_section, table
from scipy.special import ndtri

from truestop.domain.diagnosis import Cause, find_kin
from truestop.domain.diagnosis_words import diagnose
from truestop.domain.progress import ShiftProgress, summarise
from truestop.domain.record import Outcome, ShiftCard
from truestop.domain.statistics import USUAL_TEST, Standing, TestSettings, run_sequential_test

INSTRUMENTS = {"violin": 328.0, "viola": 375.0, "cello": 690.0, "bass": 1050.0}
FINGERS = ("1", "2", "3", "4")


def make_card(number: int, rng: np.random.Generator, length_mm: float = 328.0, passage: str = "p") -> ShiftCard:
    """Some shift of some passage."""
    up = bool(rng.random() < 0.5)
    low, far = int(rng.integers(1, 6)), int(rng.integers(2, 8))
    places = (low, low + far) if up else (low + far, low)
    travel = length_mm * (2 ** (-places[0] / 12) - 2 ** (-places[1] / 12))
    first, last = str(rng.choice(FINGERS)), str(rng.choice(FINGERS))
    return ShiftCard(
        key=f"{passage}-s{number}", passage=passage, number=number, measure=str(number),
        direction="up" if up else "down",
        relation="same" if first == last else "to higher" if last > first else "to lower", crossing=False, cover="none",
        interval="", departure_pitch="A4", departure_finger=first, departure_string=1, departure_place=places[0],
        arrival_pitch="D5", arrival_finger=last, string=int(rng.integers(1, 5)), place=places[1], from_position="1st",
        to_position="3rd", guide_finger="1", travel_mm=travel, length_mm=length_mm,
    )  # fmt: skip


# diagnosis


def _sound(rng: np.random.Generator) -> Habits:
    """A sound player: every habit varies, none is a fault."""
    return Habits(
        start_cents=rng.uniform(-2, 2),
        distance_cents=rng.uniform(-2.5, 2.5),
        spread_cents=rng.uniform(5, 9),
        corrects=rng.uniform(0.0, 0.03),
        late_s=rng.uniform(-0.015, 0.015),
        timing_spread_s=rng.uniform(0.02, 0.035),
    )


def _side(rng: np.random.Generator, low: float, high: float) -> float:
    return float(rng.choice([-1.0, 1.0]) * rng.uniform(low, high))


Plant = Callable[[np.random.Generator, Habits], Habits]
PLANTS: dict[Cause, tuple[Plant, str]] = {
    Cause.NONE: (lambda _, h: h, "bias within ±4.5 cents, spread 5–9, corrects up to 3 %, ±15 ms from the beat"),
    Cause.DISTANCE: (lambda rng, h: replace(h, distance_cents=_side(rng, 14, 24)), "distance ±14–24 cents off"),
    Cause.START: (lambda rng, h: replace(h, start_cents=_side(rng, 14, 24)), "departure note ±14–24 cents off"),
    Cause.TARGET: (lambda rng, h: replace(h, spread_cents=rng.uniform(22, 32)), "spread 22–32 cents"),
    Cause.EAR_AHEAD: (lambda rng, h: replace(h, corrects=rng.uniform(0.4, 0.6)), "40–60 % of landings corrected"),
    Cause.LEAVES_LATE: (lambda rng, h: replace(h, late_s=rng.uniform(0.1, 0.18)), "leaves 100–180 ms late"),
    Cause.SLOW: (lambda rng, h: replace(h, slow_s=rng.uniform(0.1, 0.18)), "slide 100–180 ms longer than usual"),
    Cause.EARLY: (lambda rng, h: replace(h, late_s=rng.uniform(-0.18, -0.1)), "leaves 100–180 ms early"),
    Cause.SPACING: (lambda rng, h: replace(h, spacing_cents=_side(rng, 14, 24)), "finger ±14–24 off, guide true"),
    Cause.GENERAL: (lambda rng, h: replace(h, distance_cents=_side(rng, 14, 24)), "one finger ±14–24 off everywhere"),
    Cause.PASSAGE: (lambda rng, h: replace(h, passage_spread_cents=rng.uniform(28, 40)), "spread 28–40, passage only"),
}  # fmt: skip


def diagnose_one(cause: Cause, seed: int, attempts: int) -> Cause:
    """Plant a cause in one player's shift and name what is found."""
    rng = np.random.default_rng([seed, list(PLANTS).index(cause), attempts])
    length_mm = float(rng.choice(list(INSTRUMENTS.values())))
    card = make_card(1, rng, length_mm)
    habits = PLANTS[cause][0](rng, _sound(rng))
    if cause is Cause.GENERAL:
        return _diagnose_general(rng, habits, length_mm, attempts)
    outcomes = play(rng, card, habits, attempts=attempts)
    if cause is Cause.PASSAGE:
        outcomes += play(rng, card, habits, attempts=attempts, stage="in the passage", day=2)
    if cause is not Cause.SPACING:
        for one in outcomes:
            one.guide_landing_cents = None
    others = [make_card(n, rng, length_mm) for n in range(2, 7)]
    shifts = [_progress(other, play(rng, other, _sound(rng), attempts=attempts)) for other in others]
    shift = _progress(card, outcomes)
    return diagnose(shift, outcomes, find_kin([shift, *shifts])).cause


def _diagnose_general(rng: np.random.Generator, habits: Habits, length_mm: float, attempts: int) -> Cause:
    """Eight shifts, four of them arriving with the same finger, which is off on each."""
    cards = [
        replace(make_card(n, rng, length_mm), arrival_finger="4" if n <= 4 else FINGERS[n % 3]) for n in range(1, 9)
    ]
    played = {
        card.key: play(rng, card, habits if card.number <= 4 else _sound(rng), attempts=attempts) for card in cards
    }
    for outcomes in played.values():
        for one in outcomes:
            one.guide_landing_cents = None
    shifts = [_progress(card, played[card.key]) for card in cards]
    return diagnose(shifts[0], played[cards[0].key], find_kin(shifts)).cause


def _progress(card: ShiftCard, outcomes: Sequence[Outcome]) -> ShiftProgress:
    return ShiftProgress(card=card, progress=summarise(outcomes, ""))


def fresh_seeds(players: int) -> range:
    """Players who had no part in setting the limits of the diagnosis: theirs were the seeds from 0 on."""
    return range(10_000, 10_000 + players)


def measure_diagnosis(players: int = 400, attempts: int = 20) -> Iterator[str]:
    """The confusion table, and the rate against the number of attempts."""
    yield f"### Diagnosis: {attempts} attempts, {players} players for each planted cause"
    yield ""
    yield (
        "One shift of one player carries the cause; five other shifts are sound. *Only in the passage*"
        " has that many attempts alone and as many in the passage; *in general* has eight shifts, four with the finger."
        " Named is the first cause of the diagnosis. Tolerance 20 cents; all four instruments."
    )
    yield ""
    rows = []
    for cause, (_, words) in PLANTS.items():
        named = Counter(diagnose_one(cause, seed, attempts) for seed in fresh_seeds(players))
        wrong = ", ".join(
            f"{other.value} {_percent(n, players)}" for other, n in named.most_common() if other is not cause
        )
        rows.append([cause.value, words, _percent(named[cause], players), wrong or "none"])
    yield from table(["planted", "how much", "named", "instead"], rows)
    yield ""
    yield "Against the number of attempts (planted cause named; for *no fault found*: a cause named all the same):"
    yield ""
    counts = (8, 12, 20, 40)
    rows = []
    for cause in PLANTS:
        line = [cause.value if cause is not Cause.NONE else "false alarms"]
        for count in counts:
            hits = sum(diagnose_one(cause, seed, count) is cause for seed in fresh_seeds(players // 2))
            line.append(_percent(players // 2 - hits if cause is Cause.NONE else hits, players // 2))
        rows.append(line)
    yield from table(["planted", *(f"{count} attempts" for count in counts)], rows)


def _percent(part: int, whole: int) -> str:
    return f"{100 * part / whole:.1f} %"


# the sequential test


def _first_decision(
    rng: np.random.Generator, share: float, settings: TestSettings, memory: float
) -> tuple[Standing, int]:
    """The first decision over results with ``share``; ``memory`` is the part of a hidden error that stays."""
    limit = float(ndtri(0.5 + share / 2))
    results: list[bool] = []
    error = rng.normal()
    while len(results) < 2000:
        for _ in range(25):
            results.append(bool(abs(error) <= limit))
            error = memory * error + (1 - memory**2) ** 0.5 * rng.normal()
        if run_sequential_test(results, settings).decided_after is not None:
            return _first_of(results, settings)
    return Standing.OPEN, len(results)


def _first_of(results: Sequence[bool], settings: TestSettings) -> tuple[Standing, int]:
    """The test's first decision and the number of results it took."""
    for length in range(1, len(results) + 1):
        tested = run_sequential_test(results[:length], settings)
        if tested.decided_after is not None:
            return tested.standing, length
    return Standing.OPEN, len(results)


def measure_test(rounds: int = 2000) -> Iterator[str]:
    """Error rates and lengths of Wald's test."""
    yield f"### Sequential test ({USUAL_TEST.words}): {rounds} runs to the first decision"
    yield ""
    yield (
        "Independent draws are playing with sound; *drift* leaves that part of an error in the next landing, as"
        " without sound. Wald's bounds allow 5.3 % wrong decisions at the two shares of the test. Cold attempts lie"
        " a day or more apart, so independent draws are the case that applies."
    )
    yield ""
    rows = []
    for memory, words in ((0.0, "independent"), (0.3, "drift 0.3"), (0.6, "drift 0.6")):
        for share in (0.60, 0.70, 0.80, 0.90, 0.95):
            rng = np.random.default_rng([int(100 * share), int(10 * memory)])
            found = [
                _first_decision(rng, share, USUAL_TEST, memory) for _ in range(rounds if memory == 0 else rounds // 2)
            ]
            secure = sum(standing is Standing.SECURE for standing, _ in found)
            length = sorted(length for _, length in found)
            rows.append(
                [words, f"{share:.2f}", _percent(secure, len(found)), _percent(len(found) - secure, len(found)),
                 f"{np.mean(length):.1f}", str(length[int(0.95 * len(length))])]
            )  # fmt: skip
    yield from table(["draws", "true share", "secure", "not yet", "attempts, mean", "95 % within"], rows)


PARTS = {"diagnosis": measure_diagnosis, "test": measure_test}


def main(arguments: Sequence[str]) -> None:
    """Run the parts named, or all."""
    parts = [name for name in PARTS if name in arguments] or list(PARTS)
    for name in parts:
        lines = list(PARTS[name]())
        print("\n".join(lines))
        if "--write" in arguments:
            note = f"`python -m benchmarks.practice {name} --write`"
            replace_section(Path("docs/accuracy.md"), f"practice {name}", [lines[0], "", note, *lines[1:]])


if __name__ == "__main__":
    main(sys.argv[1:])
