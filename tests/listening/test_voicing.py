"""Harmonics told apart from their neighbours: against lines whose amplitudes are known, and transforms done in full."""

import numpy as np
import pytest

from truestop.listening.frames import Plan
from truestop.listening.spectra import Spectrograph
from truestop.listening.voicing import MORE, Ear, Stood, Voices

#: Two notes in Hz; the window holds 2 periods of the lower one or a few more.
NOTES = [(29.1, 38.9), (41.2, 61.7), (73.4, 98.0), (196.0, 261.6), (740.0, 987.8)]
OFF = 1.0004
"""The guess is so much too high."""


def heard(low_hz, high_hz, strengths, *, alone=True):
    """A frame of harmonics of the lower note, of which ``strengths`` are the complex amplitudes in the middle."""
    plan = Plan(44100, low_hz, high_hz)
    time_s = np.arange(-plan.half, plan.half + 1) / plan.rate_hz
    k = np.arange(1, len(strengths) + 1)
    frame = np.real(strengths[:, None] * np.exp(2j * np.pi * low_hz * k[:, None] * time_s)).sum(axis=0)
    spectra = Spectrograph((plan.window, plan.slanted), plan.size, plan.bins).feed(frame[None].astype(np.float32))
    ear = Ear(plan.window, plan.rate_hz, plan.size, plan.bins, plan.sigma_s, (plan.low_hz, plan.top_hz))
    near = np.array([low_hz * OFF], np.float32)
    all_k = np.arange(1, plan.harmonics + 1 + MORE, dtype=np.float32)[:, None]
    voices = ear.listen(near, spectra, all_k, alone=alone)
    return plan, ear, near, spectra, voices


def beside_hz(voices):
    """How far f0 lies above the guess by each harmonic alone; shape (harmonics, frames)."""
    return (voices.moving * voices.wave.conj()).real / voices.peak / np.arange(1, len(voices.peak) + 1)[:, None]


def harmonics(count, seed):
    """Amplitudes within 20 dB of one another, any phase."""
    random = np.random.default_rng(seed)
    return 10 ** random.uniform(-1, 0, count) * np.exp(2j * np.pi * random.random(count))


@pytest.mark.parametrize(("low_hz", "high_hz"), NOTES)
def test_each_harmonic_is_as_strong_and_as_high_as_it_is_alone(low_hz, high_hz):
    for seed in range(4):
        strengths = harmonics(10, seed)
        plan, *_, voices = heard(low_hz, high_hz, strengths)
        count = min(7, plan.harmonics)
        assert voices.lines[1] == 0
        assert voices.lines[0] == np.conj(voices.lines[2])
        # half of a real wave's amplitude lies at its frequency, half at minus that
        assert 2 * voices.lines[2 : 2 + count, 0] == pytest.approx(strengths[:count], abs=0.015)
        loud = np.abs(strengths[:count]) > 0.3
        off_cents = 1200 * np.log2((low_hz * OFF + beside_hz(voices)[:count, 0]) / low_hz)
        assert np.abs(off_cents[1:][loud[1:]]).max() < 1.0
        assert np.abs(off_cents[0]) < 8.0 or not loud[0]  # the second one's mirror image is left in it


def test_without_it_low_harmonics_are_heard_in_one_another():
    apart, together = (
        np.concatenate([beside_hz(heard(29.1, 38.9, harmonics(10, seed), alone=alone)[-1])[:7, 0] for seed in range(4)])
        for alone in (True, False)
    )
    truth = 29.1 - 29.1 * OFF
    assert np.median(np.abs(apart - truth)) < 0.2 * np.median(np.abs(together - truth))


@pytest.mark.parametrize(("low_hz", "high_hz"), NOTES)
def test_nothing_is_heard_between_harmonics_but_what_is_there(low_hz, high_hz):
    strengths = harmonics(10, 5)
    _, ear, near, spectra, voices = heard(low_hz, high_hz, strengths)
    assert ear.between(near, spectra, voices, halves(7)).max() < 1e-3 * np.max(voices.peak)


def halves(count):
    """From ½ to half a one above ``count``."""
    return np.arange(0.5, count + 1.0, dtype=np.float32)[:, None]


def test_noise_between_harmonics_stays():
    plan = Plan(44100, 73.4, 98.0)
    random = np.random.default_rng(1)
    frames = random.standard_normal((200, 2 * plan.half + 1)).astype(np.float32)
    spectra = Spectrograph((plan.window, plan.slanted), plan.size, plan.bins).feed(frames)
    ear = Ear(plan.window, plan.rate_hz, plan.size, plan.bins, plan.sigma_s, (plan.low_hz, plan.top_hz))
    near = np.full(200, 80.0, np.float32)
    voices = ear.listen(near, spectra, np.arange(1, 10 + MORE, dtype=np.float32)[:, None])
    between = ear.between(near, spectra, voices, halves(9))
    level = np.square(plan.window.astype(float)).sum()
    assert between[1:].mean() == pytest.approx(level, rel=0.25)


@pytest.mark.parametrize(("low_hz", "high_hz"), NOTES)
def test_harmonics_together_say_what_the_loudest_say(low_hz, high_hz):
    strengths = harmonics(10, 3)
    _, ear, near, spectra, voices = heard(low_hz, high_hz, strengths, alone=False)
    k = np.arange(1, 8, dtype=np.float32)[:, None]
    power = k * k * voices.peak[:7] * voices.in_band[:7]
    assert ear.off(near, spectra, k) == pytest.approx((power * beside_hz(voices)[:7]).sum() / power.sum(), rel=1e-4)


def voices_of(waves, moving):
    peak = np.square(np.abs(waves)).astype(np.float32)
    nothing = np.zeros_like(peak)
    lines = np.concatenate((waves[:2], waves, waves[:2]))
    return Voices(nothing, peak, nothing.astype(np.intp), np.ones_like(peak), waves, moving, lines)


def test_what_harmonics_say_is_linear_in_noise_and_unchanged_without():
    """Over a stretch the errors of a steady tone cancel but for those of the two ends, whatever the noise is."""
    hop_s, hz, count = 0.006, 293.7, 4000
    random = np.random.default_rng(3)
    k = np.arange(1, 13)[:, None]
    turn = np.exp(2j * np.pi * k * hz * hop_s * np.arange(count))
    smooth = np.exp(-0.5 * (np.arange(-4, 5) / 1.2) ** 2)
    noise = random.standard_normal((2, 12, count + 8))
    noise = np.apply_along_axis(lambda row: np.convolve(row, smooth, "valid"), 2, noise)
    wave = (turn * (1.0 + 0.7 * (noise[0] + 1j * noise[1]) / noise.std())).astype(np.complex64)
    still = wave * turn.conj()
    moving = (np.gradient(still, axis=1) / (2j * np.pi * hop_s) * turn).astype(np.complex64)
    near = np.full(count, hz, np.float32)
    said = {}
    for noisy in (0.0, 1.0):
        voices = voices_of(wave, moving)
        usual = np.ones_like(voices.peak)
        said[noisy] = Stood(12, hop_s).says(near, voices, usual, np.full(count, noisy, np.float32))[:, 100:]
        if not noisy:
            clear = voices.peak[:, 100:] > 0.2
            assert said[0.0][clear] == pytest.approx(beside_hz(voices)[:, 100:][clear], rel=1e-2, abs=1e-2)
    rms = {noisy: np.sqrt(np.mean(said[noisy].mean(axis=0).reshape(-1, 20).mean(axis=1) ** 2)) for noisy in said}
    assert rms[1.0] < 0.8 * rms[0.0]


def test_what_was_said_does_not_depend_on_how_many_frames_come_at_once():
    random = np.random.default_rng(4)
    waves = (random.standard_normal((12, 40)) + 1j * random.standard_normal((12, 40))).astype(np.complex64)
    moving = (waves * random.standard_normal((12, 40))).astype(np.complex64)
    near, noisy = random.uniform(280, 300, 40).astype(np.float32), random.random(40).astype(np.float32)

    def says(at_once):
        stood = Stood(12, 0.006)
        return np.concatenate(
            [
                stood.says(
                    near[a : a + at_once],
                    voices_of(waves[:, a : a + at_once], moving[:, a : a + at_once]),
                    np.ones((12, at_once), np.float32),
                    noisy[a : a + at_once],
                )
                for a in range(0, 40, at_once)
            ],
            axis=1,
        )

    assert says(2) == pytest.approx(says(40), rel=1e-4, abs=1e-4)
