"""Every screen at three sizes, in both lights: nothing cut off, nothing to scroll in practice, no axe violation.

Type sizes for reading at 1.25 m, measured: 53 px on a tablet, 65 px on a phone. axe-core (npm) is the outside judge of
accessibility. With TRUESTOP_SCREENSHOTS the pictures are kept in the folder that it names.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page

from browser.conftest import Study
from browser.harness import RunningRoom, open_page, write_wav
from browser.steps import Overheard, allow_microphone, go_to, open_study, practise
from browser.test_practice import CORRECTED, HIGH, LOW, TRUE

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.timeout(400)]
SIZES = {"phone": (390, 844), "tablet": (1024, 768), "laptop": (1440, 900)}
WORD_PX = {"phone": 65.0, "tablet": 53.0, "laptop": 53.0}
AXE = Path(__file__).parents[2] / "frontend" / "node_modules" / "axe-core" / "axe.min.js"
RUN_AXE = "async () => (await axe.run(document, {resultTypes: ['violations']})).violations"


class Album:
    """Looks at each screen: keeps a picture, asks axe, and checks that nothing hangs over the edge."""

    def __init__(self, page: Page, size: str) -> None:
        self.page = page
        self.size = size
        self.faults: list[str] = []
        folder = os.environ.get("TRUESTOP_SCREENSHOTS")
        self.folder = Path(folder) if folder else None

    def look(self, name: str) -> None:
        for light in ("light", "dark"):
            self.page.emulate_media(color_scheme=light)  # type: ignore[arg-type]
            self.page.wait_for_timeout(150)
            if self.folder is not None:
                self.folder.mkdir(parents=True, exist_ok=True)
                self.page.screenshot(path=self.folder / f"{name}-{self.size}-{light}.png")
            self.faults += [f"{name} {light}: {fault}" for fault in self._axe()]
        hangs = self.page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        if hangs > 0:
            self.faults.append(f"{name}: {hangs} px hang over the right edge")

    def _axe(self) -> list[str]:
        if not self.page.evaluate("typeof axe !== 'undefined'"):
            self.page.evaluate(AXE.read_text(encoding="utf-8"))
        found: list[dict[str, Any]] = self.page.evaluate(RUN_AXE)
        return [f"{each['id']} at {each['nodes'][0]['html'][:120]}" for each in found]


@pytest.mark.parametrize("size", SIZES)
def test_every_screen(size: str, room: RunningRoom, study: Study, tmp_path: Path) -> None:
    played = study.play(TRUE, HIGH, TRUE, CORRECTED, LOW)
    wav = write_wav(tmp_path / "mic.wav", played, lead_s=30.0)
    with open_page(room, wav, profile=tmp_path / "profile", size=SIZES[size]) as page:
        heard = Overheard(page)
        page.add_init_script("localStorage.setItem('truestop.by-itself', 'false')")
        page.reload()
        album = Album(page, size)
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
        album.look("5-name")
        assert_fits(page)
        go_to(page, "plain")
        for expected, name in ((1, "6-true"), (2, "7-high"), (4, "8-corrected")):
            heard.wait(page, lambda h, n=expected: len(h.told) >= n, seconds=60)  # type: ignore[misc]
            album.look(name) if name != "6-true" else page.wait_for_timeout(50)
            assert_fits(page)
            assert word_px(page) >= WORD_PX[size]
        page.locator(".cue-word", has_text="Step back").wait_for(timeout=20_000)
        album.look("9-step-back")
        assert_fits(page)
        page.get_by_role("button", name="How").click()
        album.look("10-how")
        page.get_by_role("button", name="Done").click()
        page.keyboard.press("Escape")
        page.locator(".take").wait_for()
        album.look("11-record")
        assert not album.faults, "\n".join(album.faults)
        assert not heard.problems, heard.problems


def word_px(page: Page) -> float:
    return float(page.locator(".cue-word").evaluate("(word) => parseFloat(getComputedStyle(word).fontSize)"))


def assert_fits(page: Page) -> None:
    """The practice needs no scrolling: everything lies inside the window, the pedals too, and nothing overlaps them."""
    inside: Callable[[str], Any] = page.evaluate
    height = inside("document.documentElement.scrollHeight - window.innerHeight")
    assert height <= 0, f"{height} px to scroll"
    boxes = inside(
        "[...document.querySelectorAll('.pedals button, .cue-word, .cue-line, .head-acts button, .stage-line')]"
        ".map((e) => [e.className || e.textContent, e.getBoundingClientRect().toJSON(), e.scrollWidth - e.clientWidth])"
    )
    size = page.viewport_size
    assert size is not None
    for name, box, hidden in boxes:
        assert box["left"] >= -1, name
        assert box["right"] <= size["width"] + 1, name
        assert box["bottom"] <= size["height"] + 1, name
        assert hidden <= 1, f"{name} is cut off by {hidden} px"
