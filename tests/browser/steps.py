"""What a player does in the room, step by step, and what the page was told meanwhile."""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from typing import Any

from playwright.sync_api import Page

Message = dict[str, Any]

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
    """Everything the server said to the page."""

    def __init__(self, page: Page) -> None:
        self.messages: list[Message] = []
        self.problems: list[str] = []
        page.add_init_script(WORD_LOG)
        page.on("websocket", lambda socket: socket.on("framereceived", self._frame))
        page.on("console", lambda said: self.problems.append(said.text) if said.type == "error" else None)
        page.on("pageerror", lambda error: self.problems.append(str(error)))

    def _frame(self, frame: str | bytes) -> None:
        if isinstance(frame, str):
            self.messages.append(json.loads(frame))

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
    page.locator(f".stages button[title='{stage}'][aria-current=step]").wait_for()


def to_practice(page: Page, number: int, stage: str | None = None) -> None:
    """From the open door to the stage: what a first-time player does."""
    allow_microphone(page)
    open_study(page)
    practise(page, number, stage)
