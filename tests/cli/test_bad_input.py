"""Bad input: one clear sentence that says where, what and the remedy; exit code 2; nothing written."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from truestop.adapters.audio.files import write_wav
from truestop.domain.errors import TruestopError

from .conftest import Run

SILENCE = np.zeros(44100, np.float32)


@pytest.mark.parametrize(
    ("name", "content", "message"),
    [
        ("empty.musicxml", b"", r"empty\.musicxml"),
        ("text.musicxml", b"this is no score", r"text\.musicxml"),
        ("cut.musicxml", b"<?xml version='1.0'?><score-partwise><part-list>", r"cut\.musicxml"),
        ("page.xml", b"<html><body/></html>", r"page\.xml"),
        ("fake.mxl", b"PK\x03\x04 nothing", r"fake\.mxl"),
        ("page.musicxml", b"%PDF-1.7\n", r"page\.musicxml is a PDF"),
    ],
)
def test_what_is_no_score(run: Run, tmp_path: Path, name: str, content: bytes, message: str) -> None:
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(TruestopError, match=message) as caught:
        run("shifts", path)
    assert caught.value.hint


def test_words_that_are_no_shift_tell_how_one_is_typed(run: Run) -> None:
    with pytest.raises(TruestopError, match="There is no such file") as caught:
        run("shifts", "first finger to third finger")
    assert "'III 1 A4 > III 3 E5'" in caught.value.hint


def test_a_part_for_another_instrument_says_for_which_it_is_read(run: Run, study: Path, tmp_path: Path) -> None:
    path = tmp_path / "flute.musicxml"
    path.write_bytes(study.read_bytes().replace(b"Violin</part-name>", b"Flute</part-name>"))
    assert "The part 'Flute' is read for the violin" in run("shifts", path).err
    assert run("shifts", path, "--instrument", "violin").err == run("shifts", study).err == ""


def test_a_note_below_the_instrument_names_its_bar(run: Run, study: Path, tmp_path: Path) -> None:
    low = study.read_bytes().replace(b"<step>B</step><octave>3</octave>", b"<step>B</step><octave>2</octave>")
    path = tmp_path / "low.musicxml"
    path.write_bytes(low)
    with pytest.raises(TruestopError, match=r"(?i)bar 18.*B2"):
        run("shifts", path)


def test_a_finger_that_cannot_be_on_its_string_names_its_bar(run: Run, study: Path) -> None:
    with pytest.raises(TruestopError, match=r"(?i)bar 4"):
        run("shifts", study, "--pin", "m4n1=I1")


@pytest.mark.parametrize("sound", ["silence", "noise", "text"])
def test_a_take_without_the_shift(run: Run, study: Path, tmp_path: Path, sound: str) -> None:
    path = tmp_path / f"{sound}.wav"
    if sound == "text":
        path.write_bytes(b"no sound at all")
    else:
        noise = 0.1 * np.random.default_rng(2).standard_normal(44100).astype(np.float32)
        write_wav(path, SILENCE if sound == "silence" else noise, sample_rate_hz=44100)
    with pytest.raises(TruestopError, match=rf"{sound}\.wav") as caught:
        run("judge", study, path, "--shift", "2")
    assert caught.value.hint
    assert "empty" in run("progress").err


@pytest.mark.parametrize(
    "arguments",
    [
        ("shifts", "nowhere.musicxml"),
        ("sheet", "STUDY", "--shift", "99", "-o", "x.pdf"),
        ("sheet", "STUDY", "-o", "x.docx"),
        ("tones", "STUDY", "-o", "x.mp3"),
        ("shifts", "STUDY", "--instrument", "lute"),
        ("shifts", "STUDY", "--size", "9/8"),
        ("shifts", "STUDY", "--a4", "1000"),
        ("shifts", "STUDY", "--measures", "900-901"),
        ("shifts", "STUDY", "--part", "Bassoon"),
        ("shifts", "STUDY", "--tolerance", "lots"),
        ("shifts", "STUDY", "--pin", "m1n1=X9"),
        ("judge", "STUDY", "nowhere.wav", "--shift", "2"),
        ("strike", "20260101-abcdef.1"),
        ("restore", "nowhere.zip", "--yes"),
        ("import", "nowhere"),
        ("plan", "--minutes", "1"),
        ("progress", "No Such Piece"),
    ],
    ids=lambda arguments: " ".join(arguments),
)
def test_the_program_exits_with_2_and_says_why(
    shell: Run, study: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments: tuple[str, ...]
) -> None:
    monkeypatch.chdir(tmp_path)
    ran = shell(*(study if argument == "STUDY" else argument for argument in arguments))
    assert ran.code == 2
    assert ran.err.strip()
    assert "Traceback" not in ran.err
    assert not list(tmp_path.glob("x.*"))


@pytest.mark.parametrize(
    ("passage", "message"),
    [
        ("nowhere.abc", "There is no such file"),
        ("FOLDER", "This is a folder"),
        ("", "The passage has no name"),
        ("II 1 B4 >", "The second stop has no pitch"),
        ("II 1 H4 > II 3 F5", "word 3, 'H4'"),
        ("violin II 1 B4 > II 3 F#5", "The words are for violin, not for cello"),
    ],
)
def test_what_names_no_passage(run: Run, tmp_path: Path, passage: str, message: str) -> None:
    with pytest.raises(TruestopError, match=message) as caught:
        run("shifts", tmp_path if passage == "FOLDER" else passage, "--instrument", "cello")
    assert caught.value.hint


@pytest.mark.parametrize(("clef", "family"), [("treble", "violin"), ("alto", "viola"), ("bass", "cello")])
def test_a_score_that_names_no_instrument_is_for_the_one_that_reads_its_clef(
    run: Run, tmp_path: Path, clef: str, family: str
) -> None:
    path = tmp_path / "tune.abc"
    path.write_text(f"X:1\nT:Tune\nL:1/4\nK:D clef={clef}\nA B d e |\n")
    assert json.loads(run("shifts", path, "--json").out)["instrument"]["family"] == family


def test_what_a_passage_does_not_honour_is_told_once(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "tune.abc"
    path.write_text("X:1\nT:Tune\nL:1/4\nK:D\nA B | !lift!d !lift!e | [GB]4 |\n")
    ran = run("shifts", path, "--json")
    assert "bar 2: !lift! is no decoration of the ABC standard; it is passed over." in ran.err
    assert json.loads(ran.out)["remarks"] == ran.err.splitlines()


@pytest.mark.parametrize("name", ["a" * 300 + ".pdf", "file.txt/out.pdf"])
def test_a_file_that_cannot_be_written_is_named(run: Run, tmp_path: Path, name: str) -> None:
    (tmp_path / "file.txt").write_text("in the way")
    with pytest.raises(TruestopError, match="cannot be written") as caught:
        run("strip", "violin", "-o", tmp_path / name)
    assert "-o" in caught.value.hint
