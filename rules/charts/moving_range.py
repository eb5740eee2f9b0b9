"""Moving range: does the spread from one value to the next stay what it was?

References
----------
ISO 7870-2:2023, Control charts - Part 2: Shewhart control charts (individuals and moving range).
Montgomery, D. C. (2012). Introduction to Statistical Quality Control, 7th ed., section 6.4. Wiley.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import ArrayLike

from rules.charts.chart import FloatArray, Point, Track
from rules.charts.record import Record, positive, series
from rules.charts.verdict import MISSING, judge, judge_all, side, sides
from rules.constants import d2, d3
from rules.limits import Limits

__all__ = ["MovingRangeChart", "MovingRangeState", "sigma_from_moving_ranges"]


def sigma_from_moving_ranges(x: ArrayLike) -> float:
    """Return sigma estimated from the differences of neighboring values.

    Parameters
    ----------
    x : array_like, shape (n,)
        Values in order; a missing value breaks the chain, no range reaches over it.

    Returns
    -------
    float
        Mean moving range divided by the exact d2(2) = 2/sqrt(pi), in the unit of the values.

    Raises
    ------
    ValueError
        If no two neighboring values are there.
    """
    ranges = np.abs(np.diff(series(x)))
    ranges = ranges[~np.isnan(ranges)]
    if ranges.size == 0:
        raise ValueError("A moving range needs two values next to each other; give more values.")
    return float(ranges.mean()) / d2(2)


@dataclass(frozen=True, slots=True)
class MovingRangeState:
    """The value before; None at the start and after a missing value."""

    previous: float | None = None


@dataclass(frozen=True, slots=True)
class MovingRangeChart(Record[MovingRangeState]):
    """Chart of the absolute difference between a value and the one before.

    Parameters
    ----------
    sigma : float
        Standard deviation of the values, above zero, in their unit.
    width : float
        Distance of the upper limit from the mean range, in standard deviations of the range; the table value
        D4 = 3.267 belongs to 3.

    Raises
    ------
    ValueError
        If a parameter is out of range.

    Notes
    -----
    A value with no neighbor before it (the first, the one after a missing value) has no range and gives NaN.
    """

    sigma: float
    width: float = 3.0

    name: ClassVar[str] = "moving_range"
    state_type: ClassVar[type[MovingRangeState]] = MovingRangeState

    def __post_init__(self) -> None:
        """Check the parameters."""
        positive(self.name, "sigma", self.sigma)
        positive(self.name, "width", self.width)

    def start(self) -> MovingRangeState:
        """Return the state before the first value."""
        return MovingRangeState()

    def step(self, state: MovingRangeState, x: float) -> tuple[MovingRangeState, Point]:
        """Take one value; the statistic is the range to the value before."""
        if not math.isfinite(x):
            return MovingRangeState(), MISSING
        if state.previous is None:
            return MovingRangeState(x), MISSING
        lines, moved = self.limits(), abs(x - state.previous)
        return MovingRangeState(x), judge(moved, moved / lines.upper, side(moved - lines.center))

    def run(self, x: ArrayLike, state: MovingRangeState | None = None) -> tuple[MovingRangeState, Track]:
        """Take many values."""
        held, values = state or self.start(), series(x)
        before = np.nan if held.previous is None else held.previous
        moved = np.abs(np.diff(values, prepend=before))
        lines = self.limits()
        track = judge_all(moved, moved / lines.upper, sides(moved - lines.center))
        return self._after(held, values), track

    def _after(self, state: MovingRangeState, values: FloatArray) -> MovingRangeState:
        if values.size == 0:
            return state
        last = float(values[-1])
        return MovingRangeState(None if math.isnan(last) else last)

    def limits(self) -> Limits:
        """Return zero, the mean range, and the upper limit; the lower limit of two values is zero."""
        mean_range, spread = d2(2) * self.sigma, d3(2) * self.sigma
        return Limits(
            max(0.0, mean_range - self.width * spread), mean_range, mean_range + self.width * spread
        )
