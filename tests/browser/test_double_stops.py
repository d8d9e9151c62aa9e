"""A double stop in the room: both notes are told, drawn and kept. TRUESTOP_SCREENSHOTS keeps the pictures."""

from __future__ import annotations

import os
import re
import sqlite3
from pathlib import Path

import numpy as np
import pytest

from browser.harness import RATE_HZ, RunningRoom, play, write_wav
from browser.steps import allow_microphone, drawn, overhear, practise
from truestop.adapters.score.reading import read_score
from truestop.app.mainjob import Setup, expect, take_in_hand
from truestop.sounding.takes import PlayedAttempt, render_take

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.timeout(200)]
HAWSERS = """X:1
T:Two Hawsers
M:4/4
L:1/4
K:C
V:1 name="Violin"
[!1!B!2!g]2 [!1!e!2!c']2 | [!1!B!2!g]4 |]
"""
LOWER, UPPER = 4.0, 31.0


def played() -> np.ndarray:
    """The first shift, the lower note true and the upper one high."""
    in_hand = take_in_hand(read_score(HAWSERS.encode(), name="hawsers.abc", family="violin"), Setup(family="violin"))
    expected = expect(in_hand, in_hand.shift(1), stage="plain")
    assert expected.upper_departure is not None
    assert expected.upper_arrival is not None
    voices = [
        render_take(
            [PlayedAttempt(landing_cents=landing, arrival_s=1.3)], departure_hz=departure.hz, arrival_hz=arrival.hz,
            rng=np.random.default_rng(seed), family="violin", sample_rate_hz=RATE_HZ,
        ).samples
        for seed, (landing, departure, arrival) in enumerate(
            [(LOWER, expected.departure, expected.arrival), (UPPER, expected.upper_departure, expected.upper_arrival)]
        )
    ]  # fmt: skip
    return np.asarray(0.5 * (voices[0] + voices[1]), dtype=np.float32)


def test_both_notes_are_told_drawn_and_kept(room: RunningRoom, tmp_path: Path) -> None:
    score = tmp_path / "hawsers.abc"
    score.write_text(HAWSERS, encoding="utf-8")
    wav = write_wav(tmp_path / "mic.wav", played(), lead_s=0.5)
    with overhear(room, script="localStorage.setItem('truestop.by-itself', 'false')") as (page, heard):
        allow_microphone(page)
        page.get_by_role("button", name="Straight to the music").click()
        page.locator("input[type=file]").set_input_files(score)
        page.locator(".shifts li").first.wait_for()
        practise(page, 1, "plain")
        play(page, wav)
        heard.wait(page, lambda h: bool(h.told))
        assert heard.told == ["high"]
        line = page.locator(".cue-line", has_text="C6")
        line.wait_for()
        assert re.fullmatch(r"E5 [345] cents high, C6 3[0-3] cents high", line.inner_text())
        page.locator(".now .mark").nth(1).wait_for()
        assert page.locator(".now .mark").count() == 2
        assert page.locator(".now text").all_text_contents() == ["E5", "C6"]
        for size, (width, height) in {"phone": (390, 844), "tablet": (1024, 768)}.items():
            with page.expect_response(lambda answer: "/stages/" in answer.url) as engraved:
                page.set_viewport_size({"width": width, "height": height})
            engraved.value.finished()
            drawn(page)
            if folder := os.environ.get("TRUESTOP_SCREENSHOTS"):
                page.screenshot(path=Path(folder) / f"double-stop-{size}.png")
            assert page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") <= 0
        page.get_by_role("button", name="End").click()
        page.get_by_role("heading", name="The record").wait_for()
        heard.wait(page, lambda h: bool(h.of("kept")), seconds=90)
        assert not heard.problems
    with sqlite3.connect(room.home / "record.sqlite") as record:
        notes = [row[0] for row in record.execute("SELECT notes FROM attempt")]
    record.close()
    assert notes
    assert all('"verdict":"true"' in note and '"verdict":"high"' in note for note in notes)
