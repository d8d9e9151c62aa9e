"""Progress as plain dictionaries, schema ``truestop.progress/1``."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields
from typing import Any

from truestop.app.progress import PassageReport
from truestop.app.studio import PlayerLine
from truestop.domain.diagnosis import Diagnosis
from truestop.domain.plan import Plan
from truestop.domain.progress import Progress, ShiftProgress
from truestop.domain.statistics import Landings, Share
from truestop.domain.statistics_trend import Trend

Described = dict[str, Any]


def describe_report(report: PassageReport) -> Described:
    """A passage with each of its shifts."""
    card = report.progress.card
    return {
        "passage": {"key": card.key, "title": card.title, "part": card.part, "instrument": card.instrument},
        "whole": describe_progress(report.progress.whole),
        "shifts": [describe_shift_progress(shift, diagnosis) for shift, diagnosis in report.lines],
        "groups": {
            name: [{"name": group.name} | describe_progress(group) for group in groups]
            for name, groups in report.progress.groups.items()
        },
    }


def describe_shift_progress(shift: ShiftProgress, diagnosis: Diagnosis) -> Described:
    """A shift's numbers, what it borrows from its kin, and why it fails."""
    return {
        "shift": shift.card.key,
        "number": shift.card.number,
        "label": str(shift.card.label),
        "kind": shift.card.kind,
        **describe_progress(shift.progress),
        "pooled_share": _flat(shift.pooled_share),
        "pooled_bias_cents": _flat(shift.pooled_bias_cents),
        "diagnosis": {
            "cause": diagnosis.cause.value,
            "sentence": str(diagnosis.sentence),
            "evidence": str(diagnosis.evidence),
            "exercise": str(diagnosis.exercise),
            "stage": diagnosis.stage,
            "attempts": diagnosis.attempts,
        },
    }


def describe_progress(progress: Progress) -> Described:
    """The numbers that command, room and report show."""
    return {
        "attempts": progress.attempts,
        "unjudged": progress.unjudged,
        "all": describe_share(progress.all),
        "cold": describe_share(progress.cold),
        "warm": describe_share(progress.warm),
        "corrected": describe_share(progress.corrected),
        "late": describe_share(progress.late),
        "misses": dict(progress.misses),
        "landing_cents": describe_landings(progress.landing_cents),
        "landing_mm": describe_landings(progress.landing_mm),
        "interval_cents": describe_landings(progress.interval_cents),
        "timing_s": describe_landings(progress.timing_s),
        "slide_s": describe_landings(progress.slide_s),
        "trend": describe_trend(progress.trend),
        "standing": {
            "word": progress.tested.standing.value,
            "sum": round(progress.tested.sum, 4),
            "results": progress.tested.results,
            "true_to_go": progress.tested.true_to_go,
            "settings": str(progress.tested.settings.words),
        },
        "first_day": progress.first_day.isoformat() if progress.first_day else None,
        "last_day": progress.last_day.isoformat() if progress.last_day else None,
        "days": progress.days,
        "tolerance_cents": progress.tolerance_cents,
    }


def describe_plan(plan: Plan) -> Described:
    """Schema ``truestop.plan/1``: the session's lines in order."""
    return {
        "schema": "truestop.plan/1",
        "day": plan.day.isoformat(),
        "minutes": plan.minutes,
        "planned_minutes": round(plan.planned_minutes, 2),
        "items": [
            {
                "what": item.what,
                "minutes": round(item.minutes, 2),
                "passage": item.passage.title if item.passage else None,
                "shift": item.shift.card.key if item.shift else None,
                "label": str(item.shift.card.label) if item.shift else None,
                "stage": item.stage,
                "attempts": item.attempts,
                "exercise": str(item.exercise or ""),
                "reason": str(item.reason),
            }
            for item in plan.items
        ],
        "left_out": [{"label": str(label), "reason": str(reason)} for label, reason in plan.left_out],
    }


def describe_studio(lines: Sequence[PlayerLine]) -> Described:
    """Schema ``truestop.studio/1``: a line for each player."""
    return {
        "schema": "truestop.studio/1",
        "players": [
            {
                "player": one.player,
                "name": one.name,
                "shifts": one.shifts,
                "secure": one.secure,
                "not_yet": one.not_yet,
                "still_open": one.still_open,
                "days": one.days,
                "last_day": one.last_day.isoformat(),
                "all": describe_share(one.all),
                "cold": describe_share(one.cold),
                "corrected": describe_share(one.corrected),
                "recent": list(one.recent),
            }
            for one in lines
        ],
    }


def describe_share(share: Share) -> Described:
    """A share with its bounds."""
    return _flat(share) or {}


def describe_trend(trend: Trend | None) -> Described | None:
    """Whether the share true rises, in log-odds a week."""
    return None if trend is None else {"word": trend.word} | (_flat(trend) or {})


def describe_landings(landings: Landings | None) -> Described | None:
    """Bias and spread with their intervals."""
    return _flat(landings)


def _flat(value: Any) -> Described | None:
    if value is None:
        return None
    return {field.name: _plain(getattr(value, field.name)) for field in fields(value)}


def _plain(value: Any) -> Any:
    return round(value, 4) if isinstance(value, float) else value
