"""u: are there more or fewer events per unit than usual, in samples of any size, such as an area or a time?

References
----------
ISO 7870-2:2023, Control charts - Part 2: Shewhart control charts (u chart).
Montgomery, D. C. (2012). Introduction to Statistical Quality Control, 7th ed., section 7.3. Wiley.
Laney, D. B. (2002). Improved control charts for attributes. Quality Engineering 14, 531-537 (u-prime).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from rules.charts.attribute_limits import poisson_allowed
from rules.charts.attribute_rate import RateChart
from rules.charts.chart import FloatArray

__all__ = ["UChart"]


@dataclass(frozen=True, slots=True)
class UChart(RateChart):
    """Chart of events per unit; a row is their number and the size of the sample in units.

    Parameters
    ----------
    center : float
        Mean number per unit, above zero.
    width : float
        Distance of the limits from the center in standard deviations, if ``tail`` is not given.
    tail : float, optional
        Largest probability of the numbers beyond each limit, for exact Poisson limits; 0.00135 is that of a
        normal value beyond three standard deviations.
    dispersion : float
        How many times as far the rates scatter as the Poisson distribution says (Laney's sigma of z, see
        :mod:`rules.charts.attribute_baseline`); 1 is the ordinary chart.

    Raises
    ------
    ValueError
        If a parameter is out of range; from a row, if it is no count with a size above zero.
    """

    name: ClassVar[str] = "u"

    def deviation(self, sizes: FloatArray) -> FloatArray:
        """Return the standard deviation of events per unit."""
        return np.sqrt(self.center / sizes)

    def allowed(self, sizes: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the smallest and largest number that is not too improbable."""
        assert self.tail is not None  # only then are limits exact
        return poisson_allowed(self.center * sizes, self.tail)
