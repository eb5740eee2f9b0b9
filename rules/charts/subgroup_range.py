"""Subgroup range: has the scatter within a subgroup changed, judged from largest less smallest?

References
----------
ISO 7870-2:2023, Control charts - Part 2: Shewhart control charts (range chart).
Tippett, L. H. C. (1925). On the extreme individuals and the range of samples taken from a normal population.
Biometrika 17, 364-387.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from rules.charts.by_row import ByRow
from rules.charts.chart import FloatArray, Track
from rules.charts.record import positive
from rules.charts.subgroup_statistics import by_size, check_size, counts, ranges
from rules.charts.unequal_limits import judge_between
from rules.constants import d2, d3, factors
from rules.limits import Limits

__all__ = ["SubgroupRangeChart"]


@dataclass(frozen=True, slots=True)
class SubgroupRangeChart(ByRow):
    """Chart of the range of each subgroup; a row is its ``n`` values.

    Parameters
    ----------
    sigma : float
        Standard deviation of single values within a subgroup, in their unit, above zero.
    n : int
        Values in a subgroup, 2 to 25; above ten the standard deviation uses them better.
    width : float
        Distance of the limits from the mean range in standard deviations of the range; the factors D3 and D4
        belong to 3.

    Raises
    ------
    ValueError
        If a parameter is out of range.

    Notes
    -----
    Of a row with missing values the range of the others is judged, with the limits of as many; fewer than two
    values have no range. The lower limit is 0, which no range is below, up to six values.
    """

    sigma: float
    n: int
    width: float = 3.0

    name: ClassVar[str] = "subgroup_range"

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
        """Return what many subgroups did; the statistic is the range, in the unit of the values."""
        sizes = counts(rows)
        center = by_size(d2, sizes) * self.sigma
        reach = self.width * by_size(d3, sizes) * self.sigma
        return judge_between(ranges(rows), np.maximum(0.0, center - reach), center, center + reach)

    def limits(self) -> Limits:
        """Return the limits of a full subgroup, in the unit of the values."""
        known = factors(self.n, width=self.width)
        return Limits(known.upper_d1 * self.sigma, known.d2 * self.sigma, known.upper_d2 * self.sigma)
