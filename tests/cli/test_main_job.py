"""The commands of the main job on the built-in study."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from pypdf import PdfReader

from runs import play_run, steps_of
from truestop import bootstrap
from truestop.adapters.audio.files import write_wav
from truestop.app.mainjob import Setup, take_in_hand

from .conftest import Run


def test_shifts_in_json_follow_the_documented_shape(run: Run, study: Path) -> None:
    document = json.loads(run("shifts", study, "--json").out)
    assert document["schema"] == "truestop.shifts/1"
    assert document["instrument"]["strings"] == ["E5", "A4", "D4", "G3"]
    second = document["shifts"][1]
    assert (second["interval"], second["relation"], second["direction"]) == ("+P5", "to higher", "up")
    assert second["guide"] == [
        {"finger": "1", "string": 2, "from": "D5", "to": "F#5", "travel_semitones": 4, "travel_mm": 50.69}
    ]
    ids = {note["id"] for note in document["notes"]}
    assert all(set(shift["departure"] + shift["arrival"]) <= ids for shift in document["shifts"])


def test_shifts_as_a_table_fit_80_columns(run: Run, study: Path) -> None:
    lines = run("shifts", study, "--stops").out.splitlines()
    assert max(len(line) for line in lines) <= 80
    assert any("D5 II 1 → A5 II 3" in line for line in lines)


def test_a_passage_may_come_from_standard_input(run: Run, study: Path) -> None:
    assert json.loads(run("shifts", "-", "--json", stdin=study.read_bytes()).out)["shifts"]


def test_guide_rules_are_a_setting(run: Run, study: Path) -> None:
    guides = {
        rule: json.loads(run("shifts", study, "--json", "--guide", rule).out)["shifts"][1]["guide"][0]["finger"]
        for rule in ("lower", "departure", "arrival")
    }
    assert guides == {"lower": "1", "departure": "1", "arrival": "3"}


def test_alternatives_differ_and_say_what_they_cost(run: Run, study: Path) -> None:
    document = json.loads(run("finger", study, "--fresh", "--measures", "1-4", "-n", "3", "--json").out)
    assert document["schema"] == "truestop.fingerings/1"
    hands = [[(n["string"], n["finger"]) for n in one["way"]["notes"]] for one in document["fingerings"]]
    assert len(hands) == 3
    assert len({str(hand) for hand in hands}) == 3
    assert all(one["parts"] for one in document["fingerings"])


def test_a_pin_holds(run: Run, study: Path) -> None:
    document = json.loads(run("shifts", study, "--pin", "m4n1=III4", "--json").out)
    pinned = next(note for note in document["notes"] if note["id"] == "m4n1")
    assert (pinned["string"], pinned["finger"]) == (3, "4")


@pytest.mark.parametrize("ending", ["pdf", "musicxml", "svg", "mid"])
def test_sheets_are_written_in_every_format(run: Run, study: Path, tmp_path: Path, ending: str) -> None:
    target = tmp_path / f"sheet.{ending}"
    assert run("sheet", study, "-o", target, "--shift", "2", "--stages", "guide,land").code == 0
    content = target.read_bytes()
    assert content.startswith({"pdf": b"%PDF", "musicxml": b"<?xml", "svg": b"<svg", "mid": b"MThd"}[ending])
    if ending == "pdf":
        assert "Slack Water" in PdfReader(target).pages[0].extract_text()


def test_judging_keeping_and_progress(run: Run, study: Path, take: Path) -> None:
    judged = json.loads(run("judge", study, take, "--shift", "2", "--json").out)
    attempts = judged["takes"][0]["attempts"]
    assert [attempt["verdict"] for attempt in attempts] == ["low", "true", "true", "corrected", "true"]
    assert attempts[0]["cold"] is True
    assert attempts[0]["target"]["pitch"] == "A5"
    again = run("judge", study, take, "--shift", "2")
    assert "was not counted again" in again.err
    progress = json.loads(run("progress", "--json").out)
    shift = next(one for one in progress["passages"][0]["shifts"] if one["number"] == 2)
    assert (shift["all"]["true"], shift["all"]["judged"]) == (3, 5)
    assert "3/5" in run("progress").out


def test_a_plan_says_why(run: Run, study: Path, take: Path) -> None:
    run("judge", study, take, "--shift", "2", "--recorded", "2026-03-02T18:00:00")
    plan = json.loads(run("plan", "--minutes", "20", "--json").out)
    assert plan["items"][0]["what"] == "cold test"
    assert all(item["reason"] for item in plan["items"])


def test_help_names_every_command(run: Run) -> None:
    shown = run("--help").out
    for command in ("demo", "shifts", "finger", "sheet", "tones", "judge", "room", "progress", "plan", "backup"):
        assert command in shown
        assert run(command, "--help").code == 0


def test_fingerings_are_written_into_the_players_file(run: Run, study: Path, tmp_path: Path) -> None:
    target = tmp_path / "fingered.musicxml"
    assert run("finger", study, "-o", target).code == 0
    for text in (b"Andante cantabile", b'id="m10n3"', b"sul G"):
        assert text in target.read_bytes()
    hands = [
        [(note["id"], note["string"], note["finger"]) for note in json.loads(run("shifts", one, "--json").out)["notes"]]
        for one in (study, target)
    ]
    assert hands[0] == hands[1]


def test_a_fresh_fingering_replaces_the_printed_one(run: Run, study: Path, tmp_path: Path) -> None:
    target = tmp_path / "fresh.musicxml"
    assert run("finger", study, "--fresh", "-o", target).code == 0
    proposed = json.loads(run("finger", study, "--fresh", "--json").out)["fingerings"][0]["way"]["notes"]
    read = json.loads(run("shifts", target, "--json").out)["notes"]
    agree = sum((a["string"], a["finger"]) == (b["string"], b["finger"]) for a, b in zip(proposed, read, strict=True))
    assert agree == len(proposed)


@pytest.mark.parametrize("typed", ["II 1 B4 > II 3 F#5", "cello: I 1 B3 to I 4 G4", "bass I 1 A2 > 4 E3"])
def test_one_shift_in_words(run: Run, typed: str) -> None:
    (shift,) = json.loads(run("shifts", typed, "--json").out)["shifts"]
    assert shift["direction"] == "up"


def test_a_run_is_judged_again_as_it_was(run: Run, study: Path, tmp_path: Path) -> None:
    """Late arrivals too, which the shifts one by one would not show."""
    in_hand = take_in_hand(bootstrap.read_study(), Setup())
    order = list(steps_of(in_hand, 1, 6))
    late = next(one for one in in_hand.way.shifts if one.measure == "4")
    sound = play_run(in_hand, order, late_s={late.arrival_step: 0.16}, off_cents={order[2]: 31.0})
    write_wav(tmp_path / "run.wav", sound.samples, sample_rate_hz=sound.sample_rate_hz)
    judged = json.loads(run("judge", study, tmp_path / "run.wav", "--json").out)["takes"][0]["attempts"]
    assert "late" in {one["verdict"] for one in judged}
    again = json.loads(run("rejudge", "--json").out)
    assert (again["takes"], again["attempts"], again["same_verdict"]) == (1, len(judged), len(judged))
    assert (again["changed"], again["lost"], again["found"], again["silent_takes"]) == ([], [], [], [])
    assert again["largest_shift_cents"] == 0.0


def test_a_drill_judged_as_a_run_is_not_counted_again(run: Run, study: Path, take: Path) -> None:
    kept = json.loads(run("judge", study, take, "--shift", "2", "--json").out)["takes"][0]["take"]
    as_run = run("judge", study, take)
    assert as_run.code == 0
    assert f"take.wav is in the record already as take {kept}, a drill of no. 2" in as_run.err
    assert f"truestop forget take {kept}" in as_run.err
    assert run("forget", "take", kept, "--yes").code == 0
    assert "Kept as take" in run("judge", study, take).err
    as_drill = run("judge", study, take, "--shift", "2")
    assert "a run through the passage; the same attempts were not counted again" in as_drill.err
    shifts = json.loads(run("progress", "--json").out)["passages"][0]["shifts"]
    assert next(one for one in shifts if one["number"] == 2)["all"]["judged"] == 5
