"""A practice written down and read back, so that a room whose server was killed goes on where it stood.

Conventions: the written form is plain JSON values with a version; a form of another version is not read.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, fields
from typing import Any

from truestop.app.room_rules import STAGE_RULES, Cause, StepBack
from truestop.app.room_state import Phase, Practice, Settings, Stopped, Told
from truestop.domain.attempt import Verdict

VERSION = 1


def write_practice(practice: Practice) -> dict[str, Any]:
    """``practice`` as plain values."""
    return {"version": VERSION, **asdict(practice)}


def read_practice(written: Mapping[str, Any]) -> Practice | None:
    """The practice that was written, None where the form is of another version or spoiled."""
    try:
        if written["version"] != VERSION or not set(written["stages"]) <= set(STAGE_RULES):
            return None
        plain = {each.name: written[each.name] for each in fields(Practice) if each.name in written}
        plain |= {
            "stages": tuple(written["stages"]),
            "settings": Settings(**written["settings"]),
            "phase": Phase(written["phase"]),
            "run": tuple(_told(each) for each in written["run"]),
            "held": _told(written["held"]) if written["held"] else None,
            "stopped": _stopped(written["stopped"]) if written["stopped"] else None,
        }
        practice = Practice(**plain)
    except (KeyError, TypeError, ValueError):
        return None
    return practice if 0 <= practice.index < len(practice.stages) else None


def _told(written: Mapping[str, Any]) -> Told:
    return Told(**{**written, "verdict": Verdict(written["verdict"]), "faults": tuple(written["faults"])})


def _stopped(written: Mapping[str, Any]) -> Stopped:
    return Stopped(cause=Cause(written["cause"]), line=written["line"], back=StepBack(**written["back"]))
