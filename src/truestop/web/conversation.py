"""One page and its practice: sound and words come in, orders and verdicts go out.

Conventions: a conversation outlives its connection. It is written down after every change, so it outlives the server
as well: a page that comes back sends its sound again, the ear hears the take from its start, and what was already told
is not told twice. A page that was loaded anew is in no practice yet: until the player goes on, the takes that the page
before it left are kept and counted, and nothing else is ordered.
"""

from __future__ import annotations

import asyncio
import contextlib
import struct
import time
from collections.abc import Callable, Collection, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Protocol

import numpy as np

from truestop.app.room import (
    Act,
    Counted,
    CountIn,
    GoTo,
    Happening,
    Judged,
    Landed,
    Listen,
    Order,
    Phase,
    PlayTone,
    Practice,
    Rest,
    Settings,
    Tell,
    Told,
    ToneEnded,
    Waited,
    WaitFor,
    begin,
    come_back,
    resume,
    step,
)
from truestop.domain.attempt import Attempt, Verdict
from truestop.domain.errors import SoundError, TruestopError
from truestop.listening.returning import Leg
from truestop.web.hearing import (
    BLOCK_FRAMES,
    AttemptHeard,
    Ear,
    Heard,
    LandingHeard,
    Mask,
    MaskedEar,
    NoteHeard,
    PhraseHeard,
    PhraseJudged,
    Pitched,
    RoundHeard,
    StringHeard,
)
from truestop.web.notebook import Notebook
from truestop.web.takes import LOWEST_RATE_HZ, Slip, TakeFolder, TakeWriter, read_frames
from truestop.web.views import view_attempt, view_practice

BLOCK_HEADER = struct.Struct("<II")
ACK_EVERY_S = 0.1
PASSAGE_STAGE = "in the passage"
LONGEST_RUN_S = 90.0
"""After a verdict so far into a take, the next attempts get a take of their own."""
UNHEARD = {Leg.THERE: "The way there was not heard.", Leg.BACK: "The way back was not heard."}

Message = dict[str, Any]


class Desk(Protocol):
    """What the conversation asks of the rest of the program."""

    def ear_for(self, purpose: str, about: Mapping[str, Any], sample_rate_hz: int, beats_s: tuple[float, ...]) -> Ear:
        """An ear for a take that begins."""
        ...

    def keep_take(self, slip: Slip, path: Path, attempts: Sequence[tuple[Attempt, str | None]]) -> str | None:
        """Put a complete take of practice into the record, each attempt with what the own ear said; its id there."""
        ...

    def judge_through(self, slip: Slip, path: Path) -> list[dict[str, Any]]:
        """Judge and keep a run through the passage; what the page shows of each shift."""
        ...

    def stages(self, passage: str, shift: int) -> tuple[str, ...]:
        """The stages that a shift calls for, in the order of practice; DrillError where there is no such shift."""
        ...

    def judge_phrase(self, slip: Slip, path: Path, first_frame: int, last_frame: int) -> PhraseJudged:
        """Every shift that was played in a stretch of a take of the passage; nothing is kept."""
        ...

    def keep_passage_take(
        self, slip: Slip, path: Path, attempts: Sequence[tuple[Attempt, str | None]]
    ) -> tuple[str | None, list[dict[str, Any]]]:
        """Keep a take of the passage with every shift that was played; its id, None without any, and what to show."""
        ...

    def beats(self, passage: str, shift: int, stage: str, way: str) -> dict[str, Any]:
        """Beats of one round of the exercise ('length'), and those on which an arrival falls ('arrivals')."""
        ...

    def cold_due(self, passage: str, shift: int) -> bool:
        """Whether the next attempt at the shift would be a cold one, after practice on another day."""
        ...


@dataclass(slots=True)
class OpenTake:
    """A take that is being recorded."""

    slip: Slip
    writer: TakeWriter
    ear: MaskedEar
    acknowledged: int = 0
    skip: int = 0
    """Attempts in this take that were told before the server was restarted."""
    attempts: list[tuple[Attempt, str | None]] = field(default_factory=list)
    sounded: bool = False
    followed: bool = False
    """Another take was asked for, since this one is long."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Untold:
    """What was judged and waits to be told: all attempts of one time there and back, else a single one."""

    opened: OpenTake
    attempts: tuple[Attempt, ...]
    shown: Attempt | None
    """The one that decides."""
    legs: dict[str, Attempt | None] = field(default_factory=dict)


#: Settings that a page may change, with their least and greatest value where they are numbers.
SETTING_BOUNDS: dict[str, tuple[float, float] | None] = {
    "aim": (1, 10),
    "own_ear": None,
    "sounds": None,
    "by_itself": None,
    "read_s": (1.0, 120.0),
    "met_s": (0.5, 120.0),
    "stopped_s": (1.0, 120.0),
    "answer_s": (1.0, 30.0),
    "tempo_bpm": (20.0, 240.0),
}


def changed_settings(settings: Settings, asked: Mapping[str, Any]) -> Settings:
    """``settings`` with what the page asked for; ValueError where it is none of the room's settings or out of range."""
    changes: dict[str, Any] = {}
    for name, value in asked.items():
        bounds = SETTING_BOUNDS[name]
        if bounds is None:
            changes[name] = bool(value)
        elif bounds[0] <= float(value) <= bounds[1]:
            changes[name] = int(value) if name == "aim" else float(value)
        else:
            raise ValueError(name)
    return replace(settings, **changes)


class Conversation:
    """A room's practice, with or without a page that is connected."""

    def __init__(self, room: str, *, desk: Desk, takes: TakeFolder, notebook: Notebook) -> None:
        self.room = room
        self._desk = desk
        self._takes = takes
        self._notebook = notebook
        self._memory = notebook.read(room)
        self._send: Callable[[Message], None] | None = None
        self._slots: dict[int, OpenTake] = {}
        self._timer: asyncio.TimerHandle | None = None
        self._untold: Untold | None = None
        self._judging: dict[asyncio.Future[Any], str] = {}
        """Judgements that are being made, each with the name of its take."""
        self._judge = ThreadPoolExecutor(max_workers=1, thread_name_prefix="judging")
        """One thread, so that what was played first is told first, however long it takes."""
        self._practising = True
        """Whether the page is in the practice; one that was loaded anew is not, before the player goes on."""

    @property
    def practice(self) -> Practice | None:
        """The practice, None before a shift was chosen."""
        return self._memory.practice

    # The page comes and goes --------------------------------------------------------------------------------------

    def join(
        self, send: Callable[[Message], None], *, practising: bool = True, holds: Collection[str] | None = None
    ) -> None:
        """A page is here: tell it where the practice stands, and what is to be done.

        ``practising`` is false for a page that was loaded anew. ``holds`` names the takes of which it still has sound;
        every other take that is open was left by a page before it, and ends here. None: nothing is known of that.
        """
        if self._send is not None and self._send != send:
            self._trouble("This practice goes on in another tab.", "Close this one.")
        self._send, self._practising = send, practising
        self._stop_waiting()
        if holds is not None:
            self._end_left(holds)
        unfinished = self._memory.is_unfinished(time.time())
        where = {"passage": self._memory.passage, "shift": self._memory.shift}
        offered = where if unfinished and not practising else None
        self._say({"type": "welcome", "room": self.room, "unfinished": offered})
        if self.practice is not None and practising:
            self._follow(resume(self.practice))
        elif unfinished:
            self._show()

    def hears(self, send: Callable[[Message], None]) -> bool:
        """Whether the page behind ``send`` is the one that is listened to: it is the last that came."""
        return self._send == send

    def leave(self, send: Callable[[Message], None]) -> None:
        """The page is gone; its takes stay open, their ears remember what they heard, and nothing goes on by itself."""
        if self._send == send:
            self._send = None
            self._stop_waiting()
            for take in self._slots.values():
                take.writer.bring_up_to_date()

    def _stop_waiting(self) -> None:
        if self._timer is not None:
            self._timer.cancel()

    def _end_left(self, holds: Collection[str]) -> None:
        """Keep the takes that a page before this one left, in memory or, before a restart, on the disk."""
        left = [each for each in self._slots.values() if each.slip.take not in holds]
        held = [each for each in self._slots.values() if each.slip.take in holds]
        self._slots = {-number: each for number, each in enumerate(held, 1)}
        judging = {each.slip.take for each in [*left, *held]} | set(self._judging.values())
        for slip in self._takes.slips():
            if slip.room == self.room and slip.take not in holds and slip.take not in judging:
                with contextlib.suppress(TruestopError):
                    left.append(self._reopen(slip, self._takes.open(slip.take, LOWEST_RATE_HZ)))
        for opened in left:
            self._end(opened)

    def close(self) -> None:
        """The server ends; the takes stay on the disk."""
        for take in self._slots.values():
            take.writer.close()
        self._slots.clear()
        self._judge.shutdown(wait=False)

    def _say(self, message: Message) -> None:
        if self._send is not None:
            self._send(message)

    def _trouble(self, what: str, hint: str) -> None:
        self._say({"type": "trouble", "what": what, "hint": hint})

    # Words --------------------------------------------------------------------------------------------------------

    def hear_words(self, message: Mapping[str, Any]) -> None:
        """One message of the page; a message that makes no sense is answered, not obeyed."""
        handler = _WORDS.get(str(message.get("type")))
        if handler is None:
            self._say(
                {"type": "trouble", "what": "The page said something the room does not know.", "hint": "Reload it."}
            )
            return
        try:
            handler(self, message)
        except TruestopError as error:
            self._trouble(str(error), error.hint)
        except (KeyError, TypeError, ValueError):
            self._trouble("A message of the page is incomplete.", "Reload the page.")

    def _begin(self, message: Mapping[str, Any]) -> None:
        passage, shift = str(message["passage"]), int(message["shift"])
        settings = changed_settings(Settings(), message.get("settings") or {})
        if (passage, shift) != (self._memory.passage, self._memory.shift):
            self._memory.ways = {}
        self._memory.marks = {}
        self._memory.passage, self._memory.shift = passage, shift
        self._practising = True
        cold = bool(message.get("cold", True)) and self._desk.cold_due(passage, shift)
        self._follow(begin(settings=settings, cold_due=cold, stages=self._desk.stages(passage, shift)))

    def _go_on(self, _: Mapping[str, Any]) -> None:
        """A page that was loaded anew goes on at the same stage, with the run as it stands and a take of its own."""
        self._practising = True
        if self.practice is not None:
            self._follow(come_back(self.practice))

    def _act(self, message: Mapping[str, Any]) -> None:
        self._happen(Act(message["act"]))

    def _goto(self, message: Mapping[str, Any]) -> None:
        self._happen(GoTo(stage=str(message["stage"])))

    def _choose_way(self, message: Mapping[str, Any]) -> None:
        """Practise another of the stage's exercises: the run begins again with it."""
        if self.practice is not None:
            self._memory.ways[self.practice.stage] = str(message["way"])
            self._happen(Act.AGAIN)

    def _way(self, stage: str) -> str:
        """The way that was chosen for a stage, '' where none was."""
        return self._memory.ways.get(stage, "")

    def _settings(self, message: Mapping[str, Any]) -> None:
        """Change how the practice runs, without leaving the stage."""
        if self.practice is not None:
            settings = changed_settings(self.practice.settings, message["settings"])
            self._remember(replace(self.practice, settings=settings))
            self._show()

    def _tone_ended(self, _: Mapping[str, Any]) -> None:
        self._happen(ToneEnded())

    def _counted(self, _: Mapping[str, Any]) -> None:
        self._happen(Counted())

    # Takes --------------------------------------------------------------------------------------------------------

    def _open_take(self, message: Mapping[str, Any]) -> None:
        take, purpose, rate = str(message["take"]), str(message["purpose"]), int(message["sampleRate"])
        slot, known = int(message["slot"]), self._named(message)
        if known is not None:
            self._slots = {each: take for each, take in self._slots.items() if take is not known} | {slot: known}
            self._acknowledge(known)
            return
        if take in self._judging.values():
            return
        if int(message.get("acknowledged", 0)) > 0 and self._takes.find(take) is None:
            self._say({"type": "ack", "take": take, "frames": 0, "closed": True})
            return
        if slot in self._slots:
            self._slots.pop(slot).writer.close()
        about = dict(message.get("about") or {})
        if purpose == "practice":
            way = self._way(str(about.get("stage", "")))
            about |= {"passage": self._memory.passage, "shift": self._memory.shift, "way": way}
        slip = self._takes.slip(take) or Slip(
            take=take, purpose=purpose, about=about, opened_at_s=time.time(), room=self.room
        )  # fmt: skip
        writer = self._takes.open(take, rate)
        self._takes.write_slip(slip)
        if slip.about.get("stage") == PASSAGE_STAGE:
            self._memory.marks.setdefault(take, {})
        self._slots[slot] = opened = self._reopen(slip, writer)
        self._acknowledge(opened)

    def _reopen(self, slip: Slip, writer: TakeWriter) -> OpenTake:
        """A take with its ear, which has heard what is on the disk."""
        ear = MaskedEar(self._desk.ear_for(slip.purpose, slip.about, writer.sample_rate_hz, slip.beats_s))
        opened = OpenTake(slip=slip, writer=writer, ear=ear, skip=len(slip.answers), acknowledged=writer.frames)
        self._rehear(opened)
        return opened

    def _rehear(self, opened: OpenTake) -> None:
        """Let the ear hear what is on disk already: after a restart, or when the beats became known."""
        opened.ear.masks = [Mask(first, last) for first, last in opened.slip.masks]
        block = read_frames(opened.writer.path)
        for start in range(0, block.size, BLOCK_FRAMES):
            self._react(opened, opened.ear.feed(block[start : start + BLOCK_FRAMES]))

    def _mask(self, message: Mapping[str, Any]) -> None:
        opened = self._named(message)
        if opened is not None:
            stretch = (int(message["from"]), int(message["to"]))
            if stretch not in opened.slip.masks:
                opened.slip.masks.append(stretch)
                opened.ear.masks.append(Mask(*stretch))
                self._takes.write_slip(opened.slip)

    def _beats(self, message: Mapping[str, Any]) -> None:
        """The click's arrivals, in frames of the take: the ear begins anew with them."""
        opened = self._named(message)
        if opened is None:
            return
        rate = opened.writer.sample_rate_hz
        beats_s = tuple(int(frame) / rate for frame in message["frames"])
        if beats_s == opened.slip.beats_s:
            return
        opened.slip.beats_s = beats_s
        self._takes.write_slip(opened.slip)
        opened.ear = MaskedEar(self._desk.ear_for(opened.slip.purpose, opened.slip.about, rate, beats_s))
        self._rehear(opened)

    def _close_take(self, message: Mapping[str, Any]) -> None:
        opened = self._named(message)
        if opened is None or opened.writer.frames < int(message["frames"]):
            return
        self._slots = {slot: each for slot, each in self._slots.items() if each is not opened}
        self._end(opened)

    def _end(self, opened: OpenTake) -> None:
        """No sound follows: what is left is heard, and the take kept where there is something to keep."""
        opened.writer.close()
        self._react(opened, opened.ear.finish())
        self._settle_untold(None)
        if opened.slip.purpose == "through":
            self._later(opened, self._judged_through, self._desk.judge_through, opened.slip, opened.writer.path)
        elif opened.slip.about.get("stage") == PASSAGE_STAGE and (opened.sounded or opened.attempts):
            judge = self._desk.keep_passage_take
            self._later(opened, self._kept_passage, judge, opened.slip, opened.writer.path, opened.attempts)
        else:
            if opened.slip.purpose == "practice" and (opened.attempts or opened.sounded):
                self._kept(opened, self._desk.keep_take(opened.slip, opened.writer.path, opened.attempts))
            self._put_away(opened)

    def _later(
        self, opened: OpenTake, tell: Callable[[OpenTake, Any], None], judge: Callable[..., Any], *about: Any
    ) -> None:
        """Judge in another thread: a long run takes seconds, and the room goes on meanwhile."""
        judging = asyncio.get_running_loop().run_in_executor(self._judge, judge, *about)
        self._judging[judging] = opened.slip.take

        def judged(done: asyncio.Future[Any]) -> None:
            self._judging.pop(done, None)
            error = done.exception()
            if isinstance(error, TruestopError):
                self._trouble(str(error), error.hint)
            tell(opened, None if error else done.result())

        judging.add_done_callback(judged)

    def _judged_through(self, opened: OpenTake, shifts: list[dict[str, Any]] | None) -> None:
        self._say({"type": "through", "shifts": shifts or []})
        self._put_away(opened)

    def _judged_phrase(self, opened: OpenTake, phrase: PhraseJudged | None) -> None:
        """Mark every shift; tell the drilled one, unless the take was closed meanwhile and is judged as a whole."""
        if phrase is not None:
            self._mark_passage(opened, phrase.shifts, whole=False)
            for attempt in phrase.attempts:
                if opened in self._slots.values():
                    self._attempt(opened, AttemptHeard(attempt=attempt, direction=phrase.direction))

    def _mark_passage(self, opened: OpenTake, shifts: list[dict[str, Any]], *, whole: bool) -> None:
        """Mark what a phrase showed, or the ``whole`` take, whose marks are all drawn anew; a run that is over keeps
        its own."""
        marks, take = self._memory.marks, opened.slip.take
        if take not in marks:
            return
        found = {note: str(each["attempt"]["verdict"]) for each in shifts for note in each["notes"]}
        marks[take] = found if whole else marks[take] | found
        self._notebook.write(self.room, self._memory)
        self._show()

    def _kept_passage(self, opened: OpenTake, found: tuple[str | None, list[dict[str, Any]]] | None) -> None:
        if found is not None:
            self._mark_passage(opened, found[1], whole=True)
            if found[0] is not None:
                self._kept(opened, found[0])
            self._put_away(opened)

    def _kept(self, opened: OpenTake, kept: str | None) -> None:
        self._say({"type": "kept", "take": opened.slip.take, "as": kept})

    def _put_away(self, opened: OpenTake) -> None:
        """The take is in the record, or nobody wants it: the page may forget it too."""
        self._takes.delete(opened.slip.take)
        self._acknowledge(opened, closed=True)

    def _named(self, message: Mapping[str, Any]) -> OpenTake | None:
        return next((each for each in self._slots.values() if each.slip.take == message["take"]), None)

    def hear_sound(self, data: bytes) -> None:
        """A block of sound; written, acknowledged, then heard."""
        slot, first_frame = BLOCK_HEADER.unpack_from(data)
        opened = self._slots.get(slot)
        if opened is None:
            return
        block = np.frombuffer(data, dtype="<i2", offset=BLOCK_HEADER.size)
        try:
            fresh = opened.writer.append(first_frame, block)
        except SoundError as error:
            self._trouble(str(error), error.hint)
            return
        if opened.writer.frames - opened.acknowledged >= ACK_EVERY_S * opened.writer.sample_rate_hz:
            self._acknowledge(opened)
        self._react(opened, opened.ear.feed(fresh))

    def _acknowledge(self, opened: OpenTake, *, closed: bool = False) -> None:
        opened.acknowledged = opened.writer.frames
        self._say({"type": "ack", "take": opened.slip.take, "frames": opened.writer.frames, "closed": closed})

    # What was heard -----------------------------------------------------------------------------------------------

    def _react(self, opened: OpenTake, heard: list[Heard]) -> None:
        for each in heard:
            _REACTIONS[type(each)](self, opened, each)

    def _pitched(self, opened: OpenTake, heard: Pitched) -> None:
        opened.sounded = opened.sounded or any(value is not None for value in heard.cents)
        self._say({"type": "pitch", "t": list(heard.times_s), "c": list(heard.cents)})

    def _landing(self, opened: OpenTake, heard: LandingHeard) -> None:
        """Draw it; there and back the own ear is not asked, since one word cannot speak of two landings."""
        if len(opened.attempts) < opened.skip:
            return
        if not heard.leg:
            self._happen(Landed())
        if self.practice is None or self.practice.phase is not Phase.ANSWER:
            cents, mm = round(heard.landing_cents, 1), heard.landing_mm
            landing = {"at": heard.at_s, "cents": cents, "mm": mm and round(mm, 2), "frames": opened.ear.frames}
            self._say({"type": "landing", "leg": heard.leg, **landing})

    def _attempt(self, opened: OpenTake, heard: AttemptHeard | NoteHeard) -> None:
        attempt = heard.attempt
        told = _told(attempt, direction=heard.direction if isinstance(heard, AttemptHeard) else "")
        self._judged(Untold(opened=opened, attempts=(attempt,), shown=attempt), told)

    def _round(self, opened: OpenTake, heard: RoundHeard) -> None:
        """There and back is one attempt of the run: true only where both landings are."""
        leg, decides = heard.round.decides
        attempts = heard.round.attempts
        told = _told(decides or attempts[0], direction=heard.directions[leg is Leg.BACK])
        if decides is None:
            told = replace(told, verdict=Verdict.UNJUDGED, reason=UNHEARD[leg])
        legs: dict[str, Attempt | None] = {"there": heard.round.there, "back": heard.round.back}
        untold = Untold(opened=opened, attempts=attempts, shown=decides, legs=legs)
        self._judged(untold, replace(told, leg=leg.value))

    def _judged(self, untold: Untold, told: Told) -> None:
        opened = untold.opened
        if len(opened.attempts) < opened.skip:
            for attempt in untold.attempts:
                opened.attempts.append((attempt, opened.slip.answers[len(opened.attempts)]))
            return
        self._settle_untold(None)
        self._untold = untold
        self._happen(Judged(told=told))
        if self.practice is None or self.practice.phase is not Phase.ANSWER:
            self._settle_untold(None)

    def _begin_anew_if_long(self, opened: OpenTake) -> None:
        """A run that goes on and on continues in another take: a short one is heard again soon after a restart."""
        practice = self.practice
        long = opened.writer.frames > LONGEST_RUN_S * opened.writer.sample_rate_hz
        if practice is None or practice.phase is not Phase.PLAY or practice.rule.clicks or opened.followed or not long:
            return
        opened.followed = True
        renewed = replace(practice, listening_since=practice.moment)
        self._remember(renewed)
        self._say_listen(renewed)

    def _settle_untold(self, answer: str | None) -> Untold | None:
        """Put what was judged last on its take's slip, with what the own ear said."""
        untold, self._untold = self._untold, None
        if untold is None:
            return None
        opened = untold.opened
        opened.attempts += [(attempt, answer) for attempt in untold.attempts]
        opened.slip.answers += [answer] * len(untold.attempts)
        self._takes.write_slip(opened.slip)
        return untold

    def _note(self, opened: OpenTake, heard: NoteHeard) -> None:
        if len(opened.attempts) >= opened.skip:
            cents = round(heard.attempt.landing_cents or 0.0, 1)
            good = heard.attempt.verdict is Verdict.TRUE
            self._say({"type": "note", "cents": cents, "octaves": heard.octaves, "good": good})
        self._attempt(opened, heard)

    def _phrase(self, opened: OpenTake, heard: PhraseHeard) -> None:
        opened.sounded = True
        about = (opened.slip, opened.writer.path, heard.first_frame, heard.last_frame)
        self._later(opened, self._judged_phrase, self._desk.judge_phrase, *about)

    def _string(self, _: OpenTake, heard: StringHeard) -> None:
        self._say(
            {
                "type": "string",
                "string": heard.string,
                "hz": round(heard.hz, 3),
                "se": round(heard.se_cents, 2),
                "off": round(heard.off_cents, 1),
            }
        )

    # The machine --------------------------------------------------------------------------------------------------

    def _happen(self, happening: Happening) -> None:
        if self.practice is not None:
            self._follow(step(self.practice, happening))

    def _follow(self, outcome: tuple[Practice, tuple[Order, ...]]) -> None:
        practice, orders = outcome
        changed = practice is not self.practice
        self._remember(practice)
        for order in orders:
            if self._practising or isinstance(order, Tell):
                _ORDERS[type(order)](self, order)
        if changed or orders:
            self._show()

    def _remember(self, practice: Practice) -> None:
        before = self._memory.practice
        if before is None or (practice.listening_since != before.listening_since and not practice.run):
            self._memory.marks = {}
        self._memory.practice = practice
        self._notebook.write(self.room, self._memory)

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
        untold, told = self._settle_untold(order.told.answer), order.told
        shown = untold.shown if untold is not None else None
        legs = untold.legs if untold is not None else {}
        self._say(
            {
                "type": "told",
                "verdict": told.verdict.value,
                "leg": told.leg,
                "reason": told.reason,
                "attempt": view_attempt(shown) if shown is not None else None,
                "legs": {leg: one and view_attempt(one) for leg, one in legs.items()} or None,
                "own_ear_right": order.own_ear_right,
                "sound": order.sound and self._practising,
            }
        )
        if untold is not None:
            self._begin_anew_if_long(untold.opened)

    def _order_wait(self, order: WaitFor) -> None:
        self._stop_waiting()
        loop = asyncio.get_running_loop()
        self._timer = loop.call_later(order.seconds, lambda: self._happen(Waited(moment=order.moment)))
        self._say({"type": "waiting", "seconds": order.seconds})


def _told(attempt: Attempt, *, direction: str) -> Told:
    return Told(
        verdict=attempt.verdict, faults=attempt.faults, reason=attempt.reason, landing_cents=attempt.landing_cents,
        landing_mm=attempt.landing_mm, settled_cents=attempt.settled_cents, tolerance_cents=attempt.tolerance_cents,
        direction=direction,
    )  # fmt: skip


_WORDS: dict[str, Callable[[Conversation, Mapping[str, Any]], None]] = {
    "begin": Conversation._begin,
    "go-on": Conversation._go_on,
    "act": Conversation._act,
    "goto": Conversation._goto,
    "settings": Conversation._settings,
    "way": Conversation._choose_way,
    "tone-ended": Conversation._tone_ended,
    "counted": Conversation._counted,
    "take-open": Conversation._open_take,
    "mask": Conversation._mask,
    "beats": Conversation._beats,
    "take-close": Conversation._close_take,
}
_REACTIONS: dict[type, Callable[[Conversation, OpenTake, Any], None]] = {
    Pitched: Conversation._pitched,
    LandingHeard: Conversation._landing,
    AttemptHeard: Conversation._attempt,
    RoundHeard: Conversation._round,
    NoteHeard: Conversation._note,
    PhraseHeard: Conversation._phrase,
    StringHeard: Conversation._string,
}
_ORDERS: dict[type, Callable[[Conversation, Any], None]] = {
    PlayTone: Conversation._order_tone,
    CountIn: Conversation._order_count,
    Listen: Conversation._order_listen,
    Rest: Conversation._order_rest,
    Tell: Conversation._order_tell,
    WaitFor: Conversation._order_wait,
}
