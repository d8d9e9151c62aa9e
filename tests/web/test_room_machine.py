"""The practice as a state machine: rules of the trade (common practice, no source), stated as what must follow."""

from __future__ import annotations

import pytest

from truestop.app.room import begin, own_ear_was_right, resume, step
from truestop.app.room_rules import (
    BACK_TO,
    CAUSE_LINES,
    STAGE_ORDER,
    STAGE_RULES,
    Cause,
    Listening,
    cause_line,
    shared_cause,
    step_back,
)
from truestop.app.room_state import (
    Act,
    Counted,
    CountIn,
    GoTo,
    Judged,
    Landed,
    Listen,
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
)
from truestop.domain.attempt import Verdict

MISSES = (Verdict.HIGH, Verdict.LOW, Verdict.CORRECTED, Verdict.LATE, Verdict.EARLY, Verdict.WRONG_NOTE)


def at(stage: str, **settings: object) -> Practice:
    practice, _ = begin(settings=Settings(**settings))  # type: ignore[arg-type]
    practice, orders = step(practice, GoTo(stage=stage))
    if any(isinstance(order, PlayTone) for order in orders):
        practice, _ = step(practice, ToneEnded())
    if practice.phase is Phase.COUNT:
        practice, _ = step(practice, Counted())
    return practice


def judge(practice: Practice, *verdicts: Verdict) -> Practice:
    for verdict in verdicts:
        practice, _ = step(practice, Judged(told=Told(verdict=verdict, landing_cents=30.0)))
    return practice


def test_a_cold_attempt_comes_first_only_when_it_is_due() -> None:
    assert begin(cold_due=True)[0].stage == "cold"
    assert begin(cold_due=False)[0].stage == "name"


def test_nothing_is_heard_before_a_cold_attempt() -> None:
    practice, orders = begin(cold_due=True)
    assert [type(order) for order in orders] == [Listen]
    assert step(practice, Act.TONE) == (practice, ())


def test_a_cold_attempt_is_one_attempt() -> None:
    practice, _ = begin(cold_due=True)
    practice = judge(practice, Verdict.UNJUDGED)
    assert practice.phase is Phase.PLAY
    practice = judge(practice, Verdict.HIGH)
    assert practice.phase is Phase.MET


def test_a_whole_practice_runs_without_being_touched() -> None:
    practice, orders = begin(cold_due=True)
    seen = [practice.stage]
    for _ in range(200):
        if practice.phase is Phase.DONE:
            break
        if practice.phase is Phase.TONE:
            practice, orders = step(practice, ToneEnded())
        elif practice.phase is Phase.COUNT:
            practice, orders = step(practice, Counted())
        elif practice.phase is Phase.PLAY:
            practice, orders = step(practice, Judged(told=Told(verdict=Verdict.TRUE, landing_cents=1.0)))
        else:
            wait = orders[-1]
            assert isinstance(wait, WaitFor)
            practice, orders = step(practice, Waited(moment=wait.moment))
        if practice.stage != seen[-1]:
            seen.append(practice.stage)
    assert practice.phase is Phase.DONE
    assert tuple(seen) == STAGE_ORDER


def test_three_true_in_a_row_let_go_on() -> None:
    practice = judge(at("plain"), Verdict.TRUE, Verdict.TRUE, Verdict.HIGH, Verdict.TRUE, Verdict.TRUE)
    assert practice.phase is Phase.PLAY
    assert judge(practice, Verdict.TRUE).phase is Phase.MET


def test_unjudged_neither_counts_nor_breaks() -> None:
    practice = judge(at("plain"), Verdict.TRUE, Verdict.UNJUDGED, Verdict.TRUE, Verdict.UNJUDGED, Verdict.TRUE)
    assert practice.phase is Phase.MET
    practice = judge(at("plain"), Verdict.LOW, Verdict.UNJUDGED, Verdict.LOW)
    assert practice.phase is Phase.STOPPED


@pytest.mark.parametrize("verdict", MISSES)
def test_two_misses_in_a_row_stop_the_run_and_name_what_they_share(verdict: Verdict) -> None:
    practice = judge(at("plain"), verdict)
    assert practice.phase is Phase.PLAY
    practice, orders = step(practice, Judged(told=Told(verdict=verdict)))
    assert practice.phase is Phase.STOPPED
    assert practice.stopped is not None
    assert practice.stopped.cause.value == verdict.value
    assert practice.stages.index(practice.stopped.back.stage) < practice.index
    assert any(isinstance(order, Rest) for order in orders)


def test_a_true_landing_between_two_misses_does_not_stop() -> None:
    assert judge(at("plain"), Verdict.HIGH, Verdict.TRUE, Verdict.HIGH).phase is Phase.PLAY


def test_the_step_back_leads_forward_again() -> None:
    practice = judge(at("plain"), Verdict.HIGH, Verdict.HIGH)
    practice, _ = step(practice, Act.BACK)
    assert practice.stage == "guide"
    practice = judge(practice, Verdict.TRUE, Verdict.TRUE, Verdict.TRUE)
    practice, _ = step(practice, Act.ON)
    assert practice.stage == "plain"
    assert practice.return_to is None


def test_a_step_back_from_a_step_back_still_leads_to_where_it_began() -> None:
    practice = judge(at("plain"), Verdict.HIGH, Verdict.HIGH)
    practice, _ = step(practice, Act.BACK)
    practice = judge(practice, Verdict.LOW, Verdict.HIGH)
    practice, _ = step(practice, Act.BACK)
    assert practice.stage == "hear"
    practice, _ = step(practice, Act.ON)
    practice, _ = step(practice, Act.ON)
    assert practice.stage == "plain"


def test_late_twice_slows_the_click_down() -> None:
    practice = judge(at("in time", tempo_bpm=60.0), Verdict.LATE, Verdict.LATE)
    practice, orders = step(practice, Act.BACK)
    assert practice.stage == "in time"
    assert [order.tempo_bpm for order in orders if isinstance(order, CountIn)] == [48.0]


def test_the_click_gets_never_slower_than_its_floor() -> None:
    practice = at("in time", tempo_bpm=100.0)
    for _ in range(10):
        practice = judge(practice, Verdict.LATE, Verdict.LATE)
        practice, _ = step(practice, Act.BACK)
        practice, _ = step(practice, Counted())
    assert practice.tempo_ratio == pytest.approx(0.4)


def test_misses_in_hearing_play_the_reference_again() -> None:
    practice = judge(at("hear"), Verdict.HIGH, Verdict.HIGH)
    practice, orders = step(practice, Act.BACK)
    assert practice.stage == "hear"
    assert practice.phase is Phase.TONE
    assert any(isinstance(order, PlayTone) for order in orders)


def test_own_ear_is_asked_before_anything_is_told() -> None:
    practice = at("plain", own_ear=True)
    practice, orders = step(practice, Landed())
    assert practice.phase is Phase.ANSWER
    practice, orders = step(practice, Judged(told=Told(verdict=Verdict.HIGH, landing_cents=25.0)))
    assert orders == ()
    practice, orders = step(practice, Act.SAY_HIGH)
    tell = next(order for order in orders if isinstance(order, Tell))
    assert tell.told.answer == "high"
    assert tell.own_ear_right is True
    assert (practice.own_ear_asked, practice.own_ear_right) == (1, 1)


def test_own_ear_may_answer_before_the_verdict_is_there() -> None:
    practice, _ = step(at("plain", own_ear=True), Landed())
    practice, orders = step(practice, Act.SAY_LOW)
    assert orders == ()
    practice, orders = step(practice, Judged(told=Told(verdict=Verdict.TRUE, landing_cents=2.0)))
    assert next(order for order in orders if isinstance(order, Tell)).own_ear_right is False


def test_an_answer_given_in_time_counts_when_the_verdict_is_late() -> None:
    practice, orders = step(at("plain", own_ear=True), Landed())
    assert isinstance(orders[-1], WaitFor)
    practice, _ = step(practice, Act.SAY_HIGH)
    practice, _ = step(practice, Waited(moment=orders[-1].moment))
    practice, orders = step(practice, Judged(told=Told(verdict=Verdict.HIGH, landing_cents=25.0)))
    assert next(order for order in orders if isinstance(order, Tell)).own_ear_right is True
    assert practice.answer is None


def test_a_page_that_comes_back_is_not_asked_for_ever() -> None:
    practice, asked = step(at("plain", own_ear=True), Landed())
    practice, _ = step(practice, Judged(told=Told(verdict=Verdict.HIGH, landing_cents=25.0)))
    practice, orders = resume(practice)
    assert orders[-1] == asked[-1]
    assert isinstance(orders[-1], WaitFor)
    practice, orders = step(practice, Waited(moment=orders[-1].moment))
    assert any(isinstance(order, Tell) for order in orders)


def test_an_ear_that_does_not_answer_is_told_and_not_counted() -> None:
    practice, orders = step(at("plain", own_ear=True), Landed())
    wait = orders[-1]
    assert isinstance(wait, WaitFor)
    practice, _ = step(practice, Judged(told=Told(verdict=Verdict.LOW, landing_cents=-30.0)))
    practice, orders = step(practice, Waited(moment=wait.moment))
    assert any(isinstance(order, Tell) for order in orders)
    assert practice.own_ear_asked == 0


def test_own_ear_on_a_corrected_landing_is_about_where_the_hand_came_down() -> None:
    told = Told(verdict=Verdict.CORRECTED, landing_cents=-28.0, settled_cents=-1.0, answer="low")
    assert own_ear_was_right(told) is True
    inside = Told(verdict=Verdict.CORRECTED, landing_cents=-12.0, answer="true")
    assert own_ear_was_right(inside) is True


def test_an_old_wait_changes_nothing() -> None:
    practice, orders = begin()
    wait = orders[-1]
    assert isinstance(wait, WaitFor)
    moved, _ = step(practice, GoTo(stage="plain"))
    assert step(moved, Waited(moment=wait.moment)) == (moved, ())


def test_without_going_on_by_itself_nothing_waits() -> None:
    practice = at("plain", by_itself=False)
    for _ in range(3):
        practice, orders = step(practice, Judged(told=Told(verdict=Verdict.TRUE)))
    assert practice.phase is Phase.MET
    assert not any(isinstance(order, WaitFor) for order in orders)


def test_the_tone_that_was_asked_for_does_not_break_the_run() -> None:
    practice = judge(at("plain"), Verdict.TRUE, Verdict.TRUE)
    practice, orders = step(practice, Act.TONE)
    assert [type(order) for order in orders] == [Rest, PlayTone]
    practice, _ = step(practice, ToneEnded())
    assert judge(practice, Verdict.TRUE).phase is Phase.MET


def test_every_cause_leads_back_or_to_the_same_stage_from_everywhere() -> None:
    listening = [stage for stage in STAGE_ORDER if STAGE_RULES[stage].listening is not Listening.NOTHING]
    for cause in Cause:
        assert BACK_TO[cause]
        for stage in listening:
            back = step_back(cause, stage, STAGE_ORDER)
            assert STAGE_ORDER.index(back.stage) <= STAGE_ORDER.index(stage)


def test_misses_of_two_kinds_share_what_both_show() -> None:
    assert shared_cause([Verdict.HIGH, Verdict.LOW]) is Cause.SCATTERED
    assert cause_line(Cause.HIGH, ["up", "up"]) == "Both landed high: the hand travels too far."
    assert cause_line(Cause.LOW, ["down", "down"]) == "Both landed low: the hand travels too far."
    assert cause_line(Cause.LOW, ["up", "down"]) == cause_line(Cause.LOW, ["", ""]) == CAUSE_LINES[Cause.LOW]
    assert shared_cause([Verdict.HIGH, Verdict.CORRECTED], [("high", "late"), ("late",)]) is Cause.LATE


def test_leaving_ends_the_take() -> None:
    practice, orders = step(at("plain"), Act.LEAVE)
    assert practice.phase is Phase.DONE
    assert orders == (Rest(),)
    assert step(practice, Act.ON)[0].phase is Phase.DONE


def test_no_order_of_acts_breaks_the_machine() -> None:
    """Every happening in every phase gives a practice whose stage exists, whatever came before."""
    happenings = [*Act, ToneEnded(), Counted(), Landed(), Waited(moment=0)]
    happenings += [Judged(told=Told(verdict=verdict, landing_cents=5.0)) for verdict in Verdict]
    happenings += [GoTo(stage=stage) for stage in (*STAGE_ORDER, "no such stage")]
    seed = 12345
    practice, _ = begin(settings=Settings(own_ear=True))
    for _ in range(5000):
        seed = (1103515245 * seed + 12345) % 2**31
        practice, _ = step(practice, happenings[(seed >> 8) % len(happenings)])
        assert practice.stage in practice.stages
        assert practice.misses < 3
        if practice.phase is Phase.DONE:
            practice, _ = begin(settings=Settings(own_ear=True))
