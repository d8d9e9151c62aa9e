"""What of a conversation is written down, so that it outlives its page and its server.

Conventions: one file a room, replaced as a whole after every change; times are seconds since 1970.
"""

from __future__ import annotations

import json
import re
import secrets
import time
from dataclasses import dataclass, field
from pathlib import Path

from truestop.app.room_keeping import read_practice, write_practice
from truestop.app.room_state import Phase, Practice

GOES_ON_WITHIN_S = 3600.0
"""A practice that was left longer ago is not gone on with: another sitting begins a run of its own."""
_ROOM = re.compile(r"[A-Za-z0-9_-]{16,64}")


@dataclass(slots=True)
class Remembered:
    """What of a conversation is written down."""

    practice: Practice | None = None
    passage: str = ""
    shift: int = 0
    ways: dict[str, str] = field(default_factory=dict)
    """For a stage with several exercises, the one that the player chose."""
    marks: dict[str, dict[str, str]] = field(default_factory=dict)
    """In the passage: for each take of the run, in their order, the verdict on every note that a shift reached."""
    at_s: float = 0.0
    """When it was written down last."""

    def marked(self) -> dict[str, str]:
        """The verdict on each note of the passage; a later attempt takes the place of an earlier one."""
        return {note: verdict for take in self.marks.values() for note, verdict in take.items()}

    def is_unfinished(self, now_s: float) -> bool:
        """Whether a page that comes back ``now_s`` may go on with the practice where it was."""
        practice = self.practice
        return practice is not None and practice.phase is not Phase.DONE and now_s - self.at_s <= GOES_ON_WITHIN_S


class Notebook:
    """The folder in which conversations are written down."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        folder.mkdir(parents=True, exist_ok=True)

    def write(self, room: str, remembered: Remembered) -> None:
        """Replace the room's page as a whole."""
        remembered.at_s = time.time()
        practice = remembered.practice
        page = {
            "practice": write_practice(practice) if practice else None,
            "passage": remembered.passage,
            "shift": remembered.shift,
            "ways": remembered.ways,
            "marks": remembered.marks,
            "at_s": remembered.at_s,
        }
        draft = self._path(room).with_suffix(".new")
        draft.write_text(json.dumps(page))
        draft.replace(self._path(room))

    def read(self, room: str) -> Remembered:
        """What is known of a room; nothing for one that was never written down."""
        path = self._path(room)
        try:
            page = json.loads(path.read_text())
            return Remembered(
                practice=read_practice(page["practice"]) if page["practice"] else None,
                passage=str(page["passage"]),
                shift=int(page["shift"]),
                ways={str(stage): str(way) for stage, way in page["ways"].items()},
                marks={str(take): dict(marks) for take, marks in page.get("marks", {}).items()},
                at_s=float(page["at_s"]),
            )
        except (OSError, ValueError, KeyError, TypeError, AttributeError):
            return Remembered()

    def _path(self, room: str) -> Path:
        return self.folder / f"{room}.json"


def room_name(asked: object) -> str:
    """The name a page asked to come back to, or a new one."""
    return asked if isinstance(asked, str) and _ROOM.fullmatch(asked) else secrets.token_urlsafe(16)
