"""Trend over days: whether a share rises, with its uncertainty.

Conventions: days are ordinals; the slope is in log-odds a week, + rising. A normal prior keeps it finite when every
attempt was true: standard deviation 3 on the level at the mean day of the attempts, where it says nothing of the slope,
and 1 a week on the slope, both settings.
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

    @property
    def word(self) -> str:
        """'rising', 'falling', or 'no clear trend' while the interval holds zero."""
        if self.slope_low > 0.0:
            return "rising"
        return "falling" if self.slope_high < 0.0 else "no clear trend"


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
    middle = float(np.average(days, weights=judged))
    design = np.column_stack([np.ones_like(days), (days - middle) / 7.0])
    penalty = np.diag([level_sd**-2, slope_sd**-2])
    at = np.zeros(2)
    for _ in range(_ROUNDS):
        share = expit(design @ at)
        curve = (design * (judged * share * (1.0 - share))[:, None]).T @ design + penalty
        step = np.linalg.solve(curve, design.T @ (true - judged * share) - penalty @ at)
        at = at + step * min(1.0, 2.0 / max(1e-12, float(np.abs(step).max())))
        if float(np.abs(step).max()) < 1e-10:
            break
    reach = float(ndtri(0.5 + level / 2.0)) * float(np.linalg.inv(curve)[1, 1]) ** 0.5
    return Trend(
        slope_per_week=float(at[1]),
        slope_low=float(at[1]) - reach,
        slope_high=float(at[1]) + reach,
    )
