"""Stops bar by bar: lines break between notes, and nothing is cut off."""

from __future__ import annotations

import re
from pathlib import Path

from .conftest import Run


def test_lines_break_between_notes_at_80_columns(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "run.abc"
    path.write_text("X:1\nT:Run\nM:4/4\nL:1/16\nK:D\nDEFG ABcd efga gfed|D16|]\n", "utf-8")
    told = run("finger", path, "--alternatives", "2").out
    lines = [line.rstrip() for line in told.splitlines()]
    assert max(len(line) for line in lines) <= 80
    first = lines.index("Run in the hand")
    bar = [line[6:] for line in lines[first + 4 : lines.index("", first + 2)]]
    stops = [stop for line in bar for stop in re.sub(r"\[\w+\] ", "", line).split("  ")]
    assert len(bar) > 2
    assert all(re.fullmatch(r"[A-G][♯♭]?\d I{1,3}V? [0-4]|[A-G][♯♭]?\d IV [0-4]", stop) for stop in stops), stops
    assert len(stops) == 17
    assert re.search(r"^Fingering 2 of 2: .*open\s+strings?$", told, re.MULTILINE)
