"""How many may there be? Limits of a count, at a distance in standard deviations or by exact probability.

Limits at three standard deviations take a count for normal. Of small counts they are wrong by far: with a
mean of 0.25 they call one good sample in 38 out of control. Exact limits are set by the probability of the
counts beyond them.

References
----------
ISO 7870-2:2023, Control charts - Part 2: Shewhart control charts (attribute control charts).
Montgomery, D. C. (2012). Introduction to Statistical Quality Control, 7th ed., sections 7.2 and 7.3. Wiley.
Ryan, T. P. (2011). Statistical Methods for Quality Improvement, 3rd ed., chapter 6 (probability limits).
Wiley.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from rules.charts.chart import FloatArray

__all__ = [
    "LARGEST_TAIL",
    "SMALLEST_TAIL",
    "binomial_allowed",
    "check_counts",
    "check_tail",
    "half_counts",
    "poisson_allowed",
]

LARGEST_TAIL = 0.1
SMALLEST_TAIL = 1e-9  # far below, a distribution in floating point loses the count where its tail begins


def binomial_allowed(sizes: ArrayLike, fraction: float, tail: float) -> tuple[FloatArray, FloatArray]:
    """Return the smallest and the largest count that is not too improbable, of samples of given sizes.

    Parameters
    ----------
    sizes : array_like of whole numbers, shape (n,)
    fraction : float
        Fraction nonconforming, above 0 and below 1.
    tail : float
        Largest probability that may lie beyond on each side.

    Returns
    -------
    (ndarray, ndarray) of float64, shape (n,)
        Largest ``l`` with ``P(X < l) <= tail`` and smallest ``u`` with ``P(X > u) <= tail``.
    """
    return _allowed(stats.binom(np.asarray(sizes, dtype=np.float64), fraction), tail)


def poisson_allowed(means: ArrayLike, tail: float) -> tuple[FloatArray, FloatArray]:
    """As :func:`binomial_allowed`, of counts of events with the given means."""
    return _allowed(stats.poisson(np.asarray(means, dtype=np.float64)), tail)


def _allowed(counts: Any, tail: float) -> tuple[FloatArray, FloatArray]:
    # The quantile is the first count that reaches the tail; one that just equals it may still be beyond.
    lowest = counts.ppf(tail)
    lowest = np.where(counts.cdf(lowest) <= tail, lowest + 1, lowest)
    return np.asarray(lowest, dtype=np.float64), np.asarray(counts.isf(tail), dtype=np.float64)


def half_counts(lowest: FloatArray, highest: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return where to draw the limits: half a count outside of what is allowed, so that no count is on one.

    With nothing too few the lower limit is 0, which no count is below.
    """
    return np.where(lowest > 0, lowest - 0.5, 0.0), highest + 0.5


def check_tail(chart: str, tail: float | None) -> None:
    """Raise ValueError unless ``tail`` is None or a small probability."""
    if tail is not None and not SMALLEST_TAIL <= tail <= LARGEST_TAIL:
        raise ValueError(
            f"The tail of the {chart} chart is {tail}; give a probability from {SMALLEST_TAIL:g} to "
            f"{LARGEST_TAIL:g}, or none for limits in standard deviations."
        )


def check_counts(chart: str, counts: FloatArray) -> None:
    """Raise ValueError at the first of ``counts`` that is no whole number, 0 or more; NaN is missing."""
    wrong = (counts < 0) | (counts != np.floor(counts))
    wrong &= ~np.isnan(counts)
    if wrong.any():
        first = int(np.argmax(wrong))
        raise ValueError(
            f"Number {first + 1} given to the {chart} chart is {counts[first]:g}; a count is a whole number, "
            "0 or more."
        )
