"""Whole practices in a real Chromium, with a WAV file as microphone: the verdicts are those that were played."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest
import soundfile

from browser.conftest import Samples, Study
from browser.harness import RATE_HZ, RunningRoom, play, write_wav
from browser.steps import (
    Frames,
    Message,
    Overheard,
    allow_microphone,
    drawn,
    go_to,
    open_study,
    overhear,
    recorded,
    shelved,
    shown,
    to_practice,
    unplug,
)
from truestop.listening.judging import judge_take
from truestop.sounding.bowed import bow_envelope, sound_string
from truestop.sounding.takes import PlayedAttempt

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.timeout(300)]
LEAD_S = 0.5
PLAYED_BEATS = 18
SHORTEST_STRETCH = 200
QUANTUM = 128
TRUE = PlayedAttempt(landing_cents=4.0, departure_cents=1.0)
HIGH = PlayedAttempt(landing_cents=31.0)
LOW = PlayedAttempt(landing_cents=-33.0)
CORRECTED = PlayedAttempt(landing_cents=-29.0, correct_to_cents=1.0, correct_after_s=0.3, arrival_s=1.4)


#: The room waits half a minute for the own ear's word, not four seconds: a busy machine presses the pedal late.
PATIENT = """
const post = Worker.prototype.postMessage;
Worker.prototype.postMessage = function (data, ...rest) {
  const settings = data?.message?.settings;
  if (settings) settings.answer_s = 30;
  return post.call(this, data, ...rest);
};
"""


def test_from_a_clean_profile_to_kept_verdicts(room: RunningRoom, study: Study, tmp_path: Path) -> None:
    """True, high, low and corrected; the kept file through the file judge gives the same landings within 1 cent."""
    played = (TRUE, HIGH, TRUE, LOW, TRUE, CORRECTED, TRUE, HIGH, LOW)
    truth = ["true", "high", "true", "low", "true", "corrected", "true", "high", "low"]
    wav = write_wav(tmp_path / "mic.wav", study.play(*played), lead_s=LEAD_S)
    began = time.monotonic()
    with overhear(room) as (page, heard):
        to_practice(page, study.number, "plain")
        play(page, wav)
        heard.wait(page, lambda h: len(h.told) == 1, seconds=90)
        assert time.monotonic() - began < 120, "two minutes from start to the first judged landing"
        heard.wait(page, lambda h: len(h.told) == len(truth), seconds=120)
        assert heard.told == truth
        shown(page, "Step back")
        words = [word for word in page.evaluate("window.__words") if word]
        assert words == truth[: len(words)]
        assert len(words) >= len(truth) - 1, "every word but perhaps the last before the stop is shown"
        heard.wait(page, lambda h: bool(h.of("kept")), seconds=90)
        landings = [message["attempt"]["landing_cents"] for message in heard.of("told")]
        page.get_by_role("button", name="End").click()
        page.get_by_role("heading", name="The record").wait_for()
        assert not heard.problems
    kept = recorded(room)
    assert [verdict for verdict, _, _ in kept] == truth
    (take,) = shelved(room)
    samples, rate = soundfile.read(take, dtype="float32")
    again = judge_take(samples, rate, study.expectation())
    assert [attempt.verdict.value for attempt in again] == truth
    for live, (_, stored, _), attempt in zip(landings, kept, again, strict=True):
        assert stored == pytest.approx(live, abs=0.01)
        assert attempt.landing_cents == pytest.approx(live, abs=1.0)


def test_the_microphone_arrives_bit_by_bit(room: RunningRoom, study: Study, tmp_path: Path) -> None:
    wav = write_wav(tmp_path / "mic.wav", study.play(TRUE, HIGH, LOW), lead_s=LEAD_S)
    with overhear(room) as (page, heard):
        to_practice(page, study.number, "plain")
        play(page, wav)
        heard.wait(page, lambda h: bool(h.of("kept")), seconds=90)
    assert_part_of(shelved(room)[0], wav, heard)


def assert_part_of(take: Path, wav: Path, heard: Overheard) -> None:
    """The take is what the page sent, sample by sample, and that is the microphone's sound in order.

    A machine that is too busy makes the browser drop sound and give silence for it, sometimes without a word: only
    whole quanta of exact silence may part the stretches that come from the microphone.
    """
    kept, _ = soundfile.read(take, dtype="int16")
    whole, _ = soundfile.read(wav, dtype="int16")
    np.testing.assert_array_equal(kept, heard.sound_of(heard.of("kept")[-1]["take"])[: kept.size])
    compared, behind = 0, 0
    for piece in sounding_stretches(kept):
        at = find_piece(piece, whole, behind)
        np.testing.assert_array_equal(piece, whole[at : at + piece.size])
        compared, behind = compared + piece.size, at + piece.size
    assert compared > RATE_HZ


def sounding_stretches(sound: Frames) -> list[Frames]:
    """The sound cut at every silence of a quantum or more."""
    at = np.flatnonzero(sound)
    cuts = np.flatnonzero(np.diff(at) > QUANTUM)
    firsts, lasts = np.append(at[:1], at[cuts + 1]), np.append(at[cuts], at[-1:])
    pieces = [sound[first : last + 1] for first, last in zip(firsts, lasts, strict=True)]
    return [piece for piece in pieces if piece.size >= SHORTEST_STRETCH]


def find_piece(piece: Frames, whole: Frames, behind: int) -> int:
    """Where a piece of the take begins in the microphone's file, at or after ``behind``."""
    pattern = piece[:SHORTEST_STRETCH]
    for at in np.flatnonzero(whole[behind : whole.size - pattern.size] == pattern[0]) + behind:
        if np.array_equal(whole[at : at + pattern.size], pattern):
            return int(at)
    raise AssertionError("the take holds sound that the microphone never gave")


def test_a_killed_server_loses_nothing_and_the_page_goes_on(room: RunningRoom, study: Study, tmp_path: Path) -> None:
    truth = ["true", "high", "true", "low", "true", "high", "low"]
    by_word = {"true": TRUE, "high": HIGH, "low": LOW}
    wav = write_wav(tmp_path / "mic.wav", study.play(*(by_word[word] for word in truth)), lead_s=LEAD_S)
    with overhear(room) as (page, heard):
        to_practice(page, study.number, "plain")
        play(page, wav)
        heard.wait(page, lambda h: len(h.told) >= 2)
        heard.go_on(page, 0.9)
        acknowledged = heard.of("ack")[-1]
        room.kill()
        page.get_by_text("The room's server is gone.").wait_for()
        on_disk = room.home / "room" / "takes" / f"{acknowledged['take']}.wav"
        assert (on_disk.stat().st_size - 44) // 2 >= acknowledged["frames"]
        room.start()
        # It hears the take again, then what was played meanwhile: 7 s at a load of 5, 17 and 25 s beside three burners.
        heard.wait(page, lambda h: bool(h.of("kept")), seconds=150)
        assert heard.told == truth
    assert [verdict for verdict, _, _ in recorded(room)] == truth
    (take,) = shelved(room)
    assert_part_of(take, wav, heard)


def test_two_misses_lead_back_and_forward_again(room: RunningRoom, study: Study, tmp_path: Path) -> None:
    """High twice: the guide finger alone, hands-free; three true there lead back to where it began."""
    missed = write_wav(tmp_path / "missed.wav", study.play(HIGH, HIGH), lead_s=LEAD_S)
    guide = write_wav(tmp_path / "guide.wav", study.play(TRUE, TRUE, TRUE, stage="guide"), lead_s=LEAD_S)
    with overhear(room) as (page, heard):
        to_practice(page, study.number, "plain")
        play(page, missed)
        shown(page, "Step back", "Both landed high")
        page.locator(".stages button[title=guide][aria-current=step]").wait_for()
        play(page, guide)
        page.locator(".stages button[title=plain][aria-current=step]").wait_for()
        assert heard.told == ["high", "high", "true", "true", "true"]


def test_own_ear_is_asked_first_and_kept(room: RunningRoom, study: Study, tmp_path: Path) -> None:
    high, true = (
        write_wav(tmp_path / f"{name}.wav", study.play(played), lead_s=LEAD_S)
        for name, played in (("high", HIGH), ("true", TRUE))
    )
    with overhear(room, script=PATIENT) as (page, heard):
        to_practice(page, study.number, "name")
        page.get_by_role("button", name="How").click()
        page.get_by_label("Own ear first").check()
        page.get_by_role("button", name="Done").click()
        go_to(page, "plain")
        play(page, high)
        page.locator(".cue-word", has_text="Your ear?").wait_for()
        assert heard.of("waiting")[-1]["seconds"] == 30
        assert not heard.of("landing")
        page.keyboard.press("PageDown")
        heard.wait(page, lambda h: h.told == ["high"])
        page.get_by_text("Your ear was right.").wait_for()
        play(page, true)
        page.locator(".cue-word", has_text="Your ear?").wait_for()
        page.keyboard.press("PageUp")
        heard.wait(page, lambda h: h.told == ["high", "true"])
        page.get_by_text("Your ear said otherwise.").wait_for()
        assert page.get_by_text("Own ear: 1 of 2").is_visible()
        page.keyboard.press("Escape")
        heard.wait(page, lambda h: bool(h.of("kept")), seconds=90)
        page.get_by_text("Own ear: right in 1 of 2.").wait_for()
    assert [(verdict, answer) for verdict, _, answer in recorded(room)] == [("high", "high"), ("true", "low")]


def test_late_arrivals_with_the_click(room: RunningRoom, study: Study, tmp_path: Path) -> None:
    """Arrivals about a second behind the click; how far exactly, the take itself tells."""
    late_s, round_s, departure_s = 1.0, 8.0, 1.6
    played = study.play(PlayedAttempt(landing_cents=3.0, departure_s=departure_s), stage="in time")
    at_s = judge_take(played, RATE_HZ, study.expectation("in time"))[0].arrival_s
    assert at_s is not None
    wav = write_wav(tmp_path / "mic.wav", played)
    with overhear(room) as (page, heard):
        to_practice(page, study.number, "in time")
        heard.wait(page, lambda h: any(m["type"] == "beats" for m in h.sent))
        (count,) = [message for message in heard.of("order") if message["order"] == "count"]
        assert (count["arrivals"], count["length"]) == ([2.0], round_s)
        (beats,) = [message for message in heard.sent if message["type"] == "beats"]
        for told, beat in enumerate(beats["frames"][:2], 1):
            begin = beat + round((late_s - at_s) * RATE_HZ)
            heard.wait(page, lambda h, begin=begin: h.frames >= begin)  # type: ignore[misc]
            play(page, wav)
            heard.wait(page, lambda h, told=told: len(h.told) == told)  # type: ignore[misc]
        timings = [message["attempt"]["timing_s"] for message in heard.of("told")]
        assert heard.told == ["late", "late"], timings
        assert timings == pytest.approx(played_timings(heard, beats, wav, at_s), abs=0.02)
        shown(page, "Step back", "Both late")
        shown(page, "Step back", "slower click")


def played_timings(heard: Overheard, beats: Message, wav: Path, at_s: float) -> list[float]:
    """Seconds from the click's arrivals to those of the file that was played twice, both found in the take."""
    take = heard.sound_of(beats["take"])
    whole, _ = soundfile.read(wav, dtype="int16")
    arrival = whole[round(at_s * RATE_HZ) :][:SHORTEST_STRETCH]
    first = find_piece(arrival, take, 0)
    found = [first, find_piece(arrival, take, first + 1)]
    return [(frame - min(beats["frames"], key=lambda beat: abs(beat - frame))) / RATE_HZ for frame in found]


def test_singing_in_another_octave_is_heard(room: RunningRoom, study: Study, tmp_path: Path) -> None:
    target_hz = study.expectation().arrival.hz
    note = sung(target_hz / 2 * 2 ** (12 / 1200), 1.2)
    gap = np.zeros(round(0.5 * RATE_HZ), dtype=np.float32)
    wav = write_wav(tmp_path / "mic.wav", np.concatenate([note, gap, note, gap]), lead_s=LEAD_S)
    with overhear(room) as (page, heard):
        to_practice(page, study.number, "hear")
        shown(page, "Listen")
        page.locator(".cue-word", has_text="Sing").wait_for()
        play(page, wav)
        heard.wait(page, lambda h: len(h.of("note")) >= 2)
        assert page.locator(".where").count() == 0, "a sung note has no place on the string"
        first = heard.of("note")[0]
        assert first["good"]
        assert first["octaves"] == -1
        assert first["cents"] == pytest.approx(12.0, abs=3.0)
        page.locator(".stages button[title=settle][aria-current=step]").wait_for()


def sung(hz: float, seconds: float) -> Samples:
    n = round(seconds * RATE_HZ)
    level = bow_envelope(n, sample_rate_hz=RATE_HZ)
    return sound_string(np.full(n, hz), sample_rate_hz=RATE_HZ, family="viola", level=level)


def test_open_strings_become_the_tuning_system(room: RunningRoom, study: Study, tmp_path: Path) -> None:
    off = {1: 4.0, 2: -6.0, 3: 2.5, 4: -11.0}
    gap = np.zeros(round(0.4 * RATE_HZ), dtype=np.float32)
    strings = [study.in_hand.intonation.open_string_hz(number) for number in off]
    notes = [sung(hz * 2 ** (cents / 1200), 1.6) for hz, cents in zip(strings, off.values(), strict=True)]
    sound = np.concatenate([piece for note in notes for piece in (note, gap)])
    wav = write_wav(tmp_path / "mic.wav", sound, lead_s=LEAD_S)
    with overhear(room) as (page, heard):
        allow_microphone(page)
        page.get_by_role("button", name="Tune the strings").click()
        heard.wait(page, lambda h: any(m["type"] == "take-open" for m in h.sent))
        play(page, wav)
        page.locator(".strings li.heard").nth(3).wait_for()
        assert {message["string"] for message in heard.of("string")} == set(off)
        for message in heard.of("string"):
            assert message["off"] == pytest.approx(off[message["string"]], abs=0.5)
        page.get_by_role("button", name="Use my strings as they are").click()
        page.get_by_role("heading", name="Choose the music").wait_for()
        chosen = page.evaluate("fetch('/api/start').then((a) => a.json()).then((s) => s.settings)")
        assert chosen["intonation"] == "strings"
        assert len(chosen["measured_hz"]) == 4
        assert None not in chosen["measured_hz"]


def test_a_take_is_heard_again_and_deleted_for_good(room: RunningRoom, study: Study, tmp_path: Path) -> None:
    wav = write_wav(tmp_path / "mic.wav", study.play(HIGH, LOW), lead_s=LEAD_S)
    with overhear(room) as (page, heard):
        to_practice(page, study.number, "plain")
        play(page, wav)
        heard.wait(page, lambda h: bool(h.of("kept")), seconds=90)
        page.keyboard.press("Escape")
        take = page.locator(".take")
        take.wait_for()
        assert take.locator("li").count() == 2
        with page.expect_response(lambda answer: "/sound?" in answer.url) as sound:
            take.get_by_role("button", name="Half speed").first.click()
        assert sound.value.ok
        take.get_by_role("button", name="Pitch").first.click()
        take.locator("canvas").wait_for()
        assert len(shelved(room)) == 1
        take.get_by_role("button", name="Delete", exact=True).click()
        take.get_by_role("button", name="Delete sound and attempts for good").click()
        page.get_by_text("No take of this shift is kept.").wait_for()
    assert not shelved(room)
    assert recorded(room) == []


def test_a_run_through_the_passage_marks_every_shift(room: RunningRoom, study: Study, tmp_path: Path) -> None:
    """The study's first bars in tempo, the drilled shift's arrival 30 cents high, everything else in place."""
    shift = study.in_hand.shift(study.number)
    wav = write_wav(tmp_path / "mic.wav", performed(study, shift.arrival_step, 30.0), lead_s=LEAD_S)
    with overhear(room) as (page, heard):
        allow_microphone(page)
        open_study(page)
        page.get_by_role("button", name="Play it through").click()
        page.get_by_role("button", name="Stop and judge").wait_for()
        play(page, wav)
        heard.wait(page, lambda h: h.is_silent_again(), seconds=120)
        page.get_by_role("button", name="Stop and judge").click()
        heard.wait(page, lambda h: bool(h.of("through")), seconds=150)
        shifts = heard.of("through")[0]["shifts"]
        by_number = {each["number"]: each["attempt"] for each in shifts}
        assert by_number[study.number]["verdict"] == "high"
        assert by_number[study.number]["landing_cents"] == pytest.approx(30.0, abs=3.0)
        steps = study.in_hand.fingered.steps
        played = [each for each in study.in_hand.way.shifts if steps[each.arrival_step].onset < PLAYED_BEATS - 1]
        assert len(by_number) >= len(played) - 1
        others = [attempt["verdict"] for number, attempt in by_number.items() if number != study.number]
        assert others.count("high") + others.count("low") + others.count("corrected") == 0
        page.locator(".sign").first.wait_for()
        assert page.locator(".sign").count() >= len(by_number)
    assert len(recorded(room)) == len(shifts)


def performed(study: Study, wrong_step: int, off_cents: float, beats: float = PLAYED_BEATS) -> Samples:
    """The study's beginning played legato at 72 quarter notes a minute, one step off its pitch."""
    in_hand = study.in_hand
    contour: list[np.ndarray] = []
    for index, step in enumerate(in_hand.fingered.steps):
        if step.grace or step.onset >= beats:
            continue
        stop = step.stops[0]
        hz = in_hand.intonation.target(stop.pitch, string=stop.string, place=stop.place).hz
        cents = off_cents if index == wrong_step else 0.0
        contour.append(np.full(round(float(step.duration) * 60 / 72 * RATE_HZ), hz * 2 ** (cents / 1200)))
    joined = np.concatenate(contour)
    eased = np.convolve(np.pad(joined, 1500, mode="edge"), np.hanning(3001) / np.hanning(3001).sum(), mode="valid")
    level = bow_envelope(eased.size, sample_rate_hz=RATE_HZ)
    return sound_string(eased, sample_rate_hz=RATE_HZ, family="violin", level=level, rng=np.random.default_rng(2))


def test_pedals_move_on_and_begin_again(room: RunningRoom, study: Study) -> None:
    with overhear(room) as (page, heard):
        to_practice(page, study.number, "plain")
        page.keyboard.press("PageDown")
        page.locator(".stages button[title='in time'][aria-current=step]").wait_for()
        page.keyboard.press("ArrowUp")
        shown(page, "Listen")
        before = heard.of("practice")[-1]["moment"]
        page.keyboard.press("PageUp")
        heard.wait(page, lambda h: h.of("practice")[-1]["moment"] > before)
        assert (heard.of("practice")[-1]["stage"], heard.of("practice")[-1]["run"]) == ("in time", [])
        drawn(page)
        assert page.locator(".stages button[aria-current=step]").get_attribute("title") == "in time"
        page.keyboard.press("Escape")
        page.get_by_role("heading", name="The record").wait_for()


def test_a_microphone_that_was_unplugged_begins_the_run_again(room: RunningRoom, study: Study, tmp_path: Path) -> None:
    """What was played before it lies in a take of its own."""
    high, true = (
        write_wav(tmp_path / f"{name}.wav", study.play(played), lead_s=LEAD_S)
        for name, played in (("high", HIGH), ("true", TRUE))
    )
    with overhear(room) as (page, heard):
        to_practice(page, study.number, "plain")
        play(page, high)
        heard.wait(page, lambda h: h.told == ["high"])
        unplug(page)
        heard.wait(page, lambda h: len(h.of("kept")) == 1 and h.of("practice")[-1]["run"] == [])
        heard.wait(page, lambda h: len(h.takes) == 2)
        play(page, true)
        heard.wait(page, lambda h: h.told == ["high", "true"])
        assert [each["verdict"] for each in heard.of("practice")[-1]["run"]] == ["true"]
        page.keyboard.press("Escape")
        heard.wait(page, lambda h: len(h.of("kept")) == 2)
    assert [verdict for verdict, _, _ in recorded(room)] == ["high", "true"]
    assert len(shelved(room)) == 2
