"""Keeping takes, striking attempts out, judging again: the use cases over a real record."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from keeping_samples import PASSAGE, PLAYER, attempt, drafts, instant, shift_card
from truestop.adapters.spacing import FsrsSpacing
from truestop.adapters.store import FolderShelf, SqlPracticeStore
from truestop.app.keeping import (
    Recording,
    find_or_add_player,
    forget_passage,
    forget_player,
    forget_take,
    keep_take,
    strike_attempt,
)
from truestop.app.planning import plan_today
from truestop.app.progress import find_passage, report_of_passage
from truestop.app.rejudging import adopt, rejudge
from truestop.domain.attempt import MEASURE_VERSION, Attempt, Expectation, Verdict
from truestop.domain.errors import StoreError
from truestop.domain.record import Player
from truestop.domain.run import Crossing, Run, WrittenNote

EXPECTED = Expectation(shift="s1", stage="plain", departure=attempt().target, arrival=attempt().target)
RUN = Run(
    line=(
        WrittenNote(hz=(440.0,), onset_beats=0.0, duration_beats=1.0, begins_bar=True, bar="7a"),
        WrittenNote(hz=(), onset_beats=1.0, duration_beats=0.5),
        WrittenNote(hz=(587.3, 880.0), onset_beats=1.5, duration_beats=1.0),
    ),
    crossings=(Crossing(expected=EXPECTED, departure=0, arrival=2, covered=True),),
)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[SqlPracticeStore]:
    store = SqlPracticeStore(tmp_path / "record.sqlite")
    store.keep_player(PLAYER)
    store.keep_passage(PASSAGE, [shift_card(1), shift_card(2)])
    yield store
    store.close()


@pytest.fixture
def shelf(tmp_path: Path) -> FolderShelf:
    return FolderShelf(tmp_path / "takes")


def recording(tmp_path: Path, name: str = "a.wav", *, day: int = 2) -> Recording:
    path = tmp_path / name
    path.write_bytes(name.encode() * 50)
    return Recording(path=path, recorded_at_s=instant(day), utc_offset_s=3600, duration_s=9.0, sample_rate_hz=44100)


def keep(  # type: ignore[no-untyped-def]
    store: SqlPracticeStore, shelf: FolderShelf | None, one: Recording, *attempts: Attempt, shift: str | None = "s1"
):
    return keep_take(
        store,
        one,
        drafts(*attempts),
        passage=PASSAGE.key,
        shift=shift,
        player=PLAYER.key,
        shelf=shelf,
        expected=[EXPECTED],
    )


def test_a_take_is_kept_once_with_its_sound(store: SqlPracticeStore, shelf: FolderShelf, tmp_path: Path) -> None:
    one = recording(tmp_path)
    first = keep(store, shelf, one, attempt(), attempt(start_s=4.0))
    again = keep(store, shelf, one, attempt())
    assert (first.already, again.already) == (False, True)
    assert again.attempts == first.attempts
    assert shelf.names() == (f"{first.take.id}.wav",)
    assert shelf.path(first.take.file or "").read_bytes() == one.path.read_bytes()
    assert first.attempts[0].id == f"{first.take.id}.1"
    assert store.take(first.take.id) == first.take


def test_the_same_attempts_judged_for_another_purpose_are_not_counted_again(
    store: SqlPracticeStore, shelf: FolderShelf, tmp_path: Path
) -> None:
    one = recording(tmp_path)
    drilled = keep(store, shelf, one, attempt(), attempt(start_s=4.0))
    strike_attempt(store, drilled.attempts[1].id, why="a cough", at_s=instant(3))
    moved = [attempt(stage="in the passage", start_s=start_s) for start_s in (1.02, 3.9)]
    run = keep(store, shelf, one, *moved, shift=None)
    assert (run.already, run.take, run.before, run.not_counted) == (True, drilled.take, drilled.take, 2)
    assert len(store.outcomes(player=PLAYER.key)) == 1
    assert shelf.names() == (f"{drilled.take.id}.wav",)


def test_judged_for_another_purpose_only_what_is_new_is_added(
    store: SqlPracticeStore, shelf: FolderShelf, tmp_path: Path
) -> None:
    one = recording(tmp_path)
    drilled = keep(store, shelf, one, attempt())
    run = keep(store, shelf, one, attempt(start_s=1.05), attempt("s2"), attempt(start_s=6.0), shift=None)
    assert (run.already, run.before, run.not_counted) == (False, drilled.take, 1)
    assert [(kept.shift, kept.attempt.start_s) for kept in run.attempts] == [("s2", attempt().start_s), ("s1", 6.0)]
    again = keep(store, shelf, one, attempt(start_s=1.05), shift=None)
    assert (again.already, again.before, again.take.id) == (True, None, run.take.id)
    other = keep(store, shelf, one, attempt("s2"), shift="s2")
    assert (other.already, other.before, other.take.id) == (True, run.take, run.take.id)


def test_a_take_that_cannot_be_kept_leaves_no_sound(
    store: SqlPracticeStore, shelf: FolderShelf, tmp_path: Path
) -> None:
    with pytest.raises(StoreError, match="knows no shift"):
        keep(store, shelf, recording(tmp_path), attempt("s77"))
    assert shelf.names() == ()
    with pytest.raises(StoreError, match="cannot be read"):
        keep(store, shelf, replace(recording(tmp_path), path=tmp_path / "gone.wav"), attempt())


def test_forgetting_takes_the_sound_along(store: SqlPracticeStore, shelf: FolderShelf, tmp_path: Path) -> None:
    takes = [keep(store, shelf, recording(tmp_path, f"{n}.wav", day=n + 2), attempt()).take for n in range(4)]
    forget_take(store, shelf, takes[0].id)
    assert len(shelf.names()) == 3
    assert forget_passage(store, shelf, PASSAGE.key) == 3
    assert shelf.names() == ()
    store.keep_passage(PASSAGE, [shift_card(1)])
    keep(store, shelf, recording(tmp_path), attempt())
    assert forget_player(store, shelf, PLAYER.key) == 1
    assert (shelf.names(), store.players()) == ((), ())


def test_players_are_found_by_name_and_get_keys_of_their_own(store: SqlPracticeStore) -> None:
    assert find_or_add_player(store, "Mira Tolland") == PLAYER
    assert find_or_add_player(store, "mira") == PLAYER
    assert find_or_add_player(store, "Ona Ö. Řez").key == "ona-ez"
    assert find_or_add_player(store, "Ona ez").key == "ona-ez-2"
    assert find_or_add_player(store, "").key == "me"


def test_one_player_stays_one_however_the_name_is_typed(store: SqlPracticeStore) -> None:
    zoe = find_or_add_player(store, "Zoë Élève")
    assert [find_or_add_player(store, name) for name in ("zoë élève", "ZOE\u0308 E\u0301LE\u0300VE ")] == [zoe, zoe]
    assert find_or_add_player(store, "mira TOLLAND") == PLAYER
    assert len(store.players()) == 2


def test_a_title_that_several_passages_bear_is_no_name(store: SqlPracticeStore, tmp_path: Path) -> None:
    store.keep_player(Player(key="ona", name="Ona"))
    other = replace(PASSAGE, key="ferry-song-2", part="Viola", instrument="viola", source="viola.musicxml")
    store.keep_passage(other, [shift_card(1, key="v1", passage=other.key)])
    with pytest.raises(StoreError, match="'ferry song' may be any of 2") as caught:
        find_passage(store, "ferry song")
    assert "ferry-song-1 (Ferry Song, violin), ferry-song-2 (Viola, viola)" in caught.value.hint
    assert find_passage(store, "ferry-song-2") == other
    assert find_passage(store, "viola.musicxml") == other
    keep_take(store, recording(tmp_path), drafts(attempt("v1")), passage=other.key, shift="v1", player="ona")
    assert report_of_passage(store, player="ona", passage="Ferry Song").progress.card.key == other.key


def test_striking_out_twice_is_refused(store: SqlPracticeStore, tmp_path: Path) -> None:
    kept = keep(store, None, recording(tmp_path), attempt()).attempts[0]
    strike_attempt(store, kept.id, why="a cough", at_s=instant(3))
    with pytest.raises(StoreError, match="already struck out"):
        strike_attempt(store, kept.id, why="again", at_s=instant(3))
    assert report_of_passage(store, player=PLAYER.key, passage="Ferry Song").progress.whole.attempts == 0
    strike_attempt(store, kept.id, why="no", at_s=instant(4), put_back=True)
    assert report_of_passage(store, player=PLAYER.key, passage="Ferry Song").progress.whole.attempts == 1
    assert [line.why for line in store.attempt(kept.id).strikes] == ["a cough", "no"]


class NewMeasure:
    """A judge of a later version that hears the same attempts a little higher, and one more."""

    measure_version = MEASURE_VERSION + 1

    def judge_run(self, sound: Path, run: Run) -> Sequence[Attempt]:
        assert sound.is_file()
        assert run == RUN
        return [attempt(landing_cents=4.0, measure_version=MEASURE_VERSION + 1, stage="in the passage")]

    def judge(self, sound: Path, expected: Expectation) -> Sequence[Attempt]:
        assert sound.is_file()
        assert expected == EXPECTED
        return [
            attempt(landing_cents=4.75, measure_version=MEASURE_VERSION + 1, start_s=1.01),
            attempt(landing_cents=21.5, verdict="high", measure_version=MEASURE_VERSION + 1, start_s=4.02),
            attempt(landing_cents=1.0, measure_version=MEASURE_VERSION + 1, start_s=7.0),
        ]


def test_judging_again_compares_and_changes_nothing_by_itself(
    store: SqlPracticeStore, shelf: FolderShelf, tmp_path: Path
) -> None:
    first = keep(store, shelf, recording(tmp_path), attempt(), attempt(start_s=4.0, landing_cents=19.5)).take
    keep(store, None, recording(tmp_path, "b.wav", day=3), attempt())
    before = store.outcomes(player=PLAYER.key)
    comparison = rejudge(store, shelf, NewMeasure(), now_s=instant(9))
    assert (comparison.takes, len(comparison.silent_takes), comparison.compared) == (1, 1, 2)
    assert (comparison.old_versions, comparison.new_version, comparison.same_verdict) == (
        (MEASURE_VERSION,),
        MEASURE_VERSION + 1,
        1,
    )
    assert [(old.id, new.verdict) for old, new in comparison.changed] == [(f"{first.id}.2", Verdict.HIGH)]
    assert [(take, one.start_s) for take, one in comparison.found] == [(first.id, 7.0)]
    assert comparison.largest_shift_cents == pytest.approx(2.0)
    assert comparison.median_shift_cents == pytest.approx(1.25)
    assert store.outcomes(player=PLAYER.key) == before
    assert adopt(store, measure_version=MEASURE_VERSION + 1, now_s=instant(10)) == 2
    assert [one.verdict for one in store.outcomes(player=PLAYER.key)] == [Verdict.TRUE, Verdict.HIGH, Verdict.TRUE]
    assert adopt(store, measure_version=MEASURE_VERSION, now_s=instant(11)) == 2
    assert store.outcomes(player=PLAYER.key) == before


def test_a_run_is_judged_again_as_a_run(store: SqlPracticeStore, shelf: FolderShelf, tmp_path: Path) -> None:
    """Whole or for one shift. One whose line was not kept cannot: shift by shift it would be another judgement."""
    played = attempt(stage="in the passage")
    run = keep_take(
        store, recording(tmp_path), drafts(played), passage=PASSAGE.key, shift=None, player=PLAYER.key, shelf=shelf,
        run=RUN,
    ).take  # fmt: skip
    drilled = keep_take(
        store, recording(tmp_path, "c.wav", day=4), drafts(played), passage=PASSAGE.key, shift="s1", player=PLAYER.key,
        shelf=shelf, run=RUN,
    ).take  # fmt: skip
    assert store.take(drilled.id).run == RUN
    without_line = keep(store, shelf, recording(tmp_path, "b.wav", day=3), played, shift=None).take
    assert store.take(run.id).run == RUN
    comparison = rejudge(store, shelf, NewMeasure(), now_s=instant(9))
    assert (comparison.takes, comparison.compared, comparison.lost, comparison.found) == (2, 2, (), ())
    assert comparison.silent_takes == (without_line.id,)


def test_a_plan_comes_from_the_record(store: SqlPracticeStore, tmp_path: Path) -> None:
    for day in range(2, 9):
        verdict, cents = ("low", -32.0) if day % 3 else ("true", 2.0)
        keep(store, None, recording(tmp_path, f"{day}.wav", day=day), attempt(verdict=verdict, landing_cents=cents))

    def plan(day: int, minutes: float = 30.0):  # type: ignore[no-untyped-def]
        return plan_today(
            store, FsrsSpacing(), player=PLAYER.key, minutes=minutes, now_s=instant(day, 17), utc_offset_s=3600
        )

    tomorrow = plan(10)
    assert [(item.what, item.shift.card.key) for item in tomorrow.items if item.what == "cold test"] == [
        ("cold test", "s1"), ("cold test", "s2"),
    ]  # fmt: skip
    assert any(item.what == "work" for item in tomorrow.items)
    today = plan(8)
    assert [item.shift.card.key for item in today.items if item.what == "cold test"] == ["s2"]
    with pytest.raises(StoreError, match="cannot be planned"):
        plan(8, 0.0)
