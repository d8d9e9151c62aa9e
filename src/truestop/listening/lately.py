"""The last of values that come one after the other, in one piece.

Conventions: places are counted from the first value that ever came.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import DTypeLike, NDArray


class Lately:
    """Add values, forget those that are no longer needed, cut from the others."""

    def __init__(self, kind: DTypeLike, least_room: int) -> None:
        self._room: NDArray[Any] = np.empty(0, kind)
        self._least = least_room
        self._first = 0
        """What lies first in the room."""
        self.start = self.end = 0
        """What is first needed, and what comes next."""

    def add(self, values: NDArray[Any]) -> None:
        """The next values."""
        if self.end + len(values) > self._first + len(self._room):
            self._make_room(len(values))
        at = self.end - self._first
        self._room[at : at + len(values)] = values
        self.end += len(values)

    def forget(self, before: int) -> None:
        """Drop what lies before."""
        self.start = max(self.start, min(before, self.end))

    def cut(self, start: int, end: int) -> NDArray[Any]:
        """Those in [start, end) as far as they are kept; it stays as it is while more is added."""
        start = max(start, self.start)
        return self._room[start - self._first : max(min(end, self.end), start) - self._first]

    def _make_room(self, count: int) -> None:
        """For twice of what is needed now, so that it is seldom made; what was dropped goes."""
        kept = self.cut(self.start, self.end)
        self._room = np.empty(max(2 * (len(kept) + count), self._least), kept.dtype)
        self._room[: len(kept)] = kept
        self._first = self.start


__all__ = ["Lately"]
