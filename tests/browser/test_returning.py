"""There and back in the room: both landings are told, drawn and kept, and ``truestop judge`` gives the same."""

from __future__ import annotations

from pathlib import Path

import pytest

from browser.conftest import Study
from browser.harness import RATE_HZ, RunningRoom, play, write_wav
from browser.steps import overhear, recorded, shelved, to_practice
from there_and_back import play_there_and_back
from truestop.adapters.audio.files import open_take
from truestop.app.hearing import Asked, hear_take

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.timeout(200)]
PLAYED = [(-33.0, 5.0), (3.0, 31.0)]


def test_both_ways_are_told_drawn_and_kept(room: RunningRoom, study: Study, tmp_path: Path) -> None:
    """The files know nothing of the click, so that any arrival may be late or early: high and low come before that."""
    rounds = [
        write_wav(tmp_path / f"{number}.wav", play_there_and_back(study.expectation(), [pair], rate_hz=RATE_HZ))
        for number, pair in enumerate(PLAYED)
    ]
    with overhear(room, script="localStorage.setItem('truestop.by-itself', 'false')") as (page, heard):
        to_practice(page, study.number, "in time")
        page.get_by_label("Exercise").select_option("return")
        page.locator(".cue-line", has_text="both landings count").wait_for()
        heard.wait(page, lambda h: len([m for m in h.sent if m["type"] == "beats"]) == 2)
        play(page, rounds[0])
        heard.wait(page, lambda h: bool(h.told))
        page.locator(".now .mark").nth(1).wait_for()
        assert page.locator(".now .mark").count() == 2
        assert page.locator(".now text").all_text_contents() == ["there", "back"]
        page.locator(".cue-word", has_text="low there").wait_for()
        page.locator(".cue-line", has_text="back 5 cents high").wait_for()
        play(page, rounds[1])
        heard.wait(page, lambda h: len(h.told) == 2)
        told = heard.of("told")
        landings = [[one["legs"][leg]["landing_cents"] for leg in ("there", "back")] for one in told]
        assert landings == [pytest.approx(list(pair), abs=1.5) for pair in PLAYED]
        assert [(one["verdict"], one["leg"]) for one in told] == [("low", "there"), ("high", "back")]
        assert [each["leg"] for each in heard.of("landing")] == ["there", "back"] * 2
        page.locator(".cue-word", has_text="Step back").wait_for()
        page.keyboard.press("Escape")
        heard.wait(page, lambda h: bool(h.of("kept")), seconds=90)
        page.get_by_text("in time, back").first.wait_for()
        assert not heard.problems
    kept = [landing for _, landing, _ in recorded(room)]
    assert kept == pytest.approx([cents for pair in landings for cents in pair], abs=0.01)
    (take,) = shelved(room)
    shift = study.in_hand.shift(study.number)
    asked = Asked(in_hand=study.in_hand, shift=shift, stage="in time", and_back=True)
    again = [one.landing_cents for one in hear_take(take, asked, read=open_take).attempts]
    assert again == pytest.approx(kept, abs=1.0)
