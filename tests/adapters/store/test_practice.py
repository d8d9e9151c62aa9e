"""The record: what goes in comes out, cold attempts are marked, deletion deletes; over both databases."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date

import pytest

from keeping_samples import PASSAGE, PLAYER, attempt, drafts, instant, shift_card, take
from truestop.adapters.store import SqlPracticeStore
from truestop.app.ports import Draft, Rejudged
from truestop.domain.attempt import MEASURE_VERSION, Verdict
from truestop.domain.errors import StoreError
from truestop.domain.record import Player, Strike


def test_everything_measured_comes_back_after_reopening(
    store: SqlPracticeStore, open_store: Callable[[], SqlPracticeStore]
) -> None:
    judged = attempt(
        faults=("high", "moved away"), verdict="high", landing_cents=25.5, reason=None, borderline=True, stops=2
    )
    unclear = attempt(
        start_s=3.0, verdict="unjudged", landing_cents=None, reason="too quiet", trace_s=(), trace_cents=()
    )
    kept = store.keep_take(
        take(1, instant(2), a4_hz=442.0), [Draft(attempt=judged, own_ear="low"), Draft(attempt=unclear)]
    )
    again = open_store().attempts_of("take-1")
    assert again == kept
    assert [one.attempt for one in again] == [judged, unclear]
    assert [(one.id, one.own_ear, one.a4_hz) for one in again] == [
        ("take-1.1", "low", 442.0),
        ("take-1.2", None, 442.0),
    ]
    assert open_store().shifts() == (shift_card(1), shift_card(2, direction="down"))
    assert open_store().passages(player=PLAYER.key) == (PASSAGE,)


def test_the_first_attempt_of_a_day_is_cold_and_only_that(store: SqlPracticeStore) -> None:
    first = store.keep_take(take(1, instant(2)), drafts(attempt(start_s=1.0), attempt(start_s=4.0)))
    evening = store.keep_take(take(2, instant(2, 20)), drafts(attempt()))
    morning = store.keep_take(take(3, instant(3, 7)), drafts(attempt()))
    assert [(one.cold, one.day_order) for one in first] == [(True, 1), (False, 2)]
    assert [(one.cold, one.day_order) for one in evening] == [(False, 3)]
    assert [(one.cold, one.day_order) for one in morning] == [(True, 1)]


def test_a_take_kept_late_moves_the_cold_mark_to_where_it_belongs(store: SqlPracticeStore) -> None:
    store.keep_take(take(1, instant(2, 12)), drafts(attempt(verdict="low", landing_cents=-30.0)))
    earlier = store.keep_take(take(2, instant(2, 9)), drafts(attempt()))
    assert earlier[0].cold
    assert not store.attempt("take-1.1").cold
    (added,) = store.studio(recent_days=2)
    assert (added.player, added.name, added.days, added.last_day) == (PLAYER.key, PLAYER.name, 1, date(2026, 3, 2))
    assert (added.judged, added.true, added.corrected, added.cold, added.recent) == (2, 1, 0, ((True,),), (0, 2))


def test_a_run_through_the_passage_touches_every_shift(store: SqlPracticeStore) -> None:
    store.keep_take(take(1, instant(2), shift=None), drafts(attempt("s1", stage="in the passage")))
    later = store.keep_take(take(2, instant(2, 11), shift="s2"), drafts(attempt("s2")))
    assert not later[0].cold


def test_stage_practice_uses_up_the_cold_chance_and_does_not_count(store: SqlPracticeStore) -> None:
    kept = store.keep_take(take(1, instant(2)), drafts(attempt(stage="guide"), attempt(stage="plain", start_s=5.0)))
    assert [one.cold for one in kept] == [False, False]
    (added,) = store.studio(recent_days=1)
    assert (added.judged, added.shifts, added.cold) == (1, 1, ())
    assert store.diary(player=PLAYER.key)[0].attempts == 2


def test_striking_out_leaves_a_trace_and_moves_the_cold_mark(store: SqlPracticeStore) -> None:
    store.keep_take(take(1, instant(2)), drafts(attempt(verdict="low", landing_cents=-40.0), attempt(start_s=4.0)))
    struck = store.strike("take-1.1", Strike(at_s=instant(2, 12), struck=True, why="the door slammed"))
    assert struck.struck_out
    assert struck.strikes == (Strike(at_s=instant(2, 12), struck=True, why="the door slammed"),)
    assert store.attempt("take-1.2").cold
    assert [one.verdict for one in store.outcomes(player=PLAYER.key)] == [Verdict.TRUE]
    back = store.strike("take-1.1", Strike(at_s=instant(2, 13), struck=False, why="it was one"))
    assert back.cold
    assert len(back.strikes) == 2
    assert not store.attempt("take-1.2").cold


def test_outcomes_say_the_same_as_the_attempts(store: SqlPracticeStore) -> None:
    store.keep_take(take(1, instant(2)), drafts(attempt(), attempt("s1", start_s=4.0, verdict="late", timing_s=0.2)))
    store.keep_take(take(2, instant(3), shift="s2"), drafts(attempt("s2", verdict="corrected", correction_cents=-22.0)))
    kept = [*store.attempts_of("take-1"), *store.attempts_of("take-2")]
    assert store.outcomes(player=PLAYER.key, passage=PASSAGE.key) == tuple(one.outcome for one in kept)
    assert store.outcomes(player=PLAYER.key) == tuple(one.outcome for one in kept)
    assert [one.id for one in store.attempts_at(player=PLAYER.key, shift="s1")] == ["take-1.1", "take-1.2"]


def test_the_same_recording_is_found_again(store: SqlPracticeStore) -> None:
    first = take(1, instant(2))
    store.keep_take(first, drafts(attempt()))
    run = replace(take(2, instant(2), shift=None), sha256=first.sha256)
    store.keep_take(run, [])
    store.keep_take(take(3, instant(3)), [])
    assert store.takes_of_sound(player=PLAYER.key, passage=PASSAGE.key, sha256=first.sha256) == (first, run)
    assert store.takes_of_sound(player="jon", passage=PASSAGE.key, sha256=first.sha256) == ()
    with pytest.raises(StoreError):
        store.keep_take(replace(first, id="take-1b"), drafts(attempt()))
    assert len(store.takes()) == 3


def test_a_take_with_an_unknown_shift_leaves_nothing_behind(store: SqlPracticeStore) -> None:
    with pytest.raises(StoreError, match="knows no shift 's9'"):
        store.keep_take(take(1, instant(2)), drafts(attempt("s1"), attempt("s9")))
    assert store.takes() == ()


def test_another_version_of_the_measure_changes_nothing_until_adopted(store: SqlPracticeStore) -> None:
    store.keep_take(take(1, instant(2)), drafts(attempt()))
    new = attempt(
        verdict="high",
        landing_cents=21.0,
        measure_version=MEASURE_VERSION + 1,
        trace_s=(1.0, 2.0),
        trace_cents=(0.5, 21.0),
    )
    store.keep_rejudged([Rejudged(attempt="take-1.1", judged_at_s=instant(9), measured=new)])
    before = store.attempt("take-1.1")
    assert before.attempt == attempt()
    (other,) = store.rejudged(measure_version=MEASURE_VERSION + 1)
    assert other.measured == replace(new, trace_s=(), trace_cents=())
    assert store.adopt(["take-1.1"], measure_version=MEASURE_VERSION + 1, at_s=instant(10)) == 1
    assert store.attempt("take-1.1").attempt == new
    assert store.studio(recent_days=1)[0].true == 0
    (old,) = store.rejudged(measure_version=MEASURE_VERSION)
    assert old.measured == replace(attempt(), trace_s=(), trace_cents=())
    assert store.adopt(["take-1.1"], measure_version=MEASURE_VERSION, at_s=instant(11)) == 1
    assert store.attempt("take-1.1") == before
    assert store.studio(recent_days=1)[0].true == 1


def test_the_diary_counts_takes_seconds_and_attempts_by_day(store: SqlPracticeStore) -> None:
    store.keep_take(take(1, instant(2)), drafts(attempt(), attempt(start_s=4.0, verdict="low", landing_cents=-30.0)))
    store.keep_take(take(2, instant(3, 2)), drafts(attempt()))
    store.keep_take(take(3, instant(3, 12)), [])
    first, second = store.diary(player=PLAYER.key)
    assert (first.day, first.takes, first.recorded_s, first.attempts, first.true) == (date(2026, 3, 2), 2, 25.0, 3, 2)
    assert (second.day, second.takes, second.attempts, second.cold_judged) == (date(2026, 3, 3), 1, 0, 0)


def test_deleting_deletes(store: SqlPracticeStore) -> None:
    store.keep_player(Player(key="jon", name="Jonas Okkenhaug"))
    store.keep_take(take(1, instant(2)), drafts(attempt(), attempt(start_s=4.0)))
    store.keep_take(take(2, instant(2), player="jon"), drafts(attempt()))
    store.delete_take("take-1")
    assert [one.id for one in store.takes()] == ["take-2"]
    assert [one.player for one in store.studio(recent_days=1)] == ["jon"]
    store.delete_player("jon")
    assert store.takes() == ()
    assert store.studio(recent_days=1) == ()
    store.delete_passage(PASSAGE.key)
    assert store.shifts() == ()
    with pytest.raises(StoreError, match="knows no player 'jon'"):
        store.outcomes(player="jon")


def test_renewing_a_passage_keeps_its_record_and_its_deadline(store: SqlPracticeStore) -> None:
    store.keep_take(take(1, instant(2)), drafts(attempt()))
    store.set_deadline(PASSAGE.key, date(2026, 5, 1))
    store.keep_passage(replace(PASSAGE, source="moved.musicxml"), [replace(shift_card(1), number=4)])
    assert store.passages()[0].deadline == date(2026, 5, 1)
    assert store.passages()[0].source == "moved.musicxml"
    assert [card.number for card in store.shifts(PASSAGE.key)] == [2, 4]
    assert len(store.outcomes(player=PLAYER.key)) == 1


def test_unknown_attempts_get_one_clear_sentence(store: SqlPracticeStore) -> None:
    for asked in ("take-9.1", "take-1.9", "nonsense", "take-1."):
        with pytest.raises(StoreError, match="attempt") as caught:
            store.attempt(asked)
        assert caught.value.hint


def test_attempts_are_added_up_by_shift(store: SqlPracticeStore) -> None:
    played = [attempt(start_s=4.0 * n, landing_cents=6.0 + 2.0 * n) for n in range(5)]
    wrong = attempt(start_s=40.0, verdict="wrong note", landing_cents=200.0)
    store.keep_passage(replace(PASSAGE, key="quay-2", title="Quay"), [shift_card(1, key="q1", passage="quay-2")])
    kept = store.keep_take(take(1, instant(2)), drafts(*played, wrong, attempt(start_s=60.0, stage="guide")))
    (added,) = store.sums(player=PLAYER.key, without="quay-2")
    assert (added.shift.key, added.judged, added.true, added.landed) == ("s1", 6, 5, 5)
    # by hand: 6, 8, 10, 12, 14
    assert (added.mean_cents, added.sd_cents) == pytest.approx((10.0, 10.0**0.5))
    store.strike(kept[4].id, Strike(at_s=instant(3), struck=True, why=""))
    (added,) = store.sums(player=PLAYER.key, without="quay-2")
    assert (added.judged, added.landed, added.mean_cents) == (5, 4, pytest.approx(9.0))
    assert store.sums(player=PLAYER.key, without=PASSAGE.key) == ()
