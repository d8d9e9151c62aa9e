"""Expectations as JSON text and back: what a take was judged against.

Conventions: a drill is the list of its expectations; a run is an object with its ``line``, ``[[hz…], onset_beats,
duration_beats, begins_bar, bar]`` a note, and its ``crossings``, expectations with the places of both notes in it.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import fields
from typing import Any

from truestop.domain.attempt import Expectation, Target
from truestop.domain.pitch import Pitch
from truestop.domain.run import Crossing, Run, WrittenNote

_TARGETS = ("departure", "arrival", "guide", "upper_departure", "upper_arrival")
_RUNS = ("open_strings_hz", "beats_s")


def expectations_text(expected: Sequence[Expectation], run: Run | None = None) -> str | None:
    """JSON of a drill's expectations or of a run, None for none."""
    if run is None and not expected:
        return None
    values = [_plain(one) for one in expected] if run is None else _plain_run(run)
    return json.dumps(values, ensure_ascii=False, separators=(",", ":"))


def expectations_of(text: str | None) -> tuple[tuple[Expectation, ...], Run | None]:
    """What ``expectations_text`` made. Fields it does not know yet keep their defaults; unknown ones are left out."""
    values = json.loads(text) if text else []
    if isinstance(values, dict):
        return (), _run(values)
    return tuple(_expectation(each) for each in values), None


def _plain_run(run: Run) -> dict[str, Any]:
    line = [[list(one.hz), one.onset_beats, one.duration_beats, one.begins_bar, one.bar] for one in run.line]
    crossings = [
        _plain(one.expected) | {"from": one.departure, "to": one.arrival, "covered": one.covered}
        for one in run.crossings
    ]
    return {"line": line, "crossings": crossings}


def _run(values: dict[str, Any]) -> Run:
    line = tuple(
        WrittenNote(hz=tuple(hz), onset_beats=onset, duration_beats=duration, begins_bar=bool(begins), bar=str(bar))
        for hz, onset, duration, begins, bar in values["line"]
    )
    crossings = tuple(
        Crossing(
            expected=_expectation(one), departure=int(one["from"]), arrival=int(one["to"]), covered=bool(one["covered"])
        )
        for one in values["crossings"]
    )
    if not all(0 <= place < len(line) for one in crossings for place in (one.departure, one.arrival)):
        raise ValueError("a crossing lies outside its line")
    return Run(line=line, crossings=crossings)


def _plain(one: Expectation) -> dict[str, Any]:
    values = {field.name: getattr(one, field.name) for field in fields(one)}
    return {name: plain_target(value) if isinstance(value, Target) else value for name, value in values.items()}


def plain_target(target: Target) -> dict[str, Any]:
    """A target as values that JSON can hold."""
    values = {field.name: getattr(target, field.name) for field in fields(target)}
    return values | {"pitch": target.pitch.name}


def target_of(values: dict[str, Any]) -> Target:
    """What ``plain_target`` made."""
    return Target(**(values | {"pitch": Pitch.parse(values["pitch"])}))


def _expectation(values: dict[str, Any]) -> Expectation:
    known = {field.name for field in fields(Expectation)}
    kept = {name: value for name, value in values.items() if name in known}
    for name in _TARGETS:
        if kept.get(name) is not None:
            kept[name] = target_of(kept[name])
    for name in _RUNS:
        if name in kept:
            kept[name] = tuple(kept[name])
    return Expectation(**kept)
