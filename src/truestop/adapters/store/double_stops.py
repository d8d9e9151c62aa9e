"""The notes of a double stop as JSON text and back."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, fields
from typing import Any

from truestop.adapters.store.expectations import plain_target, target_of
from truestop.domain.attempt import NoteLanding, Verdict, Vibrato


def notes_text(notes: Sequence[NoteLanding]) -> str | None:
    """JSON of all of them, None for none."""
    if not notes:
        return None
    return json.dumps([_plain(note) for note in notes], ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def notes_of(text: str | None) -> tuple[NoteLanding, ...]:
    """What ``notes_text`` made. Fields it does not know yet keep their defaults; unknown ones are left out."""
    return tuple(_note(values) for values in json.loads(text)) if text else ()


def landings_mm_of(text: str | None) -> tuple[float | None, ...]:
    """Where the notes landed, in mm from their places: all that drawings of many attempts need."""
    return tuple(values.get("landing_mm") for values in json.loads(text)) if text else ()


def _plain(note: NoteLanding) -> dict[str, Any]:
    values = {field.name: getattr(note, field.name) for field in fields(note)}
    return values | {"target": plain_target(note.target), "vibrato": asdict(note.vibrato)}


def _note(values: dict[str, Any]) -> NoteLanding:
    known = {field.name for field in fields(NoteLanding)}
    kept = {name: value for name, value in values.items() if name in known}
    kept["target"], kept["verdict"] = target_of(kept["target"]), Verdict(kept["verdict"])
    kept["faults"] = tuple(kept.get("faults", ()))
    kept["vibrato"] = Vibrato(**kept.get("vibrato", {"present": False}))
    return NoteLanding(**kept)
