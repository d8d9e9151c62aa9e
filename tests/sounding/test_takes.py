"""Rendered takes: the truth says what sounds."""

import numpy as np
import pytest

from truestop.sounding.takes import PlayedAttempt, render_take

RATE = 44100
A4, E5 = 440.0, 660.0


def take(*attempts, **settings):
    settings.setdefault("wander_cents", 0.0)
    return render_take(list(attempts), departure_hz=A4, arrival_hz=E5, rng=np.random.default_rng(1), **settings)


def window(rendered, start_s, end_s):
    return rendered.path_cents[round(1000 * start_s) : round(1000 * end_s)]


def test_path_holds_departure_and_landing():
    rendered = take(PlayedAttempt(landing_cents=17.0, departure_cents=-5.0))
    truth = rendered.attempts[0]
    interval = 1200 * np.log2(A4 / E5)
    assert np.allclose(window(rendered, truth.start_s + 0.1, truth.departure_s - 0.05), interval - 5.0, atol=0.01)
    assert np.allclose(window(rendered, truth.arrival_s + 0.1, truth.end_s - 0.1), 17.0, atol=0.01)


@pytest.mark.parametrize("overshoot", [0.0, 35.0])
def test_arrival_is_the_last_entry_into_ten_cents(overshoot):
    rendered = take(PlayedAttempt(landing_cents=-8.0, overshoot_cents=overshoot))
    truth = rendered.attempts[0]
    inside = window(rendered, truth.arrival_s + 0.002, truth.end_s - 0.1)
    assert np.all(np.abs(inside + 8.0) <= 10.0)
    assert abs(rendered.path_cents[round(1000 * (truth.arrival_s - 0.004))] + 8.0) > 10.0


def test_correction_is_in_the_path_and_in_the_truth():
    rendered = take(PlayedAttempt(landing_cents=30.0, correct_to_cents=2.0, correct_after_s=0.25))
    truth = rendered.attempts[0]
    assert truth.settled_cents == 2.0
    assert np.allclose(window(rendered, truth.arrival_s + 0.06, truth.arrival_s + 0.22), 30.0, atol=0.1)
    assert np.allclose(window(rendered, truth.end_s - 0.3, truth.end_s - 0.1), 2.0, atol=0.1)


def test_whole_numbers_of_cents_are_played_like_any_other():
    whole = PlayedAttempt(landing_cents=12, departure_cents=-3, correct_to_cents=2, vibrato_cents=20)
    halves = PlayedAttempt(landing_cents=12.0, departure_cents=-3.0, correct_to_cents=2.0, vibrato_cents=20.0)
    sounded = [take(played).samples for played in (whole, halves)]
    assert np.array_equal(*sounded)


@pytest.mark.parametrize("late", [0.0, 0.12, -0.08])
def test_arrivals_fall_on_the_click_plus_lateness(late):
    rendered = take(*[PlayedAttempt(late_s=late)] * 3, pulse_bpm=60.0)
    for truth, beat in zip(rendered.attempts, rendered.beats_s, strict=True):
        assert truth.arrival_s - beat == pytest.approx(late, abs=1e-4)
        assert beat in rendered.clicks_s


def test_silent_travel_and_guide_stop():
    rendered = take(PlayedAttempt(silent_s=0.3), PlayedAttempt(guide_cents=6.0), guide_hz=590.0)
    first, second = rendered.attempts
    assert np.isnan(window(rendered, first.departure_s + 0.25, first.departure_s + 0.4)).any()
    guide = 1200 * np.log2(590.0 / E5) + 6.0
    assert np.sum(np.abs(window(rendered, second.start_s, second.end_s) - guide) < 0.1) > 300


def test_no_sample_jumps():
    rendered = take(PlayedAttempt(landing_cents=10.0), PlayedAttempt(bow_change=True), PlayedAttempt(silent_s=0.2))
    assert np.abs(rendered.samples).max() < 0.6
    start = rendered.samples[: round(0.39 * RATE)]
    assert np.abs(start).max() < 1e-3


def test_takes_are_reproducible():
    attempts = [PlayedAttempt(landing_cents=4.0, vibrato_cents=25.0)]
    one, two = (render_take(attempts, departure_hz=A4, arrival_hz=E5, rng=np.random.default_rng(5)) for _ in range(2))
    assert np.array_equal(one.samples, two.samples)
