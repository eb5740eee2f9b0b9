"""How long does a spread chart go before it signals, and which limit gives the run length asked for?

The chart remembers its average of squared differences and the value before, so its run length solves an
integral equation in both. It is solved by collocation: the run length as a polynomial in the two, exact at as
many points as it has coefficients, with the integral over the next value by Gauss-Legendre quadrature.

References
----------
Crowder, S. V. (1987). Computation of ARL for combined individual measurement and moving range charts. J.
Quality Technology 19, 98-102 (the integral equation with the value before as its variable).
Knoth, S. (2005). Accurate ARL computation for EWMA-S2 control charts. Statistics and Computing 15, 341-352
(collocation with Chebyshev polynomials).
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.polynomial import chebyshev
from scipy.optimize import brentq

from rules.charts.chart import FloatArray

__all__ = ["LONGEST_ARL", "SHORTEST_ARL", "spread_arl", "spread_limit"]

SHORTEST_ARL, LONGEST_ARL = 20.0, 1e6
_REACH = 8.0  # standard deviations: a value farther off weighs less than 1e-15
_DEGREE_AVERAGE, _DEGREE_VALUE = 22, 16  # the second in squares of the value
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(56)


def spread_arl(lam: float, limit: float, *, scatter: float = 1.0) -> float:
    """Return how many shots a spread chart goes on the average before it signals.

    Parameters
    ----------
    lam : float
        Weight of the newest squared difference, above 0, at most 1.
    limit : float
        Limit of the local standard deviation, in sigma of the baseline, above 1.
    scatter : float
        True standard deviation in the same unit, from the first value on; 1 is in control, more has grown.

    Returns
    -------
    float
        Zero-state: the average starts at the baseline's; independent normal values. The first value, which
        has no difference, counts as a shot. Good to 0.1 % for ``lam`` from 0.05 and run lengths to 100,000.

    Raises
    ------
    ValueError
        If a number is out of range.
    """
    if not 0 < lam <= 1:
        raise ValueError(f"The lam of a spread chart is {lam}; give a weight above 0, at most 1.")
    if not (math.isfinite(limit) and limit > 1):
        raise ValueError(f"The limit of a spread chart is {limit}; give a number above 1, in sigma.")
    if not (math.isfinite(scatter) and scatter >= 1):
        raise ValueError(f"The scatter to compute a run length for is {scatter}; give 1 sigma or more.")
    # In units of the true scatter nothing but limit and start changes.
    return 1.0 + _mean_over_first(lam, (limit / scatter) ** 2, scatter**-2)


@lru_cache(maxsize=256)
def spread_limit(lam: float, arl: float) -> float:
    """Return the limit that makes a spread chart signal once in ``arl`` shots while nothing has changed.

    Parameters
    ----------
    lam : float
        Weight of the newest squared difference, above 0, at most 1.
    arl : float
        Shots between false alarms, 20 to 1,000,000.

    Returns
    -------
    float
        For ``SpreadChart(limit=...)``.

    Raises
    ------
    ValueError
        If a number is out of range.
    """
    if not SHORTEST_ARL <= arl <= LONGEST_ARL:
        raise ValueError(
            f"A spread chart with a run length of {arl} cannot be made; ask for {SHORTEST_ARL:g} to "
            f"{LONGEST_ARL:g} shots."
        )
    low, high = 1.0 + 1e-3, 1.5
    while spread_arl(lam, high) < arl:
        high *= 1.2
    return float(brentq(lambda limit: math.log(spread_arl(lam, limit) / arl), low, high, xtol=1e-9))


def _mean_over_first(lam: float, ceiling: float, start: float) -> float:
    """Return the mean number of further values, over the first one, from the average ``start``."""
    coefficients = _run_length_polynomial(lam, ceiling)
    x = _REACH * _NODES
    lengths = _basis_value(x) @ (_basis_average(np.array([start]), ceiling) @ coefficients)[0]
    return float(_REACH * _WEIGHTS @ (_density(x) * lengths))


def _run_length_polynomial(lam: float, ceiling: float) -> FloatArray:
    """Return the coefficients of the run length in (average, value before), shape (averages, values)."""
    averages = 0.5 * ceiling * (1.0 + _points(_DEGREE_AVERAGE))
    befores = _REACH * np.sqrt(0.5 * (1.0 + _points(_DEGREE_VALUE)))
    s, x = (grid.ravel() for grid in np.meshgrid(averages, befores, indexing="ij"))
    here = _products(_basis_average(s, ceiling), _basis_value(x))
    solved = np.linalg.solve(here - _expected_next(lam, ceiling, s, x), np.ones(s.size))
    return np.asarray(solved.reshape(_DEGREE_AVERAGE, _DEGREE_VALUE))


def _expected_next(lam: float, ceiling: float, s: FloatArray, x: FloatArray) -> FloatArray:
    """Return the mean of each basis function after one more value, where that does not signal."""
    room = np.sqrt(2.0 * np.maximum(0.0, ceiling - (1.0 - lam) * s) / lam)
    low, high = np.maximum(x - room, -_REACH), np.minimum(x + room, _REACH)
    half = 0.5 * np.maximum(0.0, high - low)[:, None]
    y = 0.5 * (low + high)[:, None] + half * _NODES
    after = (1.0 - lam) * s[:, None] + 0.5 * lam * (y - x[:, None]) ** 2
    share = _WEIGHTS * half * _density(y)
    averages, values = _basis_average(after, ceiling), share[:, :, None] * _basis_value(y)
    return np.asarray(np.matmul(averages.transpose(0, 2, 1), values).reshape(s.size, -1))


def _products(first: FloatArray, second: FloatArray) -> FloatArray:
    return np.asarray(np.einsum("na,nb->nab", first, second).reshape(len(first), -1))


def _basis_average(s: FloatArray, ceiling: float) -> FloatArray:
    return np.asarray(chebyshev.chebvander(2.0 * s / ceiling - 1.0, _DEGREE_AVERAGE - 1))


def _basis_value(x: FloatArray) -> FloatArray:
    """Polynomials in the square: the run length is the same either side of the center."""
    return np.asarray(chebyshev.chebvander(2.0 * (x / _REACH) ** 2 - 1.0, _DEGREE_VALUE - 1))


def _points(count: int) -> FloatArray:
    return np.asarray(np.cos(math.pi * (np.arange(count) + 0.5) / count))


def _density(y: FloatArray) -> FloatArray:
    return np.asarray(np.exp(-0.5 * y * y) / math.sqrt(2.0 * math.pi))
