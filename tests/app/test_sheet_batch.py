"""A folder of passages into a folder of sheets: order, names, refusals, processes that die."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from oracles.sheet_makers import echo, name_process
from truestop.app.sheet_batch import Progress, find_passages, make_sheets, name_targets
from truestop.domain.errors import DrillError


@pytest.fixture
def scores(tmp_path: Path) -> Path:
    folder = tmp_path / "scores"
    folder.mkdir()
    for name, wish in {"a.musicxml": "", "b.xml": "refuse", "c.mxl": "die", "d.abc": "fault", "e.xml": ""}.items():
        (folder / name).write_text(wish, encoding="utf-8")
    (folder / "notes.txt").write_text("", encoding="utf-8")
    return folder


def test_every_passage_gets_its_sheet_or_its_sentence(scores: Path, tmp_path: Path) -> None:
    heard: list[Progress] = []
    sources = find_passages(scores)
    made = make_sheets(sources, tmp_path / "sheets", make_one=echo, workers=2, on_progress=heard.append)
    assert [one.source for one in made] == list(sources)
    problems = {one.source.name: one.problem for one in made}
    assert problems["a.musicxml"] is None
    assert problems["e.xml"] is None
    assert problems["b.xml"] == "b.xml: It is no score. Hand in a score."
    assert "ended" in str(problems["c.mxl"])
    assert "fault of ours" in str(problems["d.abc"])
    assert sorted(path.name for path in (tmp_path / "sheets").iterdir()) == ["a.pdf", "e.pdf"]
    assert (tmp_path / "sheets" / "a.pdf").read_bytes() == b"a.musicxml"
    assert [progress.done for progress in heard] == [1, 2, 3, 4, 5]
    assert {progress.of for progress in heard} == {5}


@pytest.mark.skipif(os.name != "posix", reason="permissions of POSIX")
def test_sheets_may_be_read_by_whoever_may_read_new_files(scores: Path, tmp_path: Path) -> None:
    plain = tmp_path / "plain"
    plain.write_bytes(b"")
    make_sheets([scores / "a.musicxml"], tmp_path / "sheets", make_one=echo, workers=1)
    assert (tmp_path / "sheets" / "a.pdf").stat().st_mode == plain.stat().st_mode


def test_one_that_dies_leaves_the_others_to_the_processes(tmp_path: Path) -> None:
    """Only what was being worked on is repeated alone: the process numbers show that the rest shared a second pool."""
    for number in range(12):
        (tmp_path / f"{number:02}.xml").write_text("die" if number == 1 else "", encoding="utf-8")
    sources = find_passages(tmp_path)
    made = make_sheets(sources, tmp_path / "sheets", make_one=name_process, workers=1)
    assert [one.source.name for one in made if one.problem] == ["01.xml"]
    workers = {one.target.read_text(encoding="utf-8") for one in made[4:]}
    assert len(workers) == 1


def test_sources_of_one_stem_do_not_share_a_sheet() -> None:
    sources = (Path("x/Air.xml"), Path("x/air.mxl"), Path("x/bourree.xml"))
    targets = name_targets(sources, Path("out"), ".pdf")
    assert targets == (Path("out/Air.xml.pdf"), Path("out/air.mxl.pdf"), Path("out/bourree.pdf"))


def test_a_folder_without_scores_is_refused(tmp_path: Path) -> None:
    with pytest.raises(DrillError, match="no score"):
        find_passages(tmp_path)
    with pytest.raises(DrillError, match="no such folder"):
        find_passages(tmp_path / "nowhere")
    (tmp_path / "air.abc").touch()
    with pytest.raises(DrillError, match="a file, not a folder"):
        find_passages(tmp_path / "air.abc")
