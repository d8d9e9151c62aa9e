"""Trend over days: whether a share rises, with its uncertainty.

Conventions: days are ordinals; the slope is in log-odds a week, + rising. A normal prior keeps it finite when every
attempt was true: standard deviation 3 on the level and 1 a week on the slope, both settings.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import expit, ndtri

from truestop.domain.statistics import LEVEL

LEVEL_SD = 3.0
SLOPE_SD = 1.0
_ROUNDS = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Trend:
    """A logistic line through true and missed attempts."""

    slope_per_week: float
    slope_low: float
    slope_high: float
    first_day: int
    last_day: int
    level: float
    """Log-odds on the last day."""
    covariance: tuple[float, float, float]
    """Of (level, level), (level, slope), (slope, slope)."""

    @property
    def word(self) -> str:
        """'rising', 'falling', or 'no clear trend' while the interval holds zero."""
        if self.slope_low > 0.0:
            return "rising"
        return "falling" if self.slope_high < 0.0 else "no clear trend"

    def share_on(self, day: int, *, level: float = LEVEL) -> tuple[float, float, float]:
        """Share on a day with its band: (middle, low, high)."""
        weeks = (day - self.last_day) / 7.0
        aa, ab, bb = self.covariance
        middle = self.level + self.slope_per_week * weeks
        reach = float(ndtri(0.5 + level / 2.0)) * (aa + 2.0 * ab * weeks + bb * weeks * weeks) ** 0.5
        return float(expit(middle)), float(expit(middle - reach)), float(expit(middle + reach))


def fit_trend(
    day_of: Sequence[int],
    is_true: Sequence[bool],
    *,
    level_sd: float = LEVEL_SD,
    slope_sd: float = SLOPE_SD,
    level: float = LEVEL,
) -> Trend | None:
    """The trend of results, each with its day, by penalised logistic regression; None on fewer than two days."""
    days, place = np.unique(np.array(day_of, dtype=float), return_inverse=True)
    if days.size < 2:
        return None
    judged = np.bincount(place).astype(float)
    true = np.bincount(place, weights=np.array(is_true, dtype=float))
    design = np.column_stack([np.ones_like(days), (days - days.max()) / 7.0])
    penalty = np.diag([level_sd**-2, slope_sd**-2])
    at = np.zeros(2)
    for _ in range(_ROUNDS):
        share = expit(design @ at)
        curve = (design * (judged * share * (1.0 - share))[:, None]).T @ design + penalty
        step = np.linalg.solve(curve, design.T @ (true - judged * share) - penalty @ at)
        at = at + step * min(1.0, 2.0 / max(1e-12, float(np.abs(step).max())))
        if float(np.abs(step).max()) < 1e-10:
            break
    spread = np.linalg.inv(curve)
    reach = float(ndtri(0.5 + level / 2.0)) * float(spread[1, 1]) ** 0.5
    return Trend(
        slope_per_week=float(at[1]),
        slope_low=float(at[1]) - reach,
        slope_high=float(at[1]) + reach,
        first_day=int(days.min()),
        last_day=int(days.max()),
        level=float(at[0]),
        covariance=(float(spread[0, 0]), float(spread[0, 1]), float(spread[1, 1])),
    )
