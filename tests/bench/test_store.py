"""The store's benchmark measures the whole record: what lies in the journal counts."""

from __future__ import annotations

from pathlib import Path

from benchmarks.store import fill, size_mb


def test_a_filled_record_is_in_its_file_and_the_journal_is_counted(tmp_path: Path) -> None:
    path = tmp_path / "record.sqlite"
    fill(path, 2500)
    assert path.stat().st_size > 2500 * 200
    (tmp_path / "record.sqlite-wal").write_bytes(bytes(3_000_000))
    assert size_mb(path) > 3.5
