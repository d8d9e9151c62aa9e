"""The practice of one shift as a state machine: what happened goes in, the next state and what to do comes out.

Conventions: the machine is pure; it knows no clock, microphone or page. ``step`` takes a practice and something that
happened and gives the practice after it with the orders that follow, in their order. Waiting is an order too: the room
waits and answers with ``Waited`` and the moment that the order named; a practice that has moved on ignores it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from truestop.app.room_rules import STAGE_ORDER, Listening, cause_line, shared_cause, step_back
from truestop.app.room_state import (
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
    Stopped,
    Tell,
    Told,
    ToneEnded,
    Waited,
    WaitFor,
)
from truestop.domain.attempt import Verdict, landing_side

MISSES_THAT_STOP = 2
SLOWER = 0.8
SLOWEST = 0.4

Outcome = tuple[Practice, tuple[Order, ...]]


def begin(
    *, settings: Settings | None = None, cold_due: bool = False, stages: tuple[str, ...] = STAGE_ORDER
) -> Outcome:
    """A new practice. Where a cold attempt is due it comes first, before anything is heard."""
    chosen = tuple(stage for stage in stages if stage != "cold" or cold_due)
    return _enter(Practice(stages=chosen, settings=settings or Settings()), 0)


def step(practice: Practice, happening: Happening) -> Outcome:
    """The practice after ``happening``, and the orders that follow. What does not fit the phase changes nothing."""
    if isinstance(happening, Act):
        return _act(practice, happening)
    return _HANDLERS[type(happening)](practice, happening)


def resume(practice: Practice) -> Outcome:
    """The orders a room needs that comes back to ``practice`` after it lost its page or its server."""
    if practice.phase is Phase.TONE:
        return practice, (PlayTone(),)
    if practice.phase is Phase.PLAY:
        return practice, (_listen(practice),)
    if practice.phase is Phase.ANSWER:
        return practice, (_listen(practice), _wait_for_answer(practice))
    if practice.phase is Phase.COUNT:
        return _start(practice)
    seconds = {Phase.READ: practice.settings.read_s, Phase.MET: practice.settings.met_s}
    if practice.phase is Phase.DONE:
        return practice, ()
    return _waiting(practice, seconds.get(practice.phase, practice.settings.stopped_s))


def come_back(practice: Practice) -> Outcome:
    """The orders for a page that was loaded anew: the run stands as it was, in another take.

    What the own ear was asked meanwhile counts as unanswered, and a click begins with its count.
    """
    told: tuple[Order, ...] = ()
    if practice.phase is Phase.ANSWER:
        practice, told = _waited(practice, Waited(moment=practice.moment))
    back, orders = _start(practice) if practice.phase in (Phase.PLAY, Phase.COUNT) else resume(practice)
    return back, (*told, *orders)


# Entering a stage ---------------------------------------------------------------------------------------------------


def _enter(practice: Practice, index: int) -> Outcome:
    entered = replace(
        practice,
        index=index,
        run=(),
        held=None,
        answer=None,
        misses=0,
        trues=0,
        stopped=None,
        moment=practice.moment + 1,
    )
    rule = entered.rule
    if rule.listening is Listening.NOTHING:
        return _waiting(replace(entered, phase=Phase.READ), entered.settings.read_s, Rest())
    if rule.tone_first:
        return replace(entered, phase=Phase.TONE), (Rest(), PlayTone())
    return _start(entered)


def _start(practice: Practice) -> Outcome:
    """Listen, after the count-in where the stage has a click."""
    rule = practice.rule
    moved = _moved(practice, Phase.COUNT if rule.clicks else Phase.PLAY)
    started = replace(moved, listening_since=moved.moment)
    listen = _listen(started)
    if rule.clicks:
        return started, (listen, CountIn(tempo_bpm=practice.settings.tempo_bpm * practice.tempo_ratio))
    return started, (listen,)


def _listen(practice: Practice) -> Listen:
    return Listen(listening=practice.rule.listening, stage=practice.stage, since=practice.listening_since)


def _moved(practice: Practice, phase: Phase) -> Practice:
    return replace(practice, phase=phase, moment=practice.moment + 1)


def _waiting(practice: Practice, seconds: float, *before: Order) -> Outcome:
    """Orders ``before``, then a wait where the room goes on by itself."""
    moved = replace(practice, moment=practice.moment + 1)
    wait = (WaitFor(seconds=seconds, moment=moved.moment),) if practice.settings.by_itself else ()
    return moved, (*before, *wait)


# The player's acts --------------------------------------------------------------------------------------------------


def _act(practice: Practice, act: Act) -> Outcome:
    if act is Act.LEAVE:
        return _moved(practice, Phase.DONE), (Rest(),)
    if practice.phase is Phase.ANSWER and act in _ANSWERS:
        return _answered(practice, _ANSWERS[act])
    return _ACTS.get(act, _unchanged)(practice)


def _unchanged(practice: Practice) -> Outcome:
    return practice, ()


def _on(practice: Practice) -> Outcome:
    if practice.phase is Phase.STOPPED:
        return _back(practice)
    if practice.phase is Phase.TONE:
        return _start(practice)
    if practice.phase is Phase.DONE:
        return practice, ()
    return _advance(practice)


def _advance(practice: Practice) -> Outcome:
    """To the next stage, or forward again to the one that was stepped back from."""
    if practice.return_to is not None:
        return _enter(replace(practice, return_to=None, tempo_ratio=1.0), practice.return_to)
    if practice.is_last:
        return _moved(practice, Phase.DONE), (Rest(),)
    return _enter(practice, practice.index + 1)


def _restart(practice: Practice) -> Outcome:
    """Begin the run again at the same stage."""
    if practice.phase is Phase.DONE:
        return practice, ()
    return _enter(practice, practice.index)


def _tone(practice: Practice) -> Outcome:
    """The reference when asked; the run goes on after it. Before a cold attempt there is none."""
    if practice.rule.once or practice.phase in (Phase.DONE, Phase.ANSWER):
        return practice, ()
    if practice.phase in (Phase.STOPPED, Phase.MET):
        practice = replace(practice, run=(), misses=0, trues=0, stopped=None)
    return _moved(practice, Phase.TONE), (Rest(), PlayTone())


def _back(practice: Practice) -> Outcome:
    """Take the step back that was offered, and remember where it came from."""
    if practice.stopped is None:
        return practice, ()
    back = practice.stopped.back
    index = practice.stages.index(back.stage)
    ratio = max(SLOWEST, practice.tempo_ratio * SLOWER) if back.slower else practice.tempo_ratio
    come_from = practice.return_to if practice.return_to is not None else practice.index
    moved = replace(practice, return_to=come_from if index < come_from else None, tempo_ratio=ratio)
    if index == practice.index and not back.slower:
        return replace(_moved(moved, Phase.TONE), run=(), misses=0, trues=0, stopped=None), (Rest(), PlayTone())
    return _enter(moved, index)


_ANSWERS = {
    Act.SAY_HIGH: "high", Act.SAY_LOW: "low", Act.SAY_TRUE: "true",
    Act.ON: "high", Act.AGAIN: "low", Act.TONE: "true",
}  # fmt: skip
_ACTS: dict[Act, Callable[[Practice], Outcome]] = {Act.ON: _on, Act.AGAIN: _restart, Act.TONE: _tone, Act.BACK: _back}


# What is heard ------------------------------------------------------------------------------------------------------


def _tone_ended(practice: Practice, _: object) -> Outcome:
    if practice.phase is not Phase.TONE:
        return practice, ()
    if practice.rule.listening is Listening.NOTHING:
        return _waiting(replace(practice, phase=Phase.READ), practice.settings.read_s)
    return _start(practice)


def _counted(practice: Practice, _: object) -> Outcome:
    return (_moved(practice, Phase.PLAY), ()) if practice.phase is Phase.COUNT else (practice, ())


def _landed(practice: Practice, _: object) -> Outcome:
    """Ask the own ear before anything is shown."""
    if (
        practice.phase is not Phase.PLAY
        or not practice.settings.own_ear
        or practice.rule.listening is not Listening.SHIFT
    ):
        return practice, ()
    asked = replace(practice, phase=Phase.ANSWER, held=None, answer=None)
    moved = replace(asked, moment=asked.moment + 1)
    return moved, (_wait_for_answer(moved),)


def _wait_for_answer(practice: Practice) -> WaitFor:
    return WaitFor(seconds=practice.settings.answer_s, moment=practice.moment)


def _answered(practice: Practice, word: str) -> Outcome:
    if practice.held is not None:
        return _tell(replace(practice, phase=Phase.PLAY, held=None), replace(practice.held, answer=word))
    return replace(practice, answer=word), ()


def _judged(practice: Practice, happening: Judged) -> Outcome:
    if practice.phase is Phase.ANSWER and practice.answer is None:
        return replace(practice, held=happening.told), ()
    if practice.phase not in (Phase.PLAY, Phase.COUNT, Phase.ANSWER):
        return practice, ()
    told = happening.told if practice.answer is None else replace(happening.told, answer=practice.answer)
    phase = Phase.PLAY if practice.phase is Phase.ANSWER else practice.phase
    return _tell(replace(practice, phase=phase, answer=None), told)


def _tell(practice: Practice, told: Told) -> Outcome:
    """Count it, show it, and see whether the rules stop the run or let it go on."""
    right = own_ear_was_right(told)
    is_miss = told.verdict.is_miss
    unjudged = told.verdict is Verdict.UNJUDGED
    counted = replace(
        practice,
        run=(*practice.run, told),
        misses=practice.misses if unjudged else practice.misses + 1 if is_miss else 0,
        trues=practice.trues if unjudged else 0 if is_miss else practice.trues + 1,
        own_ear_asked=practice.own_ear_asked + (right is not None),
        own_ear_right=practice.own_ear_right + bool(right),
        moment=practice.moment + 1,
    )
    tell = Tell(told=told, own_ear_right=right, sound=practice.settings.sounds)
    if counted.rule.once and not unjudged:
        return _waiting(replace(counted, phase=Phase.MET), counted.settings.met_s, tell, Rest())
    if counted.misses >= MISSES_THAT_STOP:
        return _stop(counted, tell)
    if counted.aim and counted.trues >= counted.aim:
        return _waiting(replace(counted, phase=Phase.MET), counted.settings.met_s, tell, Rest())
    return counted, (tell,)


def _stop(practice: Practice, tell: Tell) -> Outcome:
    missed = [told for told in practice.run if told.verdict.is_miss][-MISSES_THAT_STOP:]
    cause = shared_cause([told.verdict for told in missed], [told.faults for told in missed])
    line = cause_line(cause, [told.direction for told in missed])
    stopped = Stopped(cause=cause, line=line, back=step_back(cause, practice.stage, practice.stages))
    return _waiting(replace(practice, phase=Phase.STOPPED, stopped=stopped), practice.settings.stopped_s, tell, Rest())


def own_ear_was_right(told: Told) -> bool | None:
    """Whether the player's word fits where the hand came down, before any correction; None where not asked."""
    if told.answer is None or told.landing_cents is None or told.verdict is Verdict.UNJUDGED:
        return None
    return told.answer == landing_side(told.landing_cents, told.tolerance_cents)


def _goto(practice: Practice, happening: GoTo) -> Outcome:
    if happening.stage not in practice.stages or practice.phase is Phase.DONE:
        return practice, ()
    return _enter(replace(practice, return_to=None, tempo_ratio=1.0), practice.stages.index(happening.stage))


def _waited(practice: Practice, happening: Waited) -> Outcome:
    if happening.moment != practice.moment:
        return practice, ()
    if practice.phase is Phase.ANSWER:
        if practice.held is not None:
            return _tell(replace(practice, phase=Phase.PLAY, held=None), practice.held)
        return replace(practice, phase=Phase.PLAY, moment=practice.moment + 1), ()
    if practice.phase is Phase.STOPPED:
        return _back(practice)
    if practice.phase in (Phase.READ, Phase.MET):
        return _advance(practice)
    return practice, ()


_HANDLERS: dict[type, Callable[[Practice, object], Outcome]] = {
    GoTo: _goto,  # type: ignore[dict-item]
    ToneEnded: _tone_ended,
    Counted: _counted,
    Landed: _landed,
    Judged: _judged,  # type: ignore[dict-item]
    Waited: _waited,  # type: ignore[dict-item]
}
