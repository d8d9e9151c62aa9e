"""Shares, landings and the sequential test against SciPy, statsmodels and printed tables."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from scipy import stats
from statsmodels.genmod.families import Binomial
from statsmodels.genmod.generalized_linear_model import GLM
from statsmodels.robust.norms import HuberT
from statsmodels.robust.scale import Huber
from statsmodels.stats.meta_analysis import combine_effects
from statsmodels.stats.proportion import proportion_confint

from truestop.domain.statistics import (
    Standing,
    TestSettings,
    huber_location_scale,
    make_share,
    run_sequential_test,
    summarise_landings,
)
from truestop.domain.statistics_pooling import BiasPrior, SharePrior, fit_bias_prior, fit_share_prior
from truestop.domain.statistics_trend import fit_trend

# Venables and Ripley's chem data (Analytical Methods Committee 1989), as in statsmodels' documentation.
CHEM = [2.2, 2.2, 2.4, 2.4, 2.5, 2.7, 2.8, 2.9, 3.03, 3.03, 3.1, 3.37, 3.4, 3.4, 3.4, 3.5, 3.6, 3.7, 3.7, 3.7, 3.7,
        3.77, 5.28, 28.95]  # fmt: skip


# Computed beforehand from Wilson (1927), two-sided 95 %.
@pytest.mark.parametrize(
    ("true", "judged", "low"), [(5, 5, 0.566), (10, 10, 0.722), (9, 10, 0.596), (20, 20, 0.839), (18, 20, 0.699)]
)
def test_wilson_bounds_as_printed(true: int, judged: int, low: float) -> None:
    assert make_share(true, judged).wilson_low == pytest.approx(low, abs=5e-4)


@pytest.mark.parametrize("judged", [1, 3, 17, 400])
def test_share_against_statsmodels_and_scipy(judged: int) -> None:
    for true in {0, 1, judged // 2, judged}:
        share = make_share(true, judged)
        low, high = proportion_confint(true, judged, alpha=0.05, method="wilson")
        assert (share.wilson_low, share.wilson_high) == pytest.approx((low, high), abs=1e-12)
        posterior = stats.beta(1 + true, 1 + judged - true)
        assert (share.mean, share.low, share.high) == pytest.approx(
            (posterior.mean(), *posterior.interval(0.95)), rel=1e-9
        )


def test_nothing_judged_says_nothing() -> None:
    share = make_share(0, 0)
    assert share.rate is None
    assert (share.wilson_low, share.wilson_high) == (0.0, 1.0)
    assert (share.low, share.high) == pytest.approx((0.025, 0.975))


def test_huber_against_statsmodels() -> None:
    location, scale = huber_location_scale(np.array(CHEM))
    expected = Huber(maxiter=200)(np.array(CHEM))
    assert (location, scale) == pytest.approx([float(value) for value in expected], rel=1e-6)
    # Printed in statsmodels' documentation of robust.scale.huber.
    assert (location, scale) == pytest.approx((3.2054980819923693, 0.67365260010478967), rel=1e-6)


def test_bias_interval_against_the_formula_with_statsmodels_weights() -> None:
    landings = summarise_landings(CHEM)
    assert landings is not None
    assert landings.spread is not None
    norm = HuberT(t=1.5)
    scaled = (np.array(CHEM) - landings.bias) / landings.spread
    variance = np.sum(norm.psi(scaled) ** 2) / (len(CHEM) - 1) / np.mean(norm.psi_deriv(scaled)) ** 2
    reach = stats.t.ppf(0.975, len(CHEM) - 1) * landings.spread * np.sqrt(variance / len(CHEM))
    assert (landings.bias_low, landings.bias_high) == pytest.approx((landings.bias - reach, landings.bias + reach))


@pytest.mark.parametrize("count", [5, 20])
def test_intervals_hold_the_truth_as_often_as_they_say(count: int) -> None:
    rng = np.random.default_rng(20)
    rounds, bias_held, spread_held = 1500, 0, 0
    for _ in range(rounds):
        landings = summarise_landings(rng.normal(7.0, 9.0, count))
        assert landings is not None
        assert landings.spread_low is not None
        bias_held += landings.bias_low <= 7.0 <= landings.bias_high
        spread_held += landings.spread_low <= 9.0 <= landings.spread_high
    assert bias_held / rounds == pytest.approx(0.95, abs=0.02)
    assert spread_held / rounds == pytest.approx(0.95, abs=0.025)


def test_one_wild_landing_hardly_moves_bias_and_spread() -> None:
    calm = [4.0, 6.0, 5.0, 7.0, 3.0, 5.5, 4.5, 6.5, 5.0, 4.8]
    plain, wild = summarise_landings(calm), summarise_landings([*calm[:-1], 65.0])
    assert plain is not None
    assert wild is not None
    assert abs(wild.bias - plain.bias) < 1.0
    assert np.mean([*calm[:-1], 65.0]) - plain.bias > 5.0


def test_few_landings_say_little() -> None:
    assert summarise_landings([]) is None
    two = summarise_landings([3.0, 5.0])
    assert two is not None
    assert (two.bias, two.spread, two.bias_low) == (4.0, None, None)
    same = summarise_landings([5.0, 5.0, 5.0])
    assert same is not None
    assert (same.bias, same.spread) == (5.0, 0.0)


def test_sequential_test_steps_as_printed() -> None:
    # Wald (1945): ln(.90/.70), ln(.10/.30), ln(.95/.05).
    settings = TestSettings()
    assert (settings.up, settings.down) == pytest.approx((0.2513, -1.0986), abs=5e-5)
    assert (settings.upper, settings.lower) == pytest.approx((2.9444, -2.9444), abs=5e-5)
    assert run_sequential_test([True] * 11).standing is Standing.OPEN
    assert run_sequential_test([True] * 12).standing is Standing.SECURE
    assert run_sequential_test([False] * 2).standing is Standing.OPEN
    assert run_sequential_test([False] * 3).standing is Standing.NOT_YET


def test_sequential_test_says_how_far_it_is_to_go() -> None:
    results = [True, False, True, True]
    to_go = run_sequential_test(results).true_to_go
    assert run_sequential_test(results + [True] * (to_go - 1)).standing is Standing.OPEN
    assert run_sequential_test(results + [True] * to_go).standing is Standing.SECURE


def test_a_secure_shift_can_be_lost_and_won_back() -> None:
    lost = run_sequential_test([True] * 12 + [False] * 3)
    assert (lost.standing, lost.decided_after) == (Standing.NOT_YET, 15)
    assert run_sequential_test([True] * 12 + [False] * 3 + [True] * 12).standing is Standing.SECURE


@pytest.mark.parametrize(("share", "wrong"), [(0.70, Standing.SECURE), (0.90, Standing.NOT_YET)])
def test_sequential_test_keeps_its_error_rates(share: float, wrong: Standing) -> None:
    rng = np.random.default_rng(7)
    rounds = 800
    errors = 0
    for _ in range(rounds):
        results = list(rng.random(400) < share)
        first = next(n for n in range(1, 400) if run_sequential_test(results[:n]).decided_after)
        errors += run_sequential_test(results[:first]).standing is wrong
    assert errors / rounds <= 0.05 / 0.95  # Wald's bound α/(1 − β)


def test_share_prior_is_the_likeliest_beta_binomial() -> None:
    rng = np.random.default_rng(3)
    judged = rng.integers(4, 40, 25)
    true = rng.binomial(judged, rng.beta(6.0, 2.0, 25))
    prior = fit_share_prior(list(zip(true.tolist(), judged.tolist(), strict=True)))
    assert prior is not None

    def likelihood(mean: float, weight: float) -> float:
        return float(np.sum(stats.betabinom.logpmf(true, judged, mean * weight, (1 - mean) * weight)))

    best = likelihood(prior.mean, prior.weight)
    means, weights = np.linspace(0.3, 0.98, 60), np.geomspace(1.0, 200.0, 60)
    assert best >= max(likelihood(mean, weight) for mean in means for weight in weights) - 1e-4
    assert prior.mean == pytest.approx(0.75, abs=0.08)


def test_a_shift_with_few_attempts_borrows_and_one_with_many_does_not() -> None:
    prior = SharePrior(mean=0.8, weight=10.0)
    few, many = prior.posterior(0, 2), prior.posterior(0, 200)
    assert few.mean == pytest.approx(8 / 12)
    assert few.borrowed == pytest.approx(10 / 12)
    assert many.mean < 0.05
    assert fit_share_prior([(3, 5)]) is None


def test_bias_prior_against_statsmodels() -> None:
    bias, se = [4.0, 9.0, -2.0, 12.0, 6.5], [2.0, 1.5, 3.0, 2.5, 1.0]
    prior = fit_bias_prior(list(zip(bias, se, strict=True)))
    oracle = combine_effects(np.array(bias), np.array(se) ** 2, method_re="dl")
    assert prior is not None
    assert prior.between**2 == pytest.approx(oracle.tau2, rel=1e-9)
    assert prior.mean == pytest.approx(oracle.mean_effect_re, rel=1e-9)
    assert prior.mean_se == pytest.approx(oracle.sd_eff_w_re, rel=1e-9)
    shrunk = BiasPrior(mean=0.0, mean_se=0.0, between=3.0).posterior(9.0, 3.0)
    assert (shrunk.mean, shrunk.borrowed) == pytest.approx((4.5, 0.5))


def test_a_borrowed_bias_lies_in_its_interval_as_often_as_it_says() -> None:
    """Five shifts of one kind, near to one another and far apart. Kin who seem alike once gave an interval of no width.

    The interval takes the estimated spread between kin for granted (Morris 1983), which costs it some of its 95 %.
    """
    rng = np.random.default_rng(8)
    for between in (0.0, 2.0, 8.0):
        held = []
        for _ in range(400):
            bias, se = rng.normal(3.0, between, 5), rng.uniform(1.5, 4.0, 5)
            seen = rng.normal(bias, se)
            prior = fit_bias_prior(list(zip(seen.tolist(), se.tolist(), strict=True)))
            assert prior is not None
            pooled = [prior.posterior(*one) for one in zip(seen.tolist(), se.tolist(), strict=True)]
            held += [one.low <= truth <= one.high for one, truth in zip(pooled, bias.tolist(), strict=True)]
        assert np.mean(held) >= 0.85


def test_trend_against_statsmodels_when_the_prior_is_wide() -> None:
    rng = np.random.default_rng(11)
    start = date(2026, 3, 1).toordinal()
    days = np.repeat(np.arange(30), 4)
    true = rng.random(days.size) < 1 / (1 + np.exp(-(-0.5 + 0.6 * days / 7)))
    trend = fit_trend((start + days).tolist(), true.tolist(), level_sd=1e4, slope_sd=1e4)
    weeks = (days - days.max()) / 7.0
    oracle = GLM(true.astype(float), np.column_stack([np.ones(days.size), weeks]), family=Binomial()).fit()
    assert trend is not None
    assert trend.slope_per_week == pytest.approx(oracle.params[1], rel=1e-5)
    assert (trend.slope_low, trend.slope_high) == pytest.approx(tuple(oracle.conf_int()[1]), rel=1e-4)
    assert trend.word == "rising"


@pytest.mark.parametrize("true", [True, False])
def test_nothing_but_one_result_is_no_trend(true: bool) -> None:
    trend = fit_trend([day for day in range(60) for _ in range(3)], [true] * 180)
    assert trend is not None
    assert trend.slope_per_week == pytest.approx(0.0, abs=1e-6)


def test_trend_stays_finite_and_needs_two_days() -> None:
    assert fit_trend([1, 1], [True, False]) is None
    trend = fit_trend(range(1, 8), [True] * 7)
    assert trend is not None
    assert -3.0 < trend.slope_low < trend.slope_high < 3.0
    assert trend.word == "no clear trend"
