"""docs/own-data.md lists every exported column as export writes it."""

from __future__ import annotations

from pathlib import Path

from truestop.app.exchange import TABLES

PAGE = Path(__file__).parents[2] / "docs" / "own-data.md"


def test_the_page_lists_every_column_of_every_table() -> None:
    sections = dict(part.split("\n", 1) for part in PAGE.read_text(encoding="utf-8").split("\n### ")[1:])
    assert list(sections) == list(TABLES)
    for name, fields in TABLES.items():
        rows = [line for line in sections[name].splitlines() if line.startswith("| `")]
        assert rows == [
            f"| `{field.name}` | {field.kind} | {'yes' if field.optional else ''} | {field.meaning} |"
            for field in fields
        ]
