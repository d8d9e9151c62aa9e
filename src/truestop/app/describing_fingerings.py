"""Proposed fingerings as plain dictionaries, schema ``truestop.fingerings/1``."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from truestop.app.describing import describe_way
from truestop.domain.fingering import Proposal


def describe_proposals(proposals: Iterable[Proposal]) -> dict[str, Any]:
    """Several fingerings of one passage, the easiest first."""
    return {"schema": "truestop.fingerings/1", "fingerings": [_describe(proposal) for proposal in proposals]}


def _describe(proposal: Proposal) -> dict[str, Any]:
    return {
        "cost": round(proposal.cost, 3),
        "parts": {name: round(value, 3) for name, value in proposal.parts.items()},
        "shifts": proposal.shifts,
        "travel_mm": round(proposal.travel_mm, 1),
        "crossings": proposal.crossings,
        "stretches": proposal.stretches,
        "open_strings": proposal.open_strings,
        "fourth_fingers": proposal.fourth_fingers,
        "way": describe_way(proposal.fingered, proposal.way),
    }
