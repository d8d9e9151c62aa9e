"""A first-time player is led; the player's choices on the page; the click's latency; every shift of the passage."""

from __future__ import annotations

import contextlib
import re
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import Page

from browser.conftest import Samples, Study
from browser.harness import RATE_HZ, RunningRoom, open_page, play, write_wav
from browser.steps import Message, Overheard, allow_microphone, drawn, go_to, overhear, recorded_at, to_practice
from browser.test_practice import HIGH, LEAD_S, TRUE, performed, sung

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.timeout(300)]
LOOP_S = 0.180
#: The page's own clicks come back as its microphone, SECONDS late, as through a loudspeaker and the air. The browser's
#: buffers add their own part, which grows where a busy machine lets one run dry: so what leaves and what comes back is
#: written down side by side on the page's own clock (frame, what left, what came), and the lag in it is the truth.
LOOPBACK = """
const far = () => (window.__far ??= new AudioContext());
const heard = () => (window.__heard ??= new MediaStreamAudioDestinationNode(far()));
navigator.mediaDevices.getUserMedia = async () => { await far().resume(); return heard().stream; };
const connect = AudioNode.prototype.connect;
AudioNode.prototype.connect = function (to, ...rest) {
  if (to === this.context.destination && this.context !== far()) connect.call(this, loop(this.context).out);
  return connect.call(this, to, ...rest);
};
const open = AudioContext.prototype.createMediaStreamSource;
AudioContext.prototype.createMediaStreamSource = function (stream) {
  const back = open.call(this, stream);
  connect.call(back, loop(this).pair, 0, 1);
  return back;
};
window.__loop = [];
const BESIDE = `
registerProcessor("beside", class extends AudioWorkletProcessor {
  process([[left, came]]) {
    if (left && [left, came].some((side) => side.some((value) => Math.abs(value) > 1e-4)))
      this.port.postMessage([currentFrame, Array.from(left), Array.from(came)]);
    return true;
  }
});
`;
function loop(context) {
  if (context.__loop) return context.__loop;
  const out = new GainNode(context);
  const pair = new ChannelMergerNode(context, { numberOfInputs: 2 });
  const away = new MediaStreamAudioDestinationNode(context);
  connect.call(out, away);
  connect.call(out, pair, 0, 0);
  const back = new MediaStreamAudioSourceNode(far(), { mediaStream: away.stream });
  connect.call(connect.call(back, new DelayNode(far(), { delayTime: SECONDS, maxDelayTime: 1 })), heard());
  context.audioWorklet.addModule(URL.createObjectURL(new Blob([BESIDE], { type: "text/javascript" }))).then(() => {
    const beside = new AudioWorkletNode(context, "beside", { channelCount: 2, channelCountMode: "explicit" });
    beside.port.onmessage = (event) => window.__loop.push(event.data);
    connect.call(connect.call(pair, beside), context.destination);
  });
  return (context.__loop = { out, pair });
}
"""


def lag_of_the_loop_ms(page: Page) -> float:
    """How much later the last eight clicks came back than they left, in ms, each by its correlation."""
    rate, blocks = page.evaluate("[window.__far.sampleRate, window.__loop.splice(0)]")
    frames = [frame for frame, _, _ in blocks]
    sound = np.zeros((2, frames[-1] - frames[0] + len(blocks[-1][1])))
    for frame, left, came in blocks:
        sound[:, frame - frames[0] : frame - frames[0] + len(left)] = left, came
    loud = np.flatnonzero(np.abs(sound[0]) > 1e-3)
    begun = loud[np.diff(loud, prepend=-rate) > rate // 5]
    lags = []
    for start in begun[-8:]:
        left = sound[0, start : start + rate // 20]
        lags.append(int(np.argmax(np.correlate(sound[1, start : start + rate // 2], left))))
    return 1000 * float(np.median(lags)) / rate


def silence(seconds: float) -> Samples:
    return np.zeros(round(seconds * RATE_HZ), dtype=np.float32)


def test_a_first_time_player_is_led_to_the_first_judged_landing(
    room: RunningRoom, study: Study, tmp_path: Path
) -> None:
    """Open strings, the arrival sung and settled, the guide: the hands only play. Timed from the open door."""
    strings = [sung(study.in_hand.intonation.open_string_hz(number) * 2 ** (3 / 1200), 1.5) for number in (2, 3, 4, 1)]
    arrival = [sung(study.expectation().arrival.hz * 2 ** (5 / 1200), 1.2), silence(0.5)]
    sounds = {
        "strings": np.concatenate([piece for each in strings for piece in (each, silence(0.4))]),
        "hear": np.concatenate(2 * arrival),
        "settle": np.concatenate(3 * arrival),
        "guide": study.play(TRUE, HIGH, stage="guide", seed=3),
    }
    wavs = {name: write_wav(tmp_path / f"{name}.wav", sound, lead_s=LEAD_S) for name, sound in sounds.items()}
    with overhear(room) as (page, heard):
        began = time.monotonic()
        page.get_by_role("button", name="Allow the microphone").click()
        page.get_by_role("button", name="Tune the strings").click()
        heard.wait(page, lambda h: any(m["type"] == "take-open" for m in h.sent))
        play(page, wavs["strings"])
        page.locator(".strings li.heard").nth(3).wait_for()
        page.get_by_role("button", name="Use my strings as they are").click()
        page.get_by_role("button", name="Open the study").click()
        page.get_by_role("button", name=f"Practise shift {study.number}", exact=True).click()
        for stage in ("hear", "settle", "guide"):
            heard.wait(page, lambda h, stage=stage: listens(h, stage), seconds=120)  # type: ignore[misc]
            play(page, wavs[stage])
        heard.wait(page, lambda h: bool(h.of("landing")))
        took_s = time.monotonic() - began
        assert took_s < 120, f"{took_s:.0f} s from the open door to the first landing"
        stages = [message["stage"] for message in heard.of("practice")]
        assert [stage for i, stage in enumerate(stages) if stage not in stages[:i]][:4] == [
            "name", "hear", "settle", "guide",
        ]  # fmt: skip
        heard.wait(page, lambda h: len(h.told) == 7)
        assert heard.told == 6 * ["true"] + ["high"]
        assert_counted_down(page.evaluate("window.__cues"))
        page.keyboard.press("Escape")
        heard.wait(page, lambda h: len(h.of("kept")) >= 3, seconds=120)
        page.get_by_text("Stage practice:").wait_for()
        assert not heard.problems
    kept = [(stage, verdict) for stage, verdict, _, _ in recorded_at(room)]
    assert kept.count(("hear", "true")) == 2
    assert kept.count(("settle", "true")) == 3
    assert [verdict for stage, verdict in kept if stage == "guide"] == ["true", "high"]


def listens(heard: Overheard, stage: str) -> bool:
    """Whether the page sends what is played at this stage."""
    return any(m["type"] == "take-open" and m.get("about", {}).get("stage") == stage for m in heard.sent)


def assert_counted_down(cues: list[list[str | None]]) -> None:
    """The seconds until the first stage went on were seen to fall; a reader's voice was given the first of them alone.

    On a machine that is busy some of them are skipped.
    """
    read = [cue for cue in cues if cue[0] == "Read" and cue[3]]
    seconds = [int(timer.split()[-2]) for *_, timer in read if timer]
    assert seconds == sorted(seconds, reverse=True)
    assert len(set(seconds)) >= 3
    assert max(seconds) <= 8
    (said,) = {spoken for _, _, spoken, _ in read if spoken}
    assert said is not None
    assert re.search(r"Goes on in 8 seconds\.$", said)


def test_another_exercise_of_the_stage_is_one_choice_away(shared_room: RunningRoom, study: Study) -> None:
    """Another way of the stage brings its own words and notes, and stays chosen when the run begins again."""
    with overhear(shared_room) as (page, heard):
        to_practice(page, study.number, "in time")
        choice = page.get_by_label("Exercise")
        engraved = page.locator(".stave .engraved[aria-label^='In time'] > svg")
        choice.locator("option").nth(4).wait_for(state="attached")
        drawn(page)
        before = engraved.inner_html()
        choice.select_option("new bow")
        page.locator(".cue-line", has_text="Change the bow, then travel.").wait_for()
        drawn(page)
        assert engraved.inner_html() != before
        moment = heard.of("practice")[-1]["moment"]
        page.keyboard.press("PageUp")
        heard.wait(page, lambda h: h.of("practice")[-1]["moment"] > moment)
        drawn(page)
        assert choice.input_value() == "new bow"
        assert [m["way"] for m in heard.of("practice")][-1] == "new bow"
        go_to(page, "plain")
        page.get_by_label("Exercise").wait_for(state="detached")


def test_string_length_and_numbering_are_chosen_on_the_page(room: RunningRoom) -> None:
    with open_page(room) as page:
        allow_microphone(page)
        page.get_by_role("button", name="Straight to the music").click()
        length = page.get_by_label("String length")
        assert length.get_attribute("placeholder") == "328"
        length.fill("320")
        with answered(page, "/api/settings"):
            length.blur()
        page.get_by_role("button", name="Open the study").click()
        page.locator(".shifts li").first.wait_for()
        with answered(page, "/api/start"):
            page.get_by_role("button", name="Music", exact=True).click()
        assert page.evaluate("fetch('/api/start').then((a) => a.json()).then((s) => s.settings.length_mm)") == 320
        assert length.input_value() == "320"
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
        with answered(page, "/api/start"):
            page.get_by_role("button", name="Music", exact=True).click()
        with answered(page, "/api/passages/"):
            page.get_by_label("Positions are numbered").select_option("major-scale")
        page.get_by_role("button", name="Passage", exact=True).click()
        page.locator(".shifts li").first.wait_for()
        assert page.locator(".shifts").inner_text() != lower_upper


@contextlib.contextmanager
def answered(page: Page, path: str) -> Iterator[None]:
    """What is done within asks the server for this, and the page has made of the answer what it makes of it."""
    with page.expect_response(lambda answer: path in answer.url) as answer:
        yield
    answer.value.finished()
    drawn(page)


def test_the_room_measures_the_latency_of_its_click(shared_room: RunningRoom, study: Study) -> None:
    """Eight clicks come back 180 ms and the browser's buffers late: the page says how late they were, each time."""
    script = LOOPBACK.replace("SECONDS", str(LOOP_S))
    with overhear(shared_room, script=script, bypass_csp=True) as (page, heard):
        to_practice(page, study.number, "in time")
        page.get_by_role("button", name="Measure latency").click()
        for number in range(2):
            heard.wait(page, lambda h, number=number: len(counts(h)) == 1 + number)  # type: ignore[misc]
            page.evaluate("window.__loop.splice(0)")
            page.get_by_role("button", name="Measure it").click()
            page.get_by_text("Eight clicks").wait_for()
            page.get_by_text("Heard 8 of 8 clicks,").wait_for()
            latency_ms = float(page.get_by_label("Latency of click and microphone").input_value())
            assert latency_ms >= 1000 * LOOP_S
            assert latency_ms == pytest.approx(lag_of_the_loop_ms(page), abs=2), "the onset is found to 1 ms"
        page.get_by_role("button", name="Done").click()
        assert page.get_by_role("button", name="Measure latency").count() == 0
        assert page.locator(".stages button[title='in time'][aria-current=step]").count() == 1
        assert not heard.problems


def counts(heard: Overheard) -> list[Message]:
    """The orders to count in: there is one when the stage begins, and one after each measurement."""
    return [message for message in heard.of("order") if message["order"] == "count"]


def test_clicks_that_are_not_heard_are_said(shared_room: RunningRoom, study: Study) -> None:
    with open_page(shared_room) as page:
        to_practice(page, study.number, "in time")
        page.get_by_role("button", name="How").click()
        page.get_by_role("button", name="Measure it").click()
        page.get_by_text("The clicks were not heard clearly.").wait_for()
        assert page.evaluate("localStorage.getItem('truestop.latency')") in (None, "null")


def test_every_shift_of_the_passage_is_marked_where_it_was_played(
    room: RunningRoom, study: Study, tmp_path: Path
) -> None:
    """The bars around the shift twice in tempo, its arrival 30 cents high and then in place: told with its neighbours
    at each pause, and the later mark in the place of the earlier one."""
    shift = study.in_hand.shift(study.number)
    first, second = (
        write_wav(tmp_path / f"{cents}.wav", performed(study, shift.arrival_step, cents, beats=16), lead_s=LEAD_S)
        for cents in (30.0, 2.0)
    )
    fine = {"true", "early", "late", "unjudged"}
    with overhear(room, script="localStorage.setItem('truestop.by-itself', 'false')") as (page, heard):
        to_practice(page, study.number, "in the passage")
        play(page, first)
        heard.wait(page, lambda h: len(h.told) == 1, seconds=120)
        assert heard.told == ["high"]
        marks = heard.of("practice")[-1]["marks"]
        assert len(marks) >= 2
        assert list(marks.values()).count("high") == 1
        assert set(marks.values()) <= fine | {"high"}
        page.locator(".stave .sign").nth(len(marks) - 1).wait_for()
        play(page, second)
        heard.wait(page, lambda h: len(h.told) == 2, seconds=120)
        again = heard.of("practice")[-1]["marks"]
        assert set(again) == set(marks)
        assert set(again.values()) <= fine, "the high mark has given way"
        drawn(page)
        assert page.locator(".stave .sign").count() == len(again)
        page.keyboard.press("Escape")
        heard.wait(page, lambda h: bool(h.of("kept")), seconds=120)
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
        with overhear(room) as (page, heard):
            assert page.evaluate("[location.protocol, isSecureContext]") == ["https:", True]
            to_practice(page, study.number, "plain")
            play(page, wav)
            heard.wait(page, lambda h: h.told == ["true", "high"])
            assert not heard.problems
    finally:
        room.stop()
    assert "Traceback" not in room.errors, room.errors
