"""Landings in synthesised diffuse rooms, read again from weighed harmonics, against the path played."""

import numpy as np
import pytest

from listening.sounds import bowed, corrected_path, expect, plain_path
from listening.test_tailing import in_room
from truestop.listening import notes, weighing
from truestop.listening.judging import LandingFinal, Listener, VerdictFinal, judge_take
from truestop.listening.landing import Landing
from truestop.listening.resting import Travel

TARGET_HZ, RATE_HZ = 659.26, 44100


def rooms(contour, count=6, **more):
    sound = bowed(contour, TARGET_HZ)
    return [in_room(sound, rt60_s=0.9, ratio_db=1.0, seed=seed, **more) for seed in range(count)]


def errors(sounds, landing_cents):
    found = [one.landing_cents for sound in sounds for one in judge_take(sound, RATE_HZ, expect())]
    return np.abs(np.array([cents for cents in found if cents is not None]) - landing_cents)


def listened(sound, block):
    listener = Listener(expect(), RATE_HZ)
    events = [each for at in range(0, len(sound), block) for each in listener.feed(sound[at : at + block])]
    return [*events, *listener.finish()]


def not_again(cents, travel, first, *_):
    return first


@pytest.mark.parametrize("slide_ms", [90, 160, 350])
def test_a_room_s_landing_is_read_closer_from_weighed_harmonics(slide_ms, monkeypatch):
    sounds = rooms(plain_path(500.0, 6.0, slide_ms=slide_ms))
    again = errors(sounds, 6.0)
    monkeypatch.setattr(notes, "weigh_again", not_again)
    once = errors(sounds, 6.0)
    assert len(again) == len(once) >= 5
    assert np.mean(again) < 0.6 * np.mean(once)
    assert np.mean(again) < 0.7


def test_dry_landings_stay_as_the_tracker_reads_them(monkeypatch):
    sound = bowed(plain_path(500.0, 6.0, slide_ms=120), TARGET_HZ, noise_db=30)
    again = judge_take(sound, RATE_HZ, expect())
    monkeypatch.setattr(notes, "weigh_again", not_again)
    assert again == judge_take(sound, RATE_HZ, expect())


@pytest.mark.parametrize("dwell_ms", [110, 130, 150, 170, 180, 190, 210, 400])
def test_the_landing_that_is_told_is_the_one_that_is_kept(dwell_ms):
    """Also where the note is moved just when the landing becomes final."""
    told, kept = [], []
    for sound in rooms(corrected_path(22.0, 0.0, dwell_ms=dwell_ms), 3):
        events = listened(sound, 441)
        told += [each.landing_cents for each in events if isinstance(each, LandingFinal)]
        landings = [each.attempt.landing_cents for each in events if isinstance(each, VerdictFinal)]
        kept += landings[: len(told) - len(kept)]
    assert told == pytest.approx(kept, abs=1e-3)
    assert len(told) >= (1 if dwell_ms < 220 else 3)


@pytest.mark.parametrize("after_ms", [150, 180, 200, 220, 320])
def test_a_note_that_ends_soon_is_told_alike_in_blocks_of_any_size(after_ms):
    contour = np.concatenate([plain_path(500.0, 6.0, slide_ms=140, after_ms=after_ms), np.full(600, np.nan)])
    for sound in rooms(contour, 2):
        small, large = (
            [each.attempt for each in listened(sound, block) if isinstance(each, VerdictFinal)]
            for block in (64, len(sound))
        )
        assert small == large
        assert len(small) == 1


def test_a_correction_is_measured_from_the_landing_that_was_read_again():
    for sound in rooms(corrected_path(30.0, 0.0, dwell_ms=260), 3):
        for one in judge_take(sound, RATE_HZ, expect()):
            assert one.landing_cents == pytest.approx(30.0, abs=2.5)
            assert one.correction_cents == pytest.approx(one.settled_cents - one.landing_cents, abs=2e-3)


def resting(moves_at_ms, takes_ms, to_cents, lasts_ms=700):
    """A contour that slides up to its rest at 300 ms, 12 cents sharp, and goes on from there; what is known of it."""
    ms = np.arange(300 + lasts_ms)
    slide = np.clip(ms / 300.0, 0.0, 1.0)
    moved = np.clip((ms - 300 - moves_at_ms) / takes_ms, 0.0, 1.0)
    cents = np.where(ms < 300, -500.0 + 512.0 * slide, 12.0 + (to_cents - 12.0) * moved)
    return cents, Travel(interval_cents=500.0), Landing(rest=300, window=(320, 400), landing_cents=12.0)


def test_a_note_that_sounds_on_is_read_for_longer_than_one_that_ends():
    cents, travel, landing = resting(500, 100, 12.0)
    assert weighing.where_read(cents, travel, landing) == (320, 300 + weighing.RESTED_MS, 12.0)
    assert weighing.where_read(cents[:470], travel, landing) == (320, 300 + weighing.RELEASED_MS, 12.0)


def test_what_follows_what_is_known_when_it_is_told_does_not_change_where_it_is_read():
    cents, travel, landing = resting(176, 60, -20.0)
    told = weighing.where_read(cents[:476], travel, landing)
    assert told == weighing.where_read(cents, travel, landing) == (320, 300 + weighing.RESTED_MS, 12.0)


def test_an_overshoot_that_rested_for_a_moment_is_no_landing():
    """It returns by 12 cents in 80 ms and stays."""
    begin, end, near_cents = weighing.where_read(*resting(60, 80, 0.0))
    assert 380 < begin < 440
    assert end == 300 + weighing.RESTED_MS
    assert near_cents == pytest.approx(0.0, abs=1.0)


def test_where_the_pitch_is_lost_the_note_did_not_settle():
    cents, travel, landing = resting(60, 80, 0.0)
    cents[410:435] = np.nan
    begin, end, near_cents = weighing.where_read(cents, travel, landing)
    assert (begin, near_cents) == (320, 12.0)
    assert end <= 410


def test_before_a_correction_the_landing_is_read():
    """Of 34 cents in 50 ms; and one that is not yet over."""
    for contour in (resting(100, 50, -22.0), resting(120, 120, -22.0)):
        begin, end, near_cents = weighing.where_read(*contour)
        assert (begin, near_cents) == (320, 12.0)
        assert 400 <= end < 460


def test_what_is_left_at_once_was_no_rest():
    """By 34 cents after 70 ms; where it comes back, or nothing is known of what follows, it is read."""
    cents, travel, landing = resting(70, 60, -22.0)
    assert weighing.where_read(cents, travel, landing) is None
    assert weighing.where_read(cents[:450], travel, landing) is not None
    cents[440:] = 12.0
    assert weighing.where_read(cents, travel, landing) is not None


@pytest.mark.parametrize("off_hz", [-2.5, 0.0, 0.4, 3.0])
def test_steady_harmonics_are_read_exactly(off_hz):
    """A tone turned back off_hz too low: harmonic k turns k times as fast, which is all there is to know."""
    time_s = np.arange(0.0, 0.11, 0.001)
    k = np.arange(1, 9)[:, None]
    voices = np.exp(2j * np.pi * (k * off_hz * time_s + 0.1 * k * k)) / k
    found_hz, se_hz = weighing.common_offset(voices, time_s, 4.0)
    assert found_hz == pytest.approx(off_hz, abs=0.01)
    assert se_hz < 0.05


def test_a_harmonic_that_a_tail_turns_counts_less():
    """Every harmonic stands still but for the third, which beats with as much of a tail 5 Hz above it."""
    time_s = np.arange(0.0, 0.11, 0.001)
    voices = np.ones((8, len(time_s)), complex)
    voices[2] += 0.9 * np.exp(2j * np.pi * 5.0 * time_s)
    found_hz, _ = weighing.common_offset(voices, time_s, 4.0)
    alone_hz = weighing.common_offset(voices[2:3], time_s, 4.0)[0] / 3.0
    assert abs(found_hz) < 0.1 * abs(alone_hz)
