"""Where does the spread of the readings come from? Sums of squares of one-way and crossed tables.

Values are first moved by one of them and means are taken before squares, so that a small spread on a large
level keeps its digits; the textbook's one-pass formula loses all of them at thirteen leading digits.

References
----------
Montgomery, D. C. (2013). Design and Analysis of Experiments, 8th ed., Wiley, 3.3, 5.3, 13.2.
NIST Statistical Reference Datasets, Analysis of Variance (certified values).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import fdtrc

__all__ = ["CrossedTable", "OneWay", "Source", "f_ratio", "one_way", "pooled", "two_way"]

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Source:
    """One line of the table: a source of variation, its sum of squares and degrees of freedom."""

    name: str
    squares: float
    freedom: int

    @property
    def mean_square(self) -> float:
        """Sum of squares over degrees of freedom."""
        return self.squares / self.freedom


@dataclass(frozen=True, slots=True, kw_only=True)
class OneWay:
    """Groups against the spread within them.

    Parameters
    ----------
    between, within : Source
    f : float
        Ratio of the mean squares; infinite where nothing varies within.
    p : float
        Chance of so large a ratio where all groups have one mean.
    """

    between: Source
    within: Source
    f: float
    p: float

    @property
    def explained(self) -> float:
        """Share of the squares that the groups explain."""
        total = self.between.squares + self.within.squares
        return self.between.squares / total if total else math.nan


@dataclass(frozen=True, slots=True, kw_only=True)
class CrossedTable:
    """Parts by appraisers with repeated trials, all random."""

    part: Source
    appraiser: Source
    interaction: Source
    equipment: Source


def one_way(groups: Sequence[ArrayLike]) -> OneWay:
    """Return the one-way analysis of variance.

    Parameters
    ----------
    groups : sequence of array_like of float
        One array a group, of any lengths, none missing.

    Returns
    -------
    OneWay

    Raises
    ------
    ValueError
        If fewer than 2 groups, an empty group, no repeated value, or a value that is not finite is given.

    References
    ----------
    Montgomery (2013), 3.3.
    """
    arrays = [np.asarray(group, dtype=np.float64) for group in groups]
    if len(arrays) < 2 or any(a.ndim != 1 or len(a) == 0 for a in arrays):
        raise ValueError(f"An analysis of variance needs 2 or more groups with values; {len(arrays)} given.")
    if not all(np.isfinite(a).all() for a in arrays):
        raise ValueError("A reading of the groups is missing or infinite; leave it out.")
    n = sum(len(a) for a in arrays)
    if n == len(arrays):
        raise ValueError("Every group has a single reading; repeat at least one to see the spread within.")
    moved = [a - arrays[0][0] for a in arrays]
    means = [_mean(a) for a in moved]
    grand = math.fsum(len(a) * mean for a, mean in zip(moved, means, strict=True)) / n
    between = math.fsum(len(a) * (mean - grand) ** 2 for a, mean in zip(moved, means, strict=True))
    within = math.fsum(float(np.sum((a - mean) ** 2)) for a, mean in zip(moved, means, strict=True))
    first, second = Source("between", between, len(arrays) - 1), Source("within", within, n - len(arrays))
    ratio, p = f_ratio(first, second)
    return OneWay(between=first, within=second, f=ratio, p=p)


def two_way(readings: FloatArray) -> CrossedTable:
    """Return the two-way analysis of variance of a balanced crossed table.

    Parameters
    ----------
    readings : array of float, shape (parts, appraisers, trials)
        2 or more of each, all finite.

    Returns
    -------
    CrossedTable

    References
    ----------
    Montgomery (2013), 5.3 and 13.2.
    """
    parts, appraisers, trials = readings.shape
    moved = readings - readings[0, 0, 0]
    cells = moved.mean(axis=2)
    grand, by_part, by_appraiser = cells.mean(), cells.mean(axis=1), cells.mean(axis=0)
    joint = cells - by_part[:, None] - by_appraiser[None, :] + grand
    return CrossedTable(
        part=Source("part", appraisers * trials * _squares(by_part - grand), parts - 1),
        appraiser=Source("appraiser", parts * trials * _squares(by_appraiser - grand), appraisers - 1),
        interaction=Source("interaction", trials * _squares(joint), (parts - 1) * (appraisers - 1)),
        equipment=Source("equipment", _squares(moved - cells[:, :, None]), parts * appraisers * (trials - 1)),
    )


def pooled(first: Source, second: Source) -> Source:
    """Return two sources taken together, under the name of the second."""
    return Source(second.name, first.squares + second.squares, first.freedom + second.freedom)


def f_ratio(above: Source, below: Source) -> tuple[float, float]:
    """Return the ratio of two mean squares and the chance of so large a one; infinite over nothing."""
    if below.squares == 0.0:
        return (math.inf, 0.0) if above.squares > 0.0 else (math.nan, 1.0)
    ratio = above.mean_square / below.mean_square
    return ratio, float(fdtrc(above.freedom, below.freedom, ratio))


def _mean(values: FloatArray) -> float:
    return math.fsum(values) / len(values)


def _squares(values: FloatArray) -> float:
    return float(np.sum(values * values))
