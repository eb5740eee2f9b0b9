"""How far apart are two small samples, by ranks? Exact for few discs, whatever their distribution.

The estimate is the median of all differences between a value of the first and a value of the second
sample of the same run; the interval is cut from the same ordered differences at exact counts.

References
----------
Hodges, J. L. and Lehmann, E. L. (1963). Estimates of location based on rank tests. Annals of
Mathematical Statistics 34, 598-611.
Moses, L. E., in Walker, H. M. and Lev, J. (1953). Statistical Inference, Holt, New York, chapter 18.
van Elteren, P. H. (1960). On the combination of independent two-sample tests of Wilcoxon. Bulletin of
the International Statistical Institute 37, 351-361 (several strata).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from rules.dome.welch import FloatArray, Interval, Pair

LARGEST = 40  # per sample: above it means are the better choice, and counting all orders takes long


def location_difference(pairs: Sequence[Pair], confidence: float = 0.95) -> Interval | None:
    """Median of the pairwise differences with its exact interval.

    Parameters
    ----------
    pairs : sequence of (array, array)
        One pair of samples a run, up to `LARGEST` values a sample.
    confidence : float
        At least this confidence is reached; the steps of the exact distribution may give more.

    Returns
    -------
    Interval or None
        None when so few values cannot give an interval of this confidence.

    Raises
    ------
    ValueError
        When a sample is empty or longer than `LARGEST`.
    """
    sizes = [(len(first), len(second)) for first, second in pairs]
    if not sizes or any(not 0 < size <= LARGEST for both in sizes for size in both):
        raise ValueError(f"a difference by ranks needs samples of 1 to {LARGEST} values")
    differences = np.sort(np.concatenate([np.subtract.outer(a, b).ravel() for a, b in pairs]))
    tail = np.cumsum(rank_sum_distribution(sizes))
    below = int(np.searchsorted(tail, (1 - confidence) / 2, side="right"))
    if below == 0:
        return None
    estimate = float(np.median(differences))
    return Interval(estimate, float(differences[below - 1]), float(differences[-below]))


def rank_sum_distribution(sizes: Sequence[tuple[int, int]]) -> FloatArray:
    """Chances of each number of pairs in the "wrong" order when both samples come from one source.

    Parameters
    ----------
    sizes : sequence of (int, int)
        Sizes of the two samples, one pair a run; runs add up.

    Returns
    -------
    array of float
        Chance of 0, 1, ... sum of n m such pairs, without ties.
    """
    chances = np.ones(1)
    for n, m in sizes:
        chances = np.convolve(chances, _one(n, m))
    return chances


def _one(n: int, m: int) -> FloatArray:
    """Mann-Whitney distribution of one pair, from the Gaussian binomial coefficient's factors."""
    counts = np.zeros(n * m + 1)
    counts[0] = 1.0
    for step in range(1, n + 1):
        counts = _times_one_minus(counts, m + step)
        counts = _over_one_minus(counts, step)
        counts /= (m + step) / step  # keeps the sum at 1, so that large samples do not overflow
    return counts


def _times_one_minus(counts: FloatArray, power: int) -> FloatArray:
    """Coefficients of the polynomial times (1 - q**power)."""
    product = counts.copy()
    product[power:] -= counts[: max(len(counts) - power, 0)]
    return product


def _over_one_minus(counts: FloatArray, power: int) -> FloatArray:
    """Coefficients of the polynomial over (1 - q**power): a running sum in steps of `power`."""
    quotient = counts.copy()
    for start in range(power):
        quotient[start::power] = np.cumsum(quotient[start::power])
    return quotient
