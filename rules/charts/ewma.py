"""Has the level shifted a little, for good? EWMA: an exponentially weighted moving average.

References
----------
Roberts, S. W. (1959). Control chart tests based on geometric moving averages. Technometrics 1, 239-250.
Lucas, J. M. and Saccucci, M. S. (1990). Exponentially weighted moving average control schemes: properties and
enhancements. Technometrics 32, 1-12.
ISO 7870-6:2016, Control charts - Part 6: EWMA control charts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.signal import lfilter

from rules.charts.chart import FloatArray, Point, Track
from rules.charts.record import Record, finite, positive, series
from rules.charts.verdict import MISSING, judge, judge_all, side, sides
from rules.limits import Limits

__all__ = ["EwmaChart", "EwmaState"]


@dataclass(frozen=True, slots=True)
class EwmaState:
    """The average so far, and the share its variance still lacks to the asymptotic one, 1 at the start.

    A chart with asymptotic limits has no use for the second and leaves it.
    """

    average: float
    lacking: float = 1.0


@dataclass(frozen=True, slots=True)
class EwmaChart(Record[EwmaState]):
    """Chart of ``average = lam x + (1 - lam) average``, started at the center.

    Parameters
    ----------
    center, sigma : float
        Level and standard deviation of the values, in their unit; ``sigma`` above zero.
    lam : float
        Weight of the newest value, above 0, at most 1 (1 is an individuals chart).
    width : float
        Distance of the limits in standard deviations of the average.
    asymptotic : bool
        Limits of an average that has run for long; False widens them from the first value on, as the variance
        grows by ``1 - (1 - lam)^(2 n)``. Tabulated run lengths are for asymptotic limits.

    Raises
    ------
    ValueError
        If a parameter is out of range.
    """

    center: float
    sigma: float
    lam: float = 0.2
    width: float = 3.0
    asymptotic: bool = True

    name: ClassVar[str] = "ewma"
    state_type: ClassVar[type[EwmaState]] = EwmaState

    def __post_init__(self) -> None:
        """Check the parameters."""
        finite(self.name, "center", self.center)
        positive(self.name, "sigma", self.sigma)
        positive(self.name, "width", self.width)
        if not 0 < self.lam <= 1:
            raise ValueError(
                f"The lam of the {self.name} chart is {self.lam}; give a weight above 0, at most 1."
            )

    def start(self) -> EwmaState:
        """Return the state before the first value."""
        return EwmaState(self.center)

    def step(self, state: EwmaState, x: float) -> tuple[EwmaState, Point]:
        """Take one value; the statistic is the average, in the unit of the values."""
        if not math.isfinite(x):
            return state, MISSING
        average = self.lam * x + (1.0 - self.lam) * state.average
        off, reach, lacking = average - self.center, self._reach(), state.lacking
        if not self.asymptotic:
            lacking *= (1.0 - self.lam) ** 2
            reach *= math.sqrt(1.0 - lacking)
        return EwmaState(average, lacking), judge(average, abs(off) / reach, side(off))

    def run(self, x: ArrayLike, state: EwmaState | None = None) -> tuple[EwmaState, Track]:
        """Take many values."""
        held, values = state or self.start(), series(x)
        known = ~np.isnan(values)
        if not known.any():
            return held, judge_all(values.copy(), values.copy(), sides(values))
        averages = self._averages(held, values if known.all() else values[known])
        reach, lacking = self._reaches(held, averages.size)
        off = _spread(averages, known) - self.center
        track = judge_all(_spread(averages, known), np.abs(off) / _spread(reach, known), sides(off))
        return EwmaState(float(averages[-1]), lacking), track

    def _reach(self) -> float:
        """Distance of the asymptotic limit from the center."""
        return self.width * self.sigma * math.sqrt(self.lam / (2.0 - self.lam))

    def _averages(self, state: EwmaState, values: FloatArray) -> FloatArray:
        # A first-order recursive filter multiplies and adds in the same order as step does.
        keep = 1.0 - self.lam
        averages, _ = lfilter([self.lam], [1.0, -keep], values, zi=[keep * state.average])
        return np.asarray(averages, dtype=np.float64)

    def _reaches(self, state: EwmaState, count: int) -> tuple[FloatArray, float]:
        """Return the distance of the limit at each value, and what the variance lacks after the last."""
        if self.asymptotic:
            return np.array(self._reach()), state.lacking
        shrinking = np.full(count, (1.0 - self.lam) ** 2)
        shrinking[0] *= state.lacking
        lacking = np.cumprod(shrinking)
        return self._reach() * np.sqrt(1.0 - lacking), float(lacking[-1])

    def limits(self) -> Limits:
        """Return the asymptotic limits, in the unit of the values."""
        return Limits(self.center - self._reach(), self.center, self.center + self._reach())


def _spread(known_values: FloatArray, known: NDArray[np.bool_]) -> FloatArray:
    """Put the values where they belong, NaN where one is missing; one for all stays as it is."""
    if known_values.ndim == 0 or known.all():
        return known_values
    places = np.full(known.size, np.nan)
    places[known] = known_values
    return places
