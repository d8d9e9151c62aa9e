"""The record leaves and comes back whole; what is deleted is gone."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from truestop.domain.errors import TruestopError

from .conftest import Run


@pytest.fixture
def kept(run: Run, study: Path, take: Path) -> str:
    """A record with one take; its number."""
    told = run("judge", study, take, "--shift", "2").err
    return told.split("Kept as take ")[1].split(";")[0]


def _true(run: Run) -> list[int]:
    passages = json.loads(run("progress", "--json").out)["passages"]
    return [shift["all"]["true"] for passage in passages for shift in passage["shifts"] if shift["attempts"]]


def test_backup_and_restore(run: Run, kept: str, tmp_path: Path) -> None:
    before = run("progress", "--json").out
    assert run("backup", tmp_path / "all.zip").code == 0
    assert run("forget", "take", kept, "--yes").code == 0
    assert _true(run) == []
    assert run("restore", tmp_path / "all.zip", "--yes").code == 0
    assert run("progress", "--json").out == before


def test_a_backup_is_looked_at_before_anything_is_asked(run: Run, kept: str, tmp_path: Path) -> None:
    with pytest.raises(TruestopError, match="no backup at"):
        run("restore", tmp_path / "none.zip")
    run("backup", tmp_path / "all.zip")
    assert re.search(r"made 20\d\d-\d\d-\d\d .* UTC\. Go on\?", run("restore", tmp_path / "all.zip", stdin=b"n\n").err)


@pytest.mark.parametrize("name", ["out", "out.json"])
def test_export_and_import(run: Run, kept: str, tmp_path: Path, name: str) -> None:
    before = _true(run)
    assert run("export", tmp_path / name).code == 0
    run("forget", "player", "me", "--yes")
    assert run("import", tmp_path / name).code == 0
    assert _true(run) == before
    assert "nothing new" in run("import", tmp_path / name).err


def test_an_attempt_is_struck_out_and_put_back(run: Run, kept: str) -> None:
    assert _true(run) == [3]
    assert run("strike", f"{kept}.2", "--why", "a knock at the door").code == 0
    assert _true(run) == [2]
    with pytest.raises(TruestopError, match="already struck out"):
        run("strike", f"{kept}.2")
    assert run("strike", f"{kept}.2", "--put-back").code == 0
    assert _true(run) == [3]


def test_judging_again_changes_nothing_by_itself(run: Run, kept: str) -> None:
    shown = run("rejudge").out
    assert "5 attempts of 1 take, 5 with the same verdict" in shown
    assert _true(run) == [3]


def test_a_date_is_noted_and_cleared(run: Run, kept: str) -> None:
    assert "2027-02-03" in run("deadline", "Slack Water: a study in shifting", "2027-02-03").err
    assert "no date" in run("deadline", "Slack Water: a study in shifting").err


def test_what_is_deleted_is_named_as_the_record_knows_it(run: Run, kept: str) -> None:
    asked = run("forget", "passage", "slack", stdin=b"n\n")
    assert "'Slack Water: a study in shifting' with 1 take is deleted for good" in asked.err
    assert _true(run) == [3]
    with pytest.raises(TruestopError, match="no player 'Nobody'"):
        run("forget", "player", "Nobody", "--yes")
    assert json.loads(run("forget", "player", " ME ", "--yes", "--json").out)["name"] == "Me"
    assert _true(run) == []


def test_two_students_who_are_both_me_stay_apart(
    run: Run, kept: str, study: Path, take: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    run("export", tmp_path / "first")
    run("forget", "player", "me", "--yes")
    run("judge", study, take, "--shift", "2", "--recorded", "2026-03-02T18:30")
    run("export", tmp_path / "second.json")
    monkeypatch.setenv("TRUESTOP_HOME", str(tmp_path / "teacher"))
    assert "5 attempts" in run("import", tmp_path / "first", "--player", "Ona Brandt").err
    assert "5 attempts" in run("import", tmp_path / "second.json", "--player", "Tiago Lund").err
    assert "nothing new" in run("import", tmp_path / "first", "--player", "ona brandt").err
    players = json.loads(run("studio", "--json").out)["players"]
    assert [(one["name"], one["all"]["judged"]) for one in players] == [("Ona Brandt", 5), ("Tiago Lund", 5)]
    run("export", tmp_path / "both")
    with pytest.raises(TruestopError, match="takes of 2 players"):
        run("import", tmp_path / "both", "--player", "Ona Brandt")
