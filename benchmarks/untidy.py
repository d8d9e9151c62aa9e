"""Attempts in long, untidy takes: found, not invented, rightly judged.

    python -m benchmarks.untidy [TAKES]

Each take holds, in random order and with attempts between: talk, tuning in fifths, a scale through the neighbourhood,
the departure note begun and begun again, wrong notes, the arrival note alone, a slide below, silence. The truth is
what the synthesiser was told to play.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field

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
    took_s: float = 0.0


def make_untidy(
    random: Random, departure: int, arrival: int
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
        played = [draw(random) for _ in range(int(random.integers(1, 4)))]
        take = render_take(played, departure_hz=equal_hz(departure), arrival_hz=equal_hz(arrival), rng=random,
                           wander_cents=0.2)  # fmt: skip
        parts.append(take.samples * (LEVEL / float(np.std(take.samples))))
        truth += [(begin_s + attempt.arrival_s, attempt) for attempt in take.attempts]
    sound = np.concatenate(parts)
    return (sound + 1e-3 * random.standard_normal(len(sound))).astype(np.float32), truth


def draw(random: Random) -> PlayedAttempt:
    """An attempt, one in four corrected."""
    landing = float(random.normal(0, 18))
    corrected = random.random() < 0.25
    if corrected:
        landing = float(np.sign(landing)) * (14 + abs(landing))
    return PlayedAttempt(
        landing_cents=landing,
        departure_cents=float(random.normal(0, 6)),
        slide_s=float(random.uniform(0.08, 0.4)),
        arrival_s=float(random.uniform(0.85, 1.1)),
        departure_s=float(random.uniform(0.4, 0.8)),
        gap_s=float(random.uniform(0.1, 0.6)),
        correct_to_cents=0.0 if corrected else None,
        correct_after_s=float(random.uniform(0.18, 0.3)),
    )


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
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 12
    found = Found()
    for number in range(count):
        departure, arrival = SHIFTS[number % len(SHIFTS)]
        sound, truth = make_untidy(np.random.default_rng([7, number]), departure, arrival)
        start = time.thread_time()
        attempts = judge_take(sound, RATE_HZ, expectation_of_pair(equal_hz(departure), equal_hz(arrival)))
        found.took_s += time.thread_time() - start
        found.heard_s += len(sound) / RATE_HZ
        compare(found, list(attempts), truth)
    print("| takes | minutes | attempts | recall | precision | words right | landing error, mean | × real time |")
    print("|---|---|---|---|---|---|---|---|")
    print(
        f"| {count} | {found.heard_s / 60:.1f} | {found.played} | {found.matched / found.played:.3f} |"
        f" {found.matched / max(found.listed, 1):.3f} | {found.right} of {found.clear} | {np.mean(found.errors):.2f} |"
        f" {found.heard_s / found.took_s:.0f} |"
    )


if __name__ == "__main__":
    main()
