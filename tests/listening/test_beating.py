"""Two players at once get no verdict; one player does. Figures for many takes are in docs/accuracy.md."""

import numpy as np
import pytest

from listening.sounds import SILENCE, bowed, expect, plain_path, vibrato_path
from truestop.domain.attempt import Verdict
from truestop.listening.beating import LEAST_DEPTH, Beats, find_beats
from truestop.listening.judging import LandingFinal, Listener, VerdictFinal, judge_take
from truestop.listening.landing import Landing
from truestop.listening.notes import still_held
from truestop.listening.turning import Kept, turn_back
from truestop.listening.wording import REASONS

RATE_HZ = 22050


def together(*paths, levels_db=(0, 0)):
    """Every path on a string of its own, mixed."""
    hz = expect().arrival.hz
    voices = [bowed(np.concatenate([SILENCE, path, SILENCE]), hz, rate_hz=RATE_HZ, noise_db=40, seed=seed)
              for seed, path in enumerate(paths)]  # fmt: skip
    length = min(map(len, voices))
    mixed = sum(10 ** (db / 20) * voice[:length] for db, voice in zip(levels_db, voices, strict=False))
    return (0.5 * mixed).astype(np.float32)


def judged(*paths, **more):
    (attempt,) = judge_take(together(*paths, **more), RATE_HZ, expect())
    return attempt


@pytest.mark.parametrize("level_db", [0, -6, -12])
@pytest.mark.parametrize("apart", [8, 40])
def test_two_players_near_unison_are_not_judged(apart, level_db):
    attempt = judged(plain_path(500, 26.8), plain_path(500, 26.8 - apart), levels_db=(0, level_db))
    assert (attempt.verdict, attempt.reason) == (Verdict.UNJUDGED, REASONS["not alone"])
    assert attempt.faults == ()


def test_the_second_player_may_swing_or_come_later():
    swinging = judged(plain_path(500, 12), vibrato_path(-10, 14))
    later = judged(plain_path(500, 12), plain_path(500, -10, before_ms=620))
    assert {swinging.reason, later.reason} == {REASONS["not alone"]}


@pytest.mark.parametrize(("level_db", "phase"), [(0, 1), (0, 3), (-3, 4), (-12, 0)])
def test_two_players_with_vibrato_of_their_own_are_not_judged(level_db, phase):
    first, second = vibrato_path(12, 15, rate_hz=5.9), vibrato_path(-8, 18, rate_hz=5.1, phase=phase)
    attempt = judged(first, second, levels_db=(0, level_db))
    assert (attempt.verdict, attempt.reason) == (Verdict.UNJUDGED, REASONS["not alone"])


@pytest.mark.parametrize("path", [plain_path(500, 7), vibrato_path(7, 25), vibrato_path(7, 10, rate_hz=6.5)])
def test_one_player_is_judged(path):
    attempt = judged(path)
    assert (attempt.verdict, attempt.landing_cents) == (Verdict.TRUE, pytest.approx(7, abs=0.6))


def test_a_bow_that_trembles_is_no_second_player():
    sound = together(plain_path(500, 7))
    tremor = 1 + 0.6 * np.sin(2 * np.pi * 7.0 * np.arange(len(sound)) / RATE_HZ)
    (attempt,) = judge_take((sound * tremor).astype(np.float32), RATE_HZ, expect())
    assert attempt.reason != REASONS["not alone"]


def test_the_beats_tell_how_far_apart_two_sources_are():
    kept = Kept(RATE_HZ)
    time_s = np.arange(RATE_HZ) / RATE_HZ
    for hz in (440.0, 440.0 * 2 ** (20 / 1200)):
        kept.add(sum(np.sin(2 * np.pi * k * hz * time_s) / k for k in range(1, 9)) * 0.1)
    first, second = kept.cut(0.0, 1.0)[1], kept.cut(1.0, 2.0)[1]
    mixed = Kept(RATE_HZ)
    mixed.add(first + 0.5 * second)
    beats = find_beats(turn_back(mixed, np.full(600, 440.0), 0.1))
    assert beats.of_two
    # The theory of beats: two lines kΔ apart beat kΔ times a second (Helmholtz, On the Sensations of Tone, 1863).
    assert beats.cents == pytest.approx(20, abs=0.3)
    # Power of a + b: (a² + b²)(1 + depth cos) with depth 2ab / (a² + b²) = 0.8 for b = a/2.
    assert beats.depth == pytest.approx(0.8, abs=0.05)


def test_blocks_of_any_size_say_the_same():
    sound = together(plain_path(500, 12), plain_path(500, -10))
    (whole,) = judge_take(sound, RATE_HZ, expect())
    listener = Listener(expect(), RATE_HZ)
    events = [event for a in range(0, len(sound), 700) for event in listener.feed(sound[a : a + 700])]
    events += listener.finish()
    assert not any(isinstance(event, LandingFinal) for event in events)
    (live,) = (event.attempt for event in events if isinstance(event, VerdictFinal))
    assert (live.verdict, live.reason, live.landing_cents) == (whole.verdict, whole.reason, whole.landing_cents)


def test_old_sound_is_forgotten():
    kept = Kept(1000.0)
    for second in range(60):
        kept.add(np.full(1000, second, np.float32))
        kept.forget(second - 2.0)
    at_s, samples = kept.cut(58.0, 59.5)
    assert (at_s, set(samples.tolist()), len(samples)) == (58.0, {58.0, 59.0}, 1500)
    assert kept.cut(0.0, 10.0)[1].size == 0


def test_a_new_bow_is_no_second_player():
    """All harmonics dip alike, and for as long; two sources that beat part them."""
    sound = together(plain_path(500, 7))
    dip = 1 - 0.9 * np.exp(-0.5 * ((np.arange(len(sound)) / RATE_HZ - 1.1) / 0.012) ** 2)
    turned = Kept(RATE_HZ)
    turned.add((sound * dip).astype(np.float32))
    hz = expect().arrival.hz * 2 ** (7 / 1200)
    beats = find_beats(turn_back(turned, np.full(560, hz), 0.98))
    assert beats.depth >= LEAST_DEPTH
    assert beats.alike > 0.9
    assert not beats.of_two
    (attempt,) = judge_take((sound * dip).astype(np.float32), RATE_HZ, expect())
    assert attempt.verdict is Verdict.TRUE


def test_a_pitch_that_is_lost_for_a_while_is_still_the_same_note():
    landing = Landing(rest=80, window=(100, 180), landing_cents=5.0, judged=300)
    cents = np.full(900, 5.0)
    cents[220:280] = 1100.0
    cents[280:300] = np.nan
    found = still_held(cents, landing)
    # From the window's start to 600 ms after the rest; where it is lost nothing is told.
    assert len(found) == 580
    assert np.isnan(found[220:300]).all()
    assert np.isfinite(np.delete(found, slice(220, 300))).all()


@pytest.mark.parametrize("gone_ms", [200, 700])
def test_a_pitch_that_is_left_is_another_note(gone_ms):
    landing = Landing(rest=80, window=(100, 180), landing_cents=5.0, judged=300)
    cents = np.full(900, 5.0)
    cents[220 : 220 + gone_ms] = 200.0
    assert len(still_held(cents, landing)) == 220


def test_what_is_common_to_all_harmonics_leaves_nothing_to_prove():
    one = {"cents": 20.0, "depth": 0.6, "harmonics": 8}
    assert Beats(explained=0.9, common=0.3, alike=0.2, **one).of_two
    assert not Beats(explained=0.98, common=0.85, alike=0.2, **one).of_two
    assert Beats(explained=0.99, common=0.85, alike=0.2, **one).of_two
    assert not Beats(explained=0.9, common=0.3, alike=0.8, **one).of_two


def test_the_slow_beats_of_two_basses_are_told_from_a_common_swing():
    """Six cents at 65 Hz beat 0.23 times a second: in half a second harmonics up to the 16th make two turns at most."""
    time_s = np.arange(RATE_HZ) / RATE_HZ
    mixed = Kept(RATE_HZ)
    voices = [sum(np.sin(2 * np.pi * k * hz * time_s + k * k) / k for k in range(1, 17)) * 0.1
              for hz in (65.4, 65.4 * 2 ** (6 / 1200))]  # fmt: skip
    mixed.add(voices[0] + voices[1])
    beats = find_beats(turn_back(mixed, np.full(560, 65.5), 0.2))
    assert 1.25 * beats.common > 1.0
    assert beats.of_two
    assert beats.cents == pytest.approx(6, abs=0.5)
    swaying = Kept(RATE_HZ)
    course = 1 + 0.4 * np.sin(2 * np.pi * 1.7 * time_s)
    later = 1 + 0.4 * np.sin(2 * np.pi * 1.7 * time_s + 2.0)
    parts = [np.sin(2 * np.pi * k * 65.4 * time_s + k * k) / k * (course if k % 2 else later) for k in range(1, 17)]
    swaying.add(0.1 * sum(parts))
    assert not find_beats(turn_back(swaying, np.full(560, 65.4), 0.2)).of_two


def test_a_player_an_octave_above_is_heard_by_every_other_harmonic():
    time_s = np.arange(RATE_HZ) / RATE_HZ
    mixed = Kept(RATE_HZ)
    low = sum(np.sin(2 * np.pi * k * 98.0 * time_s) / k for k in range(1, 17))
    high = sum(np.sin(2 * np.pi * k * 196.0 * 2 ** (20 / 1200) * time_s) / k for k in range(1, 9))
    mixed.add(0.1 * (low + 0.11 * high))
    beats = find_beats(turn_back(mixed, np.full(600, 98.0), 0.2))
    # Harmonics 2m of the low note have amplitude 1/(2m), the other's 0.11/m: 2ab/(a²+b²) = 0.42 of every other one.
    assert beats.depth == pytest.approx(0.42, abs=0.05)
    assert beats.of_two
    assert beats.cents == pytest.approx(20, abs=1)
