"""The contour of a note as far as it is still needed.

Conventions: milliseconds from the start of the take.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from truestop.listening.gridding import Stretch
from truestop.listening.lately import Lately

LEAST_ROOM_MS = 4096
_KINDS = {"cents": float, "read_cents": float, "se_cents": float, "level_db": float, "clipped": np.bool_}


class Contour:
    """One note's contour, with what the tracker knew beside the pitch. Feed stretches, cut from them."""

    def __init__(self) -> None:
        self._fields = {name: Lately(kind, LEAST_ROOM_MS) for name, kind in _KINDS.items()}

    @property
    def length(self) -> int:
        """Milliseconds kept."""
        return self._fields["cents"].end - self._fields["cents"].start

    def add(self, stretch: Stretch) -> None:
        """The next stretch: it begins where the one before ended."""
        for name, values in self._fields.items():
            values.add(getattr(stretch, name))

    def forget(self, before: int) -> None:
        """Drop what lies before."""
        for values in self._fields.values():
            values.forget(before)

    def cut(self, name: str, start: int, end: int) -> NDArray[Any]:
        """A copy of the values of ``name``, a field of Stretch, in [start, end) as far as they are kept."""
        return self._fields[name].cut(start, end).copy()


__all__ = ["Contour"]
