"""The contour of a note as far as it is still needed, in one piece.

Conventions: milliseconds from the start of the take.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from truestop.listening.gridding import Stretch

LEAST_ROOM_MS = 4096
_FIELDS = ("cents", "read_cents", "se_cents", "level_db", "clipped")


class Contour:
    """One note's contour, with what the tracker knew beside the pitch. Feed stretches, cut from them."""

    def __init__(self) -> None:
        self._room: dict[str, NDArray[Any]] = {}
        self._most = 0
        self._first = self._start = self._end = 0
        """What lies first in the room, what is first needed, and what comes next."""

    @property
    def length(self) -> int:
        """Milliseconds kept."""
        return self._end - self._start

    def add(self, stretch: Stretch) -> None:
        """The next stretch: it begins where the one before ended."""
        count = len(stretch.cents)
        if not count:
            return
        if not self._room or self._end + count > self._first + self._most:
            self._make_room(stretch)
        at = slice(self._end - self._first, self._end - self._first + count)
        for name, values in self._room.items():
            values[at] = getattr(stretch, name)
        self._end += count

    def forget(self, before: int) -> None:
        """Drop what lies before."""
        self._start = max(self._start, min(before, self._end))

    def cut(self, name: str, start: int, end: int) -> NDArray[Any]:
        """A copy of the values of ``name``, a field of Stretch, in [start, end) as far as they are kept."""
        if not self._room:
            return np.empty(0)
        start, end = max(start, self._start), min(end, self._end)
        return self._room[name][start - self._first : max(end, start) - self._first].copy()

    def _make_room(self, stretch: Stretch) -> None:
        """For twice of what is needed now, so that it is seldom made; what was dropped goes."""
        self._most = max(2 * (self.length + len(stretch.cents)), LEAST_ROOM_MS)
        kept = slice(self._start - self._first, self._end - self._first)
        for name in _FIELDS:
            old, values = self._room.get(name), getattr(stretch, name)
            self._room[name] = np.empty(self._most, values.dtype)
            if old is not None:
                self._room[name][: self.length] = old[kept]
        self._first = self._start


__all__ = ["Contour"]
