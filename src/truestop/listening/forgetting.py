"""Sums over the past that are forgotten exponentially.

Conventions: one row a sum, one column a moment; values of any one kind of float or complex, sums of the same.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any, TypeVar

import numpy as np
from numpy.typing import DTypeLike, NDArray

Kind = TypeVar("Kind", np.float32, np.float64, np.complex64)

TOGETHER = 16
"""So many moments are added up by one product."""


class Fading:
    """Feed values in order, get their running sums, of which a moment later the share ``keep`` is left.

    They are the same whatever number of values comes at once. A value counts ``weight`` times; where the sums are
    ``steady`` the first one is thought to have lasted for ever, and ``weight`` is 1 − ``keep``.
    """

    def __init__(self, keep: float, *, weight: float = 1.0, steady: bool = False) -> None:
        self._keep, self._weight = keep, weight
        self._start = 1 if steady else 0
        self._last: NDArray[Any] | None = None

    def feed(self, values: NDArray[Kind]) -> NDArray[Kind]:
        """The sums up to each of ``values``, its own included; shape (rows, moments)."""
        last = self._start * values[:, :1] if self._last is None else self._last
        sums = _running(values, last, self._keep, self._weight)
        self._last = sums[:, -1:].copy()
        return sums


def _running(values: NDArray[Kind], last: NDArray[Kind], keep: float, weight: float) -> NDArray[Kind]:
    """Sums in groups of moments, on top of those at the ends of the groups, which are running sums themselves."""
    rows, count = values.shape
    sharing, falling = _tables(keep, weight, min(count, TOGETHER), values.dtype)
    if count <= TOGETHER:
        return np.asarray(values @ sharing + last * falling)
    whole = np.zeros((rows, -(-count // TOGETHER) * TOGETHER), values.dtype)
    whole[:, :count] = values
    sums = whole.reshape(rows, -1, TOGETHER) @ sharing
    ends = _running(sums[:, :, -1], last, keep**TOGETHER, 1.0)
    sums += np.concatenate((last, ends[:, :-1]), axis=1)[:, :, None] * falling
    return np.asarray(sums.reshape(rows, -1)[:, :count])


@lru_cache(maxsize=128)
def _tables(keep: float, weight: float, count: int, kind: DTypeLike) -> tuple[NDArray[Any], NDArray[Any]]:
    """What each of ``count`` values adds to each sum, and what is left there of the sum before them."""
    moment = np.arange(count)
    later = moment - moment[:, None]
    sharing = np.where(later >= 0, weight * keep ** np.abs(later), 0.0)
    return sharing.astype(kind), (keep ** (moment + 1.0)).astype(kind)


__all__ = ["Fading"]
