"""Whatever is handed in, no exception and no NaN comes out. Longer: python -m listening.test_anything COUNT FIRST."""

import dataclasses
import math
import sys

import numpy as np
import pytest

from listening.sounds import SILENCE, bowed, corrected_path, expect, plain_path, stop, vibrato_path
from truestop.domain.attempt import Expectation, Verdict
from truestop.listening.judging import Listener, judge_take

NOTES = ("E1", "G1", "C2", "A2", "D3", "G3", "B3", "E4", "A4", "C5", "F#5", "B5", "E6", "A6", "C7")
RATES = (8000, 11025, 16000, 22050, 32000, 44100, 48000, 96000, 192000)


def any_expectation(random):
    a, b = random.choice(len(NOTES), 2)
    return Expectation(
        shift="any",
        stage="plain",
        departure=stop(NOTES[a]),
        arrival=stop(NOTES[b]),
        guide=stop(NOTES[random.integers(len(NOTES))]) if random.random() < 0.2 else None,
        silent=bool(random.random() < 0.3),
        arrival_open=bool(random.random() < 0.1),
        beats_s=(0.5, 1.0) if random.random() < 0.3 else (),
        tolerance_cents=float(random.choice([10, 20, 30])),
    )


def any_sound(random, expectation, rate_hz):
    """A random signal, or an attempt that something was done to."""
    length = int(rate_hz * random.uniform(0.0, 0.8))
    kind = random.integers(8)
    if kind == 0:
        sound = random.standard_normal(length) * 10 ** random.uniform(-6, 1)
    elif kind == 1:
        sound = np.sign(np.sin(2 * np.pi * random.uniform(0, 5000) * np.arange(length) / rate_hz))
    elif kind == 2:
        sound = random.choice([0.0, 1.0, -1.0, 1e-30, 1e30, np.nan, np.inf], size=length)
    else:
        interval = 1200 * math.log2(expectation.arrival.hz / expectation.departure.hz)
        path = (
            plain_path(interval, random.normal(0, 40), before_ms=150, after_ms=250, slide_ms=60),
            corrected_path(random.normal(0, 40), 0.0, interval=interval)[250:],
            vibrato_path(0.0, random.uniform(5, 60), interval=interval)[300:],
        )[kind % 3]
        sound = bowed(np.concatenate([SILENCE[:50], path]), expectation.arrival.hz, rate_hz=rate_hz, harmonics=5)
        sound = mutated(random, sound)
    return np.asarray(sound, np.float32)


def mutated(random, sound):
    sound = sound.astype(np.float64)
    for _ in range(int(random.integers(0, 4))):
        a, b = sorted(random.integers(0, len(sound) + 1, 2))
        change = random.integers(7)
        if change == 0:
            sound[a:b] = 0.0
        elif change == 1:
            sound[a:b] = np.nan
        elif change == 2:
            sound = np.clip(sound * 20, -1, 1)
        elif change == 3:
            sound = np.concatenate([sound[:a], sound[b:]])
        elif change == 4:
            sound[a:b] = sound[a:b][::-1]
        elif change == 5:
            sound = sound + random.uniform(-1, 1)
        else:
            sound = sound + 0.3 * random.standard_normal(len(sound))
    return sound


def assert_sound_numbers(attempts):
    for attempt in attempts:
        for field in dataclasses.fields(attempt):
            value = getattr(attempt, field.name)
            values = value if isinstance(value, tuple) else (value,)
            assert all(math.isfinite(v) for v in values if isinstance(v, float)), (field.name, value)
        assert (attempt.verdict is Verdict.UNJUDGED) == (attempt.reason is not None)
        assert attempt.end_s >= attempt.start_s >= 0


def try_anything(seed):
    random = np.random.default_rng(seed)
    expectation, rate_hz = any_expectation(random), int(random.choice(RATES))
    with np.errstate(over="ignore"):
        sound = any_sound(random, expectation, rate_hz)
    assert_sound_numbers(judge_take(sound, rate_hz, expectation))


@pytest.mark.parametrize("start", range(0, 60, 20))
def test_anything_at_all(start):
    for seed in range(start, start + 20):
        try_anything(seed)


def test_noise_with_next_to_no_power_in_the_harmonics():
    try_anything(20420)


@pytest.mark.parametrize("rate_hz", [0, -1, 100, float("nan"), 1e9])
def test_rates_out_of_range_give_no_attempts(rate_hz):
    assert judge_take(np.zeros(1000, np.float32), rate_hz, expect()) == ()


def test_an_hour_is_heard_in_bounded_memory():
    listener = Listener(expect(), 8000, live=False)
    sound = bowed(np.concatenate([SILENCE, plain_path(500, 4)]), 659.2551, rate_hz=8000)
    held = bowed(np.full(20000, -500.0), 659.2551, rate_hz=8000)
    most = 0
    for _ in range(3):
        listener.feed(sound)
        for _ in range(5):
            listener.feed(held)
            most = max(most, listener.held_ms)
    assert most < 45_000


if __name__ == "__main__":
    for number in range(int(sys.argv[1])):
        try_anything(int(sys.argv[2]) + number)
