"""How much wider limits must be because center and sigma come from a baseline of limited size.

A chart drawn from estimates has a false-alarm rate of its own, and the mean of that rate over all baselines
one might have drawn is higher than with known center and sigma, since it grows faster on the tight side than
it falls on the wide side. Both functions widen until that mean is what it would be with known values. The
error of phi itself is left out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.polynomial.hermite_e import hermegauss
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.stats import chi2, norm, t

from rules.run_length.autocorrelated import variance_ratio

__all__ = ["sigma_degrees_of_freedom", "widened_cusum", "widened_limit"]

FloatArray = NDArray[np.float64]
MEAN_POINTS = 15
SIGMA_POINTS = 24


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

    References
    ----------
    Hoel, P. G. (1946). The efficiency of the mean moving range. Annals of Mathematical Statistics 17, 475-482
    (variance of the mean moving range).
    Bayley, G. V. and Hammersley, J. M. (1946). The "effective" number of independent observations in an
    autocorrelated time series. Supplement to the J. Royal Statistical Society 8, 184-197 (variance of s^2).
    """
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

    References
    ----------
    Hahn, G. J. and Meeker, W. Q. (1991). Statistical Intervals, 4.7 (prediction interval for a new value).
    """
    quantile = float(t.isf(norm.sf(width), sigma_degrees_of_freedom(phi=phi, n=n)))
    return quantile * math.sqrt(1.0 + 1.0 / n) / math.sqrt(_shrinkage(phi, n))


def _shrinkage(phi: float, n: float) -> float:
    """Mean of s^2 over sigma^2: about one mean's variance is lost where values are autocorrelated."""
    return 1.0 - 1.0 / n if phi > 0.0 else 1.0


def widened_cusum(*, k: float, h: float, arl: float, phi: float, n: float) -> tuple[float, float]:
    """Return the CUSUM, in estimated sigma, whose mean false-alarm rate over baselines is ``1 / arl``.

    Parameters
    ----------
    k, h : float
        Two-sided CUSUM for known center and sigma, in sigma.
    arl : float
        Its run length.
    phi : float
        Autocorrelation at lag 1.
    n : float
        Effective number of shots in the baseline.

    Returns
    -------
    k, h : float
        Of all pairs that meet the rate, the one that sees a shift of ``2 k`` soonest on the average over
        baselines. A short baseline may put the center so far off that a low k never comes to rest; there a
        higher k costs less delay than an ever higher h.

    Notes
    -----
    An error of the center moves both reference values, an error of sigma stretches k and h. The rate for each
    pair of errors is that of the drifting Brownian motion with the same long-run variance, whose barrier is
    set so that it agrees with the exact run length where there is no error.

    References
    ----------
    Siegmund, D. (1985). Sequential Analysis, II.6 (run length of the CUSUM by Brownian motion).
    Jensen, W. A. et al. (2006). Effects of parameter estimation on control chart properties: a literature
    review. J. Quality Technology 38, 349-364 (the problem).
    """
    errors = _Errors.of(phi=phi, n=n, overshoot=_barrier(k, 2.0 * arl, variance_ratio(phi)) - h)
    candidates = []
    for raised in k * (1.0 + 0.05 * np.arange(21)):
        interval = _decision_interval(errors, float(raised), arl)
        candidates.append((errors.delay(float(raised), interval, 2.0 * k), float(raised), interval))
    _, best, interval = min(candidates)
    return best, interval


@dataclass(frozen=True)
class _Errors:
    """Errors of center (in sigma) and of sigma (as a ratio) that baselines of one size make, with weights."""

    ratio: float
    overshoot: float
    shifts: FloatArray
    weights: FloatArray
    stretches: FloatArray

    @classmethod
    def of(cls, *, phi: float, n: float, overshoot: float) -> _Errors:
        """Spread points over both errors."""
        shifts, weights = hermegauss(MEAN_POINTS)
        stretches = _sigma_points(sigma_degrees_of_freedom(phi=phi, n=n)) * math.sqrt(_shrinkage(phi, n))
        return cls(
            variance_ratio(phi), overshoot, shifts / math.sqrt(n), weights / weights.sum(), stretches[:, None]
        )

    def rate(self, k: float, h: float) -> float:
        """Mean false-alarm rate of both sides."""
        lengths = _brownian_length(k * self.stretches - self.shifts, self._barriers(h), self.ratio)
        return float(2.0 * ((1.0 / lengths) @ self.weights).mean())

    def delay(self, k: float, h: float, shift: float) -> float:
        """Mean run length after a shift."""
        reference = k * self.stretches - self.shifts - shift
        return float((_brownian_length(reference, self._barriers(h), self.ratio) @ self.weights).mean())

    def _barriers(self, h: float) -> FloatArray:
        return np.asarray(h * self.stretches + self.overshoot, dtype=np.float64)


def _decision_interval(errors: _Errors, k: float, arl: float) -> float:
    """Return the h at which the mean rate is ``1 / arl``."""

    def miss(h: float) -> float:
        return math.log(errors.rate(k, h) * arl)

    top = 1.0
    while miss(top) > 0.0:
        top *= 2.0
    return float(brentq(miss, 1e-3, top, xtol=1e-4))


def _sigma_points(freedom: float) -> FloatArray:
    """Points of equal weight over estimated sigma / sigma: the middle of each slice of a chi distribution."""
    slices = (np.arange(SIGMA_POINTS) + 0.5) / SIGMA_POINTS
    return np.asarray(np.sqrt(chi2.ppf(slices, freedom) / freedom), dtype=np.float64)


def _brownian_length(reference: FloatArray, barrier: FloatArray, ratio: float) -> FloatArray:
    """One-sided run length of a Brownian CUSUM with drift ``-reference`` and variance ``ratio`` a shot."""
    slope = 2.0 * reference / ratio
    small = np.abs(slope * barrier) < 1e-4
    safe = np.where(small, 1.0, slope)
    exponent = np.clip(safe * barrier, -500.0, 500.0)
    drifting = 2.0 * (np.expm1(exponent) - exponent) / (ratio * safe * safe)
    return np.asarray(np.where(small, barrier * barrier / ratio, drifting), dtype=np.float64)


def _barrier(reference: float, run: float, ratio: float) -> float:
    """Barrier at which the Brownian CUSUM has this run length."""
    one = np.array([reference])

    def miss(barrier: float) -> float:
        return math.log(float(_brownian_length(one, np.array([barrier]), ratio)[0]) / run)

    top = ratio
    while miss(top) < 0.0:
        top *= 2.0
    return float(brentq(miss, 1e-9, top, xtol=1e-10))
