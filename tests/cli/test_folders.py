"""The commands that print by the folder and at true scale."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path

import pytest
from pypdf import PdfReader
from typer.testing import CliRunner

from truestop.app.demo import STUDY, study_bytes
from truestop.app.sheet import SheetChoice, SheetFormat
from truestop.cli.folders import sheet_of
from truestop.cli.main import app
from truestop.cli.options import PassageOptions
from truestop.domain.drill import Stage
from truestop.domain.errors import DrillError


@pytest.fixture(autouse=True)
def _own_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TRUESTOP_HOME", str(tmp_path / "home"))


def test_a_strip_is_printed_for_the_named_string(tmp_path: Path) -> None:
    target = tmp_path / "strip.pdf"
    result = CliRunner().invoke(app, ["strip", "violin", "--string", "IV", "--left-handed", "-o", str(target)])
    assert result.exit_code == 0, result.output
    text = PdfReader(BytesIO(target.read_bytes())).pages[0].extract_text()
    assert "String IV, open G3" in text
    assert "String I, open" not in text


def test_a_string_the_instrument_has_not_is_refused(tmp_path: Path) -> None:
    result = CliRunner().invoke(app, ["strip", "cello", "--string", "VI", "-o", str(tmp_path / "strip.pdf")])
    assert result.exit_code == 2
    assert not (tmp_path / "strip.pdf").exists()


def test_a_folder_without_scores_is_refused(tmp_path: Path) -> None:
    result = CliRunner().invoke(app, ["sheets", str(tmp_path), "-o", str(tmp_path / "out")])
    assert isinstance(result.exception, DrillError)
    assert not (tmp_path / "out").exists()


def test_one_score_of_a_folder_becomes_its_sheet(tmp_path: Path) -> None:
    source = tmp_path / STUDY
    source.write_bytes(study_bytes())
    document = sheet_of(
        source,
        options=PassageOptions(),
        choice=SheetChoice(stages=(Stage.LAND,)),
        sheet_format=SheetFormat.MUSICXML,
        annotated=False,
    )
    assert document.startswith(b"<?xml")
    assert b"Land" in document
