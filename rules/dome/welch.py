"""How far apart are two means of unequal spread, within runs where there are several?

Discs of one run resemble one another more than discs of two runs, and two molds have two usual domes.
So each run is compared with itself, and the runs' differences are put together. With one run this is
Welch's interval.

References
----------
Welch, B. L. (1947). The generalization of "Student's" problem when several different population
variances are involved. Biometrika 34, 28-35.
Satterthwaite, F. E. (1946). An approximate distribution of estimates of variance components.
Biometrics Bulletin 2, 110-114.
Cochran, W. G. (1954). Some methods for strengthening the common chi-square tests. Biometrics 10,
417-451 (the weights).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

FloatArray = npt.NDArray[np.float64]
Pair = tuple[FloatArray, FloatArray]


@dataclass(frozen=True, slots=True)
class Interval:
    """An estimate with its confidence interval, in the unit of the values."""

    estimate: float
    low: float
    high: float

    @property
    def excludes_zero(self) -> bool:
        """Whether every value in the interval has the same sign."""
        return self.low > 0 or self.high < 0

    def times(self, factor: float) -> Interval:
        """The same interval in a unit that is `factor` times smaller; `factor` not negative."""
        return Interval(self.estimate * factor, self.low * factor, self.high * factor)


def mean_difference(pairs: Sequence[Pair], confidence: float = 0.95) -> Interval:
    """Mean of the first samples minus mean of the second, with its interval.

    Parameters
    ----------
    pairs : sequence of (array, array)
        One pair of samples a run, each sample with at least two values.
    confidence : float
        Between 0 and 1.

    Returns
    -------
    Interval
        Weighted over the pairs by n m / (n + m).

    Raises
    ------
    ValueError
        When there is no pair, or a sample has fewer than two values.
    """
    if not pairs or any(min(len(first), len(second)) < 2 for first, second in pairs):
        raise ValueError("a difference of means needs pairs of samples with at least two values each")
    weights = np.array([len(a) * len(b) / (len(a) + len(b)) for a, b in pairs])
    weights /= weights.sum()
    differences = np.array([a.mean() - b.mean() for a, b in pairs])
    estimate = float(weights @ differences)
    variance, freedom = _variance(pairs, weights)
    half = _quantile(confidence, freedom) * math.sqrt(variance)
    return Interval(estimate, estimate - half, estimate + half)


def mean(sample: FloatArray, confidence: float = 0.95) -> Interval:
    """Mean of one sample with Student's interval.

    Raises
    ------
    ValueError
        When the sample has fewer than two values.
    """
    n = len(sample)
    if n < 2:
        raise ValueError("the interval of a mean needs at least two values")
    half = _quantile(confidence, n - 1) * float(sample.std(ddof=1)) / math.sqrt(n)
    center = float(sample.mean())
    return Interval(center, center - half, center + half)


def _variance(pairs: Sequence[Pair], weights: FloatArray) -> tuple[float, float]:
    """Variance of the weighted difference and its approximate degrees of freedom (Satterthwaite)."""
    parts, freedoms = [], []
    for weight, pair in zip(weights, pairs, strict=True):
        for sample in pair:
            parts.append(weight**2 * float(sample.var(ddof=1)) / len(sample))
            freedoms.append(len(sample) - 1)
    variance = sum(parts)
    if variance == 0:
        return 0.0, float(sum(freedoms))
    return variance, variance**2 / sum(part**2 / n for part, n in zip(parts, freedoms, strict=True))


def _quantile(confidence: float, freedom: float) -> float:
    return float(special.stdtrit(freedom, (1 + confidence) / 2))
