"""Every command but the room answers in JSON when asked, one document on standard output, as docs/json.md has it."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
import typer

from truestop.cli import main

from .conftest import Run

TITLE = "Slack Water: a study in shifting"
DOCUMENTED = set(re.findall(r'"schema": "(truestop\.[a-z-]+/\d+)"', Path("docs/json.md").read_text(encoding="utf-8")))


@pytest.fixture
def ask(run: Run) -> Any:
    def call(*arguments: object) -> dict[str, Any]:
        ran = run(*arguments, "--json")
        assert ran.code == 0, ran.err
        document: dict[str, Any] = json.loads(ran.out)
        assert document["schema"] in DOCUMENTED
        return document

    return call


@pytest.fixture
def kept(ask: Any, study: Path, take: Path) -> str:
    """A record with one take; its number."""
    return str(ask("judge", study, take, "--shift", "2")["takes"][0]["take"])


def test_the_table_of_commands_holds_them_all() -> None:
    added = [
        (name, module) for module in dict.fromkeys(main.COMMANDS.values()) for name in main._group_of(module).commands
    ]
    assert sorted(added) == sorted(main.COMMANDS.items())


def test_every_command_but_the_room_takes_the_flag() -> None:
    group = typer.main.get_group(main.app)
    commands = {name: group.get_command(typer.Context(group), name) for name in main.COMMANDS}
    without = [name for name, one in commands.items() if one and not any("--json" in o.opts for o in one.params)]
    assert without == ["room"]


def test_the_record_in_json(ask: Any, kept: str, tmp_path: Path) -> None:
    backup = ask("backup", tmp_path / "all.zip")
    assert (backup["takes"], backup["sounds"], backup["missing"]) == (1, 1, [])
    assert ask("restore", tmp_path / "all.zip", "--yes")["bytes"] == backup["bytes"]
    rows = ask("export", tmp_path / "out")["rows"]
    assert rows["attempts"] == 5
    assert sum(ask("import", tmp_path / "out")["added"].values()) == 0
    again = ask("rejudge")
    assert (again["attempts"], again["same_verdict"], again["changed"], again["adopted"]) == (5, 5, [], 0)
    assert ask("strike", f"{kept}.2", "--why", "a knock")["counts"] is False
    assert ask("deadline", TITLE, "2027-02-03")["day"] == "2027-02-03"
    report = ask("report", TITLE, "-o", tmp_path / "report.pdf")
    assert report["progress"] == ask("progress", TITLE)["passages"][0]
    assert ask("forget", "take", kept, "--yes") == {"schema": "truestop.forget/1", "what": "take", "name": kept}


def test_progress_has_the_fields_that_the_page_names(ask: Any, kept: str) -> None:
    page = Path("docs/json.md").read_text(encoding="utf-8")
    named = set(re.findall(r'"(\w+)"', page.split("PROGRESS = ")[1].split("SHARE    =")[0])) - {"secure"}
    whole = ask("progress", TITLE)["passages"][0]["whole"]
    assert set(whole) | set(whole["standing"]) == named
    for kind in ("SHARE", "TREND", "SPREAD", "POOLED"):
        assert f"{kind} " in page
    shift = next(one for one in ask("progress", TITLE)["passages"][0]["shifts"] if one["attempts"])
    named = set(re.findall(r'"(\w+)"', page.split('"shifts": [{"shift"')[1].split('"diagnosis"')[0])) | {"shift"}
    assert set(shift) == named | set(whole) | {"diagnosis"}


def test_paper_in_json(ask: Any, study: Path, tmp_path: Path) -> None:
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "good.musicxml").write_bytes(study.read_bytes())
    sheets = ask("sheets", tmp_path / "in", "-o", tmp_path / "sheets", "--as", "musicxml")["sheets"]
    assert [(Path(one["file"]).name, one["problem"]) for one in sheets] == [("good.musicxml", None)]
    strip = ask("strip", "violin", "--string", "IV", "-o", tmp_path / "strip.pdf")
    assert (strip["strings"], strip["length_mm"]) == (["IV"], 328)


def test_a_bad_take_among_others_is_named(run: Run, study: Path, take: Path, tmp_path: Path) -> None:
    bad = tmp_path / "bad.wav"
    bad.write_bytes(b"no sound")
    ran = run("judge", study, take, bad, "--shift", "2", "--json")
    document = json.loads(ran.out)
    assert ran.code == 2
    assert [len(one["attempts"]) for one in document["takes"]] == [5]
    assert document["unheard"][0]["file"] == str(bad)
    assert "bad.wav" in ran.err
