"""How the room is told to end."""

from __future__ import annotations

import contextlib
import signal
from collections.abc import Iterator
from types import FrameType

ENDS = tuple(getattr(signal, name) for name in ("SIGTERM", "SIGHUP", "SIGBREAK") if hasattr(signal, name))
"""``kill`` and the end of the session; a closed terminal (POSIX); Ctrl+Break (Windows)."""


@contextlib.contextmanager
def ending_as_ctrl_c_does() -> Iterator[None]:
    """Within it, whatever tells the program to end does what Ctrl+C does: takes are closed, so is the record.

    Left alone is what somebody else decided before, as ``nohup`` does of a closed terminal. Main thread only.
    """
    mine = [end for end in ENDS if signal.getsignal(end) is signal.SIG_DFL]
    for end in mine:
        signal.signal(end, _interrupt)
    try:
        yield
    finally:
        for end in mine:
            signal.signal(end, signal.SIG_DFL)


def _interrupt(_: int, __: FrameType | None) -> None:
    signal.raise_signal(signal.SIGINT)
