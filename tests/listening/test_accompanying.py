"""Two notes where one is expected get no verdict; two strings in tuning are no attempt."""

import numpy as np
import pytest

from listening.sounds import SILENCE, bowed, expect, plain_path
from truestop.domain.attempt import Verdict
from truestop.listening.accompanying import find_beside, is_chord
from truestop.listening.judging import LandingFinal, Listener, judge_take
from truestop.listening.turning import Kept, turn_back
from truestop.listening.wording import REASONS

RATE_HZ = 22050
HZ = expect().arrival.hz


def beside(ratio, level_db, *, landing=6.0):
    """An attempt with another note at ``ratio`` of the arrival's pitch sounding all the while."""
    path = np.concatenate([SILENCE, plain_path(500, landing), SILENCE])
    still = np.concatenate([SILENCE, np.full(len(path) - 2 * len(SILENCE), 0.0), SILENCE])
    other = bowed(still, ratio * HZ, rate_hz=RATE_HZ, seed=2)
    return (0.5 * (bowed(path, HZ, rate_hz=RATE_HZ, noise_db=40) + 10 ** (level_db / 20) * other)).astype(np.float32)


def held(*voices, seconds=0.4, tone_hz=0.0, last=()):
    """Notes of ten harmonics, of these pitches, and perhaps a tone; to be turned back along ``at_hz``. ``last`` are
    those of another bow, which sound from 60 ms before the end on."""
    time_s = np.arange(int((seconds + 0.2) * RATE_HZ)) / RATE_HZ
    kept = Kept(RATE_HZ)
    sound = sum(np.sin(2 * np.pi * k * hz * time_s + k * k) / k for hz in voices for k in range(1, 11))
    sound = sound + 0.5 * np.sin(2 * np.pi * tone_hz * time_s)
    if last:
        after = time_s > 0.1 + seconds - 0.06
        sound[after] = sum(np.sin(2 * np.pi * k * hz * time_s[after]) / k for hz in last for k in range(1, 11))
    kept.add(sound.astype("f4"))
    return lambda at_hz: turn_back(kept, np.full(int(seconds * 1000), at_hz), 0.1)


def test_another_note_as_loud_is_told():
    (attempt,) = judge_take(beside(0.5, -4.0), RATE_HZ, expect())
    assert (attempt.verdict, attempt.reason) == (Verdict.UNJUDGED, REASONS["another note"])


@pytest.mark.parametrize("level_db", [0.0, -2.0, -4.0, -8.0])
@pytest.mark.parametrize("ratio", [0.5, 2 ** (-4 / 12), 2 ** (-3 / 12), 2 ** (4 / 12)])
def test_no_other_note_moves_a_landing_that_is_judged(ratio, level_db):
    attempts = judge_take(beside(ratio, level_db), RATE_HZ, expect())
    judged = [one.landing_cents for one in attempts if one.verdict is not Verdict.UNJUDGED]
    assert judged == pytest.approx([6.0] * len(judged), abs=2.5)


def test_a_soft_one_is_not_in_the_way():
    (attempt,) = judge_take(beside(0.5, -24.0), RATE_HZ, expect())
    assert (attempt.verdict, attempt.landing_cents) == (Verdict.TRUE, pytest.approx(6, abs=0.6))


def test_its_level_is_told_and_noise_is_no_note():
    # A tone of half the note's first amplitude at 3/2 of its pitch, against powers 1/k² of ten harmonics.
    found = find_beside(held(440.0, tone_hz=660.0)(440.0))
    assert found.level_db == pytest.approx(10 * np.log10(0.25 / sum(k**-2.0 for k in range(1, 11))), abs=0.2)
    assert found.unrest < 0.1
    assert find_beside(held(440.0)(440.0)).level_db < -40
    kept = Kept(RATE_HZ)
    kept.add(np.random.default_rng(1).standard_normal(RATE_HZ).astype("f4"))
    assert not find_beside(turn_back(kept, np.full(500, 440.0), 0.1)).is_note(strange=True)


@pytest.mark.parametrize("strings", [(440.0, 660.0), (440.0, 440.0 * 4 / 3), (440.0, 662.0)])
def test_strings_in_tuning_are_no_note(strings):
    common_hz = 220.0 if strings[1] > 600 else 440.0 / 3
    assert is_chord(held(*strings)(common_hz))
    assert is_chord(held(*strings, last=(common_hz, 1.07 * common_hz))(common_hz))
    assert not is_chord(held(common_hz)(common_hz))
    assert not is_chord(held(common_hz, last=strings)(common_hz))


def test_tuning_is_no_attempt():
    """Fifths a fifth apart: their common periods are the departure note and one beyond the arrival note."""
    below = expect().departure.hz
    assert expect().arrival.hz > below
    chords = [(2.0 * below, 3.0 * below), (3.0 * below, 4.5 * below)]
    steady = np.concatenate([SILENCE, np.zeros(1200), SILENCE])
    sound = np.concatenate([sum(bowed(steady[300:], hz, rate_hz=RATE_HZ, noise_db=50) for hz in one) for one in chords])
    listener = Listener(expect(), RATE_HZ)
    events = [*listener.feed(sound.astype(np.float32)), *listener.finish()]
    assert not any(isinstance(event, LandingFinal) for event in events)
    assert judge_take(sound.astype(np.float32), RATE_HZ, expect()) == ()
