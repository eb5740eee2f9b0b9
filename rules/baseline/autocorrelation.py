"""How much a shot tells about the next one: autocorrelation at lag 1, with its interval.

Source: Kendall (1954) for the bias, Box, Jenkins and Reinsel (2008) for the interval.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.stats import norm

from rules.series import finite_series

__all__ = ["Autocorrelation", "lag_one"]

FEWEST = 8


@dataclass(frozen=True, slots=True)
class Autocorrelation:
    """Autocorrelation at lag 1.

    Parameters
    ----------
    r : float
        As computed from the values.
    phi : float
        Freed of the bias that short series have, between -0.99 and 0.99.
    low, high : float
        Interval for ``phi``.
    """

    r: float
    phi: float
    low: float
    high: float

    @property
    def is_positive(self) -> bool:
        """Whether the interval lies above zero."""
        return self.low > 0.0

    @property
    def established(self) -> float:
        """What intervals and the choice of sigma reckon with: ``phi`` if its interval is above 0, else 0."""
        return self.phi if self.is_positive else 0.0

    @property
    def allowed_for(self) -> float:
        """What limits reckon with: ``phi`` wherever it is above zero.

        Shots of a press are seldom independent, and an autocorrelation of 0.1 that 300 shots cannot tell from
        none more than doubles the false alarms of limits that take it for none. Allowing for it where there
        is none costs one shot of delay in twenty (``tests/benchmarks/bench_budget.py``).
        """
        return max(self.phi, 0.0)

    @property
    def is_negative(self) -> bool:
        """Whether the interval lies below zero."""
        return self.high < 0.0


def lag_one(x: ArrayLike, *, confidence: float = 0.95) -> Autocorrelation:
    """Return the autocorrelation at lag 1 with an interval.

    Parameters
    ----------
    x : array_like of float, shape (n,)
        Values in order; a pair with a NaN is left out.
    confidence : float
        Of the interval, between 0 and 1.

    Returns
    -------
    Autocorrelation
        ``phi`` zero with the interval -1 to 1 where fewer than 8 values, or no variation, tell nothing of the
        process; ``r`` zero where there is no variation.

    Raises
    ------
    ValueError
        If ``confidence`` is not between 0 and 1.

    Notes
    -----
    The interval is ``phi +- z sqrt((1 - phi^2) / n)``; the bias taken out is ``-(1 + 4 phi) / n``.

    References
    ----------
    Kendall, M. G. (1954). Note on bias in the estimation of autocorrelation. Biometrika 41, 403-404.
    Box, G. E. P., Jenkins, G. M., Reinsel, G. C. (2008). Time Series Analysis, 4th ed., 7.2 (variance).
    """
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"The confidence is {confidence}; give a number between 0 and 1.")
    values = finite_series(x)
    away = values - np.nanmean(values) if np.count_nonzero(~np.isnan(values)) else values
    present = ~np.isnan(away)
    pairs = present[1:] & present[:-1]
    n = int(present.sum())
    square = float(np.mean(away[present] ** 2)) if n else 0.0
    if not pairs.any() or square <= 1e-24 * float(np.nanmax(np.abs(values))) ** 2:
        return Autocorrelation(0.0, 0.0, -1.0, 1.0)
    # A sum over n - 1 pairs against one over n values, as usual; missing pairs are made up for by the mean.
    products = float(np.mean(away[1:][pairs] * away[:-1][pairs]))
    r = products / square * (n - 1) / n
    if n < FEWEST:
        return Autocorrelation(r, 0.0, -1.0, 1.0)
    phi = min(max((n * r + 1.0) / (n - 4.0), -0.99), 0.99)
    half = float(norm.isf((1.0 - confidence) / 2.0)) * math.sqrt((1.0 - phi * phi) / n)
    return Autocorrelation(r, phi, max(phi - half, -1.0), min(phi + half, 1.0))
