"""What are mean, range and standard deviation of a subgroup, of as many of its values as are there?

References
----------
ISO 7870-2:2023, Control charts - Part 2: Shewhart control charts (subgroups of equal size).
Montgomery, D. C. (2012). Introduction to Statistical Quality Control, 7th ed., section 6.3 (subgroups of
varying size: each has the limits of its own size). Wiley.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

import numpy as np

from rules.charts.chart import FloatArray

__all__ = ["LARGEST", "SMALLEST", "by_size", "check_size", "counts", "means", "ranges", "standard_deviations"]

SMALLEST, LARGEST = 2, 25  # the sizes ISO 7870-2 tabulates factors for


def check_size(chart: str, n: int) -> None:
    """Raise ValueError unless ``n`` is a size of a subgroup."""
    if not (isinstance(n, int) and SMALLEST <= n <= LARGEST):
        raise ValueError(
            f"The n of the {chart} chart is {n}; give a whole number of values from {SMALLEST} to {LARGEST}."
        )


def counts(rows: FloatArray) -> np.ndarray:
    """Return how many values of each row are there, shape (groups,)."""
    return np.asarray(rows.shape[1] - np.isnan(rows).sum(axis=1))


def means(rows: FloatArray) -> FloatArray:
    """Return the mean of what is there of each row, shape (groups,); NaN where nothing is."""
    total = np.nansum(rows, axis=1)
    return _over(total, counts(rows))


def ranges(rows: FloatArray) -> FloatArray:
    """Return largest less smallest of each row, shape (groups,); NaN with fewer than two values."""
    some = counts(rows) >= SMALLEST
    widest = np.full(len(rows), np.nan)
    widest[some] = np.nanmax(rows[some], axis=1) - np.nanmin(rows[some], axis=1)
    return widest


def standard_deviations(rows: FloatArray) -> FloatArray:
    """Return each row's standard deviation (divisor one less than the number of values), shape (groups,).

    NaN where fewer than two values are there.
    """
    squares = np.nansum((rows - means(rows)[:, None]) ** 2, axis=1)
    return np.sqrt(_over(squares, counts(rows) - 1))


def by_size(constant: Callable[[int], float], sizes: np.ndarray) -> FloatArray:
    """Return a control chart constant for each subgroup's size; NaN below two values.

    Parameters
    ----------
    constant : callable
        ``d2``, ``d3`` or ``c4`` of ``rules.constants``.
    sizes : ndarray of int, shape (groups,)

    Returns
    -------
    ndarray of float64, shape (groups,)
    """
    return np.asarray(_constants(constant)[sizes], dtype=np.float64)


@lru_cache(maxsize=3)
def _constants(constant: Callable[[int], float]) -> FloatArray:
    constants = np.full(LARGEST + 1, np.nan)
    constants[SMALLEST:] = [constant(n) for n in range(SMALLEST, LARGEST + 1)]
    return constants


def _over(total: FloatArray, divisor: np.ndarray) -> FloatArray:
    quotient: FloatArray = np.full(len(total), np.nan)
    np.divide(total, divisor, out=quotient, where=divisor > 0)
    return quotient
