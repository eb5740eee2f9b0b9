"""Which sigma, and how many independent values is it worth?

Within: what neighbors or members of a subgroup differ by, the process at its best. Overall: everything that
happened, what the customer gets.

References
----------
ISO 22514-1:2014, Statistical methods in process management - Capability and performance - Part 1 (capability
and performance).
Bayley, G. V. and Hammersley, J. M. (1946). The "effective" number of independent observations in an
autocorrelated time series. Supplement to the J. Royal Statistical Society 8, 184-197.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rules.baseline import moving_range_sigma
from rules.constants import d2
from rules.estimation import sigma_degrees_of_freedom
from rules.figures import written
from rules.gauge.crossed import range_freedom
from rules.series import LEAST_SPREAD, finite_series

__all__ = ["Method", "Spread", "checked", "effective_size", "overall", "within_neighbors", "within_subgroups"]

FloatArray = NDArray[np.float64]
Method = Literal["pooled", "ranges"]


@dataclass(frozen=True, slots=True)
class Spread:
    """A standard deviation, its degrees of freedom, and how it was found."""

    sigma: float
    freedom: float
    method: str


def within_neighbors(x: FloatArray) -> Spread | None:
    """Return sigma from moving ranges; None where no two neighbors are present or all are equal.

    Parameters
    ----------
    x : array of float, shape (n,)
        NaN where missing.
    """
    sigma = moving_range_sigma(x)
    pairs = int(np.count_nonzero(~np.isnan(np.diff(x))))
    if not sigma > 0.0:
        return None
    return Spread(sigma, sigma_degrees_of_freedom(phi=0.0, n=float(pairs + 1)), "moving ranges")


def within_subgroups(table: FloatArray, method: Method) -> Spread | None:
    """Return sigma within subgroups, from pooled variances or from the mean range; None where it is zero.

    Parameters
    ----------
    table : array of float, shape (groups, size)
        Full.
    method : {'pooled', 'ranges'}
    """
    groups, size = table.shape
    if method == "pooled":
        sigma = math.sqrt(float(table.var(axis=1, ddof=1).mean()))
        return Spread(sigma, float(groups * (size - 1)), "pooled subgroups") if sigma > 0.0 else None
    sigma = float(np.ptp(table, axis=1).mean()) / d2(size)
    return Spread(sigma, range_freedom(size, groups), "ranges of subgroups") if sigma > 0.0 else None


def overall(values: FloatArray, phi: float) -> Spread:
    """Return the standard deviation of all values, with the degrees of freedom that AR(1) values leave it.

    Parameters
    ----------
    values : array of float, shape (n,)
        None missing.
    phi : float
        Autocorrelation at lag 1, 0 or more.
    """
    n = len(values)
    freedom = max(n * (1.0 - phi * phi) / (1.0 + phi * phi) - 1.0, 1.0) if phi > 0.0 else float(n - 1)
    return Spread(float(values.std(ddof=1)), freedom, "all values")


def effective_size(n: int, phi: float) -> float:
    """Return how many independent values say as much about the mean as ``n`` with autocorrelation ``phi``."""
    return max(n * (1.0 - phi) / (1.0 + phi), 1.0)


def checked(x: ArrayLike, fewest: int = 2) -> FloatArray:
    """Return values of one series or of full subgroups; ValueError says what is wrong with them.

    Parameters
    ----------
    x : array_like of float, shape (n,) or (groups, size)
    fewest : int
        Present values that are needed.
    """
    try:
        values = np.asarray(x, dtype=np.float64)
    except ValueError as exc:
        raise ValueError("The subgroups differ in size; give each the same number of values.") from exc
    if values.ndim not in (1, 2):
        raise ValueError(f"Capability takes one series or rows of subgroups, not {values.ndim} dimensions.")
    finite_series(values.ravel())
    if values.ndim == 2 and (values.shape[1] < 2 or np.isnan(values).any()):
        raise ValueError("Subgroups need 2 or more values each, none missing; leave out broken ones.")
    present = values[~np.isnan(values)]
    if len(present) < fewest:
        raise ValueError(f"{len(present)} values tell no capability; give {fewest} or more.")
    if not float(np.ptp(present)) > max(1e-12 * float(np.abs(present).max()), LEAST_SPREAD):
        raise ValueError(
            f"All {len(present)} values are {written(present[0], 6)}; measure with finer steps, or watch the "
            "characteristic as a setting."
        )
    return values
