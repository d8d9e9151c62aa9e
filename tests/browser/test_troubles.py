"""What stands in the way is said plainly, and nothing is lost: microphone, level, server, files, a page that never
comes back."""

from __future__ import annotations

import json
import os
import time
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import expect

from browser.conftest import Study
from browser.harness import RunningRoom, open_page, play, write_wav
from browser.steps import (
    Overheard,
    allow_microphone,
    open_study,
    overhear,
    practise,
    recorded,
    shelved,
    to_practice,
    unplug,
    until,
)
from browser.test_practice import HIGH, LEAD_S, LOW, TRUE
from truestop.web.serving import RECOVER_AFTER_S

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.timeout(300)]
#: getUserMedia fails as often as ``window.__fails`` says, with the browser's own error names (W3C Media Capture).
FAILING = """
window.__fails = [NAMES];
const ask = navigator.mediaDevices.getUserMedia.bind(navigator.mediaDevices);
navigator.mediaDevices.getUserMedia = async (wish) => {
  const name = window.__fails.shift();
  if (name) throw new DOMException("no", name);
  return ask(wish);
};
"""


#: Counts how often the page asks for the microphone.
COUNTING = """
window.__asked = 0;
const next = navigator.mediaDevices.getUserMedia.bind(navigator.mediaDevices);
navigator.mediaDevices.getUserMedia = (wish) => {
  window.__asked += 1;
  return next(wish);
};
"""


def put_away(heard: Overheard) -> bool:
    """Whether the server has heard all of a take, and said so."""
    return any(message["closed"] for message in heard.of("ack"))


def test_every_trouble_of_the_microphone_has_its_sentence(shared_room: RunningRoom) -> None:
    """And another one is heard once it is chosen; where that is gone, the usual one."""
    said = {
        "NotAllowedError": "The microphone was refused.",
        "NotReadableError": "The microphone is used by another program.",
        "NotFoundError": "No microphone was found.",
    }
    script = FAILING.replace("NAMES", ", ".join(f'"{name}"' for name in said))
    with open_page(shared_room, script=script) as page:
        page.get_by_role("button", name="Allow the microphone").click()
        for sentence in said.values():
            page.get_by_text(sentence).wait_for()
            page.get_by_role("button", name="Try again").click()
        page.get_by_role("button", name="Straight to the music").wait_for()
        unplug(page)
        choice = page.get_by_role("combobox", name="Heard through")
        other = choice.locator("option").nth(1).inner_text()
        choice.select_option(label=other)
        until(page, f"window.__stream.getAudioTracks()[0].label === {json.dumps(other)}")
        page.evaluate("localStorage.setItem('truestop.microphone', '\"gone\"')")
        page.reload()
        page.evaluate("window.__fails.length = 0")
        allow_microphone(page)
        page.get_by_role("combobox", name="Heard through").wait_for()


def test_a_refused_microphone_is_said_plainly(shared_room: RunningRoom) -> None:
    with open_page(shared_room, allow=False, script=COUNTING) as page:
        page.get_by_role("button", name="Allow the microphone").click()
        page.get_by_text("The microphone was refused.").wait_for()
        assert page.get_by_role("button", name="Try again").is_visible()
        page.get_by_role("button", name="Music", exact=True).click()
        page.get_by_role("button", name="Open the study").click()
        page.locator(".shifts li").nth(7).get_by_role("button", name="Practise").click()
        until(page, "window.__asked === 2")
        refused = page.get_by_text("The microphone was refused.")
        refused.wait_for()
        assert page.locator("main.passage").is_visible()
        expect(refused).to_be_in_viewport()


def test_silence_gives_no_verdict_and_says_so(room: RunningRoom, study: Study) -> None:
    with overhear(room) as (page, heard):
        allow_microphone(page)
        page.get_by_text("Nothing is heard yet").wait_for()
        open_study(page)
        practise(page, study.number, "plain")
        page.get_by_text("Nothing is heard.").wait_for()
        page.get_by_role("button", name="End").click()
        page.get_by_role("heading", name="The record").wait_for()
        heard.wait(page, put_away)
        assert not heard.told
    assert not shelved(room)


def test_a_clipped_take_is_said_and_stays_unjudged(shared_room: RunningRoom, study: Study, tmp_path: Path) -> None:
    loud = np.clip(40.0 * study.play(HIGH, HIGH), -1.0, 1.0)
    wav = write_wav(tmp_path / "mic.wav", loud, lead_s=LEAD_S)
    with overhear(shared_room) as (page, heard):
        to_practice(page, study.number, "plain")
        play(page, wav)
        page.get_by_text("Too loud for the microphone.").wait_for()
        heard.wait(page, lambda h: bool(h.told))
        assert set(heard.told) == {"unjudged"}
        assert "overdriven" in heard.of("told")[0]["attempt"]["reason"]


def test_noise_never_gets_a_wrong_verdict(shared_room: RunningRoom, study: Study, tmp_path: Path) -> None:
    sound = study.play(HIGH, HIGH, HIGH)
    rms = float(np.sqrt(np.mean(sound[np.abs(sound) > 0.01] ** 2)))
    noise = np.random.default_rng(5).normal(0.0, 1.2 * rms, sound.size).astype(np.float32)
    wav = write_wav(tmp_path / "mic.wav", 0.5 * (sound + noise), lead_s=LEAD_S)
    with overhear(shared_room) as (page, heard):
        to_practice(page, study.number, "plain")
        play(page, wav)
        heard.wait(page, lambda h: h.is_silent_again() or h.of("practice")[-1]["phase"] == "stopped", seconds=120)
        page.keyboard.press("Escape")
        heard.wait(page, put_away, seconds=120)
        assert set(heard.told) <= {"unjudged", "high"}


def test_an_unreadable_file_is_one_sentence(shared_room: RunningRoom, tmp_path: Path) -> None:
    bad = {"shopping.musicxml": b"eggs, rosin, milk", "empty.abc": b"", "picture.mxl": bytes(range(256))}
    with open_page(shared_room) as page:
        allow_microphone(page)
        page.get_by_role("button", name="Straight to the music").click()
        for name, content in bad.items():
            (tmp_path / name).write_bytes(content)
            page.locator("input[type=file]").set_input_files(tmp_path / name)
            page.locator(".notice", has_text=name).wait_for()
            page.locator(".notice").get_by_role("button", name="Close").click()
        page.get_by_role("button", name="Open the study").click()
        page.locator(".shifts li").first.wait_for()


def test_a_take_whose_page_never_comes_back_is_in_the_record_at_the_next_start(
    room: RunningRoom, study: Study, tmp_path: Path
) -> None:
    """The server is killed in mid-take and the browser closed; the next start judges what lies on the disk."""
    wav = write_wav(tmp_path / "mic.wav", study.play(TRUE, HIGH, TRUE, LOW), lead_s=LEAD_S)
    with overhear(room) as (page, heard):
        to_practice(page, study.number, "plain")
        play(page, wav)
        heard.wait(page, lambda h: len(h.told) >= 3)
        heard.go_on(page, 0.3)
        acknowledged = heard.of("ack")[-1]
        room.kill()
    left = room.home / "room" / "takes" / f"{acknowledged['take']}.wav"
    assert (left.stat().st_size - 44) // 2 >= acknowledged["frames"]
    long_ago = time.time() - 2 * RECOVER_AFTER_S
    os.utime(left, (long_ago, long_ago))
    room.lines.clear()
    room.start()
    assert any("1 take(s) that were cut off are in the record now." in line for line in room.lines)
    told = heard.told[:3]
    assert "high" in told
    assert [verdict for verdict, _, _ in recorded(room)][:3] == told
    assert len(shelved(room)) == 1
    assert not left.exists()
