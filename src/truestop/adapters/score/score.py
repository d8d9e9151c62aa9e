"""What a score file holds: its parts, each a passage."""

from __future__ import annotations

from dataclasses import dataclass

from truestop.domain.errors import ScoreError
from truestop.domain.passage import Passage


@dataclass(frozen=True, slots=True, kw_only=True)
class PartInfo:
    """One part as the score lists it. ``family`` is guessed from name and sound; ``note_count`` −1 means uncounted."""

    id: str
    name: str
    family: str | None
    note_count: int = -1
    abbreviation: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Score:
    """A whole score file. ``passages`` stand in the order of ``parts``; a tune of an ABC file counts as a part."""

    title: str
    composer: str
    parts: tuple[PartInfo, ...]
    passages: tuple[Passage, ...]

    def passage(self, part_id: str) -> Passage:
        """The passage of the part with ``part_id``; KeyError where there is none."""
        for info, passage in zip(self.parts, self.passages, strict=True):
            if info.id == part_id:
                return passage
        raise KeyError(part_id)


def choose_part(parts: tuple[PartInfo, ...], *, wanted: str | None, family: str | None, name: str) -> PartInfo:
    """The part that ``wanted`` means: its id, its name, its place in the list (1 is the first) or how its name begins.

    Without ``wanted``: the only part, else the first of ``family``, else the first for a bowed string instrument, else
    the first. Raises ScoreError with the list of parts where nothing fits.
    """
    if not parts:
        raise ScoreError(f"{name} has no part.", hint="Export the score again with at least one part.")
    if wanted is None:
        return _usual_part(parts, family)
    key = wanted.strip().casefold()
    tests = (
        lambda part, place: part.id.casefold() == key,
        lambda part, place: key in (part.name.casefold(), part.abbreviation.casefold()) and key != "",
        lambda part, place: key == str(place),
        lambda part, place: key != "" and part.name.casefold().startswith(key),
        lambda part, place: part.family == key,
    )
    for test in tests:
        for place, part in enumerate(parts, start=1):
            if test(part, place):
                return part
    raise ScoreError(f"{name} has no part '{wanted}'.", hint=f"Choose one of: {list_of(parts)}.")


def list_of(parts: tuple[PartInfo, ...]) -> str:
    """The parts as one line: '1 Violin I, 2 Violin II'."""
    shown = [f"{place} {part.name or part.id}" for place, part in enumerate(parts[:20], start=1)]
    return ", ".join(shown) + (f" and {len(parts) - 20} more" if len(parts) > 20 else "")


def _usual_part(parts: tuple[PartInfo, ...], family: str | None) -> PartInfo:
    playable = [part for part in parts if part.note_count != 0] or list(parts)
    for fits in (lambda part: family is not None and part.family == family, lambda part: part.family is not None):
        for part in playable:
            if fits(part):
                return part
    return playable[0]
