"""Shifts and guide notes against Davydov's 24 worked cases.

Source: K. Davydov, *Violoncell-Schule*, Leipzig 1888, the examples A to Z of the chapter on changes of position (first
and fourth position on the A string); the old finger guides.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from fingered_text import parse_fingered
from truestop.domain.fingering import finger_passage
from truestop.domain.instrument import make_instrument
from truestop.domain.shift import Cover, GuideRule, Relation
from truestop.domain.way import find_way

TABLE = Path(__file__).parents[1] / "oracles" / "davydov_1888_shift_cases.csv"
ROWS = list(csv.DictReader(TABLE.read_text("utf-8").splitlines()))
RELATIONS = {"3": Relation.TO_HIGHER, "4a": Relation.TO_LOWER, "4b": Relation.TO_LOWER}


def test_the_table_holds_all_cases() -> None:
    assert len(ROWS) == 24


@pytest.mark.parametrize("row", ROWS, ids=[row["example"] for row in ROWS])
def test_davydovs_case(row: dict[str, str]) -> None:
    written = parse_fingered(f"{row['from_note']}:I{row['from_finger']} {row['to_note']}:I{row['to_finger']}")
    fingered = finger_passage(written.marked(), make_instrument("cello"), numbering="major-scale")
    way = find_way(fingered, guide_rule=GuideRule.DEPARTURE)
    assert len(way.shifts) == 1
    shift = way.shifts[0]
    assert shift.relation is RELATIONS[row["davydov_case"].split()[0]]
    assert (shift.from_position[0], shift.to_position[0]) == (row["from_pos"], row["to_pos"])
    assert shift.direction == ("up" if int(row["to_pos"]) > int(row["from_pos"]) else "down")
    assert (shift.cover, shift.crossing) == (Cover.NONE, False)
    guide = shift.guide[0]
    assert (guide.finger, guide.string, guide.from_pitch.name) == (row["guide_finger"], 1, row["from_note"])
    assert guide.to_pitch.midi == int(row["guide_midi"])
    assert guide.to_pitch.name == row["guide_note"]
