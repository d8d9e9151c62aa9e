"""A contour kept in one piece, against all that was ever fed."""

from __future__ import annotations

import numpy as np
import pytest

from truestop.listening.gridding import Stretch
from truestop.listening.keeping import LEAST_ROOM_MS, Contour


@pytest.mark.parametrize("most", [3, 700, 9000])
def test_what_is_cut_is_what_was_fed(most: int) -> None:
    rng = np.random.default_rng(most)
    contour, whole = Contour(), np.empty(0)
    assert len(contour.cut("cents", 0, 10)) == contour.length == 0
    start = 0
    for _ in range(60):
        values = rng.standard_normal(int(rng.integers(0, most)))
        clipped = values > 0
        contour.add(Stretch(len(whole), values, values - 1.0, values + 1.0, values + 2.0, clipped))
        whole = np.append(whole, values)
        start = max(start, len(whole) - int(rng.integers(0, 3 * most)))
        contour.forget(start)
        assert contour.length == len(whole) - start
        a, b = sorted(rng.integers(0, len(whole) + 10, 2).tolist())
        assert np.array_equal(contour.cut("cents", a, b), whole[max(a, start) : max(b, start)])
        assert np.array_equal(contour.cut("read_cents", a, b), whole[max(a, start) : max(b, start)] - 1.0)
        assert np.array_equal(contour.cut("se_cents", start, b), whole[start : max(b, start)] + 1.0)
        assert np.array_equal(contour.cut("clipped", a, len(whole)), whole[max(a, start) :] > 0)


def test_what_is_cut_may_be_written_on() -> None:
    contour = Contour()
    contour.add(Stretch(0, *(np.zeros(50) for _ in range(4)), np.zeros(50, np.bool_)))
    contour.cut("cents", 0, 50)[:] = 7.0
    assert not contour.cut("cents", 0, 50).any()


def test_room_does_not_grow_with_what_is_forgotten() -> None:
    contour = Contour()
    for at in range(0, 40 * LEAST_ROOM_MS, 100):
        contour.add(Stretch(at, *(np.ones(100) for _ in range(4)), np.ones(100, np.bool_)))
        contour.forget(at - 1000)
    held = sum(values._room.nbytes for values in contour._fields.values())
    assert held <= LEAST_ROOM_MS * 33
