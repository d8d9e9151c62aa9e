"""The test takes themselves: what they say sounds is what sounds, in every condition."""

import numpy as np
import parselmouth
import pytest
from benchmarks.recorded_notes import RATE_HZ, bent, recorded_note
from benchmarks.takes import CONDITIONS, in_condition, make_take


def praat_cents(samples, hz, *, low, high):
    pitch = parselmouth.Sound(samples.astype(float), RATE_HZ).to_pitch_ac(
        time_step=0.01, pitch_floor=hz * low, pitch_ceiling=hz * high
    )
    values = pitch.selected_array["frequency"]
    return pitch.xs(), np.where(values > 0, 1200 * np.log2(np.maximum(values, 1.0) / hz), np.nan)


@pytest.mark.parametrize(("source", "stem"), [("violin", "G3"), ("violin", "C5"), ("cello", "E2"), ("bass", "As1")])
def test_a_recorded_note_bent_straight_is_flat_to_a_foreign_tracker(source, stem):
    note = recorded_note(source, stem)
    straight = bent(note, np.full(RATE_HZ, 1.1 * note.hz), begin=1000)
    _, cents = praat_cents(straight, 1.1 * note.hz, low=0.6, high=1.6)
    middle = cents[3:-3]
    eighths = [np.nanmedian(middle[i : i + 8]) for i in range(0, len(middle) - 8, 8)]
    assert np.sqrt(np.mean(np.square(eighths))) < 0.6
    assert abs(np.nanmedian(middle)) < 0.25


def test_mislabelled_notes_are_measured_not_believed():
    note = recorded_note("cello", "E2")
    assert 1200 * np.log2(note.hz / 82.407) == pytest.approx(-45, abs=4)


def test_a_note_that_is_too_short_is_refused():
    note = recorded_note("cello", "E2")
    with pytest.raises(ValueError, match="too short"):
        bent(note, np.full(20 * RATE_HZ, note.hz), begin=0)


@pytest.mark.parametrize("source", ["recorded", "synthesis"])
def test_departure_and_landing_sound_as_told(source):
    take = make_take(2, source=source, kind="plain")
    truth = take.attempts[0]
    ratio = take.departure_hz / take.arrival_hz
    times, cents = praat_cents(take.samples, take.arrival_hz, low=min(ratio, 1) * 0.8, high=max(ratio, 1) * 1.25)
    landing = cents[(times > truth.arrival_s + 0.1) & (times < truth.end_s - 0.15)]
    departure = cents[(times > truth.start_s + 0.15) & (times < truth.departure_s - 0.1)]
    assert np.nanmedian(landing) == pytest.approx(truth.landing_cents, abs=0.5)
    assert np.nanmedian(departure) - 1200 * np.log2(ratio) == pytest.approx(truth.departure_cents, abs=0.5)


@pytest.mark.parametrize("condition", CONDITIONS)
def test_every_condition_sounds_and_keeps_the_truth(condition):
    take = make_take(5, source="synthesis")
    heard = in_condition(take, condition)
    again = in_condition(take, condition)
    assert np.array_equal(heard.samples, again.samples)
    assert heard.attempts == take.attempts
    assert np.isfinite(heard.samples).all()
    assert 0.02 < np.abs(heard.samples).max() <= 0.951
    assert len(heard.samples) == len(take.samples)


def test_noise_is_at_its_level():
    take = make_take(5, source="synthesis")
    noise = in_condition(take, "noise 10 dB").samples - take.samples
    truth = take.attempts[0]
    note = take.samples[round((truth.start_s + 0.1) * RATE_HZ) : round((truth.end_s - 0.1) * RATE_HZ)]
    sounding = np.sqrt(np.mean(note**2))
    assert 20 * np.log10(sounding / noise.std()) == pytest.approx(10.0, abs=1.0)


def test_the_same_number_is_the_same_take():
    one, two = make_take(9), make_take(9)
    assert np.array_equal(one.samples, two.samples)
    assert one.attempts == two.attempts
