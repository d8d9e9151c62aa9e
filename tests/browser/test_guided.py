"""A first-time player is led; the player's choices on the page; the click's latency; every shift of the passage."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest

from browser.conftest import Samples, Study
from browser.harness import RATE_HZ, RunningRoom, open_page, write_wav
from browser.steps import Overheard, allow_microphone, go_to, recorded_at, to_practice
from browser.test_practice import HIGH, LEAD_S, TRUE, performed, sung

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.timeout(300)]
LOOP_S = 0.180
#: The page's own clicks come back as its microphone, SECONDS late, as through a loudspeaker and the air.
LOOPBACK = """
const far = () => (window.__far ??= new AudioContext());
const heard = () => (window.__heard ??= new MediaStreamAudioDestinationNode(far()));
navigator.mediaDevices.getUserMedia = async () => { await far().resume(); return heard().stream; };
const connect = AudioNode.prototype.connect;
AudioNode.prototype.connect = function (to, ...rest) {
  if (to === this.context.destination && this.context !== far()) {
    const out = (this.context.__out ??= loop(this.context));
    connect.call(this, out);
  }
  return connect.call(this, to, ...rest);
};
function loop(context) {
  const out = new MediaStreamAudioDestinationNode(context);
  const back = new MediaStreamAudioSourceNode(far(), { mediaStream: out.stream });
  connect.call(connect.call(back, new DelayNode(far(), { delayTime: SECONDS, maxDelayTime: 1 })), heard());
  return out;
}
"""


def silence(seconds: float) -> Samples:
    return np.zeros(round(seconds * RATE_HZ), dtype=np.float32)


def test_a_first_time_player_is_led_to_the_first_judged_landing(
    room: RunningRoom, study: Study, tmp_path: Path
) -> None:
    """Open strings, the arrival sung and settled, the guide: the hands only play. Timed from the open door."""
    strings = [sung(study.in_hand.intonation.open_string_hz(number) * 2 ** (3 / 1200), 1.5) for number in (2, 3, 4, 1)]
    tuning = [piece for each in strings for piece in (each, silence(0.4))]
    arrival = sung(study.expectation().arrival.hz * 2 ** (5 / 1200), 1.2)
    settling = [piece for _ in range(26) for piece in (arrival, silence(0.5))]
    guiding = [study.play(TRUE, HIGH, TRUE, stage="guide", seed=3)]
    sound = np.concatenate([*tuning, *tuning, silence(2.0), *settling, silence(2.0), *guiding])
    wav = write_wav(tmp_path / "mic.wav", sound, lead_s=2.0)
    with open_page(room, wav, profile=tmp_path / "profile") as page:
        heard = Overheard(page)
        page.reload()
        began = time.monotonic()
        page.get_by_role("button", name="Allow the microphone").click()
        page.get_by_role("button", name="Tune the strings").click()
        heard.wait(page, lambda h: len({m["string"] for m in h.of("string")}) == 4, seconds=40)
        page.get_by_role("button", name="Use my strings as they are").click()
        page.get_by_role("button", name="Open the study").click()
        page.get_by_role("button", name=f"Practise shift {study.number}", exact=True).click()
        heard.wait(page, lambda h: bool(h.of("landing")), seconds=100)
        took_s = time.monotonic() - began
        assert took_s < 120, f"{took_s:.0f} s from the open door to the first landing"
        stages = [message["stage"] for message in heard.of("practice")]
        assert [stage for i, stage in enumerate(stages) if stage not in stages[:i]][:4] == [
            "name", "hear", "settle", "guide",
        ]  # fmt: skip
        heard.wait(page, lambda h: len(h.told) > 6 and h.told[-1] == "high", seconds=20)
        page.keyboard.press("Escape")
        page.get_by_text("Stage practice:").wait_for()
        assert not heard.problems
    kept = [(stage, verdict) for stage, verdict, _, _ in recorded_at(room)]
    assert kept.count(("hear", "true")) == 2
    assert kept.count(("settle", "true")) == 3
    assert [verdict for stage, verdict in kept if stage == "guide"][:2] == ["true", "high"]


def test_another_exercise_of_the_stage_is_one_choice_away(
    shared_room: RunningRoom, study: Study, tmp_path: Path
) -> None:
    """Another way of the stage brings its own words and notes, and stays chosen when the run begins again."""
    wav = write_wav(tmp_path / "mic.wav", silence(1.0))
    with open_page(shared_room, wav, profile=tmp_path / "profile") as page:
        heard = Overheard(page)
        page.reload()
        to_practice(page, study.number, "in time", sound=False)
        choice = page.get_by_label("Exercise")
        engraved = page.locator(".stave .engraved > svg")
        before = engraved.inner_html()
        choice.locator("option").nth(4).wait_for(state="attached")
        choice.select_option("new bow")
        page.locator(".cue-line", has_text="Change the bow, then travel.").wait_for()
        assert engraved.inner_html() != before
        page.keyboard.press("PageUp")
        page.wait_for_timeout(200)
        assert choice.input_value() == "new bow"
        assert [m["way"] for m in heard.of("practice")][-1] == "new bow"
        go_to(page, "plain")
        page.get_by_label("Exercise").wait_for(state="detached")


def test_string_length_and_numbering_are_chosen_on_the_page(room: RunningRoom, study: Study, tmp_path: Path) -> None:
    wav = write_wav(tmp_path / "mic.wav", silence(1.0))
    with open_page(room, wav, profile=tmp_path / "profile") as page:
        allow_microphone(page)
        page.get_by_role("button", name="Straight to the music").click()
        length = page.get_by_label("String length")
        assert length.get_attribute("placeholder") == "328"
        length.fill("320")
        length.blur()
        page.get_by_role("button", name="Open the study").click()
        page.locator(".shifts li").first.wait_for()
        page.get_by_role("button", name="Music", exact=True).click()
        assert page.evaluate("fetch('/api/start').then((a) => a.json()).then((s) => s.settings.length_mm)") == 320
        length.fill("12")
        length.blur()
        page.get_by_text("12 mm is out of range").wait_for()
        assert page.get_by_label("Positions are numbered").count() == 0
        page.get_by_label("Instrument").select_option("cello")
        page.get_by_label("Positions are numbered").wait_for()
        assert length.get_attribute("placeholder") == "690"
        page.get_by_label("String, finger, note").fill("I 1 B3 > I 1 C#4")
        page.get_by_role("button", name="Make it").click()
        page.locator(".shifts li", has_text="upper 2nd").wait_for()
        lower_upper = page.locator(".shifts").inner_text()
        page.get_by_role("button", name="Music", exact=True).click()
        page.get_by_label("Positions are numbered").select_option("major-scale")
        page.wait_for_timeout(500)
        page.get_by_role("button", name="Passage", exact=True).click()
        assert page.locator(".shifts").inner_text() != lower_upper


def test_the_room_measures_the_latency_of_its_click(shared_room: RunningRoom, study: Study, tmp_path: Path) -> None:
    """Eight clicks come back 180 ms late: that is measured, and the beats that the judge is told move by it."""
    wav = write_wav(tmp_path / "mic.wav", silence(1.0))
    with open_page(shared_room, wav, profile=tmp_path / "profile") as page:
        heard = Overheard(page)
        page.add_init_script(LOOPBACK.replace("SECONDS", str(LOOP_S)))
        page.reload()
        to_practice(page, study.number, "in time", sound=False)
        page.get_by_role("button", name="Measure latency").click()
        page.get_by_role("button", name="Measure it").click()
        page.get_by_text("clicks,").wait_for(timeout=20_000)
        latency_ms = float(page.get_by_label("Latency of click and microphone").input_value())
        assert 1000 * LOOP_S <= latency_ms <= 1000 * LOOP_S + 120, "the loop itself, and the browser's two buffers"
        page.get_by_role("button", name="Measure it").click()
        page.get_by_text("Eight clicks").wait_for()
        page.get_by_text("clicks,").wait_for(timeout=20_000)
        again_ms = float(page.get_by_label("Latency of click and microphone").input_value())
        assert again_ms == pytest.approx(latency_ms, abs=10)
        page.get_by_role("button", name="Done").click()
        assert page.get_by_role("button", name="Measure latency").count() == 0
        assert page.locator(".stages button[title='in time'][aria-current=step]").count() == 1
        assert not heard.problems


def test_clicks_that_are_not_heard_are_said(shared_room: RunningRoom, study: Study, tmp_path: Path) -> None:
    wav = write_wav(tmp_path / "mic.wav", silence(1.0))
    with open_page(shared_room, wav, profile=tmp_path / "profile") as page:
        to_practice(page, study.number, "in time")
        page.get_by_role("button", name="How").click()
        page.get_by_role("button", name="Measure it").click()
        page.get_by_text("The clicks were not heard clearly.").wait_for(timeout=20_000)
        assert page.evaluate("localStorage.getItem('truestop.latency')") in (None, "null")


def test_every_shift_of_the_passage_is_marked_where_it_was_played(
    room: RunningRoom, study: Study, tmp_path: Path
) -> None:
    """The bars around the shift twice in tempo, its arrival 30 cents high and then in place: told with its neighbours
    at each pause, and the later mark in the place of the earlier one."""
    shift = study.in_hand.shift(study.number)
    first, second = (performed(study, shift.arrival_step, cents, beats=16) for cents in (30.0, 2.0))
    sound = np.concatenate([first, silence(2.5), second])
    wav = write_wav(tmp_path / "mic.wav", sound, lead_s=LEAD_S, tail_s=4.0)
    fine = {"true", "early", "late", "unjudged"}
    with open_page(room, wav, profile=tmp_path / "profile") as page:
        heard = Overheard(page)
        page.add_init_script("localStorage.setItem('truestop.by-itself', 'false')")
        page.reload()
        to_practice(page, study.number, "in the passage")
        heard.wait(page, lambda h: len(h.told) == 1, seconds=60)
        assert heard.told == ["high"]
        marks = heard.of("practice")[-1]["marks"]
        assert len(marks) >= 2
        assert list(marks.values()).count("high") == 1
        assert set(marks.values()) <= fine | {"high"}
        page.locator(".stave .sign").nth(len(marks) - 1).wait_for()
        heard.wait(page, lambda h: len(h.told) == 2, seconds=60)
        again = heard.of("practice")[-1]["marks"]
        assert set(again) == set(marks)
        assert set(again.values()) <= fine, "the high mark has given way"
        page.wait_for_timeout(200)
        assert page.locator(".stave .sign").count() == len(again)
        page.keyboard.press("Escape")
        heard.wait(page, lambda h: bool(h.of("kept")), seconds=20)
        assert not heard.problems
    kept = recorded_at(room)
    assert {stage for stage, *_ in kept} == {"in the passage"}
    assert len(kept) >= 2 * len(marks)


def test_the_room_by_https_has_microphone_and_socket(study: Study, tmp_path: Path) -> None:
    """As a phone opens it: the address of the code, a certificate that the browser had to be told to trust."""
    home = tmp_path / "home"
    home.mkdir()
    room = RunningRoom(home, address="127.0.0.1").start()
    wav = write_wav(tmp_path / "mic.wav", study.play(TRUE, HIGH), lead_s=LEAD_S)
    try:
        room.launch = next(line.split()[-1] for line in room.lines if line.startswith("For a phone or tablet"))
        with open_page(room, wav, profile=tmp_path / "profile") as page:
            heard = Overheard(page)
            page.reload()
            assert page.evaluate("[location.protocol, isSecureContext]") == ["https:", True]
            to_practice(page, study.number, "plain")
            heard.wait(page, lambda h: h.told == ["true", "high"], seconds=30)
            assert not heard.problems
    finally:
        room.stop()
    assert "Traceback" not in room.errors, room.errors
