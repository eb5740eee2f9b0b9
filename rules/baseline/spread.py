"""How large sigma is: from moving ranges or from all of the spread, and why the one and not the other.

Source: ISO 7870-2:2023 (individuals and moving ranges); Maragah and Woodall (1992) for correlated values.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from rules.baseline.autocorrelation import Autocorrelation
from rules.figures import written
from rules.series import finite_series

__all__ = ["Spread", "moving_range_sigma", "spread_of", "total_sigma"]

RANGE_TO_SIGMA = math.sqrt(math.pi) / 2.0  # 1 / d2(2), exactly


@dataclass(frozen=True, slots=True)
class Spread:
    """Sigma by both ways, and the one that is used.

    Parameters
    ----------
    sigma : float
        The one that is used, in the unit of the values.
    method : str
        ``"moving_range"``, ``"total"`` or ``"floor"``.
    moving_range, total : float
        Both estimates; the first is NaN where no two neighbors are present.
    sentence : str
        Why this one.
    """

    sigma: float
    method: str
    moving_range: float
    total: float
    sentence: str


def moving_range_sigma(x: ArrayLike) -> float:
    """Return sigma from the mean moving range of neighboring values, ``mean |difference| / d2(2)``.

    Parameters
    ----------
    x : array_like of float, shape (n,)
        Values in order; a range with a NaN is left out.

    Returns
    -------
    float
        NaN where no two neighbors are present.

    References
    ----------
    ISO 7870-2:2023, Control charts - Part 2: Shewhart control charts.
    """
    ranges = np.abs(np.diff(finite_series(x)))
    ranges = ranges[~np.isnan(ranges)]
    return float(ranges.mean()) * RANGE_TO_SIGMA if ranges.size else math.nan


def total_sigma(x: ArrayLike) -> float:
    """Return the standard deviation of all values (divisor n - 1); NaN left out, NaN for fewer than two."""
    values = finite_series(x)
    present = values[~np.isnan(values)]
    return float(present.std(ddof=1)) if len(present) > 1 else math.nan


def spread_of(x: ArrayLike, correlation: Autocorrelation, *, step: float | None, floor: float) -> Spread:
    """Choose sigma for the charts of a characteristic.

    Parameters
    ----------
    x : array_like of float, shape (n,)
        Steady values in order; NaN where missing.
    correlation : Autocorrelation
        Of the same values.
    step : float or None
        Step the values come in.
    floor : float
        Smallest sigma such values support, from :func:`rules.baseline.resolution.sigma_floor`.

    Returns
    -------
    Spread

    Notes
    -----
    Moving ranges shrug off a slow wander, but only where neighbors are independent: otherwise they see
    ``sqrt(1 - phi)`` of sigma.

    References
    ----------
    Maragah, H. D. and Woodall, W. H. (1992). The effect of autocorrelation on the retrospective X-chart.
    J. Statistical Computation and Simulation 40, 29-42.
    """
    ranges, total = moving_range_sigma(x), total_sigma(x)
    sigma, method, sentence = _chosen(ranges, total, correlation)
    if sigma < floor and step is not None:
        less = f"The values vary by less than their step of {written(step)}"
        return Spread(floor, "floor", ranges, total, f"{less}; sigma is held at half a step.")
    return Spread(sigma, method, ranges, total, sentence)


def _chosen(ranges: float, total: float, correlation: Autocorrelation) -> tuple[float, str, str]:
    if math.isnan(ranges):
        return total, "total", "No two neighboring values are present, so sigma is that of all values."
    both = f"sigma is the standard deviation of all values: {written(total)}, where moving ranges would say "
    if correlation.is_positive:
        return total, "total", f"Neighboring shots are alike, so {both}{written(ranges)}."
    if correlation.is_negative:
        return total, "total", f"Neighboring shots swing against each other, so {both}{written(ranges)}."
    sentence = f"Neighboring shots are independent; sigma {written(ranges)} is from moving ranges"
    return ranges, "moving_range", f"{sentence} (all values: {written(total)})."
