"""Deviation from nominal: is the process off by more than it should be, whatever it is set to make?

Runs too short for limits of their own share one chart when what they scatter by is the same: each value less
what it should be. The nominal comes with the value, so a new setpoint moves nothing on the chart.

References
----------
ISO 7870-8:2017, Control charts - Part 8: Charting techniques for short runs and small mixed batches.
Montgomery, D. C. (2012). Introduction to Statistical Quality Control, 7th ed., section 10.1 (deviation from
nominal). Wiley.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Self

import numpy as np
from numpy.typing import ArrayLike

from rules.charts.by_row import ByRow
from rules.charts.chart import FloatArray, Track
from rules.charts.engineering_limits import check_order
from rules.charts.moving_range import sigma_from_moving_ranges
from rules.charts.record import finite, positive, table
from rules.charts.unequal_limits import judge_between
from rules.limits import Limits

__all__ = ["DeviationChart", "deviation_chart"]


@dataclass(frozen=True, slots=True)
class DeviationChart(ByRow):
    """Chart of value less nominal; a row is the two, and the row of a missing one is missing.

    Parameters
    ----------
    lower, upper : float
        Limits of the deviation, in the unit of the values. They are engineering limits where a person states
        what the process may do, the right kind for a characteristic whose level wanders; from a common sigma
        of all nominals :meth:`from_sigma` makes them.
    center : float
        Deviation that is usual, between the two.

    Raises
    ------
    ValueError
        If a number is not finite, or they are not in order.
    """

    lower: float
    upper: float
    center: float = 0.0

    name: ClassVar[str] = "deviation"

    def __post_init__(self) -> None:
        """Check the parameters."""
        check_order(self.name, self.limits())

    @classmethod
    def from_sigma(cls, sigma: float, *, center: float = 0.0, width: float = 3.0) -> Self:
        """Return the chart with limits ``width`` times ``sigma`` either side of ``center``.

        Parameters
        ----------
        sigma : float
            Standard deviation of the deviations, the same for every nominal, in their unit.
        center : float
            Deviation that is usual.
        width : float
            Distance of the limits from the center in sigma.

        Returns
        -------
        DeviationChart

        Raises
        ------
        ValueError
            If sigma or width are not above zero, or the center is not finite.
        """
        finite(cls.name, "center", center)
        positive(cls.name, "sigma", sigma)
        positive(cls.name, "width", width)
        return cls(center - width * sigma, center + width * sigma, center)

    def judge_rows(self, rows: FloatArray) -> Track:
        """Return what many rows of value and nominal did; the statistic is the deviation."""
        return judge_between(rows[:, 0] - rows[:, 1], self.lower, self.center, self.upper)

    def limits(self) -> Limits:
        """Return the limits of the deviation, in the unit of the values."""
        return Limits(self.lower, self.center, self.upper)


def deviation_chart(rows: ArrayLike, *, width: float = 3.0) -> DeviationChart:
    """Return the chart of deviations whose limits come from short runs of a steady process.

    Parameters
    ----------
    rows : array_like, shape (n, 2)
        Value and nominal, in order.
    width : float
        Distance of the limits from the center in sigma.

    Returns
    -------
    DeviationChart
        Its center is the mean deviation, its sigma that of moving ranges, from one run into the next as well.

    Raises
    ------
    ValueError
        If no two values follow each other, or all deviate alike.
    """
    values = table(rows, 2)
    deviations = values[:, 0] - values[:, 1]
    sigma = sigma_from_moving_ranges(deviations)
    if sigma == 0:
        raise ValueError("All values deviate alike from their nominal; give values of a finer resolution.")
    return DeviationChart.from_sigma(sigma, center=float(np.nanmean(deviations)), width=width)
