"""Markdown tables, and sections of a page that a benchmark renews."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path


def table(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> Iterator[str]:
    """The lines of a Markdown table."""
    yield "| " + " | ".join(heads) + " |"
    yield "|" + "---|" * len(heads)
    for row in rows:
        yield "| " + " | ".join(row) + " |"


def replace_section(page: Path, name: str, lines: Sequence[str]) -> None:
    """Put ``lines`` between the page's marks for ``name``; marks that are not there yet are added at the end."""
    begin, end = f"<!-- {name}: begin -->", f"<!-- {name}: end -->"
    text = page.read_text(encoding="utf-8") if page.exists() else ""
    section = "\n".join([begin, *lines, end])
    if begin in text:
        before, rest = text.split(begin, 1)
        text = before + section + rest.split(end, 1)[1]
    else:
        text = text.rstrip("\n") + ("\n\n" if text else "") + section + "\n"
    page.write_text(text, encoding="utf-8")
