"""Many numbers of few digits, held small: an attempt's trace has some hundreds of points.

Conventions: whole numbers of thousandths, hundredths…, 4 bytes each, within ±2·10⁹.
"""

from __future__ import annotations

from array import array
from collections.abc import Iterable, Iterator, Sequence
from typing import overload


class Points(Sequence[float]):
    """Whole numbers of a ``per``-th each; equal to any sequence of the same numbers."""

    __slots__ = ("_per", "_whole")

    def __init__(self, whole: Iterable[int], per: int) -> None:
        """Raises OverflowError where a number is too big, TypeError where it is not whole."""
        self._per = per
        self._whole = array("i", whole)

    def __len__(self) -> int:
        return len(self._whole)

    @overload
    def __getitem__(self, at: int) -> float: ...

    @overload
    def __getitem__(self, at: slice) -> tuple[float, ...]: ...

    def __getitem__(self, at: int | slice) -> float | tuple[float, ...]:
        if isinstance(at, slice):
            return tuple(whole / self._per for whole in self._whole[at])
        return self._whole[at] / self._per

    def __iter__(self) -> Iterator[float]:
        return (whole / self._per for whole in self._whole)

    def __eq__(self, other: object) -> bool:
        if isinstance(other, Points) and other._per == self._per:
            return self._whole == other._whole
        return isinstance(other, Sequence) and tuple(self) == tuple(other)

    def __hash__(self) -> int:
        return hash(tuple(self))

    def __repr__(self) -> str:
        return repr(tuple(self))


__all__ = ["Points"]
