"""How far off are center, sigma and autocorrelation when they come from a baseline of so many shots?

Given the true autocorrelation, three independent errors make a baseline:

- the mean is normal, with the variance of the mean of autocorrelated values;
- the arcsine of the estimated autocorrelation is normal with variance ``1 / n``, whatever its true value;
- the spread of what one shot does not tell about the next is chi distributed.

The estimated sigma follows from the last two: a baseline that happens to look less alike from shot to shot
than the process is also looks too narrow. What counts for a CUSUM is their product, the long-run spread.

References
----------
Bayley, G. V. and Hammersley, J. M. (1946). The "effective" number of independent observations in an
autocorrelated time series. Supplement to the J. Royal Statistical Society 8, 184-197 (variance of the mean).
Jenkins, G. M. (1954). An angular transformation for the serial correlation coefficient. Biometrika 41,
261-265.
Kendall, M. G. (1954). Note on bias in the estimation of autocorrelation. Biometrika 41, 403-404.
Hoel, P. G. (1946). The efficiency of the mean moving range. Annals of Mathematical Statistics 17, 475-482.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2, norm

from rules.estimation import sigma_degrees_of_freedom
from rules.limits import PHI_CEILING

__all__ = ["Baselines", "angle"]

FloatArray = NDArray[np.float64]
REACH = 5.0  # standard errors
LOWEST_PHI = -0.4
MEAN_POINTS, SPREAD_POINTS, ANGLE_POINTS = 21, 13, 25


@dataclass(frozen=True, slots=True)
class Baselines:
    """Baselines that one process may give, spread over their errors; all arrays broadcast to one shape.

    Parameters
    ----------
    phi : float
        Of the process.
    phi_hat : ndarray, shape (a, 1, 1)
        Estimated autocorrelations.
    center : ndarray, shape (m, )
        Estimated center less the true one, in true sigma.
    sigma : ndarray, shape (a, s, 1)
        Estimated sigma, in true sigma.
    weight : ndarray, shape (a, s, m)
        Probability of each.
    """

    phi: float
    phi_hat: FloatArray
    center: FloatArray
    sigma: FloatArray
    weight: FloatArray

    @classmethod
    def of(cls, phi: float, n: float, *, known_phi: bool = False) -> Baselines:
        """Spread points over the errors of baselines of ``n`` shots; at phi = 0 sigma is by moving ranges."""
        mean, mean_weight = _normal_points(MEAN_POINTS)
        spread, spread_weight = _normal_points(SPREAD_POINTS)
        center = mean * math.sqrt(_variance_of_mean(phi, n))
        if phi == 0.0:
            sigma = _chi_points(spread, sigma_degrees_of_freedom(phi=0.0, n=n))[None, :, None]
            weight = spread_weight[None, :, None] * mean_weight
            return cls(0.0, np.zeros((1, 1, 1)), center, sigma, weight)
        off, off_weight = (np.zeros(1), np.ones(1)) if known_phi else _normal_points(ANGLE_POINTS)
        turned = np.clip(angle(phi) + off / math.sqrt(n), math.asin(LOWEST_PHI), math.asin(PHI_CEILING))
        phi_hat = np.sin(turned)[:, None, None]
        new = _chi_points(spread, max(n - 2.0, 2.0))[None, :, None] * math.sqrt((n - 2.0) / (n - 1.0))
        sigma = new * np.sqrt((1.0 - phi * phi) / (1.0 - _raw(phi_hat, n) ** 2))
        weight = off_weight[:, None, None] * spread_weight[:, None] * mean_weight
        return cls(phi, phi_hat, center, sigma, weight)

    def mean(self, values: FloatArray) -> float:
        """Return the mean over baselines."""
        return float((values * self.weight).sum())


def angle(phi: float) -> float:
    """Return the autocorrelation on the scale where its error is the same everywhere."""
    return math.asin(phi)


def _raw(phi_hat: FloatArray, n: float) -> FloatArray:
    """Autocorrelation before the bias of short series is taken out of it."""
    return np.asarray((phi_hat * (n - 4.0) - 1.0) / n, dtype=np.float64)


def _variance_of_mean(phi: float, n: float) -> float:
    """Of the mean of ``n`` values, in sigma squared."""
    ends = 2.0 * phi * (1.0 - math.pow(phi, n)) / (n * (1.0 - phi) ** 2)
    return ((1.0 + phi) / (1.0 - phi) - ends) / n


def _normal_points(count: int) -> tuple[FloatArray, FloatArray]:
    """Points in standard errors, evenly spaced, and their probabilities."""
    points = np.linspace(-REACH, REACH, count)
    weights = norm.pdf(points)
    return points, np.asarray(weights / weights.sum(), dtype=np.float64)


def _chi_points(normal: FloatArray, freedom: float) -> FloatArray:
    """Quantiles of chi over the root of its degrees of freedom, at those of a normal distribution."""
    below = chi2.ppf(norm.cdf(np.minimum(normal, 0.0)), freedom)
    above = chi2.isf(norm.sf(np.maximum(normal, 0.0)), freedom)
    return np.asarray(np.sqrt(np.where(normal <= 0.0, below, above) / freedom), dtype=np.float64)
