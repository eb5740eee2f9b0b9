"""How sure is a capability index from so many values?

References
----------
ISO 22514-2:2017, Statistical methods in process management - Capability and performance - Part 2 (indices
and their confidence limits).
Bissell, A. F. (1990). How reliable is your capability index? Applied Statistics 39, 331-340.
Boyles, R. A. (1991). The Taguchi capability index. J. Quality Technology 23, 17-26.
Chou, Y.-M., Owen, D. B. and Borrego, S. A. (1990). Lower confidence limits on process capability indices.
J. Quality Technology 22, 223-229 (noncentral t).
"""

from __future__ import annotations

import math
from collections.abc import Callable

from scipy.optimize import brentq
from scipy.special import chdtri, ndtri

from rules.dome.welch import Interval
from rules.noncentral_t import chance_at_most

__all__ = ["around_target", "nearest", "nearest_bissell", "potential"]


def potential(index: float, freedom: float, confidence: float) -> Interval:
    """Return Cp or Pp with its chi-square interval.

    Parameters
    ----------
    index : float
        Tolerance over six sigma.
    freedom : float
        Degrees of freedom of sigma.
    confidence : float
        Between 0 and 1.

    Returns
    -------
    Interval
        Exact for independent normal values and sigma from their standard deviation.

    Raises
    ------
    ValueError
        If ``freedom`` is not above 0 or ``confidence`` not between 0 and 1.

    References
    ----------
    ISO 22514-2:2017; Montgomery, D. C., Introduction to Statistical Quality Control, 8.3.
    """
    _check(freedom, confidence)
    low, high = (math.sqrt(_chi2_quantile(q, freedom) / freedom) for q in _tails(confidence))
    return Interval(index, index * low, index * high)


def nearest_bissell(index: float, n: float, freedom: float, confidence: float) -> Interval:
    """Return Cpk or Ppk with Bissell's normal approximation.

    Parameters
    ----------
    index : float
        Distance from the mean to the nearer limit over three sigma.
    n : float
        Values behind the mean; fewer where neighbors are alike.
    freedom, confidence
        As in :func:`potential`.

    Returns
    -------
    Interval
        ``index +- z sqrt(1 / (9 n) + index^2 / (2 freedom))``.

    Raises
    ------
    ValueError
        As :func:`potential`, or if ``n`` is not above 0.

    References
    ----------
    Bissell (1990).
    """
    _check(freedom, confidence, n)
    half = float(ndtri((1.0 + confidence) / 2.0)) * math.sqrt(1.0 / (9.0 * n) + index**2 / (2.0 * freedom))
    return Interval(index, index - half, index + half)


def nearest(index: float, n: float, freedom: float, confidence: float) -> Interval:
    """Return Cpk or Ppk with the interval of a one-sided index, by the noncentral t distribution.

    Parameters
    ----------
    index, n, freedom, confidence
        As in :func:`nearest_bissell`.

    Returns
    -------
    Interval
        Exact with one limit. With two limits the lower bound stays on the safe side, since the nearer of two
        estimated distances is never the larger; the upper one may be too low where the mean lies midway.

    Raises
    ------
    ValueError
        As :func:`nearest_bissell`.

    References
    ----------
    Chou, Owen and Borrego (1990).
    """
    _check(freedom, confidence, n)
    root = 3.0 * math.sqrt(n)
    low, high = (_noncentrality(root * index, freedom, 1.0 - q) / root for q in _tails(confidence))
    return Interval(index, low, high)


def around_target(
    mean: float, sigma: float, n: float, *, width: float, target: float, confidence: float
) -> Interval:
    """Return Cpm, which counts distance from the target as spread, with Boyles' interval.

    Parameters
    ----------
    mean, sigma : float
        Sigma with divisor n - 1.
    n : float
        Number of values; fewer where neighbors are alike.
    width, target : float
        Of the specification.
    confidence : float
        Between 0 and 1.

    Returns
    -------
    Interval
        Approximate: chi-square with matched degrees of freedom.

    Raises
    ------
    ValueError
        If ``confidence`` is not between 0 and 1.

    References
    ----------
    Boyles (1991).
    """
    away = ((mean - target) / sigma) ** 2
    index = width / (6.0 * sigma * math.sqrt(1.0 + away))
    return potential(index, n * (1.0 + away) ** 2 / (1.0 + 2.0 * away), confidence)


def _noncentrality(t: float, freedom: float, chance: float) -> float:
    """Noncentrality under which a value of at most t has this chance."""

    def miss(noncentrality: float) -> float:
        return chance_at_most(t, freedom, noncentrality) - chance

    step = math.hypot(1.0, t / math.sqrt(2.0 * freedom))  # about the spread; a fixed step would take too long
    low = _walk(miss, t, -step, above=True)
    high = _walk(miss, t, step, above=False)
    return float(brentq(miss, low, high, xtol=1e-12, rtol=1e-13))


def _walk(miss: Callable[[float], float], start: float, step: float, *, above: bool) -> float:
    at = start
    while (miss(at) >= 0.0) is not above:
        at += step
    return at


def _chi2_quantile(q: float, freedom: float) -> float:
    return float(chdtri(freedom, 1.0 - q))


def _tails(confidence: float) -> tuple[float, float]:
    return (1.0 - confidence) / 2.0, (1.0 + confidence) / 2.0


def _check(freedom: float, confidence: float, n: float = 1.0) -> None:
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"The confidence is {confidence}; give a number between 0 and 1.")
    if not (freedom > 0.0 and n > 0.0):
        raise ValueError(f"An index from {n:g} values with {freedom:g} degrees of freedom has no interval.")
