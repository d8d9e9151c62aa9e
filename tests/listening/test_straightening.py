"""The line of a slide against the path that was played, and its error in white noise against the least there can be."""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d

from listening.sounds import plain_path
from truestop.listening.landing import Landing
from truestop.listening.straightening import HARMONICS, SIGMA_MS, freed, straightened
from truestop.listening.turning import Kept

RATE_HZ, TARGET_HZ = 44100, 440.0
PATH = plain_path(500.0, 5.0, slide_ms=200)
LANDING = Landing(rest=int(np.flatnonzero(PATH > 4.0)[0]), leaving=float(np.flatnonzero(PATH > -490.0)[0]))
READ = slice(int(LANDING.leaving) - 30, LANDING.rest + 80)


def sounding(path, noise=0.0, seed=0):
    """A tone of twelve harmonics along ``path``, each as loud as the other, in white noise."""
    at_ms = np.arange(len(path) * RATE_HZ // 1000) * 1000.0 / RATE_HZ
    hz = TARGET_HZ * np.exp2(np.interp(at_ms, np.arange(len(path)), path) / 1200.0)
    turns = (np.cumsum(hz) - 0.5 * hz) / RATE_HZ
    tone = sum(np.cos(2 * np.pi * k * turns + k * k) for k in range(1, HARMONICS + 1))
    kept = Kept(RATE_HZ)
    kept.add((0.05 * tone + noise * np.random.default_rng(seed).standard_normal(len(tone))).astype(np.float32))
    return kept


@pytest.mark.parametrize("sigma_ms", [3.0, 5.0, 8.0])
@pytest.mark.parametrize("slide_ms", [100, 250, 600])
def test_a_line_is_freed_of_what_smoothed_it(slide_ms, sigma_ms):
    path = plain_path(700.0, 12.0, slide_ms=slide_ms)
    smoothed = gaussian_filter1d(path, sigma_ms, mode="nearest")
    off, before = np.abs(freed(smoothed, sigma_ms) - path), np.abs(smoothed - path)
    assert off.max() < min(2.0, before.max())
    assert slide_ms == 100 or off.max() < 0.3


def test_every_stretch_is_smoothed_by_itself():
    broken = np.concatenate((np.full(50, np.nan), np.full(300, -700.0), np.full(30, np.nan), np.full(200, 3.0)))
    line = freed(broken, 4.0)
    np.testing.assert_array_equal(np.isfinite(line), np.isfinite(broken))
    np.testing.assert_allclose(line[50:350], -700.0)
    np.testing.assert_allclose(line[380:], 3.0)


@pytest.mark.parametrize("off_cents", [-6.0, 4.0])
def test_a_line_that_is_off_comes_back_to_what_sounds(off_cents):
    wave = off_cents * np.cos(2 * np.pi * np.arange(len(PATH)) / 150.0)
    line = straightened(PATH + wave, LANDING, 0, TARGET_HZ, sounding(PATH))
    assert np.abs(line - PATH)[READ].max() < 0.03 * abs(off_cents)


def test_in_noise_it_is_as_near_as_can_be():
    """Least variance (Cramér–Rao) of the frequency of a phase that is known with density 1/J, watched through a
    Gaussian window: 1/J / (4π²) / (4 √π σ³), J = Σ k² A² fs / 2σ²; both from Parseval and Rife & Boorstyn 1974."""
    noise = 0.1
    j_per_s = sum((0.05 * k) ** 2 for k in range(1, HARMONICS + 1)) * RATE_HZ / (2 * noise**2)
    least_hz = np.sqrt(1 / j_per_s / (4 * np.pi**2) / (4 * np.sqrt(np.pi) * (SIGMA_MS / 1000) ** 3))
    off_cents = [
        straightened(PATH, LANDING, 0, TARGET_HZ, sounding(PATH, noise, seed))[READ] - PATH[READ] for seed in range(20)
    ]
    off_hz = TARGET_HZ * np.exp2(PATH[READ] / 1200.0) * np.array(off_cents) * np.log(2) / 1200.0
    assert np.sqrt(np.mean(off_hz**2)) == pytest.approx(least_hz, rel=0.15)


@pytest.mark.parametrize("fault", [np.nan, np.inf, 0.0])
def test_samples_that_are_no_numbers_give_a_line_that_is(fault):
    kept = Kept(RATE_HZ)
    kept.add(np.full(len(PATH) * RATE_HZ // 1000, fault, np.float32))
    assert np.isfinite(straightened(PATH, LANDING, 0, TARGET_HZ, kept)).all()


def test_a_line_with_a_gap_in_the_slide_stays_as_it_is():
    line = PATH.copy()
    line[LANDING.rest - 40 : LANDING.rest - 10] = np.nan
    np.testing.assert_array_equal(straightened(line, LANDING, 0, TARGET_HZ, sounding(PATH)), line)
