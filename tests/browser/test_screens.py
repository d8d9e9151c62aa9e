"""Every screen at three sizes, in both lights: nothing cut off, nothing to scroll in practice, no axe violation. The
practice also in low windows: a phone below its browser's bars or on its side, a page at 200 % (WCAG 2.2, 1.4.4).

Type sizes for reading at 1.25 m: the word 53 px on a tablet and 65 px on a phone (measured: capitals of 20 minutes of
arc); by the same scale the line below has 16 minutes, 42 and 52 px, and labels 10, 26.5 and 32.5 px. ISO 9241-303 asks
for 16 minutes where one reads on and lets labels have 10 (both from memory). axe-core (npm) is the outside judge of
accessibility. With TRUESTOP_SCREENSHOTS the pictures are kept in the folder that it names.
"""

from __future__ import annotations

import os
import time
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, Request

from browser.conftest import Study
from browser.harness import RunningRoom, play, write_wav
from browser.steps import allow_microphone, drawn, go_to, open_study, overhear, practise, until
from browser.test_practice import CORRECTED, HIGH, LEAD_S, LOW, TRUE
from front_end import installed_packages
from truestop.app.room_rules import BACK_TO, CAUSE_LINES, TRAVEL_LINES

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.timeout(400)]
SIZES = {"phone": (390, 844), "tablet": (820, 1180), "laptop": (1366, 768)}
LOW_SIZES = {"phone below bars": (390, 664), "phone on its side": (844, 390), "laptop at twice the size": (683, 384)}
"""Where the stand view must hold together too, with letters as large as there is room for."""
LEAST_PX = {
    "phone": {".cue-word": 65.0, ".cue-line": 52.0, ".cue-small, .pedals button, .stages button": 32.5},
    "tablet": {".cue-word": 53.0, ".cue-line": 42.0, ".cue-small, .pedals button, .stages button": 26.5},
    "laptop": {".cue-word": 53.0, ".cue-line": 42.0, ".cue-small, .pedals button, .stages button": 26.5},
}
LEAST_STAVE_PX = 60
LEAST_BOARD_LETTER_PX = 12.0
"""On a phone that is held, as drawn: the fingerboard is read before one plays."""
BOARD_LETTERS = """() => [...document.querySelectorAll('.way-board text')]
  .map((text) => parseFloat(getComputedStyle(text).fontSize) * text.getScreenCTM().a)"""
LONGEST_ANSWER_S = 60.0
HEADINGS = {"hear": "Hear it", "in time": "In time", "in the passage": "In the passage"}
SETTLED_MS = 350
"""After a change of size: the pause before the page asks again, on the page's own clock; then its questions are waited
for."""
QUIET_LOOKS = 3
"""So often in a row, when the page has drawn what it knows, nothing may be asked for: one answer leads to the next
question."""
LOW_LEAST_PX = {".cue-word": 40.0, ".cue-line": 24.0, ".cue-small, .pedals button, .stages button": 17.0}
RUN_AXE = """async (rules) => {
  const only = rules.length ? {runOnly: {type: 'rule', values: rules}} : {};
  return (await axe.run(document, {resultTypes: ['violations'], ...only})).violations;
}"""
LIGHT_CHANGES = ["color-contrast"]
"""Of axe's rules those that another light can break."""
BOXES = (
    "[...document.querySelectorAll('.pedals button, [class^=cue-], .head-acts button, .ways-line *')]"
    ".filter((e) => e.getClientRects().length)"
    ".map((e) => [e.className || e.textContent, e.getBoundingClientRect().toJSON(), e.scrollWidth - e.clientWidth])"
)

OVERLAPS = """() => {
  const boxes = (selector) => [...document.querySelectorAll(selector)].map((e) => e.getBoundingClientRect());
  const meet = (a, b) => Math.min(a.right, b.right) - Math.max(a.left, b.left) > 1
    && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 1;
  const words = boxes('.cue > :not(.visually-hidden)').filter((box) => box.width);
  const others = ['.practice-head', '.stave', '.where', '.trace', '.pedals'];
  const met = others.filter((other) => boxes(other).some((box) => words.some((word) => meet(word, box))));
  return met.map((other) => `words lie on ${other}`);
}"""


class Album:
    """Looks at a screen in all sizes: keeps pictures, asks axe, and checks that nothing hangs over the edge."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.faults: list[str] = []
        self.asked = 0
        page.on("request", lambda request: self._asks(request, 1))
        page.on("requestfinished", lambda request: self._asks(request, -1))
        page.on("requestfailed", lambda request: self._asks(request, -1))
        self.axe = (installed_packages() / "node_modules" / "axe-core" / "axe.min.js").read_text(encoding="utf-8")
        folder = os.environ.get("TRUESTOP_SCREENSHOTS")
        self.folder = Path(folder) if folder else None

    def look(self, name: str, *, practice: bool = False) -> None:
        for size in (*SIZES, *(LOW_SIZES if practice else ())):
            self.resize(size)
            for light in ("light", "dark") if size in SIZES else ("light",):
                self._picture(name, size, light, whole=not practice)
            self.faults += [f"{name} {size}: {fault}" for fault in self._faults(size, practice=practice)]

    def resize(self, size: str) -> None:
        """Another window; then all that the page asks for it has come and is drawn."""
        width, height = (SIZES | LOW_SIZES)[size]
        self.page.set_viewport_size({"width": width, "height": height})
        until(self.page, f"innerWidth === {width} && innerHeight === {height}")
        drawn(self.page)
        self.page.evaluate(f"new Promise((done) => setTimeout(done, {SETTLED_MS}))")
        end = time.monotonic() + LONGEST_ANSWER_S
        quiet = 0
        while quiet < QUIET_LOOKS:
            assert time.monotonic() < end, f"{size}: {self.asked} questions have no answer"
            self.page.wait_for_timeout(20)
            drawn(self.page)
            quiet = quiet + 1 if self.asked <= 0 else 0

    def _asks(self, request: Request, more: int) -> None:
        if "/api/" in request.url:
            self.asked += more

    def _picture(self, name: str, size: str, light: str, *, whole: bool) -> None:
        self.page.emulate_media(color_scheme=light)  # type: ignore[arg-type]
        if self.folder is not None:
            self.folder.mkdir(parents=True, exist_ok=True)
            self.page.screenshot(path=self.folder / f"{name}-{size}-{light}.png", full_page=whole)
        rules = LIGHT_CHANGES if light == "dark" else []
        self.faults += [f"{name} {size} {light}: {fault}" for fault in self._axe(rules)]

    def _axe(self, rules: list[str]) -> list[str]:
        """What axe finds wrong, by all its rules or by some."""
        if not self.page.evaluate("typeof axe !== 'undefined'"):
            self.page.evaluate(self.axe)
        found: list[dict[str, Any]] = self.page.evaluate(RUN_AXE, rules)
        return [f"{each['id']} at {each['nodes'][0]['html'][:120]}" for each in found]

    def _faults(self, size: str, *, practice: bool) -> list[str]:
        hangs = self.page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        found = [f"{hangs} px hang over the right edge"] if hangs > 0 else []
        return found + (self._practice_faults(size) if practice else [])

    def _practice_faults(self, size: str) -> list[str]:
        """No scrolling, everything inside the window, and letters for the stand."""
        width, height = (SIZES | LOW_SIZES)[size]
        low = self.page.evaluate("document.documentElement.scrollHeight - window.innerHeight")
        found = [f"{low} px to scroll"] if low > 0 else []
        for name, box, hidden in self.page.evaluate(BOXES):
            if box["left"] < -1 or box["right"] > width + 1 or box["bottom"] > height + 1:
                found.append(f"{name} lies outside the window: {box}")
            if hidden > 1:
                found.append(f"{name} is cut off by {hidden} px")
        found += self.page.evaluate(OVERLAPS)
        for selector, least in LEAST_PX.get(size, LOW_LEAST_PX).items():
            sizes = self.page.locator(selector).evaluate_all(
                "(all) => all.map((each) => parseFloat(getComputedStyle(each).fontSize))"
            )
            found += [f"{selector} has {px} px" for px in sizes if px < least]
        if size == "phone":
            small = [px for px in self.page.evaluate(BOARD_LETTERS) if px < LEAST_BOARD_LETTER_PX]
            found += [f"letters of {px:.1f} px on the fingerboard" for px in small]
        stave = self.page.locator(".stave .engraved > svg").bounding_box()
        if stave is None or stave["height"] < LEAST_STAVE_PX:
            found.append(f"the notes have no room: {stave}")
        return found


def longest_stop() -> str:
    """The longest words that a run can be stopped with."""
    lines = [*CAUSE_LINES.values(), *TRAVEL_LINES.values()]
    steps = [back.line for each in BACK_TO.values() for back in each]
    return f"{max(lines, key=len)} {max(steps, key=len)}"


def test_every_screen(room: RunningRoom, study: Study, tmp_path: Path) -> None:
    high, corrected, low = (
        write_wav(tmp_path / f"{number}.wav", study.play(*played), lead_s=LEAD_S)
        for number, played in enumerate([(TRUE, HIGH), (TRUE, CORRECTED), (LOW,)])
    )
    alone = "localStorage.setItem('truestop.by-itself', 'false')"
    with overhear(room, size=SIZES["tablet"], script=alone) as (page, heard):
        album = Album(page)
        page.get_by_role("button", name="Allow the microphone").wait_for()
        album.look("1-welcome")
        allow_microphone(page)
        page.get_by_role("button", name="Tune the strings").click()
        page.locator(".strings li").first.wait_for()
        album.look("2-strings")
        page.get_by_role("button", name="Music", exact=True).click()
        page.get_by_role("heading", name="Choose the music").wait_for()
        album.look("3-music")
        page.get_by_role("button", name="Sound", exact=True).click()
        open_study(page)
        page.locator(".shift-name").nth(1).click()
        page.locator(".board-frame > svg").wait_for()
        album.look("4-passage")
        practise(page, study.number)
        page.locator(".stave .engraved > svg").wait_for()
        album.look("5-name", practice=True)
        for number, stage in enumerate(HEADINGS, 1):
            go_to(page, stage)
            notes = page.locator(f".stave .engraved[aria-label^='{HEADINGS[stage]}'] > svg")
            notes.wait_for(state="attached")
            album.look(f"5.{number}-{stage.replace(' ', '-')}", practice=True)
        go_to(page, "plain")
        for told, name, wav in ((2, "7-high", high), (4, "8-corrected", corrected)):
            play(page, wav)
            heard.wait(page, lambda h, told=told: len(h.told) == told)  # type: ignore[misc]
            for size in SIZES | LOW_SIZES:
                album.resize(size)
                album.faults += [f"{name} {size}: {fault}" for fault in album._practice_faults(size)]
                if album.folder is not None:
                    page.screenshot(path=album.folder / f"{name}-{size}-light.png")
        play(page, low)
        page.locator(".cue-word", has_text="Step back").wait_for()
        album.look("9-step-back", practice=True)
        page.locator(".cue-line").evaluate("(line, words) => { line.textContent = words; }", longest_stop())
        album.look("9.1-longest-step-back", practice=True)
        page.reload()
        page.get_by_role("heading", name="Where you were").wait_for()
        album.look("9.2-where-you-were")
        page.get_by_role("button", name="Go on with shift").click()
        page.locator(".cue-word", has_text="Step back").wait_for()
        page.get_by_role("button", name="How").click()
        album.look("10-how")
        page.get_by_role("button", name="Done").click()
        page.keyboard.press("Escape")
        page.locator(".take").wait_for()
        album.look("11-record")
        assert not album.faults, "\n".join(album.faults)
        assert not heard.problems, heard.problems
