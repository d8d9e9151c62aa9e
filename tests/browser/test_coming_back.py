"""The page is loaded anew in mid-practice: it offers to go on where it was, and no sound that it had sent is lost."""

from __future__ import annotations

from pathlib import Path

import pytest
import soundfile

from browser.conftest import Study
from browser.harness import RATE_HZ, RunningRoom, play, write_wav
from browser.steps import Overheard, overhear, recorded, shelved, to_practice, until
from browser.test_practice import HIGH, LEAD_S, LOW, TRUE

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.timeout(300)]
#: Seconds of sound that the browser has kept in its own database.
KEPT_S = """new Promise((done) => {
  const opening = indexedDB.open("truestop");
  opening.onsuccess = () => {
    const all = opening.result.transaction("sound").objectStore("sound").getAll();
    all.onsuccess = () => {
      opening.result.close();
      done(all.result.reduce((sum, each) => sum + (each.samples?.length ?? 0), 0) / RATE);
    };
  };
})"""


def test_a_page_that_is_loaded_anew_goes_on_where_it_was(room: RunningRoom, study: Study, tmp_path: Path) -> None:
    """Two attempts, a reload in the middle of the third: the run goes on, and the take before it is kept."""
    wav = write_wav(tmp_path / "mic.wav", study.play(TRUE, HIGH, TRUE, LOW), lead_s=LEAD_S)
    with overhear(room) as (page, heard):
        to_practice(page, study.number, "plain")
        play(page, wav)
        heard.wait(page, lambda h: len(h.told) >= 2)
        heard.go_on(page, 0.7)
        before = heard.of("ack")[-1]
        page.reload()
        heard.wait(page, lambda h: bool(h.of("kept")), seconds=120)
        (take,) = shelved(room)
        assert soundfile.info(take).frames >= before["frames"]
        told = [each["verdict"] for each in heard.of("practice")[-1]["run"]]
        assert told[:2] == ["true", "high"]
        offer = page.get_by_role("region", name="Where you were")
        offer.locator(".run li").nth(len(told) - 1).wait_for()
        assert [text.split(":")[0] for text in offer.locator(".run li").all_inner_texts()] == told
        assert f"shift {study.number}" in offer.inner_text()
        assert "Stage plain" in offer.inner_text()
        offer.get_by_role("button", name=f"Go on with shift {study.number}").click()
        page.locator(".stages button[title=plain][aria-current=step]").wait_for()
        page.locator(".where .mark").nth(1).wait_for()
        assert page.get_by_text("in a row").is_visible()
        heard.wait(page, lambda h: len(h.takes) == 2)
        play(page, wav)
        heard.wait(page, lambda h: len(h.of("practice")[-1]["run"]) > len(told))
        run = [each["verdict"] for each in heard.of("practice")[-1]["run"]]
        assert run[: len(told) + 1] == [*told, "true"]
        page.keyboard.press("Escape")
        page.get_by_role("heading", name="The record").wait_for()
        heard.wait(page, lambda h: len(h.of("kept")) == 2, seconds=120)
        assert not heard.problems
        page.reload()
        page.get_by_role("button", name="Allow the microphone").wait_for()
        heard.wait(page, lambda h: len(h.of("welcome")) == 3)
        assert [message["unfinished"] is None for message in heard.of("welcome")] == [True, False, True]
        assert page.get_by_text("Where you were").count() == 0
    assert len(shelved(room)) == 2


def test_sound_that_waited_for_a_dead_server_outlives_its_tab(room: RunningRoom, study: Study, tmp_path: Path) -> None:
    """The server is killed, two attempts are played to nobody, the tab is closed; a new tab hands their sound in."""
    wav = write_wav(tmp_path / "mic.wav", study.play(TRUE, HIGH, TRUE, HIGH, TRUE, HIGH), lead_s=LEAD_S)
    with overhear(room) as (page, heard):
        to_practice(page, study.number, "plain")
        play(page, wav)
        heard.wait(page, lambda h: len(h.told) >= 2)
        acknowledged = heard.of("ack")[-1]["frames"]
        room.kill()
        page.get_by_text("The room's server is gone.").wait_for()
        until(page, f"{KEPT_S.replace('RATE', str(RATE_HZ))}.then((kept) => kept > 5)")
        context, home = page.context, page.url
        page.close()
        room.start()
        page = context.new_page()
        after = Overheard(page)
        page.goto(home)
        page.get_by_role("region", name="Where you were").wait_for()
        after.wait(page, lambda h: bool(h.of("kept")), seconds=150)
        assert not after.of("trouble")
        (take,) = shelved(room)
        assert soundfile.info(take).frames > acknowledged + 5 * RATE_HZ
        verdicts = [verdict for verdict, _, _ in recorded(room)]
        assert len(verdicts) > 2
        assert verdicts[:4] == ["true", "high", "true", "high"][: len(verdicts)]
        run = [each["verdict"] for each in after.of("practice")[-1]["run"]]
        assert run == verdicts[: len(run)]
        assert len(run) > 2
