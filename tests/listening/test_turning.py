"""Sound turned back along its pitch, against scipy's chirp-z transform and against the sums written out."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import czt

from truestop.listening.frames import Floats
from truestop.listening.turning import HOPS_A_WINDOW, WINDOW_PERIODS, Turned, turned_by, weighed

RATE_HZ = 8000.0


def _turned(contour_hz: Floats, count: int = 6) -> Turned:
    """A sawtooth-like note along ``contour_hz``, one value a sample, in some noise."""
    turns = np.cumsum(contour_hz) / RATE_HZ
    sound = sum(np.cos(2.0 * np.pi * k * turns + k) / k for k in range(1, count + 1))
    noise = 0.01 * np.random.default_rng(3).standard_normal(len(turns))
    return Turned(hz=float(np.median(contour_hz)), count=count, sound=np.asarray(sound + noise), turns=turns,
                  rate_hz=RATE_HZ)  # fmt: skip


def _hann(length: int) -> Floats:
    bell = np.hanning(length + 2)[1:-1]
    return np.asarray(bell / bell.sum())


@pytest.mark.parametrize("hz", [55.0, 196.0, 440.0, 610.0])
def test_a_steady_notes_powers_are_those_of_the_chirp_z_transform(hz: float) -> None:
    turned = _turned(np.full(4000, hz))
    powers = turned.powers()
    length = int(WINDOW_PERIODS / hz * RATE_HZ) | 1
    starts = np.arange(len(powers.moments_s)) * (length // HOPS_A_WINDOW)
    assert starts[-1] + length <= 4000 < starts[-1] + length + length // HOPS_A_WINDOW
    cut = np.array([turned.sound[at : at + length] for at in starts]) * _hann(length)
    half = np.exp(1j * np.pi * hz / RATE_HZ)
    wanted = np.square(np.abs(czt(cut, 13, w=1.0 / half, a=half, axis=1))).T
    assert powers.rows == pytest.approx(wanted, rel=2e-3, abs=1e-9 * wanted.max())


def test_a_moving_note_is_turned_back_along_its_own_pitch() -> None:
    time_s = np.arange(4000) / RATE_HZ
    turned = _turned(300.0 * 2.0 ** (0.4 / 12.0 * np.sin(2.0 * np.pi * 5.5 * time_s)))
    powers = turned.powers(0.02)
    length = int(0.02 * RATE_HZ) | 1
    starts = np.arange(len(powers.moments_s)) * (length // HOPS_A_WINDOW)
    for row in (0, 1, 5, 12):
        still = turned.sound * np.exp(-1j * np.pi * (row + 1) * turned.turns)
        wanted = np.square(np.abs([still[at : at + length] @ _hann(length) for at in starts]))
        assert powers.rows[row] == pytest.approx(wanted, rel=2e-3, abs=1e-9 * powers.rows.max())
    assert powers.on.min(axis=1)[0] > 0.2
    assert powers.between.max() < 0.05 * powers.on[0].min()


def test_windows_of_two_lengths_share_one_turning() -> None:
    turned = _turned(np.full(3000, 500.0))
    first, second = turned.powers(), turned.powers(0.01)
    assert second.window_s == 0.01 > first.window_s == WINDOW_PERIODS / 500.0
    assert turned.powers() is first
    assert turned.powers(0.001) is first


@pytest.mark.parametrize(("length", "hop"), [(1, 1), (7, 1), (9, 2), (21, 5), (27, 6), (400, 100), (401, 100)])
def test_overlapping_windows_are_weighed_as_one_by_one(length: int, hop: int) -> None:
    rng = np.random.default_rng([length, hop])
    rows = turned_by(rng.standard_normal(401), 40.0 * rng.standard_normal(401), 3)
    bell = _hann(length)
    wanted = np.array([[row[at : at + length] @ bell for at in range(0, 401 - length + 1, hop)] for row in rows])
    assert weighed(rows, bell, hop) == pytest.approx(wanted, abs=2e-6)
