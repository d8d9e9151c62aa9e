"""The desk with a real record: what lies unfinished in the folder at a start is judged and kept, or left alone."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from truestop.app.keeping import USUAL_PLAYER
from truestop.app.mainjob import expect
from truestop.bootstrap import FileJudge, Places
from truestop.sounding.takes import PlayedAttempt, render_take
from truestop.web.desk import RoomDesk
from truestop.web.exercises import BACK
from truestop.web.hearing import AttemptHeard
from truestop.web.takes import Slip, TakeFolder, read_frames

RATE_HZ = 22050
SHIFT = 2


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[RoomDesk]:
    desk = RoomDesk(Places.under(tmp_path), tmp_path / "room")
    yield desk
    desk.close()


def leave_take(desk: RoomDesk, folder: TakeFolder, *landings: float, answers: int, stage: str = "plain") -> str:
    """A take as a killed server leaves it, written an hour ago; returns the passage."""
    opened = desk.music.add_study(desk.choices)
    expected = expect(opened.in_hand, opened.in_hand.shift(SHIFT), stage=stage)
    take = render_take(
        [PlayedAttempt(landing_cents=cents) for cents in landings], departure_hz=expected.departure.hz,
        arrival_hz=expected.arrival.hz, rng=np.random.default_rng(1), family="violin", sample_rate_hz=RATE_HZ,
    )  # fmt: skip
    sound = np.asarray(take.samples if landings else np.zeros(RATE_HZ), dtype=np.float32)
    with folder.open("take-0001", RATE_HZ) as writer:
        writer.append(0, (sound * 32767).astype("<i2"))
    about = {"passage": opened.card.id, "shift": SHIFT, "stage": stage, "way": ""}
    folder.write_slip(
        Slip(take="take-0001", purpose="practice", about=about, opened_at_s=time.time(), answers=[None] * answers)
    )
    an_hour_ago = time.time() - 3600
    os.utime(folder.path_of("take-0001"), (an_hour_ago, an_hour_ago))
    return opened.card.id


def kept(desk: RoomDesk) -> list[str]:
    takes = desk.store.takes(player=USUAL_PLAYER.key)
    return [kept.attempt.verdict.value for take in takes for kept in desk.store.attempts_of(take.id)]


@pytest.mark.parametrize("answers", [0, 2, 3])
def test_a_take_that_was_cut_off_is_judged_and_kept(desk: RoomDesk, tmp_path: Path, answers: int) -> None:
    """Also where nothing of it had been told yet."""
    folder = TakeFolder(tmp_path / "room" / "takes")
    leave_take(desk, folder, 3.0, 31.0, -2.0, answers=answers)
    assert desk.recover(folder, older_than_s=120.0) == 1
    assert kept(desk) == ["true", "high", "true"]
    assert not list(folder.folder.iterdir())
    assert len(desk.shelf.names()) == 1


def test_a_kept_take_can_be_judged_again(desk: RoomDesk, tmp_path: Path) -> None:
    folder = TakeFolder(tmp_path / "room" / "takes")
    leave_take(desk, folder, 3.0, 31.0, answers=2)
    desk.recover(folder)
    (take,) = desk.store.takes()
    assert take.file is not None
    again = [one for expected in take.expected for one in FileJudge().judge(desk.shelf.path(take.file), expected)]
    assert [one.verdict.value for one in again] == kept(desk)


def test_a_way_back_is_no_attempt_at_the_shift_and_stays_out_of_the_record(desk: RoomDesk, tmp_path: Path) -> None:
    folder = TakeFolder(tmp_path / "room" / "takes")
    passage = leave_take(desk, folder, 3.0, answers=0)
    in_hand = desk.in_hand(passage)
    key = in_hand.key(in_hand.shift(SHIFT))
    found = next(iter(folder.recover()))
    slip = folder.slip(found.take)
    assert slip is not None
    heard = desk.ear_for("practice", slip.about, RATE_HZ, ())
    sound = read_frames(found.path).astype(np.float32) / 32768.0
    (told,) = [each for each in [*heard.feed(sound), *heard.finish()] if isinstance(each, AttemptHeard)]
    back = replace(told.attempt, shift=f"{key}{BACK}")
    desk.keep_take(slip, found.path, [(told.attempt, None), (back, "high")])
    kept = desk.store.attempts_at(player=USUAL_PLAYER.key, shift=key)
    assert len(kept) == 1


def test_a_take_of_silence_is_dropped(desk: RoomDesk, tmp_path: Path) -> None:
    folder = TakeFolder(tmp_path / "room" / "takes")
    leave_take(desk, folder, answers=0)
    assert desk.recover(folder, older_than_s=120.0) == 0
    assert not list(folder.folder.iterdir())


def test_a_take_whose_page_may_come_back_is_left_alone(desk: RoomDesk, tmp_path: Path) -> None:
    folder = TakeFolder(tmp_path / "room" / "takes")
    leave_take(desk, folder, 3.0, answers=1)
    assert desk.recover(folder, older_than_s=7200.0) == 0
    assert folder.find("take-0001") is not None
