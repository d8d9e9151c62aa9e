"""Fingering: completing what an edition prints, and proposing where it prints nothing.

Conventions: every printed finger and string is honoured, or FingeringError names measure, note, mark and remedy. The
model is explicit: ``weights`` holds every term with its reason; ``search`` finds the cheapest way through the passage.
"""

from __future__ import annotations

from truestop.domain.fingering.complete import Reader, finger_passage
from truestop.domain.fingering.proposals import Proposal, propose_fingerings
from truestop.domain.fingering.search import Pin
from truestop.domain.fingering.weights import STYLES, USUAL, Style, Term, Weights, terms

__all__ = [
    "STYLES",
    "USUAL",
    "Pin",
    "Proposal",
    "Reader",
    "Style",
    "Term",
    "Weights",
    "finger_passage",
    "propose_fingerings",
    "terms",
]
