"""Is a count higher or lower than usual for the size of its sample, which varies: what p and u share.

References
----------
ISO 7870-2:2023, Control charts - Part 2: Shewhart control charts (attribute control charts).
Laney, D. B. (2002). Improved control charts for attributes. Quality Engineering 14, 531-537.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rules.charts.attribute_limits import check_counts, check_tail, half_counts
from rules.charts.by_row import ByRow
from rules.charts.chart import FloatArray, Track
from rules.charts.record import positive
from rules.charts.unequal_limits import judge_between
from rules.limits import Limits

__all__ = ["RateChart"]


@dataclass(frozen=True, slots=True)
class RateChart(ByRow):
    """Chart of a count over its size; each row has the limits of its own size.

    Parameters
    ----------
    center : float
        Mean of count over size.
    width : float
        Distance of the limits from the center in standard deviations, if ``tail`` is not given.
    tail : float, optional
        Largest probability of the counts beyond each limit, for exact limits.
    dispersion : float
        How many times as far the counts scatter as their distribution says, in standard deviations: of large
        samples the level itself varies and makes it more than 1.
    """

    center: float
    width: float = 3.0
    tail: float | None = None
    dispersion: float = 1.0

    def __post_init__(self) -> None:
        """Check the parameters."""
        positive(self.name, "center", self.center)
        positive(self.name, "width", self.width)
        positive(self.name, "dispersion", self.dispersion)
        check_tail(self.name, self.tail)
        if self.tail is not None and self.dispersion != 1:
            raise ValueError(
                f"The {self.name} chart has both a tail and a dispersion of {self.dispersion}; exact limits "
                "know no dispersion, so give one of the two."
            )

    def deviation(self, sizes: FloatArray) -> FloatArray:
        """Return the standard deviation of count over size, by the distribution."""
        raise NotImplementedError

    def allowed(self, sizes: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the smallest and largest count that is not too improbable."""
        raise NotImplementedError

    def largest(self) -> float:
        """Return the largest count over size there can be."""
        return np.inf

    def judge_rows(self, rows: FloatArray) -> Track:
        """Return what many rows of count and size did; the statistic is count over size."""
        counts, sizes = rows[:, 0], rows[:, 1]
        self.check_rows(counts, sizes)
        known = ~np.isnan(rows).any(axis=1)
        lower, upper = np.full(len(rows), np.nan), np.full(len(rows), np.nan)
        lower[known], upper[known] = self._lines(sizes[known])
        return judge_between(np.where(known, counts / sizes, np.nan), lower, self.center, upper)

    def check_rows(self, counts: FloatArray, sizes: FloatArray) -> None:
        """Raise ValueError at the first row that is no count with a size."""
        check_counts(self.name, counts)
        if (sizes <= 0).any():
            raise ValueError(
                f"The {self.name} chart was given a sample of size {sizes[sizes <= 0][0]:g}; leave out what "
                "was not inspected."
            )

    def _lines(self, sizes: FloatArray) -> tuple[FloatArray, FloatArray]:
        if self.tail is None:
            reach = self.width * self.dispersion * self.deviation(sizes)
            return np.maximum(0.0, self.center - reach), np.minimum(self.largest(), self.center + reach)
        different, which = np.unique(sizes, return_inverse=True)
        lower, upper = half_counts(*self.allowed(different))
        return (lower / different)[which], (upper / different)[which]

    def limits_of(self, size: float) -> Limits:
        """Return the limits of a sample of this size, as count over size."""
        lower, upper = self._lines(np.array([float(size)]))
        return Limits(float(lower[0]), self.center, float(upper[0]))

    def limits(self) -> None:
        """Return None: no limit is horizontal while the size varies; see :meth:`limits_of`."""
        return
