"""Two sources found by the powers of their harmonics. Powers: |a + b exp(ikφ)|² = a² + b² + 2ab cos kφ, closed form."""

import numpy as np
import pytest

from truestop.listening.beating import SWINGING_PROOFS
from truestop.listening.wandering import Swinging, fit_steady, fit_swinging

ENOUGH = SWINGING_PROOFS[0][0]
HZ, MOMENT_S = 440.0, (np.arange(240) - 119.5) * 0.0025
K = np.arange(1, 9)


def swinging(distance_cents):
    """Powers of eight harmonics of two sources with this distance, each beginning at a phase of its own."""
    phase = 2 * np.pi * np.cumsum(HZ * (np.exp2(distance_cents / 1200) - 1)) * 0.0025
    line = np.stack([np.full(240, 240**-0.5), MOMENT_S / np.linalg.norm(MOMENT_S)])
    powers = 0.8 * np.cos(K[:, None] * phase + np.random.default_rng(3).uniform(0, 6.28, 8)[:, None])
    powers = powers - (powers @ line.T) @ line
    return Swinging(powers=powers, line=line, k=K, moment_s=MOMENT_S, hz=HZ, fastest_hz=120.0)


def explained(fit, note):
    return fit.explained / np.square(note.powers).sum()


@pytest.mark.parametrize("cents", [5.0, 20.0, 50.0])
def test_sources_at_rest_are_found(cents):
    note = swinging(np.full(240, cents))
    fit = fit_steady(note)
    assert explained(fit, note) == pytest.approx(1, abs=0.01)
    assert fit.cents == pytest.approx(cents, rel=0.01)


@pytest.mark.parametrize("mean_cents", [8.0, 20.0])
def test_two_vibratos_of_different_rates_are_found_by_a_swinging_distance_only(mean_cents):
    first, second = (a * np.sin(2 * np.pi * f * MOMENT_S + p) for a, f, p in ((15, 5.9, 0.4), (18, 5.1, 2.8)))
    note = swinging(mean_cents + first - second)
    swung = fit_swinging(note)
    assert explained(fit_steady(note), note) < ENOUGH <= explained(swung, note)
    rms_cents = np.sqrt(np.mean((mean_cents + first - second) ** 2))
    assert swung.cents == pytest.approx(rms_cents, rel=0.05)


def test_one_vibrato_of_all_powers_is_no_distance():
    """A bow's or a body's swing has one rate for all harmonics; their phases differ."""
    note = swinging(np.full(240, 5.0))
    angle = 2 * np.pi * 5.5 * MOMENT_S + np.random.default_rng(4).uniform(0, 6.28, 8)[:, None]
    powers = np.cos(angle) - (np.cos(angle) @ note.line.T) @ note.line
    note = Swinging(powers=powers, line=note.line, k=K, moment_s=MOMENT_S, hz=HZ, fastest_hz=120.0)
    assert explained(fit_steady(note), note) < 0.6
    assert explained(fit_swinging(note), note) < ENOUGH
