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

from browser.harness import RATE_HZ, RunningRoom, open_page
from truestop.web.open_takes import BLOCK_HEADER

Message = dict[str, Any]
Frames = NDArray[np.int16]

#: Notes what the stand shows, however short: every word with the line below it, what a reader's voice is given, and the
#: timer; and every word that is shown as a verdict, null between two of them.
STAND_LOG = """
window.__cues = [];
window.__words = [];
new MutationObserver(() => {
  const text = (selector) => document.querySelector(selector)?.textContent ?? null;
  const cue = ['.cue-word', '.cue-line', '.cue [role=status]', '[role=timer]'].map(text);
  if (String(cue) !== String(window.__cues.at(-1))) window.__cues.push(cue);
  const word = text('.cue-word.verdict');
  if (word !== (window.__words.at(-1) ?? null)) window.__words.push(word);
}).observe(document, { subtree: true, childList: true, characterData: true, attributes: true });
"""
SILENT_S = 1.0


class Overheard:
    """Everything that the server and the page said to each other."""

    def __init__(self, page: Page) -> None:
        self.messages: list[Message] = []
        self.problems: list[str] = []
        self.sent: list[Message] = []
        """What the page said, but for the sound."""
        self.blocks: dict[int, dict[int, Frames]] = {}
        """The sound that the page sent: blocks by the slot of their take and by their first frame."""
        page.add_init_script(STAND_LOG)
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

    def is_silent_again(self) -> bool:
        """Whether the page sends silence after some sound."""
        blocks = self.blocks[max(self.blocks)] if self.blocks else {}
        last = round(SILENT_S * RATE_HZ)
        begun = [first for first, block in blocks.items() if block.any()]
        return bool(begun) and max(begun) < self.frames - last

    @property
    def frames(self) -> int:
        """Frames of the take that was opened last which the page has sent so far."""
        blocks = self.blocks[max(self.blocks)]
        first = max(blocks)
        return first + blocks[first].size

    def go_on(self, page: Page, seconds: float) -> None:
        """Let the server have ``seconds`` of sound more than it has now."""
        before = self.of("ack")[-1]
        self.wait(page, lambda heard: _is_further(heard.of("ack")[-1], before, seconds), seconds=120)

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

    def wait(self, page: Page, ready: Callable[[Overheard], bool], *, seconds: float = 60.0) -> None:
        """Let the page live until ``ready``; AssertionError with what was heard where it never comes."""
        end = time.monotonic() + seconds
        while not ready(self):
            assert time.monotonic() < end, [m for m in self.messages if m["type"] not in ("pitch", "ack")][-6:]
            page.wait_for_timeout(50)


def _is_further(now: Message, before: Message, seconds: float) -> bool:
    return bool(now["take"] == before["take"] and now["frames"] >= before["frames"] + seconds * RATE_HZ)


@contextlib.contextmanager
def overhear(
    room: RunningRoom, *, size: tuple[int, int] = (1024, 768), script: str = "", bypass_csp: bool = False
) -> Iterator[tuple[Page, Overheard]]:
    """The room's page, overheard from its first word; ``script`` runs before the page's own."""
    found: list[Overheard] = []
    listen = lambda page: found.append(Overheard(page))  # noqa: E731
    with open_page(room, size=size, script=script, bypass_csp=bypass_csp, before=listen) as page:
        yield page, found[0]


def until(page: Page, holds: str, *, seconds: float = 60.0) -> None:
    """Let the page live until an expression holds. Playwright's own wait asks for ``eval``, which the page's policy
    refuses as soon as the first look does not find it so."""
    end = time.monotonic() + seconds
    while not page.evaluate(holds):
        assert time.monotonic() < end, f"never came: {holds}"
        page.wait_for_timeout(50)


def drawn(page: Page) -> None:
    """Let the page draw what it knows: effects run after the next frame, and a focus or a drawing is put by them."""
    page.evaluate("new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => setTimeout(done))))")


def shown(page: Page, word: str, line: str = "", *, seconds: float = 60.0) -> None:
    """Let the page live until the stand has shown a word with a line, though it may show another by now."""
    holds = f"window.__cues.some(([word, line]) => word === {json.dumps(word)} && line.includes({json.dumps(line)}))"
    until(page, holds, seconds=seconds)


def allow_microphone(page: Page) -> None:
    page.get_by_role("button", name="Allow the microphone").click()
    page.get_by_role("button", name="Straight to the music").wait_for()
    # Its name comes a moment later, above the buttons: what is pressed while they move is not pressed.
    page.get_by_text("Heard through").wait_for()
    drawn(page)


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


def to_practice(page: Page, number: int, stage: str | None = None) -> None:
    """From the open door to the stage: what a first-time player does before playing."""
    allow_microphone(page)
    open_study(page)
    practise(page, number, stage)


def unplug(page: Page) -> None:
    """Pull the microphone's plug and put it in again; in a practice the run begins again."""
    page.evaluate("window.__stream.getAudioTracks()[0].dispatchEvent(new Event('ended'))")
    page.get_by_text("The microphone was unplugged.").wait_for()
    asked = page.evaluate("window.__stream.id")
    page.get_by_role("button", name="Try again").click()
    until(page, f"window.__stream.id !== {json.dumps(asked)}")
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
