"""Spectra in memory that is used again, against numpy's transform; sums forgotten exponentially, against scipy's."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import lfilter

from truestop.listening.forgetting import Fading
from truestop.listening.frames import overlapping
from truestop.listening.spectra import AT_ONCE, Spectrograph


@pytest.mark.parametrize("count", [1, 2, 40, 131])
def test_spectra_are_those_of_numpy_whatever_number_comes_at_once(count: int) -> None:
    rng = np.random.default_rng(count)
    windows = rng.random((2, 901)).astype(np.float32)
    graph = Spectrograph((windows[0], windows[1]), 1000, 300)
    assert AT_ONCE // 2000 < 40
    for frames in (rng.standard_normal((n, 901)).astype(np.float32) for n in (count, 3, count)):
        spectra = graph.feed(frames)
        from_the_middle = np.exp(2j * np.pi * 450 * np.arange(300) / 1000)
        wanted = np.fft.rfft(frames * windows[:, None], 1000, axis=2)[:, :, :300] * from_the_middle
        assert spectra.both == pytest.approx(wanted, abs=1e-3)
        assert spectra.power == pytest.approx(np.square(np.abs(wanted[0])), rel=1e-3, abs=1e-3)
        flat = np.arange(2 * len(frames) * 300).reshape(2, len(frames), 300)
        assert np.array_equal(spectra.starts[:, 0], flat[:, :, 0])
        assert np.array_equal(spectra.rows, flat[0, :, 0])


@pytest.mark.parametrize("rows", [1, 3, 26])
@pytest.mark.parametrize("counts", [(1, 1, 2), (2, 2, 1), (8, 16, 17), (640, 2, 640, 33)])
@pytest.mark.parametrize("kind", [np.float32, np.float64, np.complex64])
def test_forgetting_sums_are_those_of_the_filter(rows: int, counts: tuple[int, ...], kind: type) -> None:
    rng = np.random.default_rng(rows)
    values = (rng.standard_normal((rows, sum(counts))) * (1 if kind is not np.complex64 else 1 + 2j)).astype(kind)
    before = values.copy()
    near = 1e-12 if kind is np.float64 else 1e-5
    for weight, steady in ((1.0, False), (0.1, True)):
        fading = Fading(0.9, weight=weight, steady=steady)
        sums = np.concatenate([fading.feed(part) for part in np.split(values, np.cumsum(counts)[:-1], axis=1)], axis=1)
        wanted, _ = lfilter([weight], [1.0, -0.9], values, axis=1, zi=0.9 * steady * values[:, :1])
        assert sums.dtype == kind
        assert np.abs(sums - wanted).max() < near
    assert np.array_equal(values, before)


def test_what_is_kept_whole_is_added_up() -> None:
    assert Fading(1.0).feed(np.ones((1, 40))).tolist() == [list(range(1, 41))]


def test_rows_overlap() -> None:
    values = np.arange(20.0)
    assert np.array_equal(overlapping(values, 5, 3), np.lib.stride_tricks.sliding_window_view(values, 5)[::3])
    assert overlapping(values[:4], 5).shape == (0, 5)
