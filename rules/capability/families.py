"""Which distribution do skewed values follow? A few families of two parameters or one, fitted by likelihood.

References
----------
ISO 22514-2:2017, Statistical methods in process management - Capability and performance - Part 2
(distributions for characteristics with a natural bound, folded normal and others).
Johnson, N. L., Kotz, S. and Balakrishnan, N. (1994, 1995). Continuous Univariate Distributions, volumes 1
and 2, Wiley (maximum likelihood of each family).
Stephens, M. A. (1974). EDF statistics for goodness of fit and some comparisons. J. American Statistical
Association 69, 730-737 (distance that weighs the tails).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

__all__ = ["FAMILIES", "Family", "Fitted", "best", "tail_distance"]

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Fitted:
    """A distribution of scipy with its parameters; calling it so costs a third of freezing it first."""

    distribution: Any
    parameters: tuple[float, ...]

    def call(self, name: str, at: ArrayLike) -> FloatArray:
        """Return a function of the distribution (``ppf``, ``cdf``, ``logsf``, ...) at some places."""
        return np.asarray(getattr(self.distribution, name)(at, *self.parameters), dtype=np.float64)

    def draw(self, n: int, rng: np.random.Generator) -> FloatArray:
        """Return independent values."""
        drawn = self.distribution.rvs(*self.parameters, size=n, random_state=rng)
        return np.asarray(drawn, dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Family:
    """A family of distributions.

    Parameters
    ----------
    name : str
    fit : callable
        From values to the fitted distribution, by maximum likelihood.
    parameters : int
        Number that is fitted.
    positive : bool
        Whether every value must be above its natural bound of zero.
    """

    name: str
    fit: Callable[[FloatArray], Fitted]
    parameters: int
    positive: bool


def _normal(x: FloatArray) -> Fitted:
    return Fitted(stats.norm, (float(x.mean()), float(x.std())))


def _lognormal(x: FloatArray) -> Fitted:
    logs = np.log(x)
    return Fitted(stats.lognorm, (float(logs.std()), 0.0, math.exp(float(logs.mean()))))


def _gamma(x: FloatArray) -> Fitted:
    shape, _, scale = stats.gamma.fit(x, floc=0.0)
    return Fitted(stats.gamma, (float(shape), 0.0, float(scale)))


def _weibull(x: FloatArray) -> Fitted:
    # The logarithm of a Weibull value follows the distribution of smallest values, which fits in one root.
    location, scale = stats.gumbel_l.fit(np.log(x))
    return Fitted(stats.weibull_min, (float(1.0 / scale), 0.0, math.exp(location)))


def _half_normal(x: FloatArray) -> Fitted:
    return Fitted(stats.halfnorm, (0.0, math.sqrt(float(np.mean(x * x)))))


def _largest(x: FloatArray) -> Fitted:
    return Fitted(stats.gumbel_r, tuple(float(each) for each in stats.gumbel_r.fit(x)))


def _smallest(x: FloatArray) -> Fitted:
    return Fitted(stats.gumbel_l, tuple(float(each) for each in stats.gumbel_l.fit(x)))


FAMILIES: dict[str, Family] = {
    family.name: family
    for family in (
        Family("normal", _normal, 2, positive=False),
        Family("largest value", _largest, 2, positive=False),
        Family("smallest value", _smallest, 2, positive=False),
        Family("lognormal", _lognormal, 2, positive=True),
        Family("gamma", _gamma, 2, positive=True),
        Family("weibull", _weibull, 2, positive=True),
        Family("half normal", _half_normal, 1, positive=True),
    )
}


def best(values: FloatArray) -> Family:
    """Return the family under which the values are likeliest, each parameter charged as usual.

    Parameters
    ----------
    values : array of float, shape (n,)
        Finite, not all equal; families with a natural bound are tried where all lie above zero.

    Returns
    -------
    Family

    References
    ----------
    Akaike, H. (1974). A new look at the statistical model identification. IEEE Transactions on Automatic
    Control 19, 716-723.
    """
    able = [family for family in FAMILIES.values() if not family.positive or float(values.min()) > 0.0]
    return max(able, key=lambda family: _credit(family, values))


def _credit(family: Family, values: FloatArray) -> float:
    return float(np.sum(family.fit(values).call("logpdf", values))) - family.parameters


def tail_distance(values: FloatArray, fitted: Fitted) -> float:
    """Return the Anderson-Darling distance of values from a fitted distribution.

    Parameters
    ----------
    values : array of float, shape (n,)
    fitted : Fitted

    Returns
    -------
    float

    References
    ----------
    Stephens (1974).
    """
    ordered = np.sort(values)
    n = len(ordered)
    weights = 2.0 * np.arange(1, n + 1) - 1.0
    both = fitted.call("logcdf", ordered) + fitted.call("logsf", ordered)[::-1]
    return float(-n - np.sum(weights * both) / n)
