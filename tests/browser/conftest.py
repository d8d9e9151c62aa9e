"""Fixtures for the room in a real Chromium: without one they skip, on a build server (CI=true) they fail."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from browser.harness import RATE_HZ, RunningRoom, end_playwright, find_chromium
from truestop.adapters.score.reading import read_score
from truestop.app.demo import STUDY, study_bytes
from truestop.app.mainjob import InHand, Setup, expect, take_in_hand
from truestop.bootstrap import Places
from truestop.domain.attempt import Expectation
from truestop.sounding.takes import PlayedAttempt, render_take
from truestop.web.desk import RoomDesk
from truestop.web.serving import STATIC

Samples = NDArray[np.float32]
REASON = "No Chromium was found: install chromium, or name one in TRUESTOP_CHROMIUM."


@pytest.fixture(scope="session", autouse=True)
def chromium() -> str:
    found = find_chromium()
    if found is None:
        (pytest.fail if os.environ.get("CI") == "true" else pytest.skip)(REASON)
    if not (STATIC / "index.html").is_file():
        pytest.fail("The page was not built: run 'python hatch_build.py'.")
    return str(found)


@pytest.fixture(scope="package", autouse=True)
def driver() -> Iterator[None]:
    """One driver for all browsers."""
    yield
    end_playwright()


@pytest.fixture(scope="session")
def empty_home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A home with an empty record."""
    home = tmp_path_factory.mktemp("empty")
    RoomDesk(Places.under(home), home / "room").close()
    return home


class Rooms:
    """Rooms with homes of their own. While one is used, the next one starts and the last one ends."""

    def __init__(self, empty_home: Path, factory: pytest.TempPathFactory) -> None:
        self._empty_home, self._factory = empty_home, factory
        self._spare: RunningRoom | None = None
        self._left: RunningRoom | None = None

    def take(self, *, more: bool) -> RunningRoom:
        """A room that has begun to start; ``more``: another will be wanted."""
        taken = self._spare or self._begin()
        self._spare = self._begin() if more else None
        return taken

    def leave(self, room: RunningRoom) -> None:
        """``room`` ends by itself while the next one is used; then it is looked at."""
        room.ask_to_end()
        self._look_back()
        self._left = room

    def end(self) -> None:
        """No room is wanted any more."""
        self._look_back()
        if self._spare is not None:
            self._spare.stop()

    def _begin(self) -> RunningRoom:
        room = RunningRoom(self._factory.mktemp("room") / "home")
        shutil.copytree(self._empty_home, room.home)
        return room.begin()

    def _look_back(self) -> None:
        left, self._left = self._left, None
        if left is not None:
            left.stop()
            assert "Traceback" not in left.errors, left.errors


@pytest.fixture(scope="package")
def rooms(empty_home: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Rooms]:
    """Rooms one after the other."""
    found = Rooms(empty_home, tmp_path_factory)
    yield found
    found.end()


@pytest.fixture
def room(rooms: Rooms, request: pytest.FixtureRequest) -> Iterator[RunningRoom]:
    """A room of its own."""
    items = request.session.items
    later = items[items.index(request.node) + 1 :]
    running = rooms.take(more=any("room" in getattr(item, "fixturenames", ()) for item in later))
    yield running
    rooms.leave(running)


@pytest.fixture(scope="session")
def shared_room(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningRoom]:
    """One room for all tests that look at the page alone, never at the record."""
    running = RunningRoom(tmp_path_factory.mktemp("shared"))
    running.start()
    yield running
    running.stop()
    assert "Traceback" not in running.errors, running.errors


@dataclass(frozen=True)
class Study:
    """The built-in study in the hand, as the room reads it, with takes of one of its shifts."""

    in_hand: InHand
    number: int

    def expectation(self, stage: str = "plain") -> Expectation:
        return expect(self.in_hand, self.in_hand.shift(self.number), stage=stage)

    def play(self, *played: PlayedAttempt, stage: str = "plain", seed: int = 1) -> Samples:
        expectation = self.expectation(stage)
        take = render_take(
            played, departure_hz=expectation.departure.hz, arrival_hz=expectation.arrival.hz,
            rng=np.random.default_rng(seed), family="violin", sample_rate_hz=RATE_HZ,
        )  # fmt: skip
        return np.asarray(take.samples, dtype=np.float32)


@pytest.fixture(scope="session")
def study() -> Study:
    """A sounding shift on one string, up, within the neck positions."""
    setup = Setup(family="violin")
    in_hand = take_in_hand(read_score(study_bytes(), name=STUDY, family="violin"), setup)
    chosen = next(
        shift
        for shift in in_hand.way.shifts
        if not shift.silent and not shift.crossing and shift.direction == "up" and len(shift.arrival) == 1
        and shift.arrival[0].is_fingered and shift.departure[0].is_fingered
    )  # fmt: skip
    return Study(in_hand, chosen.number)
