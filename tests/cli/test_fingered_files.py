"""A file written by ``truestop finger -o`` is read again by ``truestop shifts`` with the same strings and fingers."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from .conftest import Run

Hands = dict[str, tuple[int, str]]

CLIMB = """X:1
T:Climb
M:4/4
L:1/8
Q:1/4=96
K:D
DEFG ABcd | efga bc'd'2 | d'c'ba gfed | (cB)AG FED2 |]
"""


def hands(notes: list[dict[str, str | int]]) -> Hands:
    return {str(note["id"]): (int(note["string"]), str(note["finger"])) for note in notes}


@pytest.fixture
def climb(tmp_path: Path) -> Path:
    path = tmp_path / "climb.abc"
    path.write_text(CLIMB, "utf-8")
    return path


@pytest.mark.parametrize(
    "options",
    [
        [],
        ["--style", "secure"],
        ["--style", "one-string"],
        ["--style", "brilliant"],
        ["--style", "beginner"],
        ["--alternatives", "3", "--choose", "3"],
        ["--fresh", "--alternatives", "2", "--choose", "2"],
    ],
    ids=" ".join,
)
def test_a_written_fingering_is_read_again_as_it_was(run: Run, climb: Path, tmp_path: Path, options: list[str]) -> None:
    out = tmp_path / "out.musicxml"
    ran = run("finger", climb, *options, "--json", "-o", out)
    chosen = int(options[-1]) if "--choose" in options else 1
    wanted = hands(json.loads(ran.out)["fingerings"][chosen - 1]["way"]["notes"])
    again = hands(json.loads(run("shifts", out, "--json").out)["notes"])
    assert list(again.values()) == list(wanted.values())


def test_a_pin_is_kept_in_the_written_file(run: Run, climb: Path, tmp_path: Path) -> None:
    out = tmp_path / "out.musicxml"
    notes = json.loads(run("shifts", climb, "--json").out)["notes"]
    at, plain = next((at, note) for at, note in enumerate(notes) if note["pitch"] == "A5")
    pin = "II3" if (plain["string"], plain["finger"]) != (2, "3") else "I3"
    run("finger", climb, "--pin", f"{plain['id']}={pin}", "-o", out)
    again = json.loads(run("shifts", out, "--json").out)["notes"]
    assert (again[at]["string"], again[at]["finger"]) == (2 if pin == "II3" else 1, "3")
    pinned = json.loads(run("shifts", climb, "--pin", f"{plain['id']}={pin}", "--json").out)["notes"]
    assert list(hands(again).values()) == list(hands(pinned).values())


def test_measures_are_written_alone_and_read_again(run: Run, climb: Path, tmp_path: Path) -> None:
    out = tmp_path / "out.musicxml"
    ran = run("finger", climb, "--measures", "2-3", "--json", "-o", out)
    wanted = json.loads(ran.out)["fingerings"][0]["way"]["notes"]
    again = json.loads(run("shifts", out, "--measures", "2-3", "--json").out)["notes"]
    assert [note["pitch"] for note in again] == [note["pitch"] for note in wanted]
    assert list(hands(again).values()) == list(hands(wanted).values())


@pytest.mark.parametrize("name", ["out.txt", "out.mxl", "out"])
def test_an_ending_that_would_mislead_is_refused(shell: Run, climb: Path, tmp_path: Path, name: str) -> None:
    ran = shell("finger", climb, "-o", tmp_path / name)
    assert ran.code == 2
    assert "End it in .musicxml or .xml." in ran.err
    assert not (tmp_path / name).exists()
