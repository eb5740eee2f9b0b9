"""c: are there more or fewer events than usual in samples of one size, such as specks on each disc?

References
----------
ISO 7870-2:2023, Control charts - Part 2: Shewhart control charts (c chart).
Montgomery, D. C. (2012). Introduction to Statistical Quality Control, 7th ed., section 7.3. Wiley.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import ClassVar

from numpy.typing import ArrayLike

from rules.charts.attribute_limits import check_counts, check_tail, half_counts, poisson_allowed
from rules.charts.by_row import NoMemory
from rules.charts.chart import Point, Track
from rules.charts.record import Record, positive, series
from rules.charts.unequal_limits import judge_between, share_between
from rules.charts.verdict import MISSING, judge, side
from rules.limits import Limits

__all__ = ["CChart"]


@dataclass(frozen=True, slots=True)
class CChart(Record[NoMemory]):
    """Chart of the number of events in each sample, taken for Poisson.

    Parameters
    ----------
    center : float
        Mean count, above zero.
    width : float
        Distance of the limits from the center in standard deviations of the count, if ``tail`` is not given.
    tail : float, optional
        Largest probability of the counts beyond each limit, for exact limits; 0.00135 is that of a normal
        value beyond three standard deviations. Small counts need it.

    Raises
    ------
    ValueError
        If a parameter is out of range, or a value is no count.
    """

    center: float
    width: float = 3.0
    tail: float | None = None

    name: ClassVar[str] = "c"
    state_type: ClassVar[type[NoMemory]] = NoMemory

    def __post_init__(self) -> None:
        """Check the parameters."""
        positive(self.name, "center", self.center)
        positive(self.name, "width", self.width)
        check_tail(self.name, self.tail)

    def start(self) -> NoMemory:
        """Return the state before the first count."""
        return NoMemory()

    def step(self, state: NoMemory, x: float) -> tuple[NoMemory, Point]:
        """Take one count; the statistic is the count."""
        if not math.isfinite(x):
            return state, MISSING
        check_counts(self.name, series([x]))
        lines = self.limits()
        return state, judge(x, share_between(x, lines), side(x - lines.center))

    def run(self, x: ArrayLike, state: NoMemory | None = None) -> tuple[NoMemory, Track]:
        """Take many counts."""
        counts, lines = series(x), self.limits()
        check_counts(self.name, counts)
        track = judge_between(counts.copy(), lines.lower, lines.center, lines.upper)
        return state or self.start(), track

    def limits(self) -> Limits:
        """Return the limits, as counts; exact ones lie half a count outside of the counts allowed."""
        return _limits(self.center, self.width, self.tail)


@lru_cache(maxsize=1024)
def _limits(center: float, width: float, tail: float | None) -> Limits:
    if tail is None:
        reach = width * math.sqrt(center)
        return Limits(max(0.0, center - reach), center, center + reach)
    lower, upper = half_counts(*poisson_allowed([center], tail))
    return Limits(float(lower[0]), center, float(upper[0]))
