"""How much of a score is read before it is refused.

Conventions: every bound is far above real music (a long symphony's first-violin part has about 15,000 notes) and low
enough that a hostile file costs neither memory nor time. Bounds are in bytes, counts or quarter notes.
"""

from __future__ import annotations

from truestop.domain.errors import ScoreError

MOST_BYTES = 64 * 1024 * 1024
"""Of a score file, packed or unpacked."""
MOST_RATIO = 250
"""Unpacked to packed size of an .mxl member; real scores reach about 60."""
MOST_NOTES = 250_000
MOST_MEASURES = 20_000
MOST_RESTED_MEASURES = 1_000
"""In one rest of several measures."""
MOST_ELEMENTS_IN_MEASURE = 100_000
MOST_DEPTH = 64
MOST_PARTS = 500
MOST_DIVISIONS = 1_000_000
LONGEST_DURATION_BEATS = 10_000
LONGEST_PIECE_BEATS = 20_000
LONGEST_TEXT = 500
HIGHEST_BPM = 1_000.0
LOWEST_BPM = 1.0


def check_size(size_bytes: int, *, name: str) -> None:
    """Refuse a score of ``size_bytes``; ScoreError says how large it may be."""
    if size_bytes > MOST_BYTES:
        raise ScoreError(
            f"{name} holds {size_bytes / 1e6:.0f} MB of score, more than truestop reads ({MOST_BYTES / 1e6:.0f} MB).",
            hint="Export one movement or one part from the notation program.",
        )
    if size_bytes == 0:
        raise ScoreError(f"{name} is empty.", hint="Export the score again from the notation program.")


def cut(text: str) -> str:
    """``text`` without surrounding space, runs of space made one, and no longer than a line of words may be."""
    return " ".join(text.split())[:LONGEST_TEXT]
