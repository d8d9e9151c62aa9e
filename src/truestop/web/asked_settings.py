"""What of the practice's settings a page may change, and how far."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from truestop.app.room_state import Settings

#: Settings that a page may change, with their least and greatest value where they are numbers.
SETTING_BOUNDS: dict[str, tuple[float, float] | None] = {
    "aim": (1, 10),
    "own_ear": None,
    "sounds": None,
    "by_itself": None,
    "read_s": (1.0, 120.0),
    "met_s": (0.5, 120.0),
    "stopped_s": (1.0, 120.0),
    "answer_s": (1.0, 30.0),
    "tempo_bpm": (20.0, 240.0),
}


def changed_settings(settings: Settings, asked: Mapping[str, Any]) -> Settings:
    """``settings`` with what the page asked for; KeyError for none of the room's settings, ValueError out of range."""
    changes: dict[str, Any] = {}
    for name, value in asked.items():
        bounds = SETTING_BOUNDS[name]
        if bounds is None:
            changes[name] = bool(value)
        elif bounds[0] <= float(value) <= bounds[1]:
            changes[name] = int(value) if name == "aim" else float(value)
        else:
            raise ValueError(name)
    return replace(settings, **changes)
