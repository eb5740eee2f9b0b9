"""How sure is a variance that is a sum or difference of mean squares?

Modified large-sample intervals: exact for a single mean square, close to the stated confidence for sums and
differences, also from few degrees of freedom, where the usual normal approximation fails.

References
----------
Burdick, R. K., Borror, C. M. and Montgomery, D. C. (2005). Design and Analysis of Gauge R&R Studies. SIAM
(intervals of all components of a gauge study).
Graybill, F. A. and Wang, C.-M. (1980). Confidence intervals on nonnegative linear combinations of variances.
J. American Statistical Association 75, 869-873.
Ting, N., Burdick, R. K., Graybill, F. A., Jeyaratnam, S. and Lu, T.-F. C. (1990). Confidence intervals on
linear combinations of variance components that are unrestricted in sign. J. Statistical Computation and
Simulation 35, 135-143.
Hamada, M. and Weerahandi, S. (2000). Measurement system assessment via generalized inference. J. Quality
Technology 32, 241-253 (ratios).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtri, fdtri
from scipy.stats import chi2, qmc

from rules.dome.welch import Interval

__all__ = ["Term", "ratio_bounds", "sigma_interval", "variance_bounds"]

FloatArray = NDArray[np.float64]
POINTS_POWER = 13  # 2^13 evenly spread points; quantiles of a ratio settle to about 0.2 %


@dataclass(frozen=True, slots=True)
class Term:
    """A mean square, its degrees of freedom, and the factor it enters a variance with."""

    factor: float
    mean_square: float
    freedom: float

    @property
    def value(self) -> float:
        """Factor times mean square."""
        return self.factor * self.mean_square


def sigma_interval(estimate: float, terms: Sequence[Term], confidence: float) -> Interval:
    """Return a standard deviation with its interval.

    Parameters
    ----------
    estimate : float
        Of the variance, zero or more.
    terms : sequence of Term
        Whose sum estimates the variance.
    confidence : float
        Between 0 and 1.

    Returns
    -------
    Interval
        Holds the estimate also where the sum of terms came out negative and was set to zero.
    """
    low, high = (math.sqrt(max(bound, 0.0)) for bound in variance_bounds(terms, confidence))
    sigma = math.sqrt(estimate)
    return Interval(sigma, min(low, sigma), max(high, sigma))


def variance_bounds(terms: Sequence[Term], confidence: float) -> tuple[float, float]:
    """Return the modified large-sample bounds of a sum of terms, which may be below zero.

    Parameters
    ----------
    terms : sequence of Term
        Factors of either sign.
    confidence : float
        Between 0 and 1.

    Returns
    -------
    low, high : float

    References
    ----------
    Graybill and Wang (1980) for sums; Ting et al. (1990) for differences, without the small cross terms among
    terms of one sign.
    """
    tail = (1.0 - confidence) / 2.0
    kept = [term for term in terms if term.factor != 0.0 and term.mean_square > 0.0]
    plus, minus = [t for t in kept if t.factor > 0.0], [t for t in kept if t.factor < 0.0]
    total = math.fsum(term.value for term in kept)
    down = _spread(plus, _shrinks, minus, _grows, tail) + sum(
        _cross_low(p, m, tail) for p in plus for m in minus
    )
    up = _spread(plus, _grows, minus, _shrinks, tail) + sum(
        _cross_high(p, m, tail) for p in plus for m in minus
    )
    return total - math.sqrt(max(down, 0.0)), total + math.sqrt(max(up, 0.0))


def ratio_bounds(
    terms: Sequence[Term], ratio: Callable[[FloatArray], FloatArray], confidence: float
) -> tuple[float, float]:
    """Return the generalized confidence bounds of a function of mean squares.

    Parameters
    ----------
    terms : sequence of Term
        One a mean square; factors are not used.
    ratio : callable
        From expected mean squares, shape (k, points), to the quantity, shape (points,).
    confidence : float
        Between 0 and 1.

    Returns
    -------
    low, high : float

    Notes
    -----
    Each expected mean square is the observed one times its degrees of freedom over a chi-square value; the
    chi-square values run over evenly spread (unscrambled Sobol) points, so the result is the same every time.

    References
    ----------
    Hamada and Weerahandi (2000).
    """
    draws = _even_chi_squares(tuple(term.freedom for term in terms))
    squares = np.array([[term.mean_square * term.freedom] for term in terms])
    tail = (1.0 - confidence) / 2.0
    low, high = np.quantile(ratio(squares / draws), [tail, 1.0 - tail])
    return float(low), float(high)


@lru_cache(maxsize=16)
def _even_chi_squares(freedoms: tuple[float, ...]) -> FloatArray:
    """Chi-square values of each number of degrees of freedom over evenly spread points."""
    points = qmc.Sobol(len(freedoms), scramble=False).random_base2(POINTS_POWER)
    even = points + 0.5 / len(points)  # keeps off zero
    return np.asarray(chi2.ppf(even.T, np.array(freedoms)[:, None]), dtype=np.float64)


def _shrinks(freedom: float, tail: float) -> float:
    """Relative way from a mean square down to its lower bound."""
    return 1.0 - freedom / float(chdtri(freedom, tail))


def _grows(freedom: float, tail: float) -> float:
    """Relative way from a mean square up to its upper bound."""
    return freedom / float(chdtri(freedom, 1.0 - tail)) - 1.0


def _spread(
    plus: Sequence[Term],
    of_plus: Callable[[float, float], float],
    minus: Sequence[Term],
    of_minus: Callable[[float, float], float],
    tail: float,
) -> float:
    away = [of_plus(t.freedom, tail) * t.value for t in plus]
    away += [of_minus(t.freedom, tail) * t.value for t in minus]
    return math.fsum(each * each for each in away)


def _cross_low(plus: Term, minus: Term, tail: float) -> float:
    """Makes the lower bound of a difference of two exact where the difference is zero."""
    f = float(fdtri(plus.freedom, minus.freedom, 1.0 - tail))
    shrinks, grows = _shrinks(plus.freedom, tail), _grows(minus.freedom, tail)
    return ((f - 1.0) ** 2 - (shrinks * f) ** 2 - grows**2) / f * plus.value * -minus.value


def _cross_high(plus: Term, minus: Term, tail: float) -> float:
    f = float(fdtri(plus.freedom, minus.freedom, tail))
    grows, shrinks = _grows(plus.freedom, tail), _shrinks(minus.freedom, tail)
    return ((1.0 - f) ** 2 - (grows * f) ** 2 - shrinks**2) / f * plus.value * -minus.value
