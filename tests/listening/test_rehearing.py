"""Slides in synthesised diffuse rooms heard a second time: when the hand left and arrived, and the line that is kept of
it, against the path played."""

from functools import cache
from typing import NamedTuple

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from listening.sounds import bowed, expect, plain_path
from listening.test_tailing import in_room
from truestop.domain.attempt import Attempt
from truestop.listening import gliding, rehearing
from truestop.listening.frames import Floats
from truestop.listening.gliding import Sound, best_followed, likely_glides
from truestop.listening.gridding import Grid
from truestop.listening.judging import Listener, VerdictFinal, judge_take
from truestop.listening.landing import measure_landing
from truestop.listening.refining import refine_path
from truestop.listening.resting import Travel
from truestop.listening.tracking import track_pitch
from truestop.listening.turning import Kept

TARGET_HZ, RATE_HZ = 659.26, 44100
SHAPES = {
    "half a cosine": lambda u: 0.5 - 0.5 * np.cos(np.pi * u),
    "a line": lambda u: u,
    "quick, then slow": lambda u: 1.0 - (1.0 - u) ** 3,
}
"""None of them is the glide that the search begins with."""


def path_of(shape, slide_ms=160):
    contour = plain_path(500.0, 6.0, slide_ms=slide_ms)
    u = (np.arange(slide_ms) + 0.5) / slide_ms
    contour[500 : 500 + slide_ms] = -500.0 + 506.0 * SHAPES[shape](u)
    return contour


def rooms(contour, count=4):
    sound = bowed(contour, TARGET_HZ)
    return [in_room(sound, rt60_s=0.9, ratio_db=1.0, seed=seed) for seed in range(count)]


class Heard(NamedTuple):
    """What is heard of the same sounds, one attempt in each: with the second hearing and without it."""

    contour: Floats
    again: list[Attempt]
    once: list[Attempt]


@cache
def heard(shape) -> Heard:
    contour = path_of(shape)
    sounds = rooms(contour)
    again = [one for sound in sounds for one in judge_take(sound, RATE_HZ, expect())]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(rehearing, "in_room", lambda *_: False)
        once = [one for sound in sounds for one in judge_take(sound, RATE_HZ, expect())]
    assert len(again) == len(once) == len(sounds)
    return Heard(contour, again, once)


def arrivals_ms(contour, attempts):
    """How far every arrival lies from the path's, in ms; both through the measure, which smooths a corner by 8 ms."""
    true = measure_landing(contour, Travel(interval_cents=500.0, smoothing_ms=0.0))
    return np.abs(np.array([1000.0 * one.arrival_s for one in attempts if one.arrival_s is not None]) - true.arrival)


def off_the_path(contour, attempts, a_ms, b_ms):
    """Median distance in cents of every kept line from the path between two moments."""
    found = []
    for one in attempts:
        times_ms, cents = 1000.0 * np.array(one.trace_s), np.array(one.trace_cents)
        there = (times_ms >= a_ms) & (times_ms < b_ms)
        found.append(np.median(np.abs(cents - np.interp(times_ms, np.arange(len(contour)), contour))[there]))
    return np.array(found)


@pytest.mark.parametrize("shape", SHAPES)
def test_a_slide_in_a_room_is_the_hand_s_and_not_the_tail_s(shape):
    """When it arrived, the line that is kept of it, and how that line goes on; nothing else changes."""
    contour, *both = heard(shape)
    again, once = (arrivals_ms(contour, attempts) for attempts in both)
    assert len(again) == len(once) >= 3
    assert np.median(again) <= 1.0
    assert np.mean(again) < 0.6 * np.mean(once)
    again, once = (np.median(off_the_path(contour, attempts, 500, 660)) for attempts in both)
    assert again <= 5.0
    assert again < 0.5 * once
    assert sum(one.trace_cents != other.trace_cents for one, other in zip(*both, strict=True)) >= 3
    for one, other in zip(*both, strict=True):
        assert (one.landing_cents, one.settled_cents, one.reason) == (
            other.landing_cents, other.settled_cents, other.reason
        )  # fmt: skip
        assert one.trace_s == other.trace_s
        at_s = np.array(one.trace_s)
        for part in (at_s > 0.8, at_s < 0.4):
            assert np.array_equal(np.array(one.trace_cents)[part], np.array(other.trace_cents)[part])


def test_a_pitch_that_is_lost_early_in_the_slide_is_found_again():
    contour = path_of("a line")
    sound = rooms(contour, 1)[0]
    kept = Kept(RATE_HZ)
    kept.add(sound)
    heard = Grid(TARGET_HZ).feed(track_pitch(sound, RATE_HZ, 493.88, TARGET_HZ), last=True)
    heard.cents[530:575] = np.nan
    travel = Travel(interval_cents=500.0, tracker_se_cents=heard.se_cents)
    landing = measure_landing(heard.cents, travel)
    _, slide = rehearing.hear_again(heard.cents, travel, landing, 0, TARGET_HZ, kept, rehearing.Paths())
    line = slide.laid_in(heard.cents)[510:650]
    assert np.median(np.abs(line - contour[510:650])) < 6.0


def listened(sound, block):
    listener = Listener(expect(), RATE_HZ)
    events = [each for at in range(0, len(sound), block) for each in listener.feed(sound[at : at + block])]
    return [each.attempt for each in [*events, *listener.finish()] if isinstance(each, VerdictFinal)]


@pytest.mark.parametrize("after_ms", [150, 165, 180, 700])
def test_blocks_of_any_size_give_the_same_times(after_ms):
    contour = path_of("half a cosine")[: 660 + after_ms]
    dry = bowed(np.concatenate([contour, np.full(600, np.nan), contour, np.full(600, np.nan)]), TARGET_HZ)
    sound = in_room(dry, rt60_s=0.5, ratio_db=3.0, seed=1)
    first = listened(sound, len(sound))
    assert len(first) == 2
    assert listened(sound, 441) == listened(sound, 64) == listened(sound, 1) == first


def test_live_the_slide_is_heard_again_before_the_verdict_is_due(monkeypatch):
    """In blocks before: the verdict finds it heard."""
    sound = rooms(np.concatenate([path_of("half a cosine"), np.full(300, 6.0)]), 1)[0]
    heard_at, verdict_at = [], []
    whole = rehearing.refining

    def noted(*args):
        steps = whole(*args)
        while True:
            heard_at.append(at)
            try:
                next(steps)
            except StopIteration as end:
                return end.value
            yield

    monkeypatch.setattr(rehearing, "refining", noted)
    listener = Listener(expect(), RATE_HZ)
    for at in range(0, len(sound), 441):
        verdict_at += [at for event in listener.feed(sound[at : at + 441]) if isinstance(event, VerdictFinal)]
    assert len(verdict_at) == 1
    assert len(set(heard_at)) == len(heard_at) > 6
    assert verdict_at[0] - heard_at[-1] > 0.1 * RATE_HZ


def test_samples_that_are_no_numbers_end_in_times_that_are():
    sound = rooms(path_of("half a cosine"), 1)[0]
    sound[int(0.58 * RATE_HZ)] = np.nan
    sound[int(0.6 * RATE_HZ)] = np.inf
    for attempt in judge_take(sound, RATE_HZ, expect()):
        assert all(time is None or np.isfinite(time) for time in (attempt.arrival_s, attempt.slide_s))


@settings(max_examples=3)
@given(
    length_ms=st.integers(70, 400),
    middle_ms=st.integers(290, 420),
    interval=st.sampled_from([-900.0, -300.0, 200.0, 700.0]),
)
def test_the_glide_that_was_played_is_found_in_dry_sound(length_ms, middle_ms, interval):
    u = np.clip((np.arange(700) - middle_ms) / length_ms + 0.5, 0.0, 1.0)
    contour = interval * (u * u * u * (10.0 + u * (6.0 * u - 15.0)) - 1.0)
    leap = np.where(np.arange(700) < middle_ms, -interval, 0.0)
    sound = Sound(bowed(contour, TARGET_HZ), RATE_HZ, 0.0)
    hz = TARGET_HZ * np.exp2(leap / 1200.0)
    begun = 1200.0 * np.log2(likely_glides(hz, sound)[0] / TARGET_HZ)
    at, path = refine_path(hz, sound)
    refined = 1200.0 * np.log2(path / TARGET_HZ)
    assert np.mean(np.abs(begun - contour)) < 0.2 * np.mean(np.abs(leap - contour)) + 3.0
    assert np.median(np.abs(refined - contour[at : at + len(path)])) < 1.0


@pytest.mark.parametrize(("interval", "slide_ms"), [(-900.0, 90), (-400.0, 60), (400.0, 60)])
def test_a_leap_that_follows_a_loud_tail_is_not_taken_for_the_slide(interval, slide_ms, monkeypatch):
    """The tail is four times as strong as the direct sound; but the new note is heard before the leap comes to it."""
    contour = plain_path(interval, 0.0, slide_ms=slide_ms, before_ms=300, after_ms=300)
    late = (np.where(np.arange(len(contour)) < 300 + slide_ms + ms, -interval, 0.0) for ms in (20, 40, 70))
    paths = TARGET_HZ * np.exp2(np.array([contour, *late]) / 1200.0)
    dry = bowed(contour, TARGET_HZ)
    sounds = [Sound(in_room(dry, rt60_s=0.9, ratio_db=-6.0, seed=seed), RATE_HZ, 0.0) for seed in range(8)]
    assert sum(best_followed(paths, paths[2], sound) == 0 for sound in sounds) >= 6
    monkeypatch.setattr(gliding, "AWAY_CENTS", np.inf)
    assert sum(best_followed(paths, paths[2], sound) == 0 for sound in sounds) <= 3


def test_a_stretch_that_is_too_short_comes_back_empty():
    assert len(refine_path(np.full(100, 440.0), Sound(np.zeros(4410, np.float32), RATE_HZ, 0.0))[1]) == 0
