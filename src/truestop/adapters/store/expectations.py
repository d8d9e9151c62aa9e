"""Expectations as JSON text and back: what a take was judged against."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import fields
from typing import Any

from truestop.domain.attempt import Expectation, Target
from truestop.domain.pitch import Pitch

_TARGETS = ("departure", "arrival", "guide", "upper_departure", "upper_arrival")
_RUNS = ("open_strings_hz", "beats_s")


def expectations_text(expected: Sequence[Expectation]) -> str | None:
    """JSON of all of them, None for none."""
    if not expected:
        return None
    return json.dumps([_plain(one) for one in expected], ensure_ascii=False, separators=(",", ":"))


def expectations_of(text: str | None) -> tuple[Expectation, ...]:
    """What ``expectations_text`` made. Fields it does not know yet keep their defaults; unknown ones are left out."""
    return tuple(_expectation(values) for values in json.loads(text)) if text else ()


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
