"""What changed at a setpoint, lot or mode boundary: level and spread before against after.

Source: Welch (1947), with the effective numbers of Bayley and Hammersley (1946) in place of the counts.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.stats import f, t

from rules.series import finite_series

__all__ = ["ContextChange", "checked_boundaries", "compare"]

FEWEST_WORTH = 3.0
DOUBTFUL = 0.01  # chance below which the spread counts as changed


@dataclass(frozen=True, slots=True)
class ContextChange:
    """One boundary, with the stretch on either side of it up to the next boundary.

    Parameters
    ----------
    index : int
        First shot after the boundary.
    difference : float
        Mean after less mean before, in the unit of the values; NaN where a side is empty.
    low, high : float
        Interval of the difference; infinite where a side is worth fewer than three independent shots.
    spread_ratio : float
        Standard deviation after over before; NaN where it cannot be told.
    spread_p : float
        Chance of a ratio as far from 1 where nothing changed; NaN where it cannot be told.
    sentence : str
        What it means for the baseline.
    """

    index: int
    difference: float
    low: float
    high: float
    spread_ratio: float
    spread_p: float
    sentence: str

    @property
    def level_changed(self) -> bool:
        """Whether the interval of the difference leaves out zero."""
        return self.low > 0.0 or self.high < 0.0


def checked_boundaries(boundaries: Sequence[int], n: int) -> tuple[int, ...]:
    """Return the boundaries sorted and without doubles.

    Raises
    ------
    ValueError
        If one does not lie between the first and the last of ``n`` shots.
    """
    found = tuple(sorted({int(each) for each in boundaries}))
    for each in found:
        if not 0 < each < n:
            raise ValueError(f"A boundary at shot {each} divides nothing; give places from 1 to {n - 1}.")
    return found


def compare(
    x: ArrayLike, boundaries: Sequence[int], *, time: float = 1.0, confidence: float = 0.99
) -> tuple[ContextChange, ...]:
    """Compare what is before with what is after each boundary.

    Parameters
    ----------
    x : array_like of float, shape (n,)
        Values in order; NaN where missing or left out.
    boundaries : sequence of int
        First shot of each new context.
    time : float
        Shots worth one independent shot, 1 or more.
    confidence : float
        Of each interval.

    Returns
    -------
    tuple of ContextChange
        One a boundary, in order.

    Raises
    ------
    ValueError
        If a boundary lies outside the values, ``time`` is below 1, or ``confidence`` not between 0 and 1.

    References
    ----------
    Welch, B. L. (1947). The generalization of "Student's" problem when several different population variances
    are involved. Biometrika 34, 28-35.
    Bayley, G. V. and Hammersley, J. M. (1946). The "effective" number of independent observations in an
    autocorrelated time series. Supplement to the J. Royal Statistical Society 8, 184-197.
    """
    if not time >= 1.0:
        raise ValueError(f"One independent shot cannot be worth {time} shots; give 1 or more.")
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"The confidence is {confidence}; give a number between 0 and 1.")
    values = finite_series(x)
    places = checked_boundaries(boundaries, len(values))
    bounds = [0, *places, len(values)]
    return tuple(
        _one(values[start:place], values[place:end], place, time, confidence)
        for start, place, end in zip(bounds, bounds[1:], bounds[2:], strict=False)
    )


def _one(before: np.ndarray, after: np.ndarray, place: int, time: float, confidence: float) -> ContextChange:
    sides = [side[~np.isnan(side)] for side in (before, after)]
    worth = [len(side) / time for side in sides]
    difference = float(sides[1].mean() - sides[0].mean()) if all(len(side) for side in sides) else math.nan
    variances = [float(side.var(ddof=1)) if len(side) > 1 else math.nan for side in sides]
    if min(worth) < FEWEST_WORTH or not max(variances) > 0.0:
        sentence = f"Before and after shot {place} there is too little to compare."
        return ContextChange(place, difference, -math.inf, math.inf, math.nan, math.nan, sentence)
    parts = [variance / size for variance, size in zip(variances, worth, strict=True)]
    freedom = sum(parts) ** 2 / sum(part**2 / (size - 1.0) for part, size in zip(parts, worth, strict=True))
    half = float(t.isf((1.0 - confidence) / 2.0, freedom)) * math.sqrt(sum(parts))
    ratio, p = _spread(variances, worth)
    low, high = difference - half, difference + half
    return ContextChange(place, difference, low, high, ratio, p, _sentence(place, low, high, ratio, p))


def _spread(variances: list[float], worth: list[float]) -> tuple[float, float]:
    if min(variances) <= 0.0:
        return math.nan, math.nan
    ratio = variances[1] / variances[0]
    tail = min(f.sf(ratio, worth[1] - 1.0, worth[0] - 1.0), f.cdf(ratio, worth[1] - 1.0, worth[0] - 1.0))
    return math.sqrt(ratio), min(2.0 * float(tail), 1.0)


def _sentence(place: int, low: float, high: float, ratio: float, p: float) -> str:
    if low > 0.0 or high < 0.0:
        way = "higher" if low > 0.0 else "lower"
        least, most = sorted((abs(low), abs(high)))
        return f"From shot {place} on the level is {way}, by {least:.4g} to {most:.4g}: study both apart."
    if p < DOUBTFUL:
        return f"From shot {place} on the spread is {ratio:.2g} times what it was: study both apart."
    return f"Shot {place} changed neither level nor spread as far as can be told."
