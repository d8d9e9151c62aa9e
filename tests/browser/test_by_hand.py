"""From the door to the practice by keys alone; the music as a player brings it; the server gone at the worst moment."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from playwright.sync_api import Page

from browser.harness import RunningRoom, open_page
from browser.steps import allow_microphone, drawn, open_study, overhear, practise, until

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.timeout(200)]
ONE_PLACE = "X:1\nT:One place\nM:4/4\nL:1/4\nK:D\n!0!D!1!E!2!F!3!G|!0!A!1!B!2!c!3!d|]\n"
FOR_VIOLA = "X:1\nT:Alto\nM:4/4\nL:1/4\nK:F clef=alto\n!1!F!2!G!3!A!1!e|!2!f!3!g!1!B2|]\n"
FOCUSED = "document.activeElement.textContent"


def focused(page: Page, text: str) -> None:
    """Let the page live until the focus is on what has this text: a screen's heading gets it once it is drawn."""
    until(page, f"{FOCUSED} === {json.dumps(text)}")


def open_file(page: Page, path: Path) -> None:
    page.get_by_role("button", name="Music", exact=True).click()
    page.get_by_role("heading", name="Choose the music").wait_for()
    page.locator("input[type=file]").set_input_files(path)
    page.locator("main.passage").wait_for()


def test_keys_alone_lead_to_the_practice(shared_room: RunningRoom) -> None:
    """Every screen begins at its heading, for a reader's voice and for the next Tab; the microphone is asked for where
    it is needed."""
    with open_page(shared_room) as page:
        page.get_by_role("button", name="Music", exact=True).focus()
        page.keyboard.press("Enter")
        focused(page, "Choose the music")
        assert page.title() == "Music – truestop"
        page.keyboard.press("Tab")
        assert page.evaluate(FOCUSED) == "Open the study"
        page.keyboard.press("Enter")
        page.locator(".shifts li").first.wait_for()
        title = page.locator("main.passage h1").inner_text()
        focused(page, title)
        page.keyboard.press("Tab")
        assert "The music" in page.evaluate("document.activeElement.ariaLabel")
        cards = page.evaluate("fetch('/api/start').then((a) => a.json()).then((s) => s.passages)")
        (study,) = [card for card in cards if card["title"] == title]
        assert page.locator(".shifts li").count() == study["shifts"]
        for _ in range(2):
            page.keyboard.press("ArrowRight")
            drawn(page)
        page.locator(".engraved .touched").wait_for()
        first = page.locator(".stop-panel").inner_text()
        page.keyboard.press("ArrowLeft")
        until(page, f"document.querySelector('.stop-panel').innerText !== {json.dumps(first)}")
        page.keyboard.press("ArrowRight")
        page.get_by_role("button", name="Practise shift 1 now").wait_for()
        page.keyboard.press("Tab")
        assert page.evaluate(FOCUSED) == "Practise shift 1 now"
        page.keyboard.press("Enter")
        page.locator(".stages").wait_for()
        until(page, "document.activeElement.tagName === 'H1'")
        page.keyboard.press("Escape")
        page.get_by_role("heading", name="The record").wait_for()
        page.get_by_text("Slack Water").wait_for()


def test_the_music_that_a_player_brings(shared_room: RunningRoom, tmp_path: Path) -> None:
    """No shifts, other bars of the same file, a part for another instrument."""
    place, alto = tmp_path / "place.abc", tmp_path / "alto.abc"
    place.write_text(ONE_PLACE, encoding="utf-8")
    alto.write_text(FOR_VIOLA, encoding="utf-8")
    with open_page(shared_room, size=(390, 844)) as page:
        open_file(page, place)
        page.get_by_text("No shift: the hand stays where it is.").wait_for()
        assert page.get_by_role("heading", name="Shifts").count() == 0
        assert page.get_by_role("button", name="Play it through").count() == 0
        page.locator("main.passage g.note").first.wait_for()
        notes = page.locator("main.passage g.note").count()
        page.get_by_role("button", name="Music", exact=True).click()
        page.get_by_label("Bars").fill("2")
        page.locator("input[type=file]").set_input_files(place)
        page.locator("main.passage g.note").first.wait_for()
        assert 0 < page.locator("main.passage g.note").count() < notes
        open_file(page, alto)
        page.get_by_text("for viola. Touch a note").wait_for()
        page.get_by_text("the room is set to violin").wait_for()
        page.evaluate("window.scrollTo(0, 9999)")
        assert page.evaluate("window.scrollY") > 0
        page.get_by_role("button", name="Practise shift 1", exact=True).click()
        page.locator(".stages").wait_for()
        until(page, "window.scrollY === 0")


def test_the_record_of_another_passage_forgets_the_shift_practised_last(shared_room: RunningRoom) -> None:
    with open_page(shared_room) as page:
        allow_microphone(page)
        open_study(page)
        practise(page, 2)
        page.keyboard.press("Escape")
        page.get_by_role("heading", name="Shift 2:").wait_for()
        page.get_by_role("button", name="Music", exact=True).click()
        page.get_by_label("String, finger, note").fill("A 1 B4 > A 3 F#5")
        page.get_by_role("button", name="Make it").click()
        page.get_by_text("1 shift for violin").wait_for()
        page.get_by_role("button", name="Record", exact=True).click()
        page.get_by_role("heading", name="Shift 1: untried").wait_for()
        assert page.get_by_text("There is no shift").count() == 0


def test_practice_begins_and_ends_whether_or_not_the_server_is_there(room: RunningRoom) -> None:
    with overhear(room) as (page, heard):
        heard.wait(page, lambda h: bool(h.of("welcome")))
        allow_microphone(page)
        open_study(page)
        room.kill()
        gone = page.get_by_text("The room's server is gone.")
        gone.wait_for()
        page.get_by_role("button", name="Practise shift 2", exact=True).click()
        page.get_by_text("Practice cannot begin without the server.").wait_for()
        assert page.locator("main.passage").is_visible()
        room.start()
        gone.wait_for(state="detached")
        practise(page, 2, "plain")
        page.locator(".stave .engraved > svg").wait_for()
        room.kill()
        gone.wait_for()
        page.keyboard.press("Escape")
        page.get_by_role("heading", name="The record").wait_for()
        assert page.get_by_role("row").count() == 0
        room.start()
        gone.wait_for(state="detached")
        page.get_by_role("row").nth(1).wait_for()
        page.get_by_role("button", name="Practise this shift").click()
        page.locator(".stages button[title=name][aria-current=step]").wait_for()
