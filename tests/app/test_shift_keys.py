"""A shift keeps its key whatever else is read with it, and two shifts never share one."""

from __future__ import annotations

from truestop.adapters.score.musicxml_writing import write_musicxml
from truestop.adapters.score.reading import read_score
from truestop.adapters.score.selection import select_measures
from truestop.app.mainjob import InHand, Setup, take_in_hand
from truestop.domain.passage import Passage

MOVEMENT = "!1!A2 !3!c2 !1!d2 !3!f2 | !4!g4 !1!B4 |"
PIECE = f"X:1\nT:Two alike\nM:4/4\nL:1/4\nK:C\n{MOVEMENT}{MOVEMENT}\n".replace("2", "").replace("4 ", "2 ")


def restarted(passage: Passage) -> Passage:
    """The same music in two movements that both count from bar 1."""
    written = write_musicxml(passage).decode()
    for late, early in (("3", "1"), ("4", "2")):
        written = written.replace(f'<measure number="{late}"', f'<measure number="{early}"')
    return read_score(written.encode(), name="alike.musicxml", family="violin")


def keys(in_hand: InHand) -> list[str]:
    return [in_hand.key(shift) for shift in in_hand.way.shifts]


def test_movements_that_count_from_one_keep_their_shifts_apart() -> None:
    passage = restarted(read_score(PIECE.encode(), name="alike.abc", family="violin"))
    assert [measure.number for measure in passage.measures] == ["1", "2", "1", "2"]
    assert [measure.same_number_before for measure in passage.measures] == [0, 0, 1, 1]
    in_hand = take_in_hand(passage, Setup(family="violin"))
    found = keys(in_hand)
    assert len(found) == len(set(found)) >= 4


def test_a_selection_and_the_whole_give_the_same_keys() -> None:
    passage = restarted(read_score(PIECE.encode(), name="alike.abc", family="violin"))
    whole = keys(take_in_hand(passage, Setup(family="violin")))
    part = keys(take_in_hand(select_measures(passage, "1-2"), Setup(family="violin")))
    assert part
    assert part == whole[: len(part)]
