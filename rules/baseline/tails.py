"""How far out must limits be where values are not normal, to be passed as seldom as planned?

Source: the Pearson type III curve for skewed values and Student's t for heavy tails, both fitted by moments
(Johnson, Kotz and Balakrishnan 1994, 1995); the tilted random walk of Siegmund (1985) for the CUSUM.
"""

from __future__ import annotations

import math

from scipy.optimize import brentq
from scipy.stats import norm, pearson3, t

__all__ = ["heavy_quantile", "skewed_interval", "skewed_quantiles"]

NEARLY_NORMAL = 1e-6
OVERSHOOT = 0.583  # of a normal random walk over a far limit, in its sigma


def skewed_quantiles(width: float, skewness: float) -> tuple[float, float]:
    """Return limits, in sigma from the mean, that skewed values pass as often as normal ones pass ``width``.

    Parameters
    ----------
    width : float
        Limits of normal values in sigma, above zero.
    skewness : float
        Of the values.

    Returns
    -------
    lower, upper : float
        Each with half of the normal rate beyond it, by the Pearson type III curve.

    Raises
    ------
    ValueError
        If ``width`` is not above zero.

    References
    ----------
    Johnson, N. L., Kotz, S. and Balakrishnan, N. (1994). Continuous Univariate Distributions, 2nd ed.,
    vol. 1, chapter 17 (gamma distribution, Pearson type III).
    """
    tail = _tail(width)
    return float(pearson3.ppf(tail, skewness)), float(pearson3.isf(tail, skewness))


def heavy_quantile(width: float, excess_kurtosis: float) -> float:
    """Return the limit, in sigma, that heavy-tailed values pass as often as normal ones pass ``width``.

    Parameters
    ----------
    width : float
        Limit of normal values in sigma, above zero.
    excess_kurtosis : float
        Of the values; 0 or less leaves the limit as it is.

    Returns
    -------
    float
        By Student's t with the same kurtosis: ``4 + 6 / excess_kurtosis`` degrees of freedom.

    Raises
    ------
    ValueError
        If ``width`` is not above zero.

    References
    ----------
    Johnson, N. L., Kotz, S. and Balakrishnan, N. (1995). Continuous Univariate Distributions, 2nd ed.,
    vol. 2, chapter 28 (moments of t).
    """
    tail = _tail(width)
    if excess_kurtosis <= NEARLY_NORMAL:
        return width
    freedom = 4.0 + 6.0 / excess_kurtosis
    return float(t.isf(tail, freedom)) * math.sqrt((freedom - 2.0) / freedom)


def _tail(width: float) -> float:
    if not width > 0.0:
        raise ValueError(f"Limits of {width} sigma are impossible; give a number above 0.")
    return float(norm.sf(width))


def skewed_interval(k: float, h: float, *, skewness: float, variance_ratio: float = 1.0) -> float:
    """Return the decision interval at which a CUSUM of skewed values signals as seldom as one of normal ones.

    Parameters
    ----------
    k, h : float
        Two-sided CUSUM for normal values, in sigma, above zero.
    skewness : float
        Of the residuals, which are independent.
    variance_ratio : float
        Variance of a long sum over that of a sum of independent values, ``(1 + phi) / (1 - phi)``.

    Returns
    -------
    float
        In sigma; ``h`` itself without skewness.

    Raises
    ------
    ValueError
        If ``k`` or ``h`` is not above zero.

    Notes
    -----
    Each side signals at a rate of ``k r exp(-r h)`` but for the overshoot, where ``r`` is the positive root
    of ``K(r) = k r`` and ``K`` the cumulant function of one increment: ``2 k`` for normal values. For skewed
    ones ``K`` is that of the Pearson type III curve, and the root is smaller on the long side. The interval
    makes the sum of both sides what it is for normal values. The overshoot is taken as theirs, 0.583 sigma at
    either end; that of skewed values is larger, so the interval errs on the wide side (by a quarter of the
    run length at a skewness of 1).

    References
    ----------
    Siegmund, D. (1985). Sequential Analysis, II.6 and VIII (tilting; run length of the CUSUM).
    """
    if not (k > 0.0 and h > 0.0):
        raise ValueError(f"A CUSUM with k {k} and h {h} is impossible; give numbers above 0.")
    normal, beyond = 2.0 * k / variance_ratio, 2.0 * OVERSHOOT * math.sqrt(variance_ratio)
    roots = (_root(k, side * skewness, math.sqrt(variance_ratio)) for side in (1.0, -1.0))
    rates = [root for root in roots if root is not None]

    def excess(interval: float) -> float:
        both = sum(rate * math.exp(-rate * (interval + beyond)) for rate in rates)
        return math.log(both) - math.log(2.0 * normal) + normal * (h + beyond)

    top = 2.0 * h
    while excess(top) > 0.0:
        top *= 2.0
    return max(float(brentq(excess, 0.0, top, xtol=1e-6)), h)


def _root(k: float, skewness: float, spread: float) -> float | None:
    """Positive root of ``K(r) = k r`` for an increment of this skewness and standard deviation ``spread``.

    None on the bounded side where no increment reaches ``k``: that sum never grows.
    """
    normal = 2.0 * k / (spread * spread)
    if abs(skewness) < NEARLY_NORMAL:
        return normal
    shape, half = 4.0 / skewness**2, skewness / 2.0

    def surplus(r: float) -> float:
        s = r * spread  # standardized: K(s) = -s sqrt(a) - a ln(1 - s / sqrt(a)), signed by the skewness
        return -s / half - shape * math.log1p(-s * half) - k * r

    if skewness > 0.0:
        return float(brentq(surplus, 1e-6 * normal, (1.0 - 1e-12) / (half * spread)))
    if k >= spread / -half:
        return None
    top = normal
    while surplus(top) < 0.0:
        top *= 2.0
    return float(brentq(surplus, 1e-6 * normal, top))
