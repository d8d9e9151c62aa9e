"""Where a tuplet's bracket begins and ends. The groups are common practice, no source: a bracket spans as many of its
shortest values as its number says, or the beat that other values fill."""

from __future__ import annotations

from fractions import Fraction
from itertools import accumulate

import pytest

from truestop.adapters.score.beaming import Beat, tuplet_ends
from truestop.adapters.score.note_values import length_of

SEXTUPLET, TRIPLET, QUADRUPLET = (6, 4), (3, 2), (4, 3)


def ends_of(kinds: list[str], tuplet: tuple[int, int]) -> str:
    """'[' where a bracket begins, ']' where it ends, '.' within."""
    lengths = [length_of(kind.rstrip("."), kind.count("."), tuplet) for kind in kinds]
    onsets = accumulate(lengths, initial=Fraction(0))
    beats = [
        Beat(position=onset, length=length, type=kind.rstrip("."), tuplet=tuplet)
        for onset, length, kind in zip(onsets, lengths, kinds, strict=False)
    ]
    return "".join({"start": "[", "stop": "]", "": "."}[end] for end in tuplet_ends(beats))


@pytest.mark.parametrize(
    ("kinds", "tuplet", "brackets"),
    [
        (["16th"] * 6, SEXTUPLET, "[....]"),
        (["16th"] * 12, SEXTUPLET, "[....][....]"),
        (["eighth"] * 3 + ["16th"] * 6, SEXTUPLET, "[.][....]"),
        (["eighth", "eighth", "16th", "16th"], SEXTUPLET, "[..]"),
        (["eighth"] * 4, QUADRUPLET, "[..]"),
        (["eighth"] * 6, TRIPLET, "[.][.]"),
        (["quarter", "eighth", "eighth", "quarter"], TRIPLET, "[][]"),
        (["eighth."] * 4, TRIPLET, "[][]"),
    ],
)
def test_a_bracket_spans_a_whole_tuplet(kinds: list[str], tuplet: tuple[int, int], brackets: str) -> None:
    assert ends_of(kinds, tuplet) == brackets
