"""What a player does in the room, step by step, and what the page was told meanwhile."""

from __future__ import annotations

import contextlib
import json
import sqlite3
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from playwright.sync_api import Page, WebSocket

from browser.harness import RunningRoom, open_page
from truestop.web.open_takes import BLOCK_HEADER

Message = dict[str, Any]
Frames = NDArray[np.int16]

#: Notes every word that is shown as a verdict, with the run's length at that moment.
WORD_LOG = """
window.__words = [];
new MutationObserver(() => {
  const word = document.querySelector('.cue-word.verdict');
  const text = word ? word.textContent : null;
  if (text !== (window.__words.at(-1) ?? null)) window.__words.push(text);
}).observe(document, { subtree: true, childList: true, characterData: true, attributes: true });
"""


class Overheard:
    """Everything that the server and the page said to each other."""

    def __init__(self, page: Page) -> None:
        self.messages: list[Message] = []
        self.problems: list[str] = []
        self.sent: list[Message] = []
        """What the page said, but for the sound."""
        self.blocks: dict[int, dict[int, Frames]] = {}
        """The sound that the page sent: blocks by the slot of their take and by their first frame."""
        page.add_init_script(WORD_LOG)
        page.on("websocket", self._socket)
        page.on("console", lambda said: self.problems.append(said.text) if said.type == "error" else None)
        page.on("pageerror", lambda error: self.problems.append(str(error)))

    def _socket(self, socket: WebSocket) -> None:
        socket.on("framereceived", self._frame)
        socket.on("framesent", self._sent)

    def _sent(self, frame: str | bytes) -> None:
        if isinstance(frame, str):
            self.sent.append(json.loads(frame))
            return
        slot, first_frame = BLOCK_HEADER.unpack_from(frame)
        self.blocks.setdefault(slot, {})[first_frame] = np.frombuffer(frame, dtype="<i2", offset=BLOCK_HEADER.size)

    def sound_of(self, take: str) -> Frames:
        """All that the page sent of a take, in order and without a hole."""
        (slot,) = {m["slot"] for m in self.sent if m["type"] == "take-open" and m["take"] == take}
        blocks = self.blocks[slot]
        starts = sorted(blocks)
        assert [first + blocks[first].size for first in starts[:-1]] == starts[1:]
        return np.concatenate([blocks[first] for first in starts])

    def _frame(self, frame: str | bytes) -> None:
        if isinstance(frame, str):
            self.messages.append(json.loads(frame))

    @property
    def takes(self) -> list[str]:
        """Takes of practice that the page opened, in order."""
        opened = [m["take"] for m in self.sent if m["type"] == "take-open" and m["purpose"] == "practice"]
        return list(dict.fromkeys(opened))

    def of(self, kind: str) -> list[Message]:
        return [message for message in self.messages if message["type"] == kind]

    @property
    def told(self) -> list[str]:
        return [str(message["verdict"]) for message in self.of("told")]

    def wait(self, page: Page, ready: Callable[[Overheard], bool], *, seconds: float = 30.0) -> None:
        """Let the page live until ``ready``; AssertionError with what was heard where it never comes."""
        end = time.monotonic() + seconds
        while not ready(self):
            assert time.monotonic() < end, [m for m in self.messages if m["type"] not in ("pitch", "ack")][-6:]
            page.wait_for_timeout(50)


@contextlib.contextmanager
def overhear(
    room: RunningRoom, wav: Path, *, size: tuple[int, int] = (1024, 768), script: str = ""
) -> Iterator[tuple[Page, Overheard]]:
    """The room's page, overheard from its first word; ``script`` runs before the page's own."""
    found: list[Overheard] = []

    def listen(page: Page) -> None:
        found.append(Overheard(page))
        if script:
            page.add_init_script(script)

    with open_page(room, wav, size=size, before=listen) as page:
        yield page, found[0]


def until(page: Page, holds: str, *, seconds: float = 30.0) -> None:
    """Let the page live until an expression holds. Playwright's own wait asks for ``eval``, which the page's policy
    refuses as soon as the first look does not find it so."""
    end = time.monotonic() + seconds
    while not page.evaluate(holds):
        assert time.monotonic() < end, f"never came: {holds}"
        page.wait_for_timeout(50)


def allow_microphone(page: Page) -> None:
    page.get_by_role("button", name="Allow the microphone").click()
    page.get_by_role("button", name="Straight to the music").wait_for()


def open_study(page: Page) -> None:
    page.get_by_role("button", name="Straight to the music").click()
    page.get_by_role("button", name="Open the study").click()
    page.locator(".shifts li").first.wait_for()


def practise(page: Page, number: int, stage: str | None = None) -> None:
    page.get_by_role("button", name=f"Practise shift {number}", exact=True).click()
    page.locator(".stages").wait_for()
    if stage is not None:
        go_to(page, stage)


def go_to(page: Page, stage: str) -> None:
    page.locator(f".stages button[title='{stage}']").click()
    # A server that is behind hears the sound that came before first: 9 to 13 s at a load of 14 on two cores.
    page.locator(f".stages button[title='{stage}'][aria-current=step]").wait_for(timeout=90_000)


def to_practice(page: Page, number: int, stage: str | None = None, *, sound: bool = True) -> None:
    """From the open door to the stage: what a first-time player does. Then the microphone's file begins anew."""
    page.evaluate("(muted) => { window.__muted = muted; }", sound)
    allow_microphone(page)
    open_study(page)
    practise(page, number, stage)
    if sound:
        start_sound(page)


def start_sound(page: Page) -> None:
    """Pull the microphone's plug and put it in again: its file starts from the beginning, and the run with it."""
    page.evaluate("window.__muted = false")
    page.evaluate("window.__stream.getAudioTracks()[0].dispatchEvent(new Event('ended'))")
    page.get_by_role("button", name="Try again").click()
    page.get_by_text("The microphone was unplugged.").wait_for(state="detached")


def shelved(room: RunningRoom) -> list[Path]:
    """The sound of every kept take."""
    return sorted((room.home / "takes").rglob("*.wav"))


def recorded(room: RunningRoom) -> list[tuple[str, float | None, str | None]]:
    """Verdict, landing and own-ear answer of every kept attempt, read past the program."""
    return [(verdict, landing, ear) for _, verdict, landing, ear in recorded_at(room)]


def recorded_at(room: RunningRoom) -> list[tuple[str, str, float | None, str | None]]:
    """The same with the stage of each."""
    with sqlite3.connect(room.home / "record.sqlite") as record:
        names = [row[0] for row in record.execute("select name from sqlite_master where type='table'")]
        assert "attempt" in names, names
        rows = record.execute("select stage, verdict, landing_cents, own_ear from attempt order by rowid").fetchall()
    record.close()
    return [tuple(row) for row in rows]
