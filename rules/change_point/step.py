"""When did the level shift, once and for good: the most likely first shot, and the shots it may have been.

References
----------
Hinkley, D. V. (1970). Inference about the change-point in a sequence of random variables. Biometrika 57,
1-17.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rules.series import finite_series

__all__ = ["ChangePoint", "check_arguments", "step"]

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ChangePoint:
    """One lasting shift.

    Parameters
    ----------
    index : int
        Most likely first shot of the new level, from 0.
    low, high : int
        The confidence set reaches from ``low`` to ``high``, both included.
    before, after : float
        Levels on both sides, in the unit of the values.
    statistic : float
        Twice the log likelihood ratio of a shift at ``index`` against none, for the given or estimated sigma.
    """

    index: int
    low: int
    high: int
    before: float
    after: float
    statistic: float


def step(
    x: ArrayLike,
    *,
    center: float | None = None,
    sigma: float | None = None,
    confidence: float = 0.9,
    phi: float = 0.0,
) -> ChangePoint:
    """Return when the mean shifted, supposing that it did, once and for good.

    Parameters
    ----------
    x : array_like of float, shape (n,)
        Values in order, up to the signal or beyond; NaN where missing.
    center : float, optional
        Level before the shift, where it is known; estimated otherwise.
    sigma : float, optional
        Standard deviation of the values around their level; estimated from the residuals otherwise.
    confidence : float
        Of the set of shots, between 0 and 1.
    phi : float
        Autocorrelation at lag 1; the likelihood is flattened by ``(1 + phi) / (1 - phi)``.

    Returns
    -------
    ChangePoint

    Raises
    ------
    ValueError
        If fewer than 3 values (1 with a known center) are present, or an argument is out of range.

    Notes
    -----
    The set holds every shot whose log likelihood is within ``-ln(1 - sqrt(confidence))`` of the greatest:
    seen from the true shot the likelihood walks downhill on both sides, and the highest point of either walk
    is exponential but for its overshoot, so the set errs on the wide side.

    References
    ----------
    Hinkley, D. V. (1970). Inference about the change-point in a sequence of random variables. Biometrika 57,
    1-17.
    Siegmund, D. (1986). Boundary crossing probabilities and statistical applications. Annals of Statistics
    14, 361-404 (confidence sets).
    Samuel, T. R., Pignatiello, J. J. and Calvin, J. A. (1998). Identifying the time of a step change with
    X-bar control charts. Quality Engineering 10, 521-527 (known level before the shift).
    """
    check_arguments(sigma, confidence, phi)
    values = finite_series(x)
    present = np.flatnonzero(~np.isnan(values))
    if len(present) < (3 if center is None else 1):
        raise ValueError(f"{len(present)} values cannot show when a shift began; give 3 or more.")
    gains, befores, afters = _gains(values[present], center)
    best = int(gains.argmax())
    left = _residual_square(values[present], befores[best], afters[best], best, center)
    variance = sigma**2 if sigma is not None else left / max(len(present) - 2, 1)
    drop = -2.0 * math.log1p(-math.sqrt(confidence)) * variance * (1.0 + phi) / (1.0 - phi)
    inside = np.flatnonzero(gains >= gains[best] - max(drop, 1e-12 * gains[best]))
    # With an unknown level before, at least one value must stay there.
    first = present[int(center is None) :]
    statistic = float(gains[best] / variance) if variance > 0.0 else math.inf
    return ChangePoint(
        int(first[best]),
        int(first[inside[0]]),
        int(first[inside[-1]]),
        float(befores[best]),
        float(afters[best]),
        statistic,
    )


def check_arguments(sigma: float | None, confidence: float, phi: float) -> None:
    """Raise ValueError for a sigma, confidence or phi out of range."""
    if sigma is not None and not (math.isfinite(sigma) and sigma > 0.0):
        raise ValueError(f"sigma is {sigma}; give a number above 0.")
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"The confidence is {confidence}; give a number between 0 and 1.")
    if not 0.0 <= phi < 1.0:
        raise ValueError(f"phi is {phi}; give an autocorrelation of 0 or more, below 1.")


def _gains(values: FloatArray, center: float | None) -> tuple[FloatArray, FloatArray, FloatArray]:
    """For every place of the shift: squares that it explains, and the levels before and after."""
    n = len(values)
    shifted = values - values[0]  # keeps the digits of small differences on a large level
    totals = np.concatenate(([0.0], np.cumsum(shifted)))
    if center is not None:
        counts = np.arange(n)
        afters = (totals[n] - totals[:n]) / (n - counts) + values[0]
        return (n - counts) * (afters - center) ** 2, np.full(n, center), afters
    counts = np.arange(1, n)
    befores, afters = totals[1:n] / counts, (totals[n] - totals[1:n]) / (n - counts)
    gains = counts * (n - counts) / n * (befores - afters) ** 2
    return gains, befores + values[0], afters + values[0]


def _residual_square(
    values: FloatArray, before: float, after: float, best: int, center: float | None
) -> float:
    split = best if center is not None else best + 1
    return float(np.sum((values[:split] - before) ** 2) + np.sum((values[split:] - after) ** 2))
