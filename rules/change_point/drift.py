"""When did the level begin to drift: the most likely last steady shot, and the shots it may have been.

References
----------
Perry, M. B. and Pignatiello, J. J. (2006). Estimation of the change point of a normal process mean with a
linear trend disturbance in SPC. Quality Technology and Quantitative Management 3, 325-334 (known level).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import chi2, f

from rules.change_point.step import check_arguments
from rules.series import finite_series

__all__ = ["Drift", "drift"]

FloatArray = NDArray[np.float64]
FEWEST_UNKNOWN, FEWEST_KNOWN = 4, 2


@dataclass(frozen=True, slots=True)
class Drift:
    """A drift that began once and goes on.

    Parameters
    ----------
    index : int
        Most likely first drifted shot, from 0; the shot before it is the last steady one.
    low, high : int
        The confidence set reaches from ``low`` to ``high``, both included.
    before : float
        Level before the drift, in the unit of the values.
    slope : float
        Change a shot, in the unit of the values.
    last : float
        Fitted level at the last value.
    statistic : float
        Twice the log likelihood ratio of a drift from ``index`` against none.
    """

    index: int
    low: int
    high: int
    before: float
    slope: float
    last: float
    statistic: float


def drift(
    x: ArrayLike,
    *,
    center: float | None = None,
    sigma: float | None = None,
    confidence: float = 0.9,
    phi: float = 0.0,
) -> Drift:
    """Return when a linear drift began, supposing that one did.

    Parameters
    ----------
    x : array_like of float, shape (n,)
        Values in order, up to the signal or beyond; NaN where missing (time goes on).
    center : float, optional
        Level before the drift, where it is known; estimated otherwise.
    sigma : float, optional
        Standard deviation of the values around their level; estimated from the residuals otherwise.
    confidence : float
        Of the set of shots, between 0 and 1.
    phi : float
        Autocorrelation at lag 1; the likelihood is flattened by ``(1 + phi) / (1 - phi)``.

    Returns
    -------
    Drift

    Raises
    ------
    ValueError
        If fewer than 4 values (2 with a known center) are present, or an argument is out of range.

    Notes
    -----
    For each possible last steady shot the slope is fitted by least squares; the place whose fit explains most
    is the estimate. The set projects the joint likelihood region of place and slope (chi-square with two
    degrees of freedom, or twice F where sigma is estimated) on the place: a drift that has only just begun
    leaves place and slope entangled, where one degree of freedom would cover too seldom.

    References
    ----------
    Perry and Pignatiello (2006), as above.
    Feder, P. I. (1975). The log likelihood ratio in segmented regression. Annals of Statistics 3, 84-97.
    """
    check_arguments(sigma, confidence, phi)
    values = finite_series(x)
    present = np.flatnonzero(~np.isnan(values))
    fewest = FEWEST_UNKNOWN if center is None else FEWEST_KNOWN
    if len(present) < fewest:
        raise ValueError(f"{len(present)} values cannot show when a drift began; give {fewest} or more.")
    return _fitted(values[present], present, center=center, sigma=sigma, confidence=confidence, phi=phi)


def _fitted(
    y: FloatArray,
    shots: NDArray[np.intp],
    *,
    center: float | None,
    sigma: float | None,
    confidence: float,
    phi: float,
) -> Drift:
    level = float(y[0]) if center is None else center  # keeps the digits of small changes on a large level
    starts = _last_steady(shots, center)
    gains, slopes = _gains(y - level, shots, starts, known=center is not None)
    best = int(gains.argmax())
    ramp = np.maximum(shots - starts[best], 0).astype(np.float64)
    slope = float(slopes[best])
    before = level + (float(np.mean(y - level - slope * ramp)) if center is None else 0.0)
    left = float(np.sum((y - before - slope * ramp) ** 2))
    freedom = max(len(y) - (2 if center is not None else 3), 1)
    variance = left / freedom if sigma is None else sigma**2
    drop = _drop(confidence, freedom if sigma is None else None) * variance * (1.0 + phi) / (1.0 - phi)
    inside = starts[gains >= gains[best] - max(drop, 1e-12 * gains[best])]
    return Drift(
        index=int(starts[best]) + 1,
        low=int(inside[0]) + 1,
        high=int(inside[-1]) + 1,
        before=before,
        slope=slope,
        last=before + slope * float(ramp[-1]),
        statistic=float(gains[best] / variance) if variance > 0.0 else math.inf,
    )


def _last_steady(shots: NDArray[np.intp], center: float | None) -> NDArray[np.intp]:
    """Shots that may be the last steady one; from -1 where the level is known beforehand.

    With an unknown level one value must stay steady, and two must drift to show a kink.
    """
    if center is not None:
        return np.arange(-1, shots[-1])
    return np.arange(shots[0], shots[-2])


@lru_cache(maxsize=4096)
def _drop(confidence: float, freedom: int | None) -> float:
    quantile = chi2.ppf(confidence, 2) if freedom is None else 2.0 * f.ppf(confidence, 2, freedom)
    return float(quantile)


def _gains(
    away: FloatArray, shots: NDArray[np.intp], starts: NDArray[np.intp], *, known: bool
) -> tuple[FloatArray, FloatArray]:
    """For every last steady shot: squares that a drift from there explains, and its slope.

    Sums over the values after a start come from running totals from the far end, so all starts cost one pass.
    """
    time = (shots - shots[-1]).astype(np.float64)  # counted from the end: small where the sums matter
    first = np.searchsorted(shots, starts, side="right")
    count, times, squares, totals, products = (
        _from_the_end(part)[first] for part in (np.ones_like(time), time, time * time, away, time * away)
    )
    begin = (starts - shots[-1]).astype(np.float64)
    ramps = times - begin * count
    ramp_squares = squares - 2.0 * begin * times + begin * begin * count
    explained = products - begin * totals
    if not known:
        n = len(away)
        explained = explained - ramps * away.sum() / n
        ramp_squares = ramp_squares - ramps * ramps / n
    return explained * explained / ramp_squares, explained / ramp_squares


def _from_the_end(part: FloatArray) -> FloatArray:
    return np.concatenate((np.cumsum(part[::-1])[::-1], [0.0]))
