"""Borrowing from kin: a shift with few attempts is seen together with those like it.

Conventions: kin are shifts that share a property, usually their kind. Shares follow a beta-binomial model and biases a
normal one; the spread between kin is estimated from the data (empirical Bayes), so that kin who differ lend little.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, log, sqrt

import numpy as np
from scipy.optimize import minimize
from scipy.special import betaincinv, betaln, expit, ndtri

from truestop.domain.statistics import LEVEL

#: The prior's weight, in attempts, is sought between these.
WEIGHTS = (1.0, 200.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class SharePrior:
    """What kin say of a shift before its own attempts: a beta distribution's mean and its weight in attempts."""

    mean: float
    weight: float

    def posterior(self, true: int, judged: int, *, level: float = LEVEL) -> Pooled:
        """The share after ``true`` of ``judged``."""
        a = self.mean * self.weight + true
        b = (1.0 - self.mean) * self.weight + judged - true
        tail = (1.0 - level) / 2.0
        low, high = (float(betaincinv(a, b, part)) for part in (tail, 1.0 - tail))
        return Pooled(mean=a / (a + b), low=low, high=high, borrowed=self.weight / (self.weight + judged))


@dataclass(frozen=True, slots=True, kw_only=True)
class Pooled:
    """An estimate that borrows: its mean, interval, and the part of it (0–1) that comes from kin."""

    mean: float
    low: float
    high: float
    borrowed: float


def fit_share_prior(counts: Sequence[tuple[int, int]]) -> SharePrior | None:
    """The beta prior under which (true, judged) of all kin are likeliest; None with fewer than two kin that played.

    Marginal likelihood of the beta-binomial model, maximised over mean and weight.
    """
    used = [(true, judged) for true, judged in counts if judged > 0]
    if len(used) < 2:
        return None
    true, judged = (np.array(column, dtype=float) for column in zip(*used, strict=True))
    start = (true.sum() + 1.0) / (judged.sum() + 2.0)

    def _unlikelihood(at: np.ndarray) -> float:
        mean, weight = float(expit(at[0])), exp(float(at[1]))
        a, b = mean * weight, (1.0 - mean) * weight
        return -float(np.sum(betaln(a + true, b + judged - true) - betaln(a, b)))

    limits = [(-4.6, 4.6), (log(WEIGHTS[0]), log(WEIGHTS[1]))]
    begin = (float(np.clip(log(start / (1.0 - start)), -4.5, 4.5)), log(10.0))
    found = minimize(_unlikelihood, begin, bounds=limits, method="L-BFGS-B")
    return SharePrior(mean=float(expit(found.x[0])), weight=exp(float(found.x[1])))


@dataclass(frozen=True, slots=True, kw_only=True)
class BiasPrior:
    """What kin say of a bias: their mean with its standard error, and the standard deviation between them."""

    mean: float
    mean_se: float
    between: float

    def posterior(self, bias: float, se: float, *, level: float = LEVEL) -> Pooled:
        """The bias after a measured one with its standard error (> 0).

        The part that is borrowed is no surer than the kin's mean (Morris 1983, with a flat prior on that mean): kin who
        do not differ at all still leave its standard error.
        """
        kin = se**2 / (se**2 + self.between**2)
        mean = bias + kin * (self.mean - bias)
        reach = float(ndtri(0.5 + level / 2.0)) * sqrt((1.0 - kin) * se**2 + (kin * self.mean_se) ** 2)
        return Pooled(mean=mean, low=mean - reach, high=mean + reach, borrowed=kin)


def fit_bias_prior(biases: Sequence[tuple[float, float]]) -> BiasPrior | None:
    """The normal prior of kin's (bias, standard error) after DerSimonian and Laird (1986); None for fewer than two."""
    used = [(bias, se) for bias, se in biases if se > 0.0]
    if len(used) < 2:
        return None
    bias, se = (np.array(column) for column in zip(*used, strict=True))
    weight = 1.0 / se**2
    fixed = float(np.sum(weight * bias) / np.sum(weight))
    q = float(np.sum(weight * (bias - fixed) ** 2))
    spare = float(np.sum(weight) - np.sum(weight**2) / np.sum(weight))
    between = max(0.0, (q - (len(used) - 1)) / spare)
    weight = 1.0 / (se**2 + between)
    whole = float(np.sum(weight))
    return BiasPrior(mean=float(np.sum(weight * bias)) / whole, mean_se=whole**-0.5, between=sqrt(between))
