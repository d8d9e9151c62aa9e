"""Counting and measuring practice: shares with their bounds, where landings lie, and the sequential test.

Conventions: a *share* is true landings among judged attempts. Intervals hold 95 % and are central unless said
otherwise. Bias is + sharp (or towards the bridge); spread is a standard deviation. Landings are summarised by Huber's
proposal 2, so that one wild landing does not move them. None where there is too little to say.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import exp, log, pi, sqrt

import numpy as np
from scipy.special import betaincinv, gammaincinv, ndtr, ndtri, stdtrit

from truestop.domain.wording import Saying, saying

LEVEL = 0.95
#: Huber's corner in standard deviations (Huber 1981, proposal 2, with the usual 1.5).
HUBER_CORNER = 1.5
#: Degrees of freedom of Huber's scale, as a part of n − 1: found by simulating normal samples of 5 to 50.
SCALE_FREEDOM = 0.70
_ROUNDS = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """``true`` of ``judged``, with the Beta(1, 1) posterior's mean and central interval, and Wilson's bounds.

    With nothing judged the posterior is the prior: mean 0.5, interval .025 to .975; Wilson's bounds are 0 and 1.
    """

    true: int
    judged: int
    mean: float
    low: float
    high: float
    wilson_low: float
    wilson_high: float

    @property
    def rate(self) -> float | None:
        """The plain share, None with nothing judged."""
        return self.true / self.judged if self.judged else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Landings:
    """Where landings lie: bias and spread, each with its interval, in the unit of what was summarised.

    Bias needs one landing, its interval and the spread three.
    """

    count: int
    bias: float
    bias_low: float | None = None
    bias_high: float | None = None
    spread: float | None = None
    spread_low: float | None = None
    spread_high: float | None = None

    @property
    def bias_se(self) -> float | None:
        """Standard error of the bias, read back from its interval."""
        if self.bias_high is None or self.bias_low is None:
            return None
        return (self.bias_high - self.bias_low) / (2.0 * float(stdtrit(self.count - 1, 0.5 + LEVEL / 2)))

    @property
    def biased(self) -> bool:
        """Whether zero lies outside the bias's interval."""
        return self.bias_low is not None and self.bias_high is not None and self.bias_low * self.bias_high > 0


def make_share(true: int, judged: int, *, level: float = LEVEL) -> Share:
    """The share of ``true`` in ``judged``; 0 ≤ true ≤ judged.

    >>> round(make_share(9, 10).wilson_low, 3)
    0.596
    """
    tail = (1.0 - level) / 2.0
    a, b = 1.0 + true, 1.0 + judged - true
    low, high = wilson_bounds(true, judged, level=level)
    return Share(
        true=true,
        judged=judged,
        mean=a / (a + b),
        low=float(betaincinv(a, b, tail)),
        high=float(betaincinv(a, b, 1.0 - tail)),
        wilson_low=low,
        wilson_high=high,
    )


def wilson_bounds(true: int, judged: int, *, level: float = LEVEL) -> tuple[float, float]:
    """Wilson's score interval (Wilson 1927); (0, 1) with nothing judged."""
    if judged == 0:
        return 0.0, 1.0
    z = float(ndtri(0.5 + level / 2.0))
    p, n = true / judged, float(judged)
    middle = p + z * z / (2.0 * n)
    reach = z * sqrt(p * (1.0 - p) / n + z * z / (4.0 * n * n))
    scale = 1.0 + z * z / n
    return max(0.0, (middle - reach) / scale), min(1.0, (middle + reach) / scale)


def summarise_landings(values: Sequence[float], *, level: float = LEVEL) -> Landings | None:
    """Bias and spread of landings (cents, mm or seconds); None without any."""
    a = np.asarray(values, dtype=float)
    if a.size == 0:
        return None
    if a.size < 3:
        return Landings(count=int(a.size), bias=float(a.mean()))
    bias, spread = huber_location_scale(a)
    reach = float(stdtrit(a.size - 1, 0.5 + level / 2.0)) * _location_se(a, bias, spread)
    low, high = _scale_bounds(spread, int(a.size), level)
    return Landings(
        count=int(a.size),
        bias=bias,
        bias_low=bias - reach,
        bias_high=bias + reach,
        spread=spread,
        spread_low=low,
        spread_high=high,
    )


def huber_location_scale(a: np.ndarray) -> tuple[float, float]:
    """Huber's proposal 2: location and scale together, for three values or more (Huber 1981, §6.4).

    Starts from the median and the normalised median absolute deviation.
    """
    location = float(np.median(a))
    scale = 1.482602218505602 * float(np.median(np.abs(a - location))) or float(np.std(a))
    count = a.size
    share = (count - 1) * _expected_square(HUBER_CORNER)
    for _ in range(_ROUNDS):
        if scale <= 1e-9:
            return location, 0.0
        corner = HUBER_CORNER * scale
        pulled = np.minimum(np.maximum(a - location, -corner), corner)
        step = float(pulled.sum()) / count
        next_scale = sqrt(float(pulled @ pulled) / share)
        done = abs(step) <= 1e-9 * scale and abs(next_scale - scale) <= 1e-9 * scale
        location, scale = location + step, next_scale
        if done:
            break
    return location, scale


def _expected_square(corner: float) -> float:
    """E[ψ²] of Huber's ψ under the normal."""
    inside = 2.0 * float(ndtr(corner)) - 1.0
    return inside + corner**2 * (1.0 - inside) - 2.0 * corner * exp(-(corner**2) / 2.0) / sqrt(2.0 * pi)


def _location_se(a: np.ndarray, location: float, scale: float) -> float:
    """Huber's standard error of an M-estimate of location (Huber 1981, §6.5)."""
    if scale == 0.0:
        return 0.0
    pulled = np.clip(a - location, -HUBER_CORNER * scale, HUBER_CORNER * scale)
    kept = float(np.mean(np.abs(a - location) <= HUBER_CORNER * scale)) or 1.0 / a.size
    return sqrt(float(pulled @ pulled) / (a.size - 1)) / (kept * sqrt(a.size))


def _scale_bounds(spread: float, count: int, level: float) -> tuple[float, float]:
    """Chi-square interval of a scale with SCALE_FREEDOM (n − 1) degrees of freedom."""
    freedom = SCALE_FREEDOM * (count - 1)
    tail = (1.0 - level) / 2.0
    high, low = (2.0 * float(gammaincinv(freedom / 2.0, part)) for part in (tail, 1.0 - tail))
    return spread * sqrt(freedom / low), spread * sqrt(freedom / high)


class Standing(StrEnum):
    """What the sequential test says of a shift."""

    SECURE = "secure"
    NOT_YET = "not yet"
    OPEN = "still open"


@dataclass(frozen=True, slots=True, kw_only=True)
class TestSettings:
    """Wald's sequential test: ``low`` share against ``high`` share, with its two error rates."""

    __test__ = False

    low: float = 0.70
    high: float = 0.90
    alpha: float = 0.05
    """Chance of *secure* at the low share."""
    beta: float = 0.05
    """Chance of *not yet* at the high share."""

    @property
    def up(self) -> float:
        """Step of a true landing: ln(high/low)."""
        return log(self.high / self.low)

    @property
    def down(self) -> float:
        """Step of a miss: ln((1 − high)/(1 − low)), negative."""
        return log((1.0 - self.high) / (1.0 - self.low))

    @property
    def upper(self) -> float:
        """At or above it the shift is secure: ln((1 − β)/α)."""
        return log((1.0 - self.beta) / self.alpha)

    @property
    def lower(self) -> float:
        """At or below it, not yet: ln(β/(1 − α))."""
        return log(self.beta / (1.0 - self.alpha))

    @property
    def words(self) -> Saying:
        """The settings in one line."""
        numbers = {name: f"{getattr(self, name):.2f}" for name in ("low", "high", "alpha", "beta")}
        return saying("test", **numbers)


USUAL_TEST = TestSettings()


@dataclass(frozen=True, slots=True, kw_only=True)
class Tested:
    """Where the sequential test stands after some results.

    ``sum`` is the running log-likelihood ratio of the test in progress. A decided test begins anew with the next
    result, so a secure shift can be lost again and a lost one won back; ``standing`` is the last decision.
    """

    standing: Standing
    sum: float
    results: int
    decided_after: int | None
    """Number of results after which the standing was decided, None while it never was."""
    true_to_go: int
    """Straight true results that would make the test in progress end at *secure*."""
    settings: TestSettings

    @property
    def words(self) -> Saying:
        """The standing, and what is left to secure."""
        standing = saying(f"standing.{self.standing}")
        if self.standing is Standing.SECURE:
            return standing
        return saying("standing.to go", standing=standing, count=self.true_to_go)


def run_sequential_test(results: Sequence[bool], settings: TestSettings = TestSettings()) -> Tested:
    """Wald's sequential probability ratio test (Wald 1945) over true and missed cold attempts, oldest first.

    >>> run_sequential_test([True] * 12).standing.value, run_sequential_test([False] * 3).standing.value
    ('secure', 'not yet')
    """
    up, down = settings.up, settings.down
    upper, lower = settings.upper - 1e-12, settings.lower + 1e-12
    standing, total, decided = Standing.OPEN, 0.0, None
    for number, true in enumerate(results, start=1):
        total += up if true else down
        if lower < total < upper:
            continue
        standing = Standing.SECURE if total >= upper else Standing.NOT_YET
        total, decided = 0.0, number
    to_go = 0 if standing is Standing.SECURE else max(1, -int(-(upper - total) // up))
    return Tested(
        standing=standing, sum=total, results=len(results), decided_after=decided, true_to_go=to_go, settings=settings
    )
