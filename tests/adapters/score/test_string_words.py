"""Wordings of printed editions that name a string (common practice, no source)."""

from __future__ import annotations

import pytest

from truestop.adapters.score.string_words import CANCEL, parse_string_words
from truestop.domain.instrument import make_instrument

VIOLIN = make_instrument("violin").strings


@pytest.mark.parametrize(
    ("text", "string"),
    [
        ("sul G", 4), ("sul D", 3), ("Sul A.", 2), ("sulla IV", 4), ("sulla IVa", 4), ("IVa corda", 4),
        ("IIa corda", 2),
        ("IV corda", 4), ("4a corda", 4), ("quarta corda", 4), ("sulla quarta corda", 4), ("III. Saite", 3),
        ("4. Saite", 4), ("G-Saite", 4), ("auf der G-Saite", 4), ("auf der 3. Saite", 3), ("4e corde", 4),
        ("sur la 4e corde", 4), ("corde de sol", 4), ("sul Sol", 4), ("sul Re", 3), ("on the G string", 4),
        ("D string", 3), ("2nd string", 2), ("IV", 4), ("III", 3), ("I", 1), ("IV ____", 4), ("dolce, sul G", 4),
        ("p espr. sul D", 3), ("sul II", 2), ("sul E", 1),
    ],
)  # fmt: skip
def test_words_that_name_a_string(text: str, string: int) -> None:
    word = parse_string_words(text)
    assert word is not None
    assert word.string_on(VIOLIN) == string


@pytest.mark.parametrize(
    "text",
    ["sul ponticello", "sul pont.", "sul tasto", "dolce", "a tempo", "A", "G", "i", "iv", "D.C. al Fine", "", "V. S.",
     "una corda", "con sordino", "Allegro", "poco a poco", "arco", "tempo I", "Violine I"],
)  # fmt: skip
def test_words_about_something_else(text: str) -> None:
    assert parse_string_words(text) is None


@pytest.mark.parametrize("text", ["ordinario", "ord.", "loco", "naturale"])
def test_words_that_end_a_string(text: str) -> None:
    assert parse_string_words(text) is CANCEL
