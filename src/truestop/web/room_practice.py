"""How a room's practice goes on: what happens comes in, orders go out to the page, and every change is written down.

Conventions: a practice outlives its page and its server. A page that was loaded anew is in no practice yet: until the
player goes on, what the takes of the page before it show is counted, and nothing else is ordered.
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from truestop.app.room import begin, come_back, resume, step
from truestop.app.room_state import (
    Act,
    Counted,
    CountIn,
    GoTo,
    Happening,
    Listen,
    Order,
    Phase,
    PlayTone,
    Practice,
    Rest,
    Settings,
    Tell,
    ToneEnded,
    Waited,
    WaitFor,
)
from truestop.web.asked_settings import changed_settings
from truestop.web.notebook import Notebook
from truestop.web.open_takes import Message
from truestop.web.ports import Desk
from truestop.web.views import view_practice


class RoomPractice:
    """The practice of one room, with or without a page."""

    def __init__(
        self, room: str, *, desk: Desk, notebook: Notebook, say: Callable[[Message], None], tell: Callable[[Tell], None]
    ) -> None:
        """``say`` reaches the page, if there is one; ``tell`` brings it a verdict with the attempt behind it."""
        self._room = room
        self._desk = desk
        self._notebook = notebook
        self._say = say
        self._tell = tell
        self._memory = notebook.read(room)
        self._timer: asyncio.TimerHandle | None = None
        self.practising = True
        """Whether the page is in the practice; one that was loaded anew is not, before the player goes on."""

    @property
    def practice(self) -> Practice | None:
        """Where it stands; None before a shift was chosen."""
        return self._memory.practice

    @property
    def awaits_answer(self) -> bool:
        """Whether the player is being asked what the own ear says."""
        return self.practice is not None and self.practice.phase is Phase.ANSWER

    def about(self, stage: str) -> dict[str, Any]:
        """What a take of the stage is about."""
        return {"passage": self._memory.passage, "shift": self._memory.shift, "way": self._way(stage)}

    # The page comes and goes --------------------------------------------------------------------------------------

    def welcome(self) -> None:
        """Greet the page, and take it to where the practice stands."""
        unfinished = self._memory.is_unfinished(time.time())
        where = {"passage": self._memory.passage, "shift": self._memory.shift}
        offered = where if unfinished and not self.practising else None
        self._say({"type": "welcome", "room": self._room, "unfinished": offered})
        if self.practice is not None and self.practising:
            self._follow(resume(self.practice))
        elif unfinished:
            self._show()

    def stop_waiting(self) -> None:
        """Nothing goes on by itself."""
        if self._timer is not None:
            self._timer.cancel()

    # Words of the page --------------------------------------------------------------------------------------------

    def begin(self, message: Mapping[str, Any]) -> None:
        """Begin with a shift, cold where that is due."""
        passage, shift = str(message["passage"]), int(message["shift"])
        settings = changed_settings(Settings(), message.get("settings") or {})
        if (passage, shift) != (self._memory.passage, self._memory.shift):
            self._memory.ways = {}
        self._memory.marks = {}
        self._memory.passage, self._memory.shift = passage, shift
        self.practising = True
        cold = bool(message.get("cold", True)) and self._desk.cold_due(passage, shift)
        self._follow(begin(settings=settings, cold_due=cold, stages=self._desk.stages(passage, shift)))

    def go_on(self, _: Mapping[str, Any]) -> None:
        """A page that was loaded anew goes on at the same stage, with the run as it stands and a take of its own."""
        self.practising = True
        if self.practice is not None:
            self._follow(come_back(self.practice))

    def act(self, message: Mapping[str, Any]) -> None:
        """Something that the player does."""
        self.happen(Act(message["act"]))

    def goto(self, message: Mapping[str, Any]) -> None:
        """Another stage is wanted."""
        self.happen(GoTo(stage=str(message["stage"])))

    def choose_way(self, message: Mapping[str, Any]) -> None:
        """Practise another of the stage's exercises: the run begins again with it."""
        if self.practice is not None:
            self._memory.ways[self.practice.stage] = str(message["way"])
            self.happen(Act.AGAIN)

    def settings(self, message: Mapping[str, Any]) -> None:
        """Change how the practice runs, without leaving the stage."""
        if self.practice is not None:
            settings = changed_settings(self.practice.settings, message["settings"])
            self._remember(replace(self.practice, settings=settings))
            self._show()

    def tone_ended(self, _: Mapping[str, Any]) -> None:
        """The tone has sounded."""
        self.happen(ToneEnded())

    def counted(self, _: Mapping[str, Any]) -> None:
        """The count has been given."""
        self.happen(Counted())

    # What happens -------------------------------------------------------------------------------------------------

    def happen(self, happening: Happening) -> None:
        """Go on with what happened; nothing where no shift was chosen."""
        if self.practice is not None:
            self._follow(step(self.practice, happening))

    def listen_anew(self, practice: Practice) -> None:
        """Go on as it is, in another take."""
        renewed = replace(practice, listening_since=practice.moment)
        self._remember(renewed)
        self._say_listen(renewed)

    def begin_marks(self, take: str) -> None:
        """A take of the passage begins: what it shows is marked."""
        self._memory.marks.setdefault(take, {})

    def mark(self, take: str, shifts: list[dict[str, Any]], *, whole: bool) -> None:
        """Mark what a phrase showed, or the ``whole`` take, whose marks are all drawn anew; a run that is over keeps
        its own."""
        marks = self._memory.marks
        if take not in marks:
            return
        found = {note: str(each["attempt"]["verdict"]) for each in shifts for note in each["notes"]}
        marks[take] = found if whole else marks[take] | found
        self._notebook.write(self._room, self._memory)
        self._show()

    def _follow(self, outcome: tuple[Practice, tuple[Order, ...]]) -> None:
        practice, orders = outcome
        changed = practice is not self.practice
        self._remember(practice)
        for order in orders:
            if self.practising or isinstance(order, Tell):
                _ORDERS[type(order)](self, order)
        if changed or orders:
            self._show()

    def _remember(self, practice: Practice) -> None:
        before = self._memory.practice
        if before is None or (practice.listening_since != before.listening_since and not practice.run):
            self._memory.marks = {}
        self._memory.practice = practice
        self._notebook.write(self._room, self._memory)

    def _way(self, stage: str) -> str:
        """The way that was chosen for a stage, '' where none was."""
        return self._memory.ways.get(stage, "")

    # What the page is told ----------------------------------------------------------------------------------------

    def _show(self) -> None:
        if self.practice is not None:
            self._say(view_practice(self.practice, self._way(self.practice.stage), self._memory.marked()))

    def _order_tone(self, _: PlayTone) -> None:
        self._say({"type": "order", "order": "tone"})

    def _order_count(self, order: CountIn) -> None:
        practice, memory = self.practice, self._memory
        stage = practice.stage if practice is not None else "in time"
        beats = self._desk.beats(memory.passage, memory.shift, stage, self._way(stage))
        self._say({"type": "order", "order": "count", "bpm": order.tempo_bpm, **beats})

    def _order_listen(self, _: Listen) -> None:
        if self.practice is not None:
            self._say_listen(self.practice)

    def _say_listen(self, practice: Practice) -> None:
        what = {"listening": practice.rule.listening.value, "stage": practice.stage, "since": practice.listening_since}
        self._say({"type": "order", "order": "listen", **what})

    def _order_rest(self, _: Rest) -> None:
        self._say({"type": "order", "order": "rest"})

    def _order_tell(self, order: Tell) -> None:
        self._tell(order)

    def _order_wait(self, order: WaitFor) -> None:
        self.stop_waiting()
        loop = asyncio.get_running_loop()
        self._timer = loop.call_later(order.seconds, lambda: self.happen(Waited(moment=order.moment)))
        self._say({"type": "waiting", "seconds": order.seconds})


WORDS: dict[str, Callable[[RoomPractice, Mapping[str, Any]], None]] = {
    "begin": RoomPractice.begin,
    "go-on": RoomPractice.go_on,
    "act": RoomPractice.act,
    "goto": RoomPractice.goto,
    "settings": RoomPractice.settings,
    "way": RoomPractice.choose_way,
    "tone-ended": RoomPractice.tone_ended,
    "counted": RoomPractice.counted,
}
"""What the page may say about the practice."""
_ORDERS: dict[type, Callable[[RoomPractice, Any], None]] = {
    PlayTone: RoomPractice._order_tone,
    CountIn: RoomPractice._order_count,
    Listen: RoomPractice._order_listen,
    Rest: RoomPractice._order_rest,
    Tell: RoomPractice._order_tell,
    WaitFor: RoomPractice._order_wait,
}
