"""The desk with a real record: what lies unfinished in the folder at a start is judged and kept, or left alone."""

from __future__ import annotations

import os
import re
import shutil
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from runs import play_run
from there_and_back import play_there_and_back
from truestop.app.keeping import USUAL_PLAYER
from truestop.app.mainjob import expect
from truestop.app.progress import report_of_passage
from truestop.app.rejudging import rejudge
from truestop.bootstrap import FileJudge, Places
from truestop.sounding.takes import PlayedAttempt, render_take
from truestop.web.desk import RoomDesk
from truestop.web.ears import PITCH_TOLERANCE_CENTS
from truestop.web.exercises import exercise_of, steps_played
from truestop.web.pictures import engrave_svg, engrave_to_fit, view_stage
from truestop.web.takes import Slip, TakeFolder

RATE_HZ = 22050
SHIFT = 2


@pytest.fixture(scope="module")
def empty_home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A home with an empty record; making one anew takes as long as judging a take."""
    home = tmp_path_factory.mktemp("home")
    RoomDesk(Places.under(home), home / "room").close()
    return home


@pytest.fixture
def desk(empty_home: Path, tmp_path: Path) -> Iterator[RoomDesk]:
    shutil.copytree(empty_home, tmp_path, dirs_exist_ok=True)
    desk = RoomDesk(Places.under(tmp_path), tmp_path / "room")
    yield desk
    desk.close()


def leave_take(desk: RoomDesk, folder: TakeFolder, *landings: float, answers: int, stage: str = "plain") -> str:
    """A take as a killed server leaves it, written an hour ago; returns the passage."""
    opened = desk.music.add_study(desk.choices)
    expected = expect(opened.in_hand, opened.in_hand.shift(SHIFT), stage=stage)
    take = render_take(
        [PlayedAttempt(landing_cents=cents, departure_s=0.4, arrival_s=0.75, gap_s=0.3) for cents in landings],
        departure_hz=expected.departure.hz, arrival_hz=expected.arrival.hz, rng=np.random.default_rng(1),
        family="violin", sample_rate_hz=RATE_HZ,
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


@pytest.mark.parametrize("answers", [0, 1, 2])
def test_a_take_that_was_cut_off_is_judged_and_kept(desk: RoomDesk, tmp_path: Path, answers: int) -> None:
    """Also where nothing of it had been told yet, or everything."""
    folder = TakeFolder(tmp_path / "room" / "takes")
    leave_take(desk, folder, 3.0, 31.0, answers=answers)
    assert desk.recover(folder, older_than_s=120.0) == 1
    assert kept(desk) == ["true", "high"]
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


def test_a_take_in_the_passage_is_judged_again_as_a_run(desk: RoomDesk, tmp_path: Path) -> None:
    """Against the notes of the exercise, with every shift in them; where the ear was shut at times it cannot be."""
    opened = desk.music.add_study(desk.choices)
    in_hand = opened.in_hand
    steps = steps_played(in_hand, exercise_of(in_hand, in_hand.shift(SHIFT), "in the passage"))
    sound = play_run(in_hand, [*steps, *steps], off_cents={in_hand.shift(SHIFT).arrival_step: 33.0})
    about = {"passage": opened.card.id, "shift": SHIFT, "stage": "in the passage", "way": ""}
    folder = TakeFolder(tmp_path / "room" / "takes")
    for name, masks in (("take-0001", []), ("take-0002", [(0, 100)])):
        with folder.open(name, RATE_HZ) as writer:
            writer.append(0, ((0.9 if masks else 1.0) * sound.samples * 32767).astype("<i2"))
        folder.write_slip(Slip(take=name, purpose="practice", about=about, opened_at_s=time.time(), masks=masks))
    assert desk.recover(folder) == 2
    open_ear, masked = sorted(desk.store.takes(), key=lambda take: take.run is None)
    assert open_ear.run is not None
    assert masked.run is None
    assert len(open_ear.run.line) == len(steps)
    own = [one.attempt for one in desk.store.attempts_of(open_ear.id) if one.shift == in_hand.key(in_hand.shift(SHIFT))]
    assert [one.verdict.value for one in own] == ["high", "high"]
    again = rejudge(desk.store, desk.shelf, FileJudge(), now_s=time.time())
    assert (again.takes, again.silent_takes, again.lost, again.found) == (1, (masked.id,), (), ())
    assert again.same_verdict == len(desk.store.attempts_of(open_ear.id)) >= 2


def test_both_ways_are_kept_each_as_its_own_shift(desk: RoomDesk, tmp_path: Path) -> None:
    """In the record, and judged again, but no part of how the passage stands: the music has no way back."""
    folder = TakeFolder(tmp_path / "room" / "takes")
    opened = desk.music.add_study(desk.choices)
    shift = opened.in_hand.shift(SHIFT)
    sound = play_there_and_back(expect(opened.in_hand, shift), [(3.0, 31.0), (-2.0, 4.0)], rate_hz=RATE_HZ)
    with folder.open("take-0001", RATE_HZ) as writer:
        writer.append(0, (sound * 32767).astype("<i2"))
    about = {"passage": opened.card.id, "shift": SHIFT, "stage": "in time", "way": "return"}
    folder.write_slip(Slip(take="take-0001", purpose="practice", about=about, opened_at_s=time.time()))
    assert desk.recover(folder) == 1
    (take,) = desk.store.takes()
    found = desk.store.attempts_of(take.id)
    there, back = opened.in_hand.key(shift), opened.in_hand.key(opened.in_hand.way_back(shift))
    assert [one.shift for one in found] == [there, back, there, back]
    assert [one.attempt.verdict.value for one in found] == ["true", "high", "true", "true"]
    assert [one.attempt.landing_cents for one in found] == pytest.approx([3.0, 31.0, -2.0, 4.0], abs=1.0)
    assert len(take.expected) == 2
    again = [one for expected in take.expected for one in FileJudge().judge(desk.shelf.path(str(take.file)), expected)]
    assert sorted(one.landing_cents or 0.0 for one in again) == pytest.approx([-2.0, 3.0, 4.0, 31.0], abs=1.0)
    card = next(card for card in desk.store.shifts() if card.key == back)
    assert str(card.label).startswith("way back, bar")
    report = report_of_passage(desk.store, player=USUAL_PLAYER.key, passage=take.passage)
    assert back not in {one.card.key for one in report.progress.shifts}
    assert report.progress.whole.all.judged == 2


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


def test_music_is_set_for_the_frame_it_is_shown_in(desk: RoomDesk) -> None:
    """The guide's four bars: narrow and below one another where there is height, else wider, and so drawn larger."""
    in_hand = desk.music.add_study(desk.choices).in_hand
    passage = exercise_of(in_hand, in_hand.shift(SHIFT), "guide").passage

    def size_in_a_low_frame(svg: str) -> float:
        wide, high = (float(size) for size in re.findall(r'(?:width|height)="([\d.]+)mm"', svg)[:2])
        return min(70 / wide, 32 / high)

    narrow = engrave_svg(passage, desk.stand, width_mm=70)
    fitted = engrave_to_fit(passage, desk.stand, width_mm=70, height_mm=32)
    assert size_in_a_low_frame(fitted) > 1.2 * size_in_a_low_frame(narrow)
    tall = engrave_to_fit(passage, desk.stand, width_mm=70, height_mm=200)
    assert tall == engrave_svg(passage, desk.stand, width_mm=70)


def test_a_sung_note_has_half_a_semitone_either_side(desk: RoomDesk) -> None:
    """As the ear that judges it has; what is settled or landed has the player's own tolerance."""
    in_hand = desk.music.add_study(desk.choices).in_hand
    shown = {
        stage: view_stage(in_hand, in_hand.shift(SHIFT), stage, "", desk.stand, width_mm=120, height_mm=60)["arrival"]
        for stage in ("hear", "settle", "plain")
    }
    assert {stage: place["tolerance_cents"] for stage, place in shown.items()} == {
        "hear": PITCH_TOLERANCE_CENTS, "settle": 20.0, "plain": 20.0,
    }  # fmt: skip
