"""What the page is shown, as plain values.

Conventions: cents and mm are rounded as everywhere else; None where unknown; nothing is worded twice: the lines come
from the rules.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from truestop.app.describing import describe_attempt
from truestop.app.room_rules import STAGE_RULES
from truestop.app.room_state import Practice, Told
from truestop.domain.attempt import Attempt

View = dict[str, Any]
LONGEST_TRACE = 600
LONGEST_RUN = 24
"""Attempts of the run that the page draws."""


def view_practice(practice: Practice, way: str = "", marks: Mapping[str, str] | None = None) -> View:
    """The practice as the page draws it; ``way`` is the exercise that was chosen for its stage, '' for the first;
    ``marks`` are the verdicts on the notes of a passage."""
    rule, stopped = practice.rule, practice.stopped
    return {
        "type": "practice",
        "stages": [{"name": name, "cue": STAGE_RULES[name].cue} for name in practice.stages],
        "stage": practice.stage,
        "way": way,
        "phase": practice.phase.value,
        "cue": rule.cue,
        "listening": rule.listening.value,
        "once": rule.once,
        "clicks": rule.clicks,
        "aim": practice.aim,
        "trues": practice.trues,
        "misses": practice.misses,
        "marks": dict(marks or {}),
        "run": [view_told(told) for told in practice.run[-LONGEST_RUN:]],
        "stopped": stopped and {"cause": stopped.cause.value, "line": stopped.line, "back": stopped.back.line},
        "returning": practice.return_to is not None and practice.stages[practice.return_to],
        "tempo_bpm": round(practice.settings.tempo_bpm * practice.tempo_ratio, 1),
        "own_ear": {
            "on": practice.settings.own_ear,
            "asked": practice.own_ear_asked,
            "right": practice.own_ear_right,
        },
        "sounds": practice.settings.sounds,
        "by_itself": practice.settings.by_itself,
        "moment": practice.moment,
    }


def view_told(told: Told) -> View:
    """One attempt of the run."""
    return {
        "verdict": told.verdict.value,
        "faults": list(told.faults),
        "cents": _rounded(told.landing_cents, 1),
        "mm": _rounded(told.landing_mm, 2),
        "settled_cents": _rounded(told.settled_cents, 1),
        "reason": told.reason,
        "answer": told.answer,
        "leg": told.leg,
    }


def view_attempt(attempt: Attempt) -> View:
    """An attempt with its thinned trace."""
    stride = max(1, -(-len(attempt.trace_s) // LONGEST_TRACE))
    return {
        **describe_attempt(attempt),
        "trace_s": [round(value, 4) for value in attempt.trace_s[::stride]],
        "trace_cents": [round(value, 1) for value in attempt.trace_cents[::stride]],
    }


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(value, digits) + 0.0
