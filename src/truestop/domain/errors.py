"""What can be wrong with what a user hands in.

Conventions: every error says where, what and the remedy. ``str(error)`` is one clear sentence; ``hint`` is the remedy
as a second one. The edges decide how it is shown: the terminal on stderr with exit code 2, the web as problem+json.
An unclear take is not an error but an unjudged attempt with its reason.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial


class TruestopError(Exception):
    """A fault in what was handed in. ``what`` is one sentence, ``hint`` the remedy, ``where`` the place (or '')."""

    def __init__(self, what: str, *, hint: str = "", where: str = "") -> None:
        self.what = what
        self.hint = hint
        self.where = where
        super().__init__(f"{where}: {what}" if where else what)

    def __reduce__(self) -> tuple[Callable[..., TruestopError], tuple[str]]:
        return partial(type(self), hint=self.hint, where=self.where), (self.what,)


class PitchError(TruestopError):
    """A pitch, interval or reference pitch that cannot be read or is out of range."""


class InstrumentError(TruestopError):
    """An unknown instrument, size or tuning."""


class ScoreError(TruestopError):
    """A score that cannot be read: not a score, truncated, hostile, empty, or out of bounds."""


class FingeringError(TruestopError):
    """Marks that no hand can play, or a passage for which no fingering exists."""


class DrillError(TruestopError):
    """A drill that cannot be made: no such shift, no such stage."""


class EngravingError(TruestopError):
    """The page could not be engraved."""


class SoundError(TruestopError):
    """A sound file that cannot be used."""


class StoreError(TruestopError):
    """The record of practice cannot be opened, or is not what it says."""
