"""One page and its practice: sound and words come in, orders and verdicts go out.

Conventions: a conversation outlives its connection. What happened is written down, so it outlives the server as well:
a page that comes back sends its sound again, the ear hears the take from its start, and what was already told is not
told twice. The takes that a page left are kept when another one comes.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any

from truestop.app.room_state import Judged, Landed, Phase, Practice, Tell, Told
from truestop.domain.attempt import Attempt, Verdict
from truestop.domain.errors import SoundError, TruestopError
from truestop.listening.returning import Leg
from truestop.web.hearing import (
    AttemptHeard,
    Ear,
    Heard,
    LandingHeard,
    NoteHeard,
    PhraseHeard,
    PhraseJudged,
    Pitched,
    RoundHeard,
    StringHeard,
)
from truestop.web.judging_queue import JudgingQueue
from truestop.web.notebook import Notebook
from truestop.web.open_takes import Message, OpenTake, OpenTakes
from truestop.web.ports import Desk
from truestop.web.room_practice import WORDS, RoomPractice
from truestop.web.takes import Slip, TakeFolder
from truestop.web.views import view_attempt

PASSAGE_STAGE = "in the passage"
LONGEST_RUN_S = 90.0
"""After a verdict so far into a take, the next attempts get a take of their own."""
UNHEARD = {Leg.THERE: "The way there was not heard.", Leg.BACK: "The way back was not heard."}


@dataclass(frozen=True, slots=True, kw_only=True)
class Untold:
    """What was judged and waits to be told: all attempts of one time there and back, else a single one."""

    opened: OpenTake
    attempts: tuple[Attempt, ...]
    shown: Attempt | None
    """The one that decides."""
    legs: dict[str, Attempt | None] = field(default_factory=dict)


class Conversation:
    """A room's practice, with or without a page that is connected."""

    def __init__(self, room: str, *, desk: Desk, takes: TakeFolder, notebook: Notebook) -> None:
        self.room = room
        self._desk = desk
        self._send: Callable[[Message], None] | None = None
        self._practice = RoomPractice(room, desk=desk, notebook=notebook, say=self._say, tell=self._tell)
        self._open = OpenTakes(takes, ear_for=self._ear_for, say=self._say, react=self._react)
        self._queue = JudgingQueue(self._trouble)
        self._untold: Untold | None = None

    @property
    def practice(self) -> Practice | None:
        """The practice, None before a shift was chosen."""
        return self._practice.practice

    # The page comes and goes --------------------------------------------------------------------------------------

    def join(
        self, send: Callable[[Message], None], *, practising: bool = True, holds: Collection[str] | None = None
    ) -> None:
        """A page is here: tell it where the practice stands, and what is to be done.

        ``practising`` is false for a page that was loaded anew. ``holds`` names the takes of which it still has sound;
        every other take that is open was left by a page before it, and ends here. None: nothing is known of that.
        """
        if self._send is not None and self._send != send:
            self._say_trouble("This practice goes on in another tab.", "Close this one.")
        self._send, self._practice.practising = send, practising
        self._practice.stop_waiting()
        if holds is not None:
            for left in self._open.take_out_left(self.room, holds=holds, judging=self._queue.takes):
                self._end(left)
        self._practice.welcome()

    def hears(self, send: Callable[[Message], None]) -> bool:
        """Whether the page behind ``send`` is the one that is listened to: it is the last that came."""
        return self._send == send

    def leave(self, send: Callable[[Message], None]) -> None:
        """The page is gone; its takes stay open, their ears remember what they heard, and nothing goes on by itself."""
        if self._send == send:
            self._send = None
            self._practice.stop_waiting()
            self._open.bring_up_to_date()

    def close(self) -> None:
        """The server ends; the takes stay on the disk."""
        self._open.close()
        self._queue.close()

    def _say(self, message: Message) -> None:
        if self._send is not None:
            self._send(message)

    def _say_trouble(self, what: str, hint: str) -> None:
        self._say({"type": "trouble", "what": what, "hint": hint})

    def _trouble(self, error: TruestopError) -> None:
        self._say_trouble(str(error), error.hint)

    # Words --------------------------------------------------------------------------------------------------------

    def hear_words(self, message: Mapping[str, Any]) -> None:
        """One message of the page; a message that makes no sense is answered, not obeyed."""
        kind = str(message.get("type"))
        try:
            if kind in WORDS:
                WORDS[kind](self._practice, message)
            elif kind in _WORDS:
                _WORDS[kind](self, message)
            else:
                self._say_trouble("The page said something the room does not know.", "Reload it.")
        except TruestopError as error:
            self._trouble(error)
        except (KeyError, TypeError, ValueError):
            self._say_trouble("A message of the page is incomplete.", "Reload the page.")

    # Takes --------------------------------------------------------------------------------------------------------

    def _ear_for(self, slip: Slip, sample_rate_hz: int) -> Ear:
        return self._desk.ear_for(slip.purpose, slip.about, sample_rate_hz, slip.beats_s)

    def _open_take(self, message: Mapping[str, Any]) -> None:
        take, purpose, rate = str(message["take"]), str(message["purpose"]), int(message["sampleRate"])
        slot, known = int(message["slot"]), self._open.named(take)
        if known is not None:
            self._open.move(known, slot)
            return
        if take in self._queue.takes:
            return
        if self._open.is_gone(take, int(message.get("acknowledged", 0))):
            self._say({"type": "ack", "take": take, "frames": 0, "closed": True})
            return
        about = dict(message.get("about") or {})
        if purpose == "practice":
            about |= self._practice.about(str(about.get("stage", "")))
        fresh = Slip(take=take, purpose=purpose, about=about, opened_at_s=time.time(), room=self.room)
        opened = self._open.begin(slot, fresh, rate)
        if opened.slip.about.get("stage") == PASSAGE_STAGE:
            self._practice.begin_marks(take)

    def _mask(self, message: Mapping[str, Any]) -> None:
        opened = self._open.named(str(message["take"]))
        if opened is not None:
            self._open.mask(opened, int(message["from"]), int(message["to"]))

    def _beats(self, message: Mapping[str, Any]) -> None:
        opened = self._open.named(str(message["take"]))
        if opened is not None:
            self._open.set_beats(opened, [int(frame) for frame in message["frames"]])

    def _close_take(self, message: Mapping[str, Any]) -> None:
        opened = self._open.named(str(message["take"]))
        if opened is not None and opened.writer.frames >= int(message["frames"]):
            self._open.take_out(opened)
            self._end(opened)

    def hear_sound(self, data: bytes) -> None:
        """A block of sound; written, acknowledged, then heard."""
        try:
            self._open.hear_sound(data)
        except SoundError as error:
            self._trouble(error)

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
            self._open.put_away(opened)

    def _later(
        self, opened: OpenTake, tell: Callable[[OpenTake, Any], None], judge: Callable[..., Any], *about: Any
    ) -> None:
        """Judge beside the room: a long run takes seconds, and the room goes on meanwhile."""
        self._queue.ask(opened.name, partial(tell, opened), judge, *about)

    def _judged_through(self, opened: OpenTake, shifts: list[dict[str, Any]] | None) -> None:
        self._say({"type": "through", "shifts": shifts or []})
        self._open.put_away(opened)

    def _judged_phrase(self, opened: OpenTake, phrase: PhraseJudged | None) -> None:
        """Mark every shift; tell the drilled one, unless the take was closed meanwhile and is judged as a whole."""
        if phrase is not None:
            self._practice.mark(opened.name, phrase.shifts, whole=False)
            for attempt in phrase.attempts:
                if opened in self._open:
                    self._attempt(opened, AttemptHeard(attempt=attempt, direction=phrase.direction))

    def _kept_passage(self, opened: OpenTake, found: tuple[str | None, list[dict[str, Any]]] | None) -> None:
        if found is not None:
            self._practice.mark(opened.name, found[1], whole=True)
            if found[0] is not None:
                self._kept(opened, found[0])
            self._open.put_away(opened)

    def _kept(self, opened: OpenTake, kept: str | None) -> None:
        self._say({"type": "kept", "take": opened.name, "as": kept})

    # What was heard -----------------------------------------------------------------------------------------------

    def _react(self, opened: OpenTake, heard: list[Heard]) -> None:
        for each in heard:
            _REACTIONS[type(each)](self, opened, each)

    def _pitched(self, opened: OpenTake, heard: Pitched) -> None:
        opened.sounded = opened.sounded or any(value is not None for value in heard.cents)
        self._say({"type": "pitch", "t": list(heard.times_s), "c": list(heard.cents)})

    def _landing(self, opened: OpenTake, heard: LandingHeard) -> None:
        """Draw it; there and back the own ear is not asked, since one word cannot speak of two landings."""
        if opened.is_told_again:
            return
        if not heard.leg:
            self._practice.happen(Landed())
        if not self._practice.awaits_answer:
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
        if untold.opened.is_told_again:
            untold.opened.hear_again(untold.attempts)
            return
        self._settle_untold(None)
        self._untold = untold
        self._practice.happen(Judged(told=told))
        if not self._practice.awaits_answer:
            self._settle_untold(None)

    def _begin_anew_if_long(self, opened: OpenTake) -> None:
        """A run that goes on and on continues in another take: a short one is heard again soon after a restart."""
        practice = self.practice
        long = opened.writer.frames > LONGEST_RUN_S * opened.writer.sample_rate_hz
        if practice is None or practice.phase is not Phase.PLAY or practice.rule.clicks or opened.followed or not long:
            return
        opened.followed = True
        self._practice.listen_anew(practice)

    def _settle_untold(self, answer: str | None) -> Untold | None:
        """Put what was judged last on its take's slip, with what the own ear said."""
        untold, self._untold = self._untold, None
        if untold is None:
            return None
        self._open.answer(untold.opened, untold.attempts, answer)
        return untold

    def _note(self, opened: OpenTake, heard: NoteHeard) -> None:
        if not opened.is_told_again:
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

    def _tell(self, order: Tell) -> None:
        """Tell a verdict with the attempt behind it, once it may be known."""
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
                "sound": order.sound and self._practice.practising,
            }
        )
        if untold is not None:
            self._begin_anew_if_long(untold.opened)


def _told(attempt: Attempt, *, direction: str) -> Told:
    return Told(
        verdict=attempt.verdict, faults=attempt.faults, reason=attempt.reason, landing_cents=attempt.landing_cents,
        landing_mm=attempt.landing_mm, settled_cents=attempt.settled_cents, tolerance_cents=attempt.tolerance_cents,
        direction=direction,
    )  # fmt: skip


_WORDS: dict[str, Callable[[Conversation, Mapping[str, Any]], None]] = {
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
