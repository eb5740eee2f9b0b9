"""np: are there more or fewer nonconforming pieces than usual in samples of one size?

References
----------
ISO 7870-2:2023, Control charts - Part 2: Shewhart control charts (np chart).
Montgomery, D. C. (2012). Introduction to Statistical Quality Control, 7th ed., section 7.2. Wiley.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import ClassVar

from numpy.typing import ArrayLike

from rules.charts.attribute_limits import binomial_allowed, check_counts, check_tail, half_counts
from rules.charts.by_row import NoMemory
from rules.charts.chart import FloatArray, Point, Track
from rules.charts.record import Record, positive, series
from rules.charts.unequal_limits import judge_between, share_between
from rules.charts.verdict import MISSING, judge, side
from rules.limits import Limits

__all__ = ["NpChart"]


@dataclass(frozen=True, slots=True)
class NpChart(Record[NoMemory]):
    """Chart of the number of nonconforming pieces in each sample, taken for binomial.

    Parameters
    ----------
    center : float
        Mean number of nonconforming pieces, above zero and below ``size``.
    size : int
        Pieces in a sample.
    width : float
        Distance of the limits from the center in standard deviations of the number, if ``tail`` is not given.
    tail : float, optional
        Largest probability of the numbers beyond each limit, for exact limits; 0.00135 is that of a normal
        value beyond three standard deviations.

    Raises
    ------
    ValueError
        If a parameter is out of range, or a value is no count or above ``size``.
    """

    center: float
    size: int
    width: float = 3.0
    tail: float | None = None

    name: ClassVar[str] = "np"
    state_type: ClassVar[type[NoMemory]] = NoMemory

    def __post_init__(self) -> None:
        """Check the parameters."""
        if not (isinstance(self.size, int) and self.size >= 1):
            raise ValueError(
                f"The size of the {self.name} chart is {self.size}; give a whole number above 0."
            )
        if not 0 < self.center < self.size:
            raise ValueError(
                f"The center of the {self.name} chart is {self.center}; give a number above 0 and below the "
                f"size, {self.size}."
            )
        positive(self.name, "width", self.width)
        check_tail(self.name, self.tail)

    def start(self) -> NoMemory:
        """Return the state before the first number."""
        return NoMemory()

    def step(self, state: NoMemory, x: float) -> tuple[NoMemory, Point]:
        """Take one number of nonconforming pieces, which is the statistic too."""
        if not math.isfinite(x):
            return state, MISSING
        self._check(series([x]))
        lines = self.limits()
        return state, judge(x, share_between(x, lines), side(x - lines.center))

    def run(self, x: ArrayLike, state: NoMemory | None = None) -> tuple[NoMemory, Track]:
        """Take many numbers of nonconforming pieces."""
        counts, lines = series(x), self.limits()
        self._check(counts)
        track = judge_between(counts.copy(), lines.lower, lines.center, lines.upper)
        return state or self.start(), track

    def _check(self, counts: FloatArray) -> None:
        check_counts(self.name, counts)
        if (counts > self.size).any():
            raise ValueError(
                f"The {self.name} chart was given {counts[counts > self.size][0]:g} nonconforming pieces of "
                f"{self.size}; mend the count or the size."
            )

    def limits(self) -> Limits:
        """Return the limits, as counts; exact ones lie half a count outside of the counts allowed."""
        return _limits(self.center, self.size, self.width, self.tail)


@lru_cache(maxsize=1024)
def _limits(center: float, size: int, width: float, tail: float | None) -> Limits:
    fraction = center / size
    if tail is None:
        reach = width * math.sqrt(center * (1.0 - fraction))
        return Limits(max(0.0, center - reach), center, min(float(size), center + reach))
    lower, upper = half_counts(*binomial_allowed([size], fraction, tail))
    return Limits(float(lower[0]), center, float(upper[0]))
