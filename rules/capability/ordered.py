"""Do values of any shape fit the tolerance, without supposing one? Indices by ordered values.

References
----------
ISO 22514-2:2017, Statistical methods in process management - Capability and performance - Part 2 (general
geometric method).
Hahn, G. J. and Meeker, W. Q. (1991). Statistical Intervals, Wiley, 5.2 (ordered values as limits for a
quantile).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import binom

from rules.baseline import lag_one
from rules.capability.quantiles import (
    SHARES,
    QuantileCapability,
    QuantileIndices,
    check_confidence,
    indices_of,
)
from rules.capability.rejects import MILLION
from rules.capability.specification import Specification
from rules.capability.spread import checked
from rules.dome.proportion import wilson
from rules.dome.welch import Interval

__all__ = ["FEWEST", "by_order", "quantile_bounds"]

FloatArray = NDArray[np.float64]
FEWEST = math.ceil(1.0 / SHARES[0])  # 741: with fewer not one value is to be expected beyond


def by_order(x: ArrayLike, specification: Specification, *, confidence: float = 0.95) -> QuantileCapability:
    """Return indices from ordered values, supposing no shape at all.

    Parameters
    ----------
    x : array_like of float, shape (n,)
        741 or more values; NaN where missing.
    specification : Specification
        Same unit.
    confidence : float
        Of the intervals, at least.

    Returns
    -------
    QuantileCapability

    Raises
    ------
    ValueError
        If fewer than 741 values are present (not one is then to be expected beyond the outer quantiles), one
        is infinite, all are equal, or ``confidence`` is not between 0 and 1.

    Notes
    -----
    Bounds of the indices combine those of two quantiles, each at half the risk. An outer quantile has an
    outer bound from about 2,700 values on; before that an index has no lower bound but zero.

    References
    ----------
    Hahn and Meeker (1991), 5.2; ISO 22514-2:2017.
    """
    check_confidence(confidence)
    table = checked(x)
    values = np.sort(table[~np.isnan(table)])
    n = len(values)
    if n < FEWEST:
        raise ValueError(
            f"{n} values are too few for the 0.135 % quantile of ordered values, {FEWEST} are needed; "
            "collect more or suppose a family."
        )
    single = [_ordered(values, share, confidence) for share in SHARES]
    joint = [_ordered(values, share, 1.0 - (1.0 - confidence) / 2.0) for share in SHARES]
    middle = indices_of(specification, *(quantile.estimate for quantile in single))
    pp, ppk = _bounds(specification, joint, middle)
    seen = sum(specification.outside(float(value)) for value in values)
    correlation = lag_one(table.ravel())
    return QuantileCapability(
        n=n, method="ordered values", lower_quantile=single[0], median=single[1], upper_quantile=single[2],
        pp=pp, ppl=middle.ppl, ppu=middle.ppu, ppk=ppk,
        rejects_ppm=wilson(seen, n, confidence).times(MILLION), fit_p=None,
        phi=correlation.established, confidence=confidence,
        notes=tuple(_notes(n, single, alike=correlation.is_positive)),
    )  # fmt: skip


def quantile_bounds(ordered: FloatArray, share: float, confidence: float) -> tuple[float, float]:
    """Return ordered values that hold a quantile of any continuous distribution.

    Parameters
    ----------
    ordered : array of float, shape (n,)
        Rising.
    share : float
        Of the distribution below the quantile.
    confidence : float
        At least.

    Returns
    -------
    low, high : float
        Infinite where no value lies far enough out.

    References
    ----------
    Hahn and Meeker (1991), 5.2.
    """
    n, tail = len(ordered), (1.0 - confidence) / 2.0
    below = int(binom.ppf(tail, n, share))
    above = int(binom.ppf(1.0 - tail, n, share)) + 1
    low = float(ordered[below - 1]) if below >= 1 else -math.inf
    return low, float(ordered[above - 1]) if above <= n else math.inf


def _ordered(values: FloatArray, share: float, confidence: float) -> Interval:
    """A quantile, nearly median-unbiased for every shape (Hyndman and Fan 1996, definition 8)."""
    estimate = float(np.quantile(values, share, method="median_unbiased"))
    return Interval(estimate, *quantile_bounds(values, share, confidence))


def _bounds(
    specification: Specification, quantiles: Sequence[Interval], middle: QuantileIndices
) -> tuple[Interval | None, Interval]:
    """Indices are lowest where the quantiles lie farthest apart, or the median nearest to its limit."""
    lower, median, upper = quantiles
    wide = indices_of(specification, lower.low, median.estimate, upper.high)
    tight = indices_of(specification, lower.high, median.estimate, upper.low)
    pp = None
    if middle.pp is not None and wide.pp is not None and tight.pp is not None:
        pp = Interval(middle.pp, wide.pp, tight.pp)
    sides = []
    if specification.low is not None:
        sides.append(_side(median, specification.low, (lower.low, lower.high)))
    if specification.high is not None:
        sides.append(_side(median, specification.high, (upper.high, upper.low)))
    return pp, Interval(middle.ppk, min(low for low, _ in sides), min(high for _, high in sides))


def _side(median: Interval, limit: float, outer: tuple[float, float]) -> tuple[float, float]:
    """Least and greatest (limit - median) / (quantile - median) over the bounds of median and quantile."""
    corners = [
        (limit - m) / (q - m) if math.isfinite(q) else 0.0 for m in (median.low, median.high) for q in outer
    ]
    return min(corners), max(corners)


def _notes(n: int, quantiles: Sequence[Interval], *, alike: bool) -> Iterator[str]:
    if not (math.isfinite(quantiles[0].low) and math.isfinite(quantiles[2].high)):
        yield f"{n} values put no bound beyond an outer quantile; the indices may lie anywhere down to zero."
    if alike:
        yield "Neighbors are alike; the intervals suppose independent values and are too narrow."
