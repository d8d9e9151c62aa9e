"""What the commands that look after the record did, as plain dictionaries. Documented in docs/json.md."""

from __future__ import annotations

from truestop.app.backup import BackupReport
from truestop.app.describing import Described
from truestop.domain.rejudging import Comparison


def describe_backup(report: BackupReport, *, schema: str, file: str) -> Described:
    """Schemas ``truestop.backup-report/1`` and ``truestop.restore/1``."""
    return {
        "schema": schema,
        "file": file,
        "made_at": report.made_at,
        "takes": report.takes,
        "sounds": report.sounds,
        "bytes": report.bytes,
        "missing": list(report.missing),
    }


def describe_comparison(comparison: Comparison, *, adopted: int) -> Described:
    """Schema ``truestop.rejudge/1``: what another version of the measure would change, and how much is now in force."""
    return {
        "schema": "truestop.rejudge/1",
        "old_versions": list(comparison.old_versions),
        "new_version": comparison.new_version,
        "takes": comparison.takes,
        "attempts": comparison.compared,
        "same_verdict": comparison.same_verdict,
        "median_shift_cents": _rounded(comparison.median_shift_cents),
        "largest_shift_cents": _rounded(comparison.largest_shift_cents),
        "changed": [
            {"attempt": kept.id, "old": kept.attempt.verdict.value, "new": new.verdict.value}
            for kept, new in comparison.changed
        ],
        "lost": [kept.id for kept in comparison.lost],
        "found": [
            {"take": take, "start_s": round(attempt.start_s, 4), "verdict": attempt.verdict.value}
            for take, attempt in comparison.found
        ],
        "silent_takes": list(comparison.silent_takes),
        "adopted": adopted,
    }


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 2)
