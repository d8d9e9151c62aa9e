"""The passages that were opened in the room: each with its file, the player's pins, and the hand that plays it.

Conventions: a passage's id is made of its file's contents and the selection, so opening the same file twice is opening
one passage. A passage lies in a folder of its own below the room's; a file is never read from anywhere else.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from hashlib import sha256
from pathlib import Path
from threading import RLock
from typing import Any

from truestop.adapters.score.reading import read_score
from truestop.adapters.score.typed_entry import read_typed
from truestop.app.demo import STUDY, study_bytes
from truestop.app.mainjob import InHand, take_in_hand
from truestop.domain.errors import FingeringError, ScoreError, TruestopError
from truestop.domain.fingering import Pin
from truestop.domain.instrument import family_of_clefs
from truestop.domain.passage import Finger, Passage
from truestop.web.choices import Choices

LARGEST_FILE_BYTES = 32 * 1024 * 1024
_ID = re.compile(r"[0-9a-f]{16}")
_LOW_CLEFS = frozenset({"bass", "tenor", "treble"})
#: The clefs that a player of each instrument reads. Common practice, no source.
CLEFS_READ = {
    "violin": frozenset({"treble"}),
    "viola": frozenset({"alto", "treble"}),
    "cello": _LOW_CLEFS,
    "bass": _LOW_CLEFS,
}


@dataclass(slots=True, kw_only=True)
class Card:
    """What is written beside a passage's file."""

    id: str
    name: str
    """The file's own name, or 'typed'."""
    kind: str = "file"
    """'file', 'typed' or 'study'."""
    family: str = "violin"
    part: str | None = None
    measures: str | None = None
    title: str = ""
    shifts: int = 0
    pins: dict[str, dict[str, Any]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenPassage:
    """A passage in the hand."""

    card: Card
    passage: Passage
    in_hand: InHand


class Music:
    """All passages of the room."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._folder.mkdir(parents=True, exist_ok=True)
        self._open: dict[tuple[str, Choices], OpenPassage] = {}
        self._lock = RLock()

    def add_study(self, choices: Choices) -> OpenPassage:
        """The built-in study."""
        return self._add(study_bytes(), Card(id="", name=STUDY, kind="study"), choices)

    def add_typed(self, text: str, choices: Choices) -> OpenPassage:
        """One shift, given in words."""
        return self._add(text.strip().encode(), Card(id="", name="typed", kind="typed"), choices)

    def add_file(
        self, data: bytes, name: str, *, part: str | None, measures: str | None, choices: Choices
    ) -> OpenPassage:
        """A score file; ScoreError where it cannot be read."""
        if len(data) > LARGEST_FILE_BYTES:
            raise ScoreError(
                f"The file is larger than {LARGEST_FILE_BYTES // 1024**2} MB.",
                where=name,
                hint="Export one part alone.",
            )
        return self._add(data, Card(id="", name=Path(name).name, part=part, measures=measures), choices)

    def _add(self, data: bytes, card: Card, choices: Choices) -> OpenPassage:
        selection = "\x1f".join((card.kind, card.part or "", card.measures or ""))
        card.id = sha256(data + selection.encode()).hexdigest()[:16]
        return self._take(data, self._card(card.id) or card, choices)

    def _take(self, data: bytes, card: Card, choices: Choices) -> OpenPassage:
        """Read a passage for whom it is: what was fixed for another instrument holds no longer."""
        passage, family = read_for(data, card, choices.instrument)
        chosen = replace(card, family=family, pins=card.pins if family == card.family else {})
        opened = self._in_hand(chosen, passage, choices)
        folder = self._folder / card.id
        folder.mkdir(exist_ok=True)
        (folder / "source").write_bytes(data)
        self._write(replace(chosen, title=passage.title, shifts=len(opened.in_hand.way.shifts)))
        return self.get(card.id, choices)

    def for_instrument(self, passage: str, choices: Choices) -> OpenPassage:
        """A passage for the instrument chosen now, where it names none; as it was where that cannot play it."""
        card = self.get(passage, choices).card
        try:
            return self._take(self.source(passage), card, choices)
        except TruestopError:
            return self.get(passage, choices)

    def get(self, passage: str, choices: Choices) -> OpenPassage:
        """A passage that was opened before."""
        with self._lock:
            found = self._open.get((passage, choices))
            if found is None:
                card = self._card(passage)
                if card is None:
                    raise ScoreError("The room has no such passage.", hint="Choose the music again.")
                read = read_passage((self._folder / passage / "source").read_bytes(), card, card.family)
                found = self._in_hand(card, read, choices)
                self._open[(passage, choices)] = found
            return found

    def _in_hand(self, card: Card, passage: Passage, choices: Choices) -> OpenPassage:
        in_hand = take_in_hand(passage, choices.setup(card.family), pins=read_pins(card.pins))
        return OpenPassage(card=card, passage=passage, in_hand=in_hand)

    def pin(self, passage: str, pins: Mapping[str, Pin], choices: Choices) -> OpenPassage:
        """Fix fingers or strings of notes, beside what was fixed before; FingeringError where no hand can play that."""
        card = self.get(passage, choices).card
        merged = read_pins(card.pins)
        for note, pin in pins.items():
            merged[note] = merge_pins(merged.get(note, Pin()), pin)
        return self._repinned(card, merged, choices)

    def pin_all(self, passage: str, pins: Mapping[str, Pin], choices: Choices) -> OpenPassage:
        """Take a whole fingering."""
        return self._repinned(self.get(passage, choices).card, dict(pins), choices)

    def unpin(self, passage: str, choices: Choices) -> OpenPassage:
        """Back to what the edition prints, and what follows from it."""
        return self._repinned(self.get(passage, choices).card, {}, choices)

    def _repinned(self, card: Card, pins: Mapping[str, Pin], choices: Choices) -> OpenPassage:
        passage = self.get(card.id, choices).passage
        changed = replace(card, pins=write_pins(pins))
        opened = self._in_hand(changed, passage, choices)
        self._write(replace(changed, shifts=len(opened.in_hand.way.shifts)))
        return self.get(card.id, choices)

    def cards(self) -> Sequence[Card]:
        """All passages, the last opened first."""
        paths = sorted(self._folder.glob("*/card.json"), key=lambda path: path.stat().st_mtime, reverse=True)
        return [card for path in paths if (card := self._card(path.parent.name)) is not None]

    def source(self, passage: str) -> bytes:
        """The passage's own file."""
        if self._card(passage) is None:
            raise ScoreError("The room has no such passage.", hint="Choose the music again.")
        return (self._folder / passage / "source").read_bytes()

    def _card(self, passage: str) -> Card | None:
        if not _ID.fullmatch(passage):
            return None
        try:
            return Card(**json.loads((self._folder / passage / "card.json").read_text(encoding="utf-8")))
        except (OSError, ValueError, TypeError):
            return None

    def _write(self, card: Card) -> None:
        path = self._folder / card.id / "card.json"
        draft = path.with_suffix(".new")
        draft.write_text(json.dumps({name: getattr(card, name) for name in Card.__slots__}), encoding="utf-8")
        draft.replace(path)
        with self._lock:
            self._open = {key: value for key, value in self._open.items() if key[0] != card.id}


def read_for(data: bytes, card: Card, chosen: str) -> tuple[Passage, str]:
    """The music, and for which instrument: the one that it names, else ``chosen``, or what its clefs say where a player
    of ``chosen`` does not read them."""
    passage = read_passage(data, card, chosen)
    clefs = {measure.clef for measure in passage.measures}
    guessed = chosen if clefs <= CLEFS_READ[chosen] else family_of_clefs(clefs)
    family = passage.instrument or guessed
    return (passage if family == chosen else read_passage(data, card, family)), family


def read_passage(data: bytes, card: Card, family: str) -> Passage:
    """The music of a file or of typed words, for an instrument."""
    if card.kind == "typed":
        return read_typed(data.decode("utf-8", "replace"), family=family)
    return read_score(data, name=card.name, part=card.part, measures=card.measures, family=family)


def merge_pins(before: Pin, now: Pin) -> Pin:
    """``now`` beside ``before``: what is newly given holds; a new string lets the finger go, where none is given."""
    finger = now.finger if now.finger is not None else (before.finger if now.string is None else None)
    string = now.string if now.string is not None else (before.string if now.finger is None else None)
    return Pin(finger=finger, string=string)


def write_pins(pins: Mapping[str, Pin]) -> dict[str, dict[str, Any]]:
    """Pins as plain values."""
    return {
        note: {"finger": pin.finger.value if pin.finger else None, "string": pin.string} for note, pin in pins.items()
    }


def read_pins(written: Mapping[str, Mapping[str, Any]]) -> dict[str, Pin]:
    """Pins from plain values; FingeringError where a finger does not exist."""
    return {note: read_pin(each.get("finger"), each.get("string")) for note, each in written.items()}


def read_pin(finger: object, string: object) -> Pin:
    """One pin from what the page sends."""
    try:
        return Pin(
            finger=None if finger is None else Finger(str(finger)), string=None if string is None else int(str(string))
        )
    except ValueError as error:
        raise FingeringError(f"'{finger}' is no finger.", hint="Choose 0 to 4, or T for the thumb.") from error
