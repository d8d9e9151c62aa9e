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
from browser.harness import RATE_HZ, RunningRoom, open_page, write_wav
from browser.steps import allow_microphone, open_study, overhear, practise, recorded, shelved, to_practice, until
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


def silence(folder: Path) -> Path:
    return write_wav(folder / "mic.wav", np.zeros(RATE_HZ, dtype=np.float32))


def test_every_trouble_of_the_microphone_has_its_sentence(shared_room: RunningRoom, tmp_path: Path) -> None:
    """And another one is heard once it is chosen; where that is gone, the usual one."""
    said = {
        "NotAllowedError": "The microphone was refused.",
        "NotReadableError": "The microphone is used by another program.",
        "NotFoundError": "No microphone was found.",
    }
    with open_page(shared_room, silence(tmp_path)) as page:
        page.context.add_init_script(FAILING.replace("NAMES", ", ".join(f'"{name}"' for name in said)))
        page.reload()
        page.get_by_role("button", name="Allow the microphone").click()
        for sentence in said.values():
            page.get_by_text(sentence).wait_for()
            page.get_by_role("button", name="Try again").click()
        page.get_by_role("button", name="Straight to the music").wait_for()
        page.evaluate("window.__stream.getAudioTracks()[0].dispatchEvent(new Event('ended'))")
        page.get_by_text("The microphone was unplugged.").wait_for()
        page.get_by_role("button", name="Try again").click()
        page.get_by_text("The microphone was unplugged.").wait_for(state="detached")
        choice = page.get_by_role("combobox", name="Heard through")
        other = choice.locator("option").nth(1).inner_text()
        choice.select_option(label=other)
        until(page, f"window.__stream.getAudioTracks()[0].label === {json.dumps(other)}")
        page.evaluate("localStorage.setItem('truestop.microphone', '\"gone\"')")
        page.reload()
        page.evaluate("window.__fails.length = 0")
        allow_microphone(page)
        page.get_by_role("combobox", name="Heard through").wait_for()


def test_a_refused_microphone_is_said_plainly(shared_room: RunningRoom, tmp_path: Path) -> None:
    with open_page(shared_room, silence(tmp_path), allow=False) as page:
        page.get_by_role("button", name="Allow the microphone").click()
        page.get_by_text("The microphone was refused.").wait_for()
        assert page.get_by_role("button", name="Try again").is_visible()
        page.get_by_role("button", name="Music", exact=True).click()
        page.get_by_role("button", name="Open the study").click()
        page.locator(".shifts li").nth(7).get_by_role("button", name="Practise").click()
        refused = page.get_by_text("The microphone was refused.")
        refused.wait_for()
        assert page.locator("main.passage").is_visible()
        expect(refused).to_be_in_viewport()


def test_silence_gives_no_verdict_and_says_so(room: RunningRoom, study: Study, tmp_path: Path) -> None:
    with overhear(room, silence(tmp_path)) as (page, heard):
        allow_microphone(page)
        page.get_by_text("Nothing is heard yet").wait_for()
        open_study(page)
        practise(page, study.number, "plain")
        page.get_by_text("Nothing is heard.").wait_for(timeout=20_000)
        assert not heard.told
        page.get_by_role("button", name="End").click()
        page.get_by_role("heading", name="The record").wait_for()
    assert not shelved(room)


def test_a_clipped_take_is_said_and_stays_unjudged(shared_room: RunningRoom, study: Study, tmp_path: Path) -> None:
    loud = np.clip(40.0 * study.play(HIGH, HIGH), -1.0, 1.0)
    wav = write_wav(tmp_path / "mic.wav", loud, lead_s=LEAD_S)
    with overhear(shared_room, wav) as (page, heard):
        to_practice(page, study.number, "plain")
        page.get_by_text("Too loud for the microphone.").wait_for(timeout=30_000)
        heard.wait(page, lambda h: bool(h.told), seconds=30)
        assert set(heard.told) == {"unjudged"}
        assert "overdriven" in heard.of("told")[0]["attempt"]["reason"]


def test_noise_never_gets_a_wrong_verdict(shared_room: RunningRoom, study: Study, tmp_path: Path) -> None:
    sound = study.play(HIGH, HIGH, HIGH)
    rms = float(np.sqrt(np.mean(sound[np.abs(sound) > 0.01] ** 2)))
    noise = np.random.default_rng(5).normal(0.0, 1.2 * rms, sound.size).astype(np.float32)
    wav = write_wav(tmp_path / "mic.wav", 0.5 * (sound + noise), lead_s=LEAD_S)
    with overhear(shared_room, wav) as (page, heard):
        to_practice(page, study.number, "plain")
        page.wait_for_timeout(1000 * (LEAD_S + sound.size / RATE_HZ))
        assert set(heard.told) <= {"unjudged", "high"}


def test_an_unreadable_file_is_one_sentence(shared_room: RunningRoom, tmp_path: Path) -> None:
    bad = {"shopping.musicxml": b"eggs, rosin, milk", "empty.abc": b"", "picture.mxl": bytes(range(256))}
    with open_page(shared_room, silence(tmp_path)) as page:
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
    with overhear(room, wav) as (page, heard):
        to_practice(page, study.number, "plain")
        heard.wait(page, lambda h: len(h.told) == 3, seconds=60)
        page.wait_for_timeout(300)
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
