"""When did it shift: the most likely first shot of a new level, and the shots it may have been."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import ruptures
from numpy.typing import ArrayLike, NDArray

__all__ = ["ChangePoint", "lag_one_of_differences", "many", "penalty_of", "step"]

FloatArray = NDArray[np.float64]
SHORTEST_SEGMENT = 3
MOST_SEARCHED = 5000  # the search takes time with the square of this: 0.05 s
MEDIAN_TO_SIGMA = 1.482602218505602  # 1 / normal quantile of 3/4
HIGHEST_PHI = 0.9
FARTHEST = 3.0


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
    _check_step(sigma, confidence, phi)
    values = np.asarray(x, dtype=np.float64)
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


def _check_step(sigma: float | None, confidence: float, phi: float) -> None:
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


def many(x: ArrayLike, *, sigma: float | None = None, phi: float | None = None) -> list[ChangePoint]:
    """Return all lasting shifts of the mean.

    Parameters
    ----------
    x : array_like of float, shape (n,)
        Values in order; NaN where missing.
    sigma : float, optional
        Standard deviation of the values around their level; from differences of neighbors otherwise.
    phi : float, optional
        Autocorrelation at lag 1; from differences otherwise, which a shift hardly touches.

    Returns
    -------
    list of ChangePoint
        In order. Each confidence set comes from the stretch between its neighbors. Empty for fewer than 6
        values or values that do not vary.

    Raises
    ------
    ValueError
        If ``sigma`` is not above zero or ``phi`` not from 0 to below 1.

    Notes
    -----
    Exact minimum of squared distances from piecewise levels plus a penalty a shift (the pruned search of the
    second source). :func:`penalty_of` gives the penalty and its reason.

    References
    ----------
    Killick, R., Fearnhead, P. and Eckley, I. A. (2012). Optimal detection of changepoints with a linear
    computational cost. J. American Statistical Association 107, 1590-1598.
    Truong, C., Oudre, L. and Vayatis, N. (2020). Selective review of offline change point detection methods.
    Signal Processing 167, 107299 (the library).
    """
    _check_step(sigma, 0.5, 0.0 if phi is None else phi)
    values = np.asarray(x, dtype=np.float64)
    present = np.flatnonzero(~np.isnan(values))
    kept = values[present]
    if len(kept) < 2 * SHORTEST_SEGMENT:
        return []
    near = lag_one_of_differences(kept) if phi is None else phi
    spread = _sigma_of_differences(kept, near) if sigma is None else sigma
    if not spread > 0.0:
        return []
    return _with_sets(kept, present, [0, *_ends((kept - kept.mean()) / spread, near)], spread, near)


def _ends(z: FloatArray, phi: float) -> list[int]:
    """Ends of all stretches; a long series is searched by means of blocks and each find then by its shots."""
    block = math.ceil(len(z) / MOST_SEARCHED)
    whole = len(z) // block * block
    means = z[:whole].reshape(-1, block).mean(axis=1)
    search = ruptures.KernelCPD(kernel="linear", min_size=SHORTEST_SEGMENT)
    # A mean of a block carries the squares of its shots but for the factor.
    places = search.fit(means).predict(pen=penalty_of(len(z), 1.0, phi) / block)[:-1]
    if block == 1:
        return [*places, len(z)]
    return [*(_refined(z, place * block, SHORTEST_SEGMENT * block) for place in places), len(z)]


def _refined(z: FloatArray, place: int, reach: int) -> int:
    start = max(place - reach, 0)
    return start + step(z[start : place + reach]).index


def penalty_of(n: int, sigma: float, phi: float = 0.0) -> float:
    """Return how many squares a shift must explain to count.

    Parameters
    ----------
    n : int
        Number of values.
    sigma : float
        Standard deviation around the level.
    phi : float
        Autocorrelation at lag 1.

    Returns
    -------
    float
        ``3 ln(n) sigma^2 (1 + phi) / (1 - phi)``: a level and a place cost three half log n in the modified
        Bayes criterion, and correlated values wander as far as independent ones of that larger variance.

    References
    ----------
    Zhang, N. R. and Siegmund, D. O. (2007). A modified Bayes information criterion with applications to the
    analysis of comparative genomic hybridization data. Biometrics 63, 22-32.
    """
    return 3.0 * math.log(n) * sigma**2 * (1.0 + phi) / (1.0 - phi)


def lag_one_of_differences(x: ArrayLike) -> float:
    """Return the autocorrelation at lag 1 from differences, which single shifts hardly touch.

    Parameters
    ----------
    x : array_like of float, shape (n,)
        Values in order, none missing.

    Returns
    -------
    float
        Between 0 and 0.9; 0 where too few values tell.

    Notes
    -----
    For an autoregressive process of order one the squares of differences over two shots and over one have the
    ratio ``1 + phi``. Differences beyond three standard deviations (shifts, single bad shots) are pulled in.
    """
    values = np.asarray(x, dtype=np.float64)
    if len(values) < 20:
        return 0.0
    one, two = _spread(np.diff(values)), _spread(values[2:] - values[:-2])
    return min(max((two / one) ** 2 - 1.0, 0.0), HIGHEST_PHI) if one > 0.0 else 0.0


def _spread(differences: FloatArray) -> float:
    """Standard deviation of differences around zero, with far ones pulled in to three of their own."""
    sizes = np.abs(differences)
    typical = MEDIAN_TO_SIGMA * float(np.median(sizes))
    if typical > 0.0:
        sizes = np.minimum(sizes, FARTHEST * typical)
    return math.sqrt(float(np.mean(sizes**2)))


def _sigma_of_differences(values: FloatArray, phi: float) -> float:
    return _spread(np.diff(values)) / math.sqrt(2.0 * (1.0 - phi))


def _with_sets(
    kept: FloatArray, present: NDArray[np.intp], bounds: list[int], sigma: float, phi: float
) -> list[ChangePoint]:
    """Give each shift its confidence set, from the two levels it separates."""
    found = []
    for start, place, end in zip(bounds, bounds[1:-1], bounds[2:], strict=False):
        one = step(kept[start:end], sigma=sigma, phi=phi)
        before, after = float(kept[start:place].mean()), float(kept[place:end].mean())
        low, high = min(start + one.low, place), max(start + one.high, place)
        found.append(
            ChangePoint(
                int(present[place]), int(present[low]), int(present[high]), before, after, one.statistic
            )
        )
    return found
