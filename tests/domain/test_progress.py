"""The numbers that are shown: what counts, what does not, groups and kin."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from statsmodels.stats.meta_analysis import combine_effects

from keeping_samples import PASSAGE, shift_card
from truestop.domain.attempt import Verdict
from truestop.domain.fingerboard import cents_to_mm
from truestop.domain.progress import Relative, summarise, summarise_passage
from truestop.domain.record import Outcome
from truestop.domain.statistics import Standing
from truestop.domain.statistics_pooling import fit_share_prior


def outcome(
    day: int = 1, verdict: str = "true", *, cold: bool = False, stage: str = "plain", **changes: Any
) -> Outcome:
    """An attempt's part that statistics use."""
    cents = changes.pop("landing_cents", 3.0)
    values = {"landing_cents": cents, "landing_mm": None if cents is None else cents_to_mm(cents, 5, 328.0)}
    shift = changes.pop("shift", "s1")
    return Outcome(shift, stage, 86400.0 * day, day, cold, Verdict(verdict), **(values | changes))


def test_only_judged_attempts_at_the_counting_stages_count() -> None:
    progress = summarise(
        [
            outcome(cold=True),
            outcome(verdict="high", landing_cents=30.0),
            outcome(verdict="unjudged", landing_cents=None),
            outcome(stage="guide", verdict="low", landing_cents=-60.0),
            outcome(2, "corrected", cold=True, stage="cold", correction_cents=-9.0),
            outcome(2, stage="in time", verdict="late", timing_s=0.12),
        ],
        "a shift",
    )
    assert (progress.attempts, progress.unjudged, progress.days) == (6, 1, 2)
    assert (progress.all.true, progress.all.judged) == (1, 4)
    assert (progress.cold.true, progress.cold.judged) == (1, 2)
    assert (progress.warm.true, progress.warm.judged) == (0, 2)
    assert progress.corrected.true == 1
    assert progress.misses == (("high", 1), ("corrected", 1), ("late", 1))
    assert progress.practice == (("guide", 1, 0),)
    assert progress.landing_cents is not None
    assert progress.landing_cents.count == 4


def test_a_wrong_note_counts_in_the_share_and_not_in_bias_and_spread() -> None:
    progress = summarise([outcome(landing_cents=c) for c in (1.0, 2.0, 3.0)] + [outcome(verdict="wrong note", landing_cents=-190.0)], "")  # fmt: skip  # noqa: E501
    assert progress.all.judged == 4
    assert progress.landing_cents is not None
    assert progress.landing_cents.bias == pytest.approx(2.0)


def test_cold_attempts_alone_decide_the_standing() -> None:
    warm = [outcome(1) for _ in range(40)]
    cold = [outcome(day, cold=True) for day in range(2, 14)]
    assert summarise(warm, "").tested.standing is Standing.OPEN
    assert summarise(warm + cold, "").tested.standing is Standing.SECURE
    assert (
        summarise([outcome(day, "low", cold=True) for day in (1, 2, 3)] + warm, "").tested.standing is Standing.NOT_YET
    )


def test_own_ear_agrees_with_the_landing_not_with_the_correction() -> None:
    answers = [
        outcome(landing_cents=30.0, verdict="corrected", own_ear="high"),
        outcome(landing_cents=-5.0, own_ear="true"),
        outcome(landing_cents=-30.0, verdict="low", own_ear="high"),
    ]
    own_ear = summarise(answers, "").own_ear
    assert own_ear is not None
    assert (own_ear.true, own_ear.judged) == (2, 3)
    assert summarise([outcome()], "").own_ear is None


def test_a_passage_lists_every_shift_and_groups_them() -> None:
    cards = [shift_card(1), shift_card(2, arrival_finger="3", relation="to higher"), shift_card(3, direction="down")]
    outcomes = [outcome(shift="s1"), outcome(shift="s2", verdict="low", landing_cents=-30.0), outcome(shift="s1")]
    progress = summarise_passage(PASSAGE, cards, outcomes)
    assert [one.progress.all.judged for one in progress.shifts] == [2, 1, 0]
    assert progress.whole.all.judged == 3
    assert {one.name: one.all.judged for one in progress.groups["finger"]} == {
        "arriving with 1": 2,
        "arriving with 3": 1,
    }
    assert [one.name for one in progress.groups["direction"]] == ["up"]


def test_a_shift_with_few_attempts_leans_on_its_kin() -> None:
    cards = [shift_card(number) for number in (1, 2, 3, 4)]
    outcomes = [outcome(shift=f"s{n}", verdict="true" if k < 17 else "low") for n in (1, 2, 3) for k in range(20)]
    outcomes.append(outcome(shift="s4", verdict="low"))
    few = summarise_passage(PASSAGE, cards, outcomes).shifts[3]
    assert few.progress.all.mean == pytest.approx(1 / 3)
    assert few.pooled_share is not None
    assert 0.75 < few.pooled_share.mean < 0.86
    assert few.pooled_share.borrowed > 0.9


def test_a_shift_borrows_from_its_kind_in_other_passages_too() -> None:
    """Worked by hand: the prior is the likeliest one of all four, the posterior its mean and weight with 1 of 3."""
    card = shift_card(1)
    outcomes = [
        Outcome("s1", "plain", 86400.0 * n, n + 1, n == 0, Verdict.TRUE if n == 0 else Verdict.HIGH, 4.0 + n)
        for n in range(3)
    ]
    others = [(18, 20), (17, 20), (19, 20)]
    lent = [Relative(kind=card.kind, true=true, judged=judged, bias_cents=(8.0, 1.0)) for true, judged in others]
    stranger = Relative(kind="down, same finger", true=0, judged=50)
    alone = summarise_passage(PASSAGE, [card], outcomes).shifts[0]
    (pooled,) = summarise_passage(PASSAGE, [card], outcomes, relatives=[*lent, stranger]).shifts
    assert alone.pooled_share is None
    prior = fit_share_prior([(1, 3), *others])
    assert prior is not None
    assert pooled.pooled_share is not None
    wanted = (prior.mean * prior.weight + 1) / (prior.weight + 3)
    assert pooled.pooled_share.mean == pytest.approx(wanted)
    own = pooled.progress.landing_cents
    assert own is not None
    assert own.bias_se is not None
    oracle = combine_effects(np.array([own.bias, 8, 8, 8]), np.array([own.bias_se**2, 1, 1, 1]), method_re="dl")
    between, mean = oracle.tau2, oracle.mean_effect_re
    assert pooled.pooled_bias_cents is not None
    if between > 0:
        weight = between / (between + own.bias_se**2)
        mean = weight * own.bias + (1 - weight) * mean
    assert pooled.pooled_bias_cents.mean == pytest.approx(mean)
