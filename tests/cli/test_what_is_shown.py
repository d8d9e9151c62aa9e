"""What the tables say, and what a name that the record does not know is answered with."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from truestop.adapters.audio.files import write_wav
from truestop.domain.errors import TruestopError

from .conftest import Run

HEAD = "X:1\nT:Tune\nM:4/4\nL:1/4\nK:D\n"


@pytest.fixture
def tune(tmp_path: Path) -> Path:
    path = tmp_path / "tune.abc"
    path.write_text(HEAD + '!1!d !3!f a !harmonic!a | [!1!D!3!B]2 [!1!A!3!f]2 | !1!G "^III"!3!f\' d2 |\n')
    return path


def test_a_passage_without_shifts_says_so_in_a_sentence(run: Run, tune: Path) -> None:
    out = run("shifts", tune, "--measures", "1").out
    assert out.strip() == "Tune: no shift; the hand stays in 3rd position."


def test_only_open_strings(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "open.abc"
    path.write_text(HEAD + "!0!D2 !0!A2 |\n")
    assert "only open strings sound" in run("shifts", path).out


def test_stops_name_harmonics_and_ids_on_request(run: Run, tune: Path) -> None:
    assert "A5 I 1 harmonic" in run("shifts", tune, "--measures", "1", "--stops").out
    assert "m1n4: A5 I 1 harmonic" in run("shifts", tune, "--measures", "1", "--ids").out
    with pytest.raises(TruestopError) as caught:
        run("shifts", tune, "--pin", "x=1")
    assert "--ids" in caught.value.hint


def test_no_stop_and_no_guide_is_broken_over_lines(run: Run, tune: Path) -> None:
    """At 80 columns: every stop of the table stands whole on one line, double stops begin a second at the arrow."""
    lines = run("shifts", tune).out.splitlines()
    assert max(map(len, lines)) <= 80
    table = "\n".join(line.rstrip() for line in lines)
    for whole in ("→ D4 IV 1 + B4 III 3", " A4 III 1 + F♯5 II 3 ", "G4 III 1 → F♯6 III 3", "1 on III: G4–D6"):
        assert whole in table, table


def test_strings_too_few_for_the_instrument_are_refused(run: Run, tune: Path) -> None:
    with pytest.raises(TruestopError, match="2 open strings are named, and a violin has 4 or 5") as caught:
        run("shifts", tune, "--strings", "E5 A4")
    assert "'E5 A4 D4 G3'" in caught.value.hint


def test_names_that_the_record_does_not_know(run: Run, study: Path, take: Path) -> None:
    run("judge", study, take, "--shift", "2", "--player", "Ida")
    for command in ("report", "progress"):
        with pytest.raises(TruestopError, match="The record knows no passage 'Etude'") as caught:
            run(command, "Etude", "--player", "Ida")
        assert caught.value.hint == "It holds 'Slack Water: a study in shifting'."
    with pytest.raises(TruestopError, match="The record holds nothing of 'me'") as caught:
        run("plan")
    assert caught.value.hint == "Ask for --player Ida."
    with pytest.raises(TruestopError, match="nothing of 'Idda'"):
        run("progress", "--player", "Idda")
    assert run("studio").out.count("\n Ida") + run("studio").out.count("\nIda") >= 1
    assert "Idda" not in run("studio").out


def test_a_passage_is_found_by_its_file_too(run: Run, study: Path, take: Path) -> None:
    run("judge", study, take, "--shift", "2")
    by_file = run("progress", study).out
    assert by_file == run("progress", "slack water: a study IN shifting").out == run("progress", "slack").out


def test_brackets_in_titles_and_file_names_are_shown_as_they_are(
    run: Run, study: Path, take: Path, tmp_path: Path
) -> None:
    piece, sound = tmp_path / "piece.musicxml", tmp_path / "take [b].wav"
    piece.write_bytes(study.read_bytes().replace(b"Slack Water", b"Slack [arr. Smith] [/b] Water"))
    sound.write_bytes(take.read_bytes())
    assert "Slack [arr. Smith] [/b] Water" in run("shifts", piece).out
    assert "take [b].wav" in run("judge", piece, sound, "--shift", "2").out
    shown = run("progress").out
    assert "Slack [arr. Smith] [/b] Water" in shown
    assert "16 more shifts of this passage have not been tried." in shown


def test_a_flat_string_has_a_true_minus(run: Run, tmp_path: Path) -> None:
    times_s = np.arange(2 * 44100) / 44100
    partials = [np.sin(2 * np.pi * 440 * 2 ** (-10 / 1200) * k * times_s) / k for k in range(1, 8)]
    write_wav(tmp_path / "a.wav", (0.1 * np.sum(partials, axis=0)).astype(np.float32), sample_rate_hz=44100)
    out = run("tune", tmp_path / "a.wav").out
    assert "\N{MINUS SIGN}10.0" in out
    assert "String II (A4) is 10 cents low." in out
