"""How far from center is a statistic, as a share of its limit, where the two limits are not equally far?

Ranges, standard deviations and counts are skewed and never below zero, so each side has a reach of its own. A
lower limit that comes out negative is zero, and what is zero is not below it.

References
----------
ISO 7870-2:2023, Control charts - Part 2: Shewhart control charts (lower limits that are zero).
"""

from __future__ import annotations

import numpy as np

from rules.charts.chart import FloatArray, Track
from rules.charts.verdict import judge_all, sides
from rules.limits import Limits

__all__ = ["judge_between", "share_between"]


def share_between(statistic: float, lines: Limits) -> float:
    """Return the distance from center as a share of the limit on that side; above 1 it is beyond."""
    off = statistic - lines.center
    reach = lines.upper - lines.center if off >= 0 else lines.lower - lines.center
    return off / reach


def judge_between(
    statistic: FloatArray, lower: FloatArray | float, center: float | FloatArray, upper: FloatArray | float
) -> Track:
    """Return the track of many values, each against limits of its own or all against the same.

    Parameters
    ----------
    statistic : ndarray of float64, shape (n,)
        NaN where missing.
    lower, center, upper : float or ndarray of float64, shape (n,)
        ``lower < center < upper``.

    Returns
    -------
    Track
        Beyond the limit wherever the share is above 1.
    """
    off = statistic - center
    share = off / np.where(off >= 0, upper - center, lower - center)
    return judge_all(statistic, share, sides(off))
