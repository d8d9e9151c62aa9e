"""One page and its practice, without a network: words and sound go in, orders and verdicts come out."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from truestop.domain.attempt import Verdict
from truestop.web import conversation
from truestop.web.conversation import Conversation
from truestop.web.notebook import Notebook
from truestop.web.open_takes import BLOCK_HEADER
from truestop.web.takes import TakeFolder
from web.conftest import RATE_HZ, FakeDesk

Said = list[dict[str, Any]]
SecondsOf = Callable[..., NDArray[np.int16]]


def converse(
    tmp_path: Path, desk: FakeDesk, scene: Callable[[Conversation, Said], Coroutine[Any, Any, None] | None]
) -> Said:
    """Play a scene with a fresh conversation in the room's folder."""
    said: Said = []

    async def play() -> None:
        talk = Conversation("room-0123456789abcdef", desk=desk, takes=TakeFolder(tmp_path / "takes"),
                            notebook=Notebook(tmp_path / "rooms"))  # fmt: skip
        send_to_page = said.append
        talk.join(send_to_page)
        running = scene(talk, said)
        if running is not None:
            await running
        talk.leave(send_to_page)
        talk.close()

    asyncio.run(play())
    return said


def start_plain(talk: Conversation, **settings: Any) -> None:
    talk.hear_words({"type": "begin", "passage": "p", "shift": 1, "settings": settings})
    talk.hear_words({"type": "goto", "stage": "plain"})


def open_take(talk: Conversation, take: str = "take-0001", slot: int = 1) -> None:
    opening = {"take": take, "purpose": "practice", "sampleRate": RATE_HZ, "about": {"stage": "plain"}}
    talk.hear_words({"type": "take-open", "slot": slot, **opening})


def send(talk: Conversation, sound: NDArray[np.int16], first: int = 0, slot: int = 1, block: int = 512) -> None:
    for start in range(0, sound.size, block):
        part = sound[start : start + block]
        talk.hear_sound(BLOCK_HEADER.pack(slot, first + start) + part.astype("<i2").tobytes())


def words(said: Said, kind: str) -> Said:
    return [message for message in said if message["type"] == kind]


def test_two_misses_stop_the_run(tmp_path: Path, desk: FakeDesk, seconds_of: SecondsOf) -> None:
    def scene(talk: Conversation, said: Said) -> None:
        start_plain(talk)
        open_take(talk)
        send(talk, seconds_of(30, 40))

    said = converse(tmp_path, desk, scene)
    assert [message["verdict"] for message in words(said, "told")] == ["high", "high"]
    last = words(said, "practice")[-1]
    assert last["phase"] == "stopped"
    assert "too far" in last["stopped"]["line"]
    assert words(said, "order")[-1]["order"] == "rest"


def test_the_mark_comes_before_the_word(tmp_path: Path, desk: FakeDesk, seconds_of: SecondsOf) -> None:
    def scene(talk: Conversation, said: Said) -> None:
        start_plain(talk)
        open_take(talk)
        send(talk, seconds_of(10))

    said = converse(tmp_path, desk, scene)
    kinds = [message["type"] for message in said if message["type"] in ("landing", "told")]
    assert kinds == ["landing", "told"]
    assert "verdict" not in words(said, "landing")[0]


def test_own_ear_hears_nothing_before_it_answers(tmp_path: Path, desk: FakeDesk, seconds_of: SecondsOf) -> None:
    def scene(talk: Conversation, said: Said) -> None:
        start_plain(talk, own_ear=True)
        open_take(talk)
        send(talk, seconds_of(30))
        assert not words(said, "landing")
        assert not words(said, "told")
        talk.hear_words({"type": "act", "act": "high"})
        assert words(said, "told")[0]["own_ear_right"] is True
        talk.hear_words({"type": "take-close", "take": "take-0001", "frames": RATE_HZ})

    converse(tmp_path, desk, scene)
    ((_, _, attempts),) = desk.kept
    assert [answer for _, answer in attempts] == ["high"]


def test_closing_keeps_the_take_with_its_attempts(tmp_path: Path, desk: FakeDesk, seconds_of: SecondsOf) -> None:
    def scene(talk: Conversation, said: Said) -> None:
        start_plain(talk)
        open_take(talk)
        send(talk, seconds_of(5, 30, 10))
        talk.hear_words({"type": "take-close", "take": "take-0001", "frames": 3 * RATE_HZ})
        assert words(said, "ack")[-1] == {"type": "ack", "take": "take-0001", "frames": 3 * RATE_HZ, "closed": True}

    converse(tmp_path, desk, scene)
    ((slip, size, attempts),) = desk.kept
    assert size == 44 + 2 * 3 * RATE_HZ
    assert [attempt.verdict for attempt, _ in attempts] == [Verdict.TRUE, Verdict.HIGH, Verdict.TRUE]
    assert slip.about == {"stage": "plain", "passage": "p", "shift": 1, "way": ""}
    assert not list((tmp_path / "takes").iterdir())


def test_closing_waits_for_sound_that_is_still_to_come(tmp_path: Path, desk: FakeDesk, seconds_of: SecondsOf) -> None:
    def scene(talk: Conversation, said: Said) -> None:
        start_plain(talk)
        open_take(talk)
        send(talk, seconds_of(5))
        talk.hear_words({"type": "take-close", "take": "take-0001", "frames": 2 * RATE_HZ})
        assert not desk.kept
        send(talk, seconds_of(7), first=RATE_HZ)
        talk.hear_words({"type": "take-close", "take": "take-0001", "frames": 2 * RATE_HZ})

    converse(tmp_path, desk, scene)
    assert len(desk.kept[0][2]) == 2


def test_a_killed_server_goes_on_where_it_was(tmp_path: Path, desk: FakeDesk, seconds_of: SecondsOf) -> None:
    """The first conversation is simply dropped, as a kill drops it; the second reads folder and notebook."""
    sound = seconds_of(5, 30, 10, 35, 40)

    def before(talk: Conversation, said: Said) -> None:
        start_plain(talk)
        open_take(talk)
        send(talk, sound[: int(2.5 * RATE_HZ)])

    said = converse(tmp_path, desk, before)
    acknowledged = words(said, "ack")[-1]["frames"]
    assert [message["verdict"] for message in words(said, "told")] == ["true", "high"]

    def after(talk: Conversation, said: Said) -> None:
        open_take(talk, slot=9)
        on_disk = words(said, "ack")[-1]["frames"]
        assert on_disk >= acknowledged
        send(talk, sound[acknowledged:], first=acknowledged, slot=9)
        talk.hear_words({"type": "take-close", "take": "take-0001", "frames": sound.size})

    said = converse(tmp_path, desk, after)
    assert [message["verdict"] for message in words(said, "told")] == ["true", "high", "high"]
    assert words(said, "practice")[-1]["phase"] == "stopped"
    ((_, size, attempts),) = desk.kept
    assert size == 44 + 2 * sound.size
    assert [attempt.landing_cents for attempt, _ in attempts] == [5, 30, 10, 35, 40]


def test_a_page_that_comes_back_goes_on_with_its_take(tmp_path: Path, desk: FakeDesk, seconds_of: SecondsOf) -> None:
    """The order to listen that follows a reconnection names the take that is running already."""

    def before(talk: Conversation, said: Said) -> None:
        start_plain(talk)
        open_take(talk)
        send(talk, seconds_of(5, 30))

    said = converse(tmp_path, desk, before)
    first = [message for message in words(said, "order") if message["order"] == "listen"][-1]
    again = converse(tmp_path, desk, lambda talk, said: None)
    assert words(again, "order") == [first]


def test_a_connection_that_breaks_does_not_make_the_room_hear_all_again(
    tmp_path: Path, desk: FakeDesk, seconds_of: SecondsOf
) -> None:
    """The server lived on: the take's ear goes on where it was, and nothing of it is told twice."""
    sound = seconds_of(5, 30, 10)

    def scene(talk: Conversation, said: Said) -> None:
        start_plain(talk)
        open_take(talk, slot=3)
        send(talk, sound[: 2 * RATE_HZ], slot=3)
        talk.leave(said.append)
        talk.join(said.append)
        open_take(talk, slot=3)
        assert len(desk.ears) == 1
        assert words(said, "ack")[-1]["frames"] == 2 * RATE_HZ
        send(talk, sound, slot=3)
        talk.hear_words({"type": "take-close", "take": "take-0001", "frames": sound.size})

    said = converse(tmp_path, desk, scene)
    assert [message["verdict"] for message in words(said, "told")] == ["true", "high", "true"]
    assert desk.kept[0][1] == 44 + 2 * sound.size


def test_a_run_that_goes_on_gets_another_take(
    tmp_path: Path, desk: FakeDesk, seconds_of: SecondsOf, monkeypatch: pytest.MonkeyPatch
) -> None:
    """So that no take is long, and after a restart little has to be heard again."""
    monkeypatch.setattr(conversation, "LONGEST_RUN_S", 1.5)

    def scene(talk: Conversation, said: Said) -> None:
        start_plain(talk)
        first = words(said, "order")[-1]
        open_take(talk)
        send(talk, seconds_of(5, 30, 5))
        orders = [message for message in words(said, "order") if message["order"] == "listen"]
        assert len(orders) == 2
        assert orders[-1]["since"] > first["since"]
        assert len(words(said, "practice")[-1]["run"]) == 3

    converse(tmp_path, desk, scene)


def test_the_room_does_not_hear_itself(tmp_path: Path, desk: FakeDesk, seconds_of: SecondsOf) -> None:
    def scene(talk: Conversation, said: Said) -> None:
        start_plain(talk)
        open_take(talk)
        talk.hear_words({"type": "mask", "take": "take-0001", "from": 0, "to": 1.5 * RATE_HZ})
        send(talk, seconds_of(30, 30, 12))
        assert [message["verdict"] for message in words(said, "told")] == ["true"]

    converse(tmp_path, desk, scene)


def test_beats_reach_the_ear_and_nothing_is_told_twice(tmp_path: Path, desk: FakeDesk, seconds_of: SecondsOf) -> None:
    def scene(talk: Conversation, said: Said) -> None:
        start_plain(talk)
        open_take(talk)
        talk.hear_words({"type": "beats", "take": "take-0001", "frames": [4000, 12000]})
        assert desk.ears[-1][2] == (0.5, 1.5)
        send(talk, seconds_of(5))
        talk.hear_words({"type": "beats", "take": "take-0001", "frames": [4000, 12000]})
        assert len(words(said, "told")) == 1

    converse(tmp_path, desk, scene)


def test_tuning_takes_are_not_kept(tmp_path: Path, desk: FakeDesk, seconds_of: SecondsOf) -> None:
    def scene(talk: Conversation, said: Said) -> None:
        opening = {"take": "take-0001", "purpose": "tune", "sampleRate": RATE_HZ, "about": {}}
        talk.hear_words({"type": "take-open", "slot": 1, **opening})
        send(talk, seconds_of(5))
        talk.hear_words({"type": "take-close", "take": "take-0001", "frames": RATE_HZ})

    converse(tmp_path, desk, scene)
    assert not desk.kept
    assert not list((tmp_path / "takes").iterdir())


def test_a_run_through_is_judged_as_a_whole(tmp_path: Path, desk: FakeDesk, seconds_of: SecondsOf) -> None:
    async def scene(talk: Conversation, said: Said) -> None:
        opening = {"take": "take-0001", "purpose": "through", "sampleRate": RATE_HZ, "about": {"passage": "p"}}
        talk.hear_words({"type": "take-open", "slot": 1, **opening})
        send(talk, seconds_of(5))
        talk.hear_words({"type": "take-close", "take": "take-0001", "frames": RATE_HZ})
        for _ in range(200):
            if words(said, "ack")[-1]["closed"]:
                break
            await asyncio.sleep(0.02)
        assert words(said, "through")[0]["shifts"] == [{"number": 1, "bytes": 44 + 2 * RATE_HZ}]

    converse(tmp_path, desk, scene)
    assert not list((tmp_path / "takes").iterdir())


def test_another_way_begins_the_run_again_and_is_remembered(
    tmp_path: Path, desk: FakeDesk, seconds_of: SecondsOf
) -> None:
    def scene(talk: Conversation, said: Said) -> None:
        start_plain(talk)
        open_take(talk)
        send(talk, seconds_of(5))
        talk.hear_words({"type": "way", "way": "old bow"})
        view = words(said, "practice")[-1]
        assert (view["stage"], view["way"], view["run"]) == ("plain", "old bow", [])
        open_take(talk, take="take-0002", slot=2)
        assert desk.ears[-1][1]["way"] == "old bow"
        talk.hear_words({"type": "goto", "stage": "land"})
        assert words(said, "practice")[-1]["way"] == ""

    converse(tmp_path, desk, scene)

    def after(talk: Conversation, said: Said) -> None:
        talk.hear_words({"type": "goto", "stage": "plain"})
        assert words(said, "practice")[-1]["way"] == "old bow"

    converse(tmp_path, desk, after)


def test_sung_notes_are_kept_as_stage_practice_and_told_once(
    tmp_path: Path, desk: FakeDesk, seconds_of: SecondsOf
) -> None:
    desk.sung = True
    opening = {"take": "take-0001", "purpose": "practice", "sampleRate": RATE_HZ, "about": {"stage": "hear"}}
    sound = seconds_of(30, 5, 10)

    def before(talk: Conversation, said: Said) -> None:
        start_plain(talk)
        talk.hear_words({"type": "goto", "stage": "hear"})
        talk.hear_words({"type": "tone-ended"})
        talk.hear_words({"type": "take-open", "slot": 1, **opening})
        send(talk, sound[: 2 * RATE_HZ])

    said = converse(tmp_path, desk, before)
    assert [message["octaves"] for message in words(said, "note")] == [-1, -1]

    def after(talk: Conversation, said: Said) -> None:
        talk.hear_words({"type": "take-open", "slot": 1, **opening})
        assert not words(said, "note")
        send(talk, sound[2 * RATE_HZ :], first=2 * RATE_HZ)
        talk.hear_words({"type": "take-close", "take": "take-0001", "frames": sound.size})

    said = converse(tmp_path, desk, after)
    assert len(words(said, "told")) == 1
    ((_, _, attempts),) = desk.kept
    assert [attempt.stage for attempt, _ in attempts] == ["hear"] * 3


async def until(ready: Callable[[], bool]) -> None:
    """What is judged in a thread comes later."""
    for _ in range(200):
        if ready():
            return
        await asyncio.sleep(0.02)
    raise AssertionError


def open_passage_take(talk: Conversation, take: str, slot: int) -> None:
    about = {"stage": "in the passage"}
    opening = {"take": take, "purpose": "practice", "sampleRate": RATE_HZ, "about": about}
    talk.hear_words({"type": "take-open", "slot": slot, **opening})


def marks(said: Said) -> dict[str, str]:
    return dict(words(said, "practice")[-1]["marks"])


def test_each_phrase_of_the_passage_is_marked_and_the_take_kept_at_its_end(
    tmp_path: Path, desk: FakeDesk, seconds_of: SecondsOf
) -> None:
    """A later attempt takes the place of an earlier mark, the others stay; the whole take draws all its marks anew."""
    desk.phrases = [{"n1": "true", "n2": "high"}, {"n2": "true"}]
    desk.whole = {"n1": "true", "n2": "true", "n3": "late"}

    async def scene(talk: Conversation, said: Said) -> None:
        start_plain(talk)
        talk.hear_words({"type": "goto", "stage": "in the passage"})
        open_passage_take(talk, "take-0001", 1)
        send(talk, seconds_of(0))
        await until(lambda: bool(words(said, "told")))
        assert marks(said) == {"n1": "true", "n2": "high"}
        assert words(said, "told")[-1]["verdict"] == "high"
        send(talk, seconds_of(0), first=RATE_HZ)
        await until(lambda: len(words(said, "told")) == 2)
        assert marks(said) == {"n1": "true", "n2": "true"}
        assert not desk.kept
        talk.hear_words({"type": "take-close", "take": "take-0001", "frames": 2 * RATE_HZ})
        await until(lambda: bool(words(said, "ack")[-1]["closed"]))
        assert marks(said) == desk.whole
        assert words(said, "kept")[0]["as"] == "kept-1"

    converse(tmp_path, desk, scene)
    assert not list((tmp_path / "takes").iterdir())


def test_a_phrase_that_takes_long_to_judge_is_told_before_the_next(
    tmp_path: Path, desk: FakeDesk, seconds_of: SecondsOf
) -> None:
    desk.phrases = [{"n1": "true", "n2": "high"}, {"n2": "true"}]
    desk.phrases_take_s = [0.3, 0.0]
    desk.whole = {"n3": "late"}

    async def scene(talk: Conversation, said: Said) -> None:
        start_plain(talk)
        talk.hear_words({"type": "goto", "stage": "in the passage"})
        open_passage_take(talk, "take-0001", 1)
        send(talk, seconds_of(0, 0))
        await until(lambda: len(words(said, "told")) == 2)
        assert marks(said) == {"n1": "true", "n2": "true"}
        shown = [each["marks"] for each in words(said, "practice") if each["marks"]]
        assert shown[0] == {"n1": "true", "n2": "high"}

    converse(tmp_path, desk, scene)


def test_marks_of_the_passage_last_as_long_as_the_run(
    tmp_path: Path, desk: FakeDesk, seconds_of: SecondsOf, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Over another take and another server; a run that begins again begins with clean notes."""
    desk.phrases = [{"n1": "true", "n2": "high"}, {"n2": "true"}]
    monkeypatch.setattr(conversation, "LONGEST_RUN_S", 0.5)

    async def before(talk: Conversation, said: Said) -> None:
        start_plain(talk)
        talk.hear_words({"type": "goto", "stage": "in the passage"})
        open_passage_take(talk, "take-0001", 1)
        send(talk, seconds_of(0))
        await until(lambda: bool(words(said, "told")))
        assert words(said, "order")[-1]["order"] == "listen"
        open_passage_take(talk, "take-0002", 2)
        assert marks(said) == {"n1": "true", "n2": "high"}

    converse(tmp_path, desk, before)

    async def after(talk: Conversation, said: Said) -> None:
        assert marks(said) == {"n1": "true", "n2": "high"}
        open_passage_take(talk, "take-0002", 2)
        send(talk, seconds_of(0), slot=2)
        await until(lambda: bool(words(said, "told")))
        assert marks(said) == {"n1": "true", "n2": "true"}
        talk.hear_words({"type": "act", "act": "again"})
        assert marks(said) == {}

    converse(tmp_path, desk, after)


def test_there_and_back_is_one_attempt_and_two_landings(tmp_path: Path, desk: FakeDesk, seconds_of: SecondsOf) -> None:
    """Two ways back that miss stop the run; after a restart nothing is told twice; both landings of each are kept."""
    desk.both_ways = True
    sound = seconds_of(30, 10, 35, 40)

    def before(talk: Conversation, said: Said) -> None:
        start_plain(talk)
        open_take(talk)
        send(talk, sound[: 2 * RATE_HZ])

    said = converse(tmp_path, desk, before)
    first, second = words(said, "told")
    assert (first["verdict"], first["leg"]) == ("high", "back")
    assert [first["legs"][leg]["landing_cents"] for leg in ("there", "back")] == [3.0, 30.0]
    assert second["verdict"] == "true"

    def after(talk: Conversation, said: Said) -> None:
        open_take(talk)
        send(talk, sound[2 * RATE_HZ :], first=2 * RATE_HZ)
        talk.hear_words({"type": "take-close", "take": "take-0001", "frames": sound.size})

    said = converse(tmp_path, desk, after)
    assert [message["verdict"] for message in words(said, "told")] == ["high", "high"]
    last = words(said, "practice")[-1]
    assert [told["verdict"] for told in last["run"]] == ["high", "true", "high", "high"]
    assert last["phase"] == "stopped"
    assert "stops short" in last["stopped"]["line"], "back down, a hand that lands high has not gone far enough"
    ((_, _, attempts),) = desk.kept
    assert [attempt.shift for attempt, _ in attempts] == ["s1", "s1-back"] * 4


def test_the_own_ear_is_not_asked_about_two_landings_at_once(
    tmp_path: Path, desk: FakeDesk, seconds_of: SecondsOf
) -> None:
    desk.both_ways = True

    def scene(talk: Conversation, said: Said) -> None:
        start_plain(talk, own_ear=True)
        open_take(talk)
        send(talk, seconds_of(30))
        assert words(said, "told")[0]["own_ear_right"] is None

    converse(tmp_path, desk, scene)


def test_nonsense_is_answered_in_one_sentence(tmp_path: Path, desk: FakeDesk) -> None:
    nonsense: list[dict[str, Any]] = [
        {"type": "fly"}, {"type": "begin"}, {"type": "act", "act": "dance"}, {"type": "take-open", "slot": 1},
        {"type": "begin", "passage": "p", "shift": 1, "settings": {"aim": 99}},
        {"type": "begin", "passage": "p", "shift": 1, "settings": {"__class__": 1}},
        {"type": "take-open", "slot": 1, "take": "../../x", "purpose": "practice", "sampleRate": 8000},
        {"type": "take-open", "slot": 1, "take": "take-0001", "purpose": "practice", "sampleRate": 12},
    ]  # fmt: skip

    def scene(talk: Conversation, said: Said) -> None:
        for message in nonsense:
            talk.hear_words(message)
            assert said[-1]["type"] == "trouble"
            assert said[-1]["what"].endswith(".")
        talk.hear_sound(BLOCK_HEADER.pack(77, 0) + b"\0\0")

    converse(tmp_path, desk, scene)


def test_the_room_goes_on_by_itself(tmp_path: Path, desk: FakeDesk, seconds_of: SecondsOf) -> None:
    async def scene(talk: Conversation, said: Said) -> None:
        talk.hear_words({"type": "begin", "passage": "p", "shift": 1, "settings": {"read_s": 1.0}})
        assert words(said, "practice")[-1]["stage"] == "name"
        await asyncio.sleep(1.1)
        assert words(said, "practice")[-1]["stage"] == "hear"

    converse(tmp_path, desk, scene)
