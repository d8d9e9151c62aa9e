"""A page that is loaded anew in mid-practice: its take is kept, and the practice goes on where it was."""

from __future__ import annotations

import asyncio
import json
import time
from pathlib import Path

import pytest

from truestop.app.room import come_back, step
from truestop.app.room_state import Act, CountIn, Judged, Landed, Listen, Phase, Rest, Tell, Told
from truestop.domain.attempt import Verdict
from truestop.web.conversation import Conversation
from truestop.web.notebook import GOES_ON_WITHIN_S, Notebook, Remembered
from web.conftest import RATE_HZ, FakeDesk
from web.test_conversation import Said, SecondsOf, converse, open_take, send, start_plain, words
from web.test_room_machine import at, judge

ROOM = "room-0123456789abcdef"


def reload_page(talk: Conversation, said: Said, holds: tuple[str, ...] = ()) -> None:
    talk.leave(said.append)
    said.clear()
    talk.join(said.append, practising=False, holds=holds)


def test_the_run_goes_on_and_the_take_before_is_kept(tmp_path: Path, desk: FakeDesk, seconds_of: SecondsOf) -> None:
    def scene(talk: Conversation, said: Said) -> None:
        start_plain(talk)
        before = words(said, "order")[-1]["since"]
        open_take(talk)
        send(talk, seconds_of(5, 30))
        reload_page(talk, said)
        assert words(said, "welcome")[0]["unfinished"] == {"passage": "p", "shift": 1}
        assert not words(said, "order")
        ((_, size, attempts),) = desk.kept
        assert size == 44 + 2 * 2 * RATE_HZ
        assert [attempt.verdict for attempt, _ in attempts] == [Verdict.TRUE, Verdict.HIGH]
        view = words(said, "practice")[-1]
        assert (view["stage"], [told["verdict"] for told in view["run"]]) == ("plain", ["true", "high"])
        talk.hear_words({"type": "go-on"})
        (order,) = words(said, "order")
        assert (order["order"], order["stage"]) == ("listen", "plain")
        assert order["since"] > before
        open_take(talk, take="take-0002")
        send(talk, seconds_of(40))
        view = words(said, "practice")[-1]
        assert ([told["cents"] for told in view["run"]], view["phase"]) == ([5, 30, 40], "stopped")

    converse(tmp_path, desk, scene)


def test_sound_that_the_page_still_had_belongs_to_the_take(
    tmp_path: Path, desk: FakeDesk, seconds_of: SecondsOf
) -> None:
    """It comes from the page that was loaded anew, in a slot of its own; what it holds counts in the run."""
    sound = seconds_of(5, 30)

    def scene(talk: Conversation, said: Said) -> None:
        start_plain(talk)
        open_take(talk)
        send(talk, sound[:RATE_HZ])
        reload_page(talk, said, holds=("take-0001",))
        assert not desk.kept
        open_take(talk, slot=1)
        send(talk, sound[RATE_HZ:], first=RATE_HZ)
        talk.hear_words({"type": "take-close", "take": "take-0001", "frames": sound.size})
        assert [message["verdict"] for message in words(said, "told")] == ["high"]
        assert not words(said, "order")

    converse(tmp_path, desk, scene)
    ((_, size, attempts),) = desk.kept
    assert (size, len(attempts)) == (44 + 2 * sound.size, 2)


def test_two_takes_that_are_held_do_not_take_each_others_place(
    tmp_path: Path, desk: FakeDesk, seconds_of: SecondsOf
) -> None:
    def scene(talk: Conversation, said: Said) -> None:
        start_plain(talk)
        open_take(talk, take="take-0001", slot=1)
        open_take(talk, take="take-0002", slot=2)
        send(talk, seconds_of(5), slot=1)
        send(talk, seconds_of(7), slot=2)
        reload_page(talk, said, holds=("take-0001", "take-0002"))
        open_take(talk, take="take-0002", slot=1)
        open_take(talk, take="take-0001", slot=2)
        for take in ("take-0001", "take-0002"):
            talk.hear_words({"type": "take-close", "take": take, "frames": RATE_HZ})

    converse(tmp_path, desk, scene)
    assert [slip.take for slip, _, _ in desk.kept] == ["take-0001", "take-0002"]


def test_page_and_server_may_both_be_new(tmp_path: Path, desk: FakeDesk, seconds_of: SecondsOf) -> None:
    """The take lies on the disk only; another room's is left alone."""

    def before(talk: Conversation, said: Said) -> None:
        start_plain(talk)
        open_take(talk)
        send(talk, seconds_of(5, 30))

    converse(tmp_path, desk, before)
    slip = json.loads((tmp_path / "takes" / "take-0001.json").read_text())
    assert slip["room"] == ROOM
    other = json.dumps(slip | {"take": "take-0009", "room": "another-room-0123456789"})
    (tmp_path / "takes" / "take-0009.json").write_text(other)
    (tmp_path / "takes" / "take-0009.wav").write_bytes((tmp_path / "takes" / "take-0001.wav").read_bytes())

    def after(talk: Conversation, said: Said) -> None:
        reload_page(talk, said)
        assert [told["verdict"] for told in words(said, "practice")[-1]["run"]] == ["true", "high"]

    converse(tmp_path, desk, after)
    assert [[attempt.landing_cents for attempt, _ in attempts] for _, _, attempts in desk.kept] == [[5, 30]]
    assert {path.stem for path in (tmp_path / "takes").iterdir()} == {"take-0009"}


def test_nothing_goes_on_by_itself_before_the_player_does(
    tmp_path: Path, desk: FakeDesk, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("truestop.web.asked_settings.SETTING_BOUNDS", {"read_s": (0.0, 1.0)})

    async def scene(talk: Conversation, said: Said) -> None:
        talk.hear_words({"type": "begin", "passage": "p", "shift": 1, "settings": {"read_s": 0.05}})
        reload_page(talk, said)
        await asyncio.sleep(0.15)
        assert [view["stage"] for view in words(said, "practice")] == ["name"]
        talk.hear_words({"type": "go-on"})
        await asyncio.sleep(0.15)
        assert words(said, "practice")[-1]["stage"] == "hear"

    converse(tmp_path, desk, scene)


def test_a_practice_that_was_ended_is_not_offered(tmp_path: Path, desk: FakeDesk) -> None:
    def scene(talk: Conversation, said: Said) -> None:
        start_plain(talk)
        talk.hear_words({"type": "act", "act": "leave"})
        reload_page(talk, said)
        assert words(said, "welcome")[0]["unfinished"] is None
        assert not words(said, "practice")

    converse(tmp_path, desk, scene)


def test_a_practice_of_another_sitting_is_not_offered(tmp_path: Path) -> None:
    notebook = Notebook(tmp_path)
    notebook.write(ROOM, Remembered(practice=at("plain"), passage="p", shift=1))
    read = notebook.read(ROOM)
    assert read.at_s == pytest.approx(time.time(), abs=5)
    assert read.is_unfinished(read.at_s + GOES_ON_WITHIN_S - 1)
    assert not read.is_unfinished(read.at_s + GOES_ON_WITHIN_S + 1)


def test_a_take_that_was_put_away_is_not_opened_again(tmp_path: Path, desk: FakeDesk) -> None:
    """The page never heard that it was closed: nothing of it is on the disk, though some was acknowledged."""

    def scene(talk: Conversation, said: Said) -> None:
        opening = {"take": "take-0001", "purpose": "practice", "sampleRate": RATE_HZ, "about": {"stage": "plain"}}
        talk.hear_words({"type": "take-open", "slot": 1, "acknowledged": 512, **opening})
        assert words(said, "ack") == [{"type": "ack", "take": "take-0001", "frames": 0, "closed": True}]

    converse(tmp_path, desk, scene)
    assert not list((tmp_path / "takes").iterdir())


def test_a_take_that_is_being_judged_is_judged_once(tmp_path: Path, desk: FakeDesk, seconds_of: SecondsOf) -> None:
    opening = {"take": "take-0001", "purpose": "practice", "sampleRate": RATE_HZ, "about": {"stage": "in the passage"}}

    async def scene(talk: Conversation, said: Said) -> None:
        start_plain(talk)
        talk.hear_words({"type": "take-open", "slot": 1, **opening})
        send(talk, seconds_of(5, 0))
        reload_page(talk, said)
        talk.hear_words({"type": "take-open", "slot": 1, "acknowledged": 512, **opening})
        talk.hear_words({"type": "take-close", "take": "take-0001", "frames": 2 * RATE_HZ})
        for _ in range(100):
            if words(said, "kept"):
                break
            await asyncio.sleep(0.02)
        assert words(said, "ack")[-1]["closed"]

    converse(tmp_path, desk, scene)
    assert len(desk.kept) == 1


def test_only_the_page_that_came_last_is_listened_to(tmp_path: Path, desk: FakeDesk) -> None:
    def scene(talk: Conversation, said: Said) -> None:
        other: Said = []
        first, second = said.append, other.append
        talk.join(first)
        assert talk.hears(first)
        talk.join(second)
        assert not talk.hears(first)
        assert talk.hears(second)
        assert said[-1]["what"] == "This practice goes on in another tab."

    converse(tmp_path, desk, scene)


# The machine --------------------------------------------------------------------------------------------------------


def test_the_run_stands_as_it_was_in_another_take() -> None:
    practice = judge(at("plain"), Verdict.TRUE, Verdict.HIGH)
    back, orders = come_back(practice)
    assert (back.phase, back.run, back.misses) == (Phase.PLAY, practice.run, 1)
    assert [type(order) for order in orders] == [Listen]
    assert back.listening_since > practice.listening_since


def test_a_click_begins_with_its_count() -> None:
    practice = judge(at("in time"), Verdict.TRUE)
    back, orders = come_back(practice)
    assert (back.phase, len(back.run)) == (Phase.COUNT, 1)
    assert [type(order) for order in orders] == [Listen, CountIn]


def test_an_answer_that_was_not_given_counts_as_none() -> None:
    practice, _ = step(at("plain", own_ear=True), Landed())
    practice, _ = step(practice, Judged(told=Told(verdict=Verdict.HIGH, landing_cents=30.0)))
    assert practice.phase is Phase.ANSWER
    back, orders = come_back(practice)
    assert [type(order) for order in orders] == [Tell, Listen]
    assert (back.phase, back.run[0].answer, back.own_ear_asked) == (Phase.PLAY, None, 0)


def test_a_run_that_an_unasked_landing_stops_stays_stopped() -> None:
    practice, _ = step(judge(at("plain", own_ear=True), Verdict.HIGH), Landed())
    practice, _ = step(practice, Judged(told=Told(verdict=Verdict.HIGH, landing_cents=30.0)))
    back, orders = come_back(practice)
    assert back.phase is Phase.STOPPED
    assert [type(order) for order in orders][:2] == [Tell, Rest]
    assert step(back, Act.ON)[0].stage != "plain"
