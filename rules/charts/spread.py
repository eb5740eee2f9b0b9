"""Spread: has the scatter from one shot to the next grown, wherever the level is?

Scatter is a sign of its own: bridging feed or a gate paced by a person makes a characteristic restless before
it moves it. Squared differences of neighbors are blind to a shift (it shows in one of them) and to slow
wandering; their average over the last shots sees what one moving range at a time cannot.

References
----------
von Neumann, J., Kent, R. H., Bellinson, H. R. and Hart, B. I. (1941). The mean square successive difference.
Annals of Mathematical Statistics 12, 153-162.
MacGregor, J. F. and Harris, T. J. (1993). The exponentially weighted moving variance. J. Quality Technology
25, 106-118 (which averages squares about a level; averaging squared differences is our variant, its run
lengths are computed in :mod:`rules.charts.spread_run_length`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.signal import lfilter

from rules.charts.chart import FloatArray, Point, Track
from rules.charts.record import Record, positive, series
from rules.charts.unequal_limits import judge_between, share_between
from rules.charts.verdict import MISSING, judge, side
from rules.limits import Limits

__all__ = ["SpreadChart", "SpreadState"]


@dataclass(frozen=True, slots=True)
class SpreadState:
    """The value before (None at the start and after a missing one), and the average in squares of sigma."""

    previous: float | None = None
    average: float = 1.0


@dataclass(frozen=True, slots=True)
class SpreadChart(Record[SpreadState]):
    """Chart of the local standard deviation, from an average of squared differences to the value before.

    ``average = lam (x - x_before)^2 / (2 sigma^2) + (1 - lam) average`` starts at 1; the statistic is
    ``sigma sqrt(average)``. Only growth signals.

    Parameters
    ----------
    sigma : float
        Standard deviation of the values from shot to shot, in their unit, above zero: from moving ranges
        where neighbors resemble each other. The run lengths are for independent values; those of an
        autocorrelated characteristic belong to this chart inside of a residual chart.
    lam : float
        Weight of the newest squared difference, above 0, at most 1.
    limit : float
        Local standard deviation that signals, in sigma, above 1. With ``lam`` 0.1 the limit 1.5 has one false
        alarm in 389 shots; :func:`rules.charts.spread_run_length.spread_limit` finds others.
    minimum_scatter : float
        Engineering minimum, in the unit of the values: the limit is never below this standard deviation.

    Raises
    ------
    ValueError
        If a parameter is out of range.

    Notes
    -----
    A value with no neighbor before it (the first, the one after a missing value) has no difference and gives
    NaN; the average stays. A single far value makes two large differences and may signal here as well.
    """

    sigma: float
    lam: float = 0.1
    limit: float = 1.5
    minimum_scatter: float = 0.0

    name: ClassVar[str] = "spread"
    state_type: ClassVar[type[SpreadState]] = SpreadState

    def __post_init__(self) -> None:
        """Check the parameters."""
        positive(self.name, "sigma", self.sigma)
        if not 0 < self.lam <= 1:
            raise ValueError(
                f"The lam of the {self.name} chart is {self.lam}; give a weight above 0, at most 1."
            )
        if not (math.isfinite(self.limit) and self.limit > 1):
            raise ValueError(
                f"The limit of the {self.name} chart is {self.limit}; give a number above 1, in sigma."
            )
        if not (math.isfinite(self.minimum_scatter) and self.minimum_scatter >= 0):
            raise ValueError(
                f"The minimum_scatter of the {self.name} chart is {self.minimum_scatter}; give 0 or more."
            )

    def start(self) -> SpreadState:
        """Return the state before the first value."""
        return SpreadState()

    def step(self, state: SpreadState, x: float) -> tuple[SpreadState, Point]:
        """Take one value; the statistic is the local standard deviation, in the unit of the values."""
        if not math.isfinite(x):
            return SpreadState(None, state.average), MISSING
        if state.previous is None:
            return SpreadState(x, state.average), MISSING
        moved = (x - state.previous) / self.sigma
        average = self.lam * (0.5 * moved * moved) + (1.0 - self.lam) * state.average
        local = self.sigma * math.sqrt(average)
        point = judge(local, share_between(local, self.limits()), side(local - self.sigma))
        return SpreadState(x, average), point

    def run(self, x: ArrayLike, state: SpreadState | None = None) -> tuple[SpreadState, Track]:
        """Take many values."""
        held, values = state or self.start(), series(x)
        before = np.nan if held.previous is None else held.previous
        moved = np.diff(values, prepend=before) / self.sigma
        averages = self._averages(held, 0.5 * moved * moved)
        lines = self.limits()
        track = judge_between(self.sigma * np.sqrt(averages), lines.lower, lines.center, lines.upper)
        return self._after(held, values, averages), track

    def _averages(self, state: SpreadState, squares: FloatArray) -> FloatArray:
        """Return the average after each known square, NaN where there is none."""
        averages, places = np.full(squares.size, np.nan), _known(squares)
        known = squares[places]
        if known.size:
            # A first-order recursive filter multiplies and adds in the same order as step does.
            keep = 1.0 - self.lam
            averages[places], _ = lfilter([self.lam], [1.0, -keep], known, zi=[keep * state.average])
        return averages

    def _after(self, state: SpreadState, values: FloatArray, averages: FloatArray) -> SpreadState:
        if values.size == 0:
            return state
        known, last = averages[_known(averages)], float(values[-1])
        average = float(known[-1]) if known.size else state.average
        return SpreadState(None if math.isnan(last) else last, average)

    def limits(self) -> Limits:
        """Return zero, sigma and the limit, in the unit of the values."""
        return Limits(0.0, self.sigma, max(self.limit * self.sigma, self.minimum_scatter))


def _known(squares: FloatArray) -> slice | NDArray[np.intp]:
    """Return where there is a square: all but the first, as a slice, unless values are missing."""
    missing = np.flatnonzero(np.isnan(squares))
    if missing.size == 0 or (missing.size == 1 and missing[0] == 0):
        return slice(missing.size, None)
    return np.flatnonzero(~np.isnan(squares))
