"""Subgroup standard deviation: has the scatter within a subgroup changed, judged from all of its values?

References
----------
ISO 7870-2:2023, Control charts - Part 2: Shewhart control charts (standard deviation chart).
Montgomery, D. C. (2012). Introduction to Statistical Quality Control, 7th ed., section 6.3. Wiley.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from rules.charts.by_row import ByRow
from rules.charts.chart import FloatArray, Track
from rules.charts.record import positive
from rules.charts.subgroup_statistics import by_size, check_size, counts, standard_deviations
from rules.charts.unequal_limits import judge_between
from rules.constants import c4, factors
from rules.limits import Limits

__all__ = ["SubgroupSdChart"]


@dataclass(frozen=True, slots=True)
class SubgroupSdChart(ByRow):
    """Chart of the standard deviation of each subgroup; a row is its ``n`` values.

    Parameters
    ----------
    sigma : float
        Standard deviation of single values within a subgroup, in their unit, above zero.
    n : int
        Values in a subgroup, 2 to 25.
    width : float
        Distance of the limits from the mean standard deviation in its own standard deviations; the factors
        B3 to B6 belong to 3.

    Raises
    ------
    ValueError
        If a parameter is out of range.

    Notes
    -----
    Of a row with missing values the standard deviation of the others is judged, with the limits of as many;
    fewer than two values have none. The lower limit is 0, which nothing is below, up to five values.
    """

    sigma: float
    n: int
    width: float = 3.0

    name: ClassVar[str] = "subgroup_sd"

    def __post_init__(self) -> None:
        """Check the parameters."""
        positive(self.name, "sigma", self.sigma)
        positive(self.name, "width", self.width)
        check_size(self.name, self.n)

    @property
    def columns(self) -> int:
        """How many values a subgroup has."""
        return self.n

    def judge_rows(self, rows: FloatArray) -> Track:
        """Return what many subgroups did; the statistic is in the unit of the values."""
        unit = by_size(c4, counts(rows))
        center = unit * self.sigma
        reach = self.width * np.sqrt(1.0 - unit**2) * self.sigma
        return judge_between(
            standard_deviations(rows), np.maximum(0.0, center - reach), center, center + reach
        )

    def limits(self) -> Limits:
        """Return the limits of a full subgroup, in the unit of the values."""
        known = factors(self.n, width=self.width)
        return Limits(known.b5 * self.sigma, known.c4 * self.sigma, known.b6 * self.sigma)
