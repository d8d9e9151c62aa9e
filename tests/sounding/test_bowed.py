"""The synthesiser: exact pitch, no aliasing, no clicks, the same sound from the same seed."""

import numpy as np
import parselmouth
import pytest

from truestop.sounding.bowed import VOICES, bow_envelope, contour_through, harmonic_level, sound_string

RATE = 44100


def pitch_by_praat(samples, low_hz, high_hz):
    """Median pitch of a steady tone by Praat's autocorrelation (praat-parselmouth)."""
    sound = parselmouth.Sound(samples.astype(np.float64), sampling_frequency=RATE)
    track = sound.to_pitch_ac(pitch_floor=low_hz, pitch_ceiling=high_hz, time_step=0.01)
    values = track.selected_array["frequency"]
    return float(np.median(values[values > 0]))


def pitch_by_phase(samples, hz):
    """Frequency near ``hz`` from the phase advance of the fundamental between two windowed halves: closed form."""
    n = len(samples) // 2
    t = np.arange(n) / RATE
    window = np.blackman(n)
    first = np.sum(samples[:n] * window * np.exp(-2j * np.pi * hz * t))
    second = np.sum(samples[n : 2 * n] * window * np.exp(-2j * np.pi * hz * (t + n / RATE)))
    return hz + np.angle(second / first) / (2 * np.pi * n / RATE)


@pytest.mark.parametrize(
    ("family", "hz"),
    [("violin", 196.0), ("violin", 1318.5), ("violin", 3520.0), ("viola", 130.8), ("cello", 65.4), ("bass", 30.87)],
)
def test_sounding_pitch_is_the_contour_within_a_twentieth_of_a_cent(family, hz):
    samples = sound_string(np.full(2 * RATE, hz), sample_rate_hz=RATE, family=family)
    assert abs(1200 * np.log2(pitch_by_phase(samples, hz) / hz)) < 0.01


@pytest.mark.parametrize(("family", "hz"), [("violin", 440.0), ("viola", 196.0), ("cello", 98.0)])
def test_praat_hears_the_same_pitch_with_bow_noise(family, hz):
    samples = sound_string(np.full(RATE, hz), sample_rate_hz=RATE, family=family, rng=np.random.default_rng(3))
    assert abs(1200 * np.log2(pitch_by_praat(samples, hz * 0.7, hz * 1.5) / hz)) < 0.05


def test_a_glide_follows_its_contour():
    contour = contour_through(np.array([0.0, 0.5, 0.8, 1.5]), np.array([-700.0, -700.0, 0.0, 0.0]),
                              reference_hz=660.0, sample_rate_hz=RATE)  # fmt: skip
    samples = sound_string(contour, sample_rate_hz=RATE)
    # Demodulate the fundamental along the contour: what remains must be a constant phase.
    phase = 2 * np.pi * np.cumsum(contour) / RATE
    base = np.convolve(samples * np.exp(-1j * phase), np.hanning(441) / 220, mode="valid")
    drift_hz = np.diff(np.unwrap(np.angle(base))) * RATE / (2 * np.pi)
    cents = 1731.2 * drift_hz / contour[220 : 220 + len(drift_hz)]
    assert np.abs(np.mean(cents)) < 0.05
    assert np.abs(np.convolve(cents, np.ones(882) / 882, mode="valid")).max() < 0.5


def test_nothing_sounds_between_the_harmonics():
    hz = 2637.0
    samples = sound_string(np.full(RATE, hz), sample_rate_hz=RATE)
    spectrum = np.abs(np.fft.rfft(samples * np.blackman(RATE)))
    frequencies = np.arange(len(spectrum))
    away = np.abs(frequencies / hz - np.round(frequencies / hz)) * hz > 12
    assert 20 * np.log10(spectrum[away].max() / spectrum.max()) < -90


def test_same_seed_same_sound():
    contour = np.full(5000, 300.0)
    one, two = (sound_string(contour, sample_rate_hz=RATE, rng=np.random.default_rng(9)) for _ in range(2))
    assert np.array_equal(one, two)
    assert not np.array_equal(one, sound_string(contour, sample_rate_hz=RATE, rng=np.random.default_rng(10)))


def test_envelope_starts_and_ends_in_silence():
    envelope = bow_envelope(RATE, sample_rate_hz=RATE)
    assert envelope[0] < 1e-5
    assert envelope[-1] < 1e-5
    assert envelope[RATE // 2] == 1.0
    assert np.abs(np.diff(envelope)).max() < 1e-3


@pytest.mark.parametrize("family", VOICES)
def test_harmonics_fall_towards_high_frequencies(family):
    hz = np.geomspace(3000.0, 9000.0, 50)
    levels = np.array([harmonic_level(np.array([f]), 1, VOICES[family], 22050.0)[0] for f in hz])
    assert np.all(np.diff(levels) <= 0)
