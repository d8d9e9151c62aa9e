"""Both notes of a double stop, each with its own truth; figures for many takes are in docs/accuracy.md."""

import dataclasses
import math
import time

import numpy as np
import pytest

from listening.sounds import SILENCE, bowed, corrected_path, expect, plain_path, stop
from truestop.domain.attempt import Verdict
from truestop.listening.judging import LandingFinal, Listener, VerdictFinal, judge_take
from truestop.sounding.takes import PlayedAttempt, render_take

RATE_HZ = 44100
DEPARTURES = {"third": "D#5", "fourth": "E5", "sixth": "G#5", "octave": "B5", "tenth": "D#6", "twelfth": "F#6"}
ARRIVALS = {"third": "G#5", "fourth": "A5", "sixth": "C#6", "octave": "E6", "tenth": "G#6", "twelfth": "B6"}


def pair(kind, lower, upper, **more):
    """A take in which both fingers go a fourth up, along ``lower`` and ``upper``, and what is expected of it."""
    arrival = stop(ARRIVALS[kind])
    expected = expect(upper_departure=stop(DEPARTURES[kind], place=2), upper_arrival=arrival, **more)
    voices = [
        bowed(np.concatenate([SILENCE, path, SILENCE]), hz, noise_db=45, seed=seed)
        for seed, (path, hz) in enumerate(((lower, expected.arrival.hz), (upper, arrival.hz)))
    ]
    length = min(map(len, voices))
    return 0.5 * (voices[0][:length] + voices[1][:length]), expected


def judged(kind, lower, upper, **more):
    """The one attempt in it."""
    sound, expected = pair(kind, lower, upper, **more)
    (attempt,) = judge_take(sound, RATE_HZ, expected)
    return attempt


@pytest.mark.parametrize("kind", ["third", "fourth", "sixth", "tenth"])
def test_each_note_has_its_landing_and_its_word(kind):
    attempt = judged(kind, plain_path(500, 4), plain_path(500, 27))
    lower, upper = attempt.notes
    assert (lower.landing_cents, upper.landing_cents) == (pytest.approx(4, abs=0.3), pytest.approx(27, abs=0.3))
    assert (lower.verdict, upper.verdict) == (Verdict.TRUE, Verdict.HIGH)
    assert (attempt.verdict, attempt.landing_cents) == (Verdict.HIGH, upper.landing_cents)
    assert attempt.target == upper.target


@pytest.mark.parametrize(("departure", "arrival"), [(("G#2", "D#3"), ("B2", "F#3")), (("A#2", "F3"), ("D3", "A3"))])
def test_a_low_fifth_is_not_the_fourth_below_it(departure, arrival):
    """Half the upper note and the lower one are a fourth, whose harmonics lie on theirs or in the skirts of theirs."""
    upper = stop(arrival[1])
    expected = expect(departure[0], arrival[0], upper_departure=stop(departure[1]), upper_arrival=upper)
    random = np.random.default_rng(5)
    takes = [
        render_take([PlayedAttempt(landing_cents=cents)], departure_hz=one.hz, arrival_hz=two.hz, rng=random,
                    family="bass", wander_cents=0.3).samples
        for cents, one, two in ((14, expected.departure, expected.arrival), (-6, expected.upper_departure, upper))
    ]  # fmt: skip
    (attempt,) = judge_take(takes[0] + 0.5 * takes[1], RATE_HZ, expected)
    lower, above = attempt.notes
    assert (lower.landing_cents, above.landing_cents) == (pytest.approx(14, abs=1.0), pytest.approx(-6, abs=1.0))


def test_the_worse_note_decides_and_of_two_alike_the_one_further_off():
    corrected = judged("sixth", corrected_path(-30, 0), plain_path(500, -40))
    assert [note.verdict for note in corrected.notes] == [Verdict.CORRECTED, Verdict.LOW]
    assert (corrected.verdict, corrected.target.pitch.name) == (Verdict.CORRECTED, "E5")
    low = judged("sixth", plain_path(500, -24), plain_path(500, 35))
    assert (low.verdict, low.target.pitch.name) == (Verdict.HIGH, "C#6")


def test_an_upper_note_an_octave_above_the_lower_one_is_unjudged_and_decides_nothing():
    for landing, word in ((5, Verdict.TRUE), (-26, Verdict.LOW)):
        attempt = judged("octave", plain_path(500, landing), plain_path(500, landing + 2))
        lower, upper = attempt.notes
        assert lower.landing_cents == pytest.approx(landing, abs=0.4)
        assert (upper.verdict, upper.landing_cents) == (Verdict.UNJUDGED, None)
        assert "harmonics" in upper.reason
        assert (attempt.verdict, attempt.target) == (word, lower.target)


def test_an_upper_note_a_twelfth_above_is_read_rightly_or_not_at_all():
    for landing in (5, -26):
        lower, upper = judged("twelfth", plain_path(500, landing), plain_path(500, landing + 2)).notes
        assert lower.landing_cents == pytest.approx(landing, abs=0.4)
        assert upper.landing_cents is None or upper.landing_cents == pytest.approx(landing + 2, abs=0.5)


def test_a_note_that_does_not_sound_leaves_the_attempt_unjudged():
    sound, expected = pair("sixth", plain_path(500, 4), plain_path(500, 4))
    alone = bowed(np.concatenate([SILENCE, plain_path(500, 4), SILENCE]), expected.arrival.hz, noise_db=45)
    for attempt in judge_take(alone, RATE_HZ, expected):
        assert attempt.verdict is Verdict.UNJUDGED
        assert attempt.reason.startswith("C♯6: ")
    assert [attempt.verdict for attempt in judge_take(sound, RATE_HZ, expected)] == [Verdict.TRUE]


def test_an_open_string_beside_a_stopped_note_decides_nothing():
    stopped, string = plain_path(500, 24), np.full(2000, 0.0)
    expected = expect(upper_departure=stop("G5", place=0), upper_arrival=stop("G5", place=0), upper_arrival_open=True)
    one = bowed(np.concatenate([SILENCE, stopped, SILENCE]), expected.arrival.hz, noise_db=45)
    two = bowed(string, expected.upper_arrival.hz)
    length = min(len(one), len(two))
    (attempt,) = judge_take(0.5 * (one[:length] + two[:length]), RATE_HZ, expected)
    assert (attempt.verdict, attempt.landing_cents) == (Verdict.HIGH, pytest.approx(24, abs=0.5))
    assert attempt.notes[1].verdict is Verdict.TRUE


def test_blocks_of_any_size_give_the_same_and_live_tells_the_landing_first():
    sound, expected = pair("sixth", plain_path(500, 4), plain_path(500, -23))
    whole = judge_take(sound, RATE_HZ, expected)
    listener, events = Listener(expected, RATE_HZ), []
    for a in range(0, len(sound), 1000):
        events += listener.feed(sound[a : a + 1000])
    events += listener.finish()
    finals = [event for event in events if isinstance(event, LandingFinal)]
    verdicts = [event for event in events if isinstance(event, VerdictFinal)]
    assert [event.attempt.verdict for event in verdicts] == [attempt.verdict for attempt in whole] == [Verdict.LOW]
    assert verdicts[0].attempt.landing_cents == pytest.approx(whole[0].landing_cents, abs=1e-3)
    assert finals[0].at_s - finals[0].rest_s < 0.25
    assert finals[0].landing_cents == pytest.approx(whole[0].landing_cents, abs=1e-3)


def test_live_a_double_stop_keeps_to_one_thread():
    """Threads of a numeric library that wait for one another made verdicts seconds late on a machine that was busy."""
    sound, expected = pair("sixth", plain_path(500, 4), plain_path(500, -23))
    listener = Listener(expected, RATE_HZ)
    own, whole = time.thread_time(), time.process_time()
    for a in range(0, len(sound), 512):
        listener.feed(sound[a : a + 512])
    own, whole = time.thread_time() - own, time.process_time() - whole
    assert whole < 1.3 * own


def test_no_number_is_ever_nan():
    attempt = judged("octave", plain_path(500, 3), plain_path(500, 3))
    for one in (attempt, *attempt.notes):
        for field in dataclasses.fields(one):
            value = getattr(one, field.name)
            assert not (isinstance(value, float) and not math.isfinite(value)), field.name
