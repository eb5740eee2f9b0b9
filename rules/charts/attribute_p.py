"""p: is the fraction of nonconforming pieces higher or lower than usual, in samples of any size?

References
----------
ISO 7870-2:2023, Control charts - Part 2: Shewhart control charts (p chart).
Montgomery, D. C. (2012). Introduction to Statistical Quality Control, 7th ed., section 7.2. Wiley.
Laney, D. B. (2002). Improved control charts for attributes. Quality Engineering 14, 531-537 (p-prime).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from rules.charts.attribute_limits import binomial_allowed
from rules.charts.attribute_rate import RateChart
from rules.charts.chart import FloatArray

__all__ = ["PChart"]


@dataclass(frozen=True, slots=True)
class PChart(RateChart):
    """Chart of the fraction of nonconforming pieces; a row is their number and the size of the sample.

    Parameters
    ----------
    center : float
        Mean fraction, above 0 and below 1.
    width : float
        Distance of the limits from the center in standard deviations of the fraction, if ``tail`` is not
        given.
    tail : float, optional
        Largest probability of the numbers beyond each limit, for exact binomial limits; 0.00135 is that of a
        normal value beyond three standard deviations.
    dispersion : float
        How many times as far the fractions scatter as the binomial distribution says (Laney's sigma of z, see
        :mod:`rules.charts.attribute_baseline`); 1 is the ordinary chart.

    Raises
    ------
    ValueError
        If a parameter is out of range; from a row, if it is no count with a whole size at least as large.
    """

    name: ClassVar[str] = "p"

    def __post_init__(self) -> None:
        """Check the parameters."""
        super(PChart, self).__post_init__()
        if self.center >= 1:
            raise ValueError(
                f"The center of the {self.name} chart is {self.center}; give a fraction above 0 and below 1."
            )

    def deviation(self, sizes: FloatArray) -> FloatArray:
        """Return the standard deviation of the fraction."""
        return np.sqrt(self.center * (1.0 - self.center) / sizes)

    def allowed(self, sizes: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the smallest and largest number that is not too improbable."""
        assert self.tail is not None  # only then are limits exact
        return binomial_allowed(sizes, self.center, self.tail)

    def largest(self) -> float:
        """Return 1: all pieces are nonconforming."""
        return 1.0

    def check_rows(self, counts: FloatArray, sizes: FloatArray) -> None:
        """Raise ValueError at the first row that is no number of pieces out of a sample."""
        super(PChart, self).check_rows(counts, sizes)
        if (sizes != np.floor(sizes))[~np.isnan(sizes)].any():
            raise ValueError(f"The {self.name} chart was given a size that is not whole; give whole samples.")
        above = counts > sizes
        if above.any():
            raise ValueError(
                f"The {self.name} chart was given {counts[above][0]:g} nonconforming pieces of "
                f"{sizes[above][0]:g}; mend the count or the size."
            )
