"""How much wider must an individuals limit be because center and sigma come from a baseline of limited size?

A chart drawn from estimates has a false-alarm rate of its own, and the mean of that rate over all baselines
one might have drawn is higher than with known center and sigma, since it grows faster on the tight side than
it falls on the wide side. The limit is widened until that mean is what it would be with known values, a
prediction limit (Hahn and Meeker 1991). :mod:`rules.budget.estimated` does the same for a CUSUM beside it.

Source: Hahn and Meeker (1991) for the limit, Hoel (1946) for the moving range, Bayley and Hammersley (1946)
for values that are alike.
"""

from __future__ import annotations

import math

from scipy.stats import norm, t

from rules.run_length.autocorrelated import variance_ratio

__all__ = ["sigma_degrees_of_freedom", "widened_limit"]


def sigma_degrees_of_freedom(*, phi: float, n: float) -> float:
    """Return the degrees of freedom of a chi distribution with the same spread as the estimated sigma.

    Parameters
    ----------
    phi : float
        Autocorrelation at lag 1; at 0 sigma is taken to come from moving ranges, above from all values.
    n : float
        Effective number of shots, ``shots (1 - phi) / (1 + phi)``.

    Returns
    -------
    float

    Raises
    ------
    ValueError
        If ``phi`` or ``n`` is out of range.

    References
    ----------
    Hoel, P. G. (1946). The efficiency of the mean moving range. Annals of Mathematical Statistics 17, 475-482
    (variance of the mean moving range).
    Bayley, G. V. and Hammersley, J. M. (1946). The "effective" number of independent observations in an
    autocorrelated time series. Supplement to the J. Royal Statistical Society 8, 184-197 (variance of s^2).
    """
    if not -1.0 < phi < 1.0:
        raise ValueError(f"phi is {phi}; give an autocorrelation above -1 and below 1.")
    if not (math.isfinite(n) and n > (0.0 if phi > 0.0 else 1.0)):
        raise ValueError(f"A baseline worth {n} shots tells no sigma; give more than one.")
    if phi > 0.0:
        shots = n * variance_ratio(phi)
        return max(shots * (1.0 - phi * phi) / (1.0 + phi * phi) - 1.0, 2.0)
    relative_variance = (0.8264 * n - 1.082) / (n - 1.0) ** 2
    return max(0.5 / relative_variance, 2.0)


def widened_limit(width: float, *, phi: float, n: float) -> float:
    """Return individuals limits, in estimated sigma, whose mean false-alarm rate is as if sigma were known.

    Parameters
    ----------
    width : float
        Limits in sigma for known center and sigma.
    phi : float
        Autocorrelation at lag 1.
    n : float
        Effective number of shots in the baseline.

    Returns
    -------
    float
        A prediction limit for one new value: a quantile of Student's t times ``sqrt(1 + 1/n)``.

    Raises
    ------
    ValueError
        If an argument is out of range.

    References
    ----------
    Hahn, G. J. and Meeker, W. Q. (1991). Statistical Intervals, 4.7 (prediction interval for a new value).
    """
    if not (math.isfinite(width) and width > 0.0):
        raise ValueError(f"The width is {width}; give individuals limits above 0, in sigma.")
    quantile = float(t.isf(norm.sf(width), sigma_degrees_of_freedom(phi=phi, n=n)))
    return quantile * math.sqrt(1.0 + 1.0 / n) / math.sqrt(_shrinkage(phi, n))


def _shrinkage(phi: float, n: float) -> float:
    """Mean of s^2 over sigma^2: about one mean's variance is lost where values are autocorrelated."""
    return 1.0 - 1.0 / n if phi > 0.0 else 1.0
