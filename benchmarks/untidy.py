"""Attempts in long, untidy takes: found, not invented, rightly judged.

    python -m benchmarks.untidy [TAKES] [--all]

With ``--all`` the takes go round all four instruments, slides last from 60 ms to 2 s (log-uniform), and every other
attempt arrives on a new bow.

Each take holds, in random order and with attempts between: talk, tuning in fifths, a scale through the neighbourhood,
the departure note begun and begun again, wrong notes, the arrival note alone, a slide below, silence. The truth is
what the synthesiser was told to play.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
from benchmarks.landing import expectation_of_pair
from benchmarks.one_thread import on_one_thread
from numpy.typing import NDArray

from truestop.domain.attempt import Attempt
from truestop.domain.pitch import equal_hz
from truestop.listening.judging import judge_take
from truestop.sounding.bowed import bow_envelope, sound_string
from truestop.sounding.takes import PlayedAttempt, TrueAttempt, render_take

RATE_HZ = 44100
LEVEL = 0.12
CLEAR_CENTS = 1.5
SHIFTS = ((69, 74), (74, 67), (62, 64), (76, 85))
"""Departure and arrival in MIDI numbers."""
ALL_SHIFTS = (
    ("violin", 69, 74), ("viola", 62, 69), ("cello", 50, 57), ("bass", 38, 43),
    ("violin", 74, 67), ("viola", 67, 60), ("cello", 57, 52), ("bass", 45, 40),
    ("violin", 76, 85), ("viola", 64, 66), ("cello", 43, 48), ("bass", 50, 57),
)  # fmt: skip
Floats = NDArray[np.float64]
Random = np.random.Generator


def bow(path_hz: Floats, random: Random) -> Floats:
    """One bow along a path."""
    level = bow_envelope(len(path_hz), sample_rate_hz=RATE_HZ)
    return sound_string(path_hz, sample_rate_hz=RATE_HZ, family="violin", level=level, rng=random).astype(np.float64)


def hold(midi: float, seconds: float, random: Random) -> Floats:
    """One note."""
    return bow(np.full(int(seconds * RATE_HZ), equal_hz(midi)), random)


def silence(seconds: float) -> Floats:
    """Nothing."""
    return np.zeros(int(seconds * RATE_HZ))


def talk(random: Random, departure: int) -> Floats:
    """Something like speech: a gliding voice with formants, cut into syllables."""
    n = int(2.0 * RATE_HZ)
    time_s = np.arange(n) / RATE_HZ
    hz = np.clip(
        110 + 40 * np.sin(2 * np.pi * 1.3 * time_s) + 75 * np.cumsum(random.standard_normal(n)) / n**0.5, 70, 280
    )
    phase = 2 * np.pi * np.cumsum(hz) / RATE_HZ
    voice = sum(np.sin(k * phase) * np.exp(-(((k * hz - 600) / 700) ** 2)) for k in range(1, 20))
    syllables = np.clip(np.sin(2 * np.pi * 3.1 * time_s) + 0.3, 0, 1)
    return np.asarray((voice + 0.05 * random.standard_normal(n)) * syllables)


def tuning(random: Random, departure: int) -> Floats:
    """Fifths, the upper string creeping into place."""
    creep = -60 * (1 - np.linspace(0, 1, int(1.5 * RATE_HZ))) ** 2
    pairs = ((69, 76), (69, 62), (62, 55))
    return np.concatenate([hold(a, 1.5, random) + bow(equal_hz(b) * 2 ** (creep / 1200), random) for a, b in pairs])


def notes(*steps: int, seconds: float = 0.3) -> Callable[[Random, int], Floats]:
    """Notes, in semitones from the departure."""
    return lambda random, departure: np.concatenate([hold(departure + step, seconds, random) for step in steps])


def restarts(random: Random, departure: int) -> Floats:
    """The departure note, begun twice."""
    return np.concatenate([part for _ in range(2) for part in (hold(departure, 0.5, random), silence(0.6))])


def slide_below(random: Random, departure: int) -> Floats:
    """A slide that has nothing to do with the shift."""
    return bow(equal_hz(departure) * 2 ** (np.linspace(-12, -5, RATE_HZ) / 12), random)


INTERLUDES: tuple[Callable[[Random, int], Floats], ...] = (
    talk,
    tuning,
    notes(-14, -12, -10, -9, -7, -5),
    restarts,
    notes(-6, -8, -9, seconds=0.6),
    slide_below,
    lambda random, departure: silence(2.0),
)


@dataclass(slots=True)
class Found:
    """The count of one run."""

    played: int = 0
    listed: int = 0
    matched: int = 0
    clear: int = 0
    right: int = 0
    errors: list[float] = field(default_factory=list)
    heard_s: float = 0.0


def make_untidy(
    random: Random, departure: int, arrival: int, *, family: str = "violin", slides_s: tuple[float, float] | None = None
) -> tuple[NDArray[np.float32], list[tuple[float, TrueAttempt]]]:
    """A take and, for every attempt in it, when it arrives and what is true of it."""
    parts: list[Floats] = []
    truth: list[tuple[float, TrueAttempt]] = []
    for index in random.permutation(len(INTERLUDES)):
        between = INTERLUDES[index](random, departure)
        loud = float(np.std(between))
        parts += [
            silence(random.uniform(0.1, 1)),
            between * (LEVEL / loud if loud else 0),
            silence(random.uniform(0.4, 0.8)),
        ]
        begin_s = sum(map(len, parts)) / RATE_HZ
        played = [draw(random, slides_s) for _ in range(int(random.integers(1, 4)))]
        take = render_take(played, departure_hz=equal_hz(departure), arrival_hz=equal_hz(arrival), rng=random,
                           wander_cents=0.2, family=family)  # fmt: skip
        parts.append(take.samples * (LEVEL / float(np.std(take.samples))))
        truth += [(begin_s + attempt.arrival_s, attempt) for attempt in take.attempts]
    sound = np.concatenate(parts)
    return (sound + 1e-3 * random.standard_normal(len(sound))).astype(np.float32), truth


def draw(random: Random, slides_s: tuple[float, float] | None = None) -> PlayedAttempt:
    """An attempt, one in four corrected; with ``slides_s`` log-uniform slides, every other on a new bow."""
    landing = float(random.normal(0, 18))
    corrected = random.random() < 0.25
    if corrected:
        landing = float(np.sign(landing)) * (14 + abs(landing))
    plain = PlayedAttempt(
        landing_cents=landing,
        departure_cents=float(random.normal(0, 6)),
        slide_s=float(random.uniform(0.08, 0.4)),
        arrival_s=float(random.uniform(0.85, 1.1)),
        departure_s=float(random.uniform(0.4, 0.8)),
        gap_s=float(random.uniform(0.1, 0.6)),
        correct_to_cents=0.0 if corrected else None,
        correct_after_s=float(random.uniform(0.18, 0.3)),
    )
    if slides_s is None:
        return plain
    slide_s = float(np.exp(random.uniform(*np.log(slides_s))))
    return replace(plain, slide_s=slide_s, bow_change=bool(random.random() < 0.5))


def compare(found: Found, attempts: list[Attempt], truth: list[tuple[float, TrueAttempt]]) -> None:
    """Match by the moment of arrival."""
    found.played, found.listed = found.played + len(truth), found.listed + len(attempts)
    left = list(attempts)
    for arrival_s, real in truth:
        match = next((one for one in left if one.arrival_s is not None and abs(one.arrival_s - arrival_s) < 0.3), None)
        if match is None or match.landing_cents is None:
            continue
        left.remove(match)
        found.matched += 1
        found.errors.append(abs(match.landing_cents - real.landing_cents))
        if abs(abs(real.landing_cents) - 20) > CLEAR_CENTS and abs(real.landing_cents) < 68:
            found.clear += 1
            found.right += str(match.verdict) == word(real)


def word(real: TrueAttempt) -> str:
    """What should be said."""
    if abs(real.settled_cents - real.landing_cents) >= 6:
        return "corrected"
    return "true" if abs(real.landing_cents) <= 20 else "high" if real.landing_cents > 0 else "low"


def main() -> None:
    """Print the table."""
    on_one_thread("benchmarks.untidy")
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("count", type=int, nargs="?", default=12)
    parser.add_argument("--all", action="store_true")
    options = parser.parse_args()
    shifts = ALL_SHIFTS if options.all else tuple(("violin", *pair) for pair in SHIFTS)
    families = sorted({family for family, *_ in shifts})
    by_family = {family: Found() for family in families}
    for number in range(options.count):
        family, departure, arrival = shifts[number % len(shifts)]
        hear(by_family[family], number, family, departure, arrival, slides_s=(0.06, 2.0) if options.all else None)
    print("| instrument | takes | minutes | attempts | recall | precision | words right | landing error, mean |")
    print("|---|---|---|---|---|---|---|---|")
    for family, found in by_family.items():
        takes = sum(shifts[number % len(shifts)][0] == family for number in range(options.count))
        print(
            f"| {family} | {takes} | {found.heard_s / 60:.1f} | {found.played} | {found.matched / found.played:.3f} |"
            f" {found.matched / max(found.listed, 1):.3f} | {found.right} of {found.clear} |"
            f" {np.mean(found.errors):.2f} |"
        )


def hear(
    found: Found, number: int, family: str, departure: int, arrival: int, *, slides_s: tuple[float, float] | None
) -> None:
    """One take, counted."""
    sound, truth = make_untidy(np.random.default_rng([7, number]), departure, arrival, family=family, slides_s=slides_s)
    attempts = judge_take(sound, RATE_HZ, expectation_of_pair(equal_hz(departure), equal_hz(arrival)))
    found.heard_s += len(sound) / RATE_HZ
    compare(found, list(attempts), truth)


if __name__ == "__main__":
    main()
