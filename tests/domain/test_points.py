"""Numbers held small."""

from __future__ import annotations

import pickle

import numpy as np
import pytest

from truestop.domain.points import Points

VALUES = (-12.5, 0.0, 3.07, 2_000_000.01)


def points() -> Points:
    return Points([-1250, 0, 307, 200_000_001], 100)


def test_they_are_a_sequence_of_the_numbers() -> None:
    assert tuple(points()) == VALUES
    assert len(points()) == 4
    assert points()[2] == 3.07
    assert points()[-1] == VALUES[-1]
    assert points()[::2] == VALUES[::2]
    assert 3.07 in points()
    assert np.array_equal(np.array(points()), VALUES)
    assert repr(points()) == repr(VALUES)
    assert not Points([], 100)


def test_they_equal_the_same_numbers_held_otherwise() -> None:
    assert points() == points() == VALUES == points()
    assert hash(points()) == hash(VALUES)
    assert Points([10], 100) == Points([100], 1000)
    assert points() != VALUES[:3]
    assert points() != Points([-1250, 0, 307], 100)
    assert points() != 3.07
    assert pickle.loads(pickle.dumps(points())) == VALUES


def test_only_whole_numbers_that_fit_are_taken() -> None:
    with pytest.raises(TypeError):
        Points([0.5], 100)  # type: ignore[list-item]
    with pytest.raises(OverflowError):
        Points([1 << 40], 100)
