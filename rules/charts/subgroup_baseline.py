"""Which charts do subgroups of a steady process make for the next ones?

References
----------
ISO 7870-2:2023, Control charts - Part 2: Shewhart control charts (limits where no values are given).
NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.1 (mean with range, mean with standard deviation).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from rules.charts.chart import FloatArray
from rules.charts.record import cleaned
from rules.charts.subgroup_mean import SubgroupMeanChart
from rules.charts.subgroup_range import SubgroupRangeChart
from rules.charts.subgroup_sd import SubgroupSdChart
from rules.charts.subgroup_statistics import (
    LARGEST,
    SMALLEST,
    by_size,
    counts,
    ranges,
    standard_deviations,
)
from rules.constants import c4, d2

__all__ = ["SubgroupBaseline", "mean_and_range_charts", "mean_and_sd_charts", "subgroup_baseline"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SubgroupBaseline:
    """Level and scatter of subgroups, in the unit of the values.

    Parameters
    ----------
    n : int
        Values in a full subgroup.
    groups : int
        Subgroups with at least two values.
    grand_mean : float
        Mean of all values.
    sigma_from_ranges, sigma_from_sds : float
        Mean over subgroups of range / d2 and of standard deviation / c4, each with the constant of the number
        of values there are; for full subgroups mean range / d2 and mean standard deviation / c4.
    pooled_sd : float
        Root of the pooled variance within subgroups.
    """

    n: int
    groups: int
    grand_mean: float
    sigma_from_ranges: float
    sigma_from_sds: float
    pooled_sd: float

    @property
    def mean_range(self) -> float:
        """Mean range of full subgroups."""
        return d2(self.n) * self.sigma_from_ranges

    @property
    def mean_sd(self) -> float:
        """Mean standard deviation of full subgroups."""
        return c4(self.n) * self.sigma_from_sds


def subgroup_baseline(rows: ArrayLike) -> SubgroupBaseline:
    """Return level and scatter of the subgroups of a phase I study.

    Parameters
    ----------
    rows : array_like, shape (groups, n)
        The values of each subgroup, NaN where one is missing.

    Returns
    -------
    SubgroupBaseline

    Raises
    ------
    ValueError
        If the rows are no subgroups, none has two values, or all values within each are the same.
    """
    values = _subgroups(rows)
    sizes = counts(values)
    usable = sizes >= SMALLEST
    if not usable.any():
        raise ValueError("No subgroup has two values, so their scatter is unknown; give fuller subgroups.")
    spreads, degrees = standard_deviations(values)[usable], sizes[usable] - 1
    if not spreads.any():
        raise ValueError("All values within each subgroup are the same; give values of a finer resolution.")
    return SubgroupBaseline(
        n=values.shape[1],
        groups=int(usable.sum()),
        grand_mean=float(np.nanmean(values)),
        sigma_from_ranges=float(np.mean(ranges(values)[usable] / by_size(d2, sizes[usable]))),
        sigma_from_sds=float(np.mean(spreads / by_size(c4, sizes[usable]))),
        pooled_sd=math.sqrt(float(degrees @ spreads**2) / float(degrees.sum())),
    )


def mean_and_range_charts(
    rows: ArrayLike, *, width: float = 3.0
) -> tuple[SubgroupMeanChart, SubgroupRangeChart]:
    """Return the pair of charts whose limits come from the mean range (Xbar-R).

    Parameters
    ----------
    rows : array_like, shape (groups, n)
    width : float
        Of the limits of both, in standard deviations of what is charted.

    Returns
    -------
    SubgroupMeanChart, SubgroupRangeChart

    Raises
    ------
    ValueError
        As :func:`subgroup_baseline`.
    """
    found = subgroup_baseline(rows)
    sigma = found.sigma_from_ranges
    return (
        SubgroupMeanChart(found.grand_mean, sigma, found.n, width),
        SubgroupRangeChart(sigma, found.n, width),
    )


def mean_and_sd_charts(rows: ArrayLike, *, width: float = 3.0) -> tuple[SubgroupMeanChart, SubgroupSdChart]:
    """Return the pair of charts whose limits come from the mean standard deviation (Xbar-S).

    As :func:`mean_and_range_charts`.
    """
    found = subgroup_baseline(rows)
    sigma = found.sigma_from_sds
    return (
        SubgroupMeanChart(found.grand_mean, sigma, found.n, width),
        SubgroupSdChart(sigma, found.n, width),
    )


def _subgroups(rows: ArrayLike) -> FloatArray:
    values = np.asarray(rows, dtype=np.float64)
    if values.ndim != 2 or not SMALLEST <= values.shape[1] <= LARGEST:
        raise ValueError(
            f"Subgroups are rows of {SMALLEST} to {LARGEST} values; this array has shape {values.shape}."
        )
    return cleaned(values)
