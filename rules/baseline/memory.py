"""How long values remember: whether lag 1 tells all of it, and how many independent shots they are worth.

Source: Ljung and Box (1978) for what an autoregressive process of order one leaves over; Madras and Sokal
(1988) for the integrated autocorrelation time.
"""

from __future__ import annotations

import math
import warnings
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from statsmodels.stats.diagnostic import acorr_ljungbox

from rules.baseline.autocorrelation import Autocorrelation
from rules.series import finite_series

__all__ = ["Memory", "integrated_time", "memory_of", "residuals"]

FloatArray = NDArray[np.float64]
LAGS = 10
ALPHA = 0.01
WINDOW = 5.0  # the sum of correlations ends at so many times itself, as in the source
FEWEST = 50  # below, neither test says anything


@dataclass(frozen=True, slots=True)
class Memory:
    """What is known of the memory beyond lag 1.

    Parameters
    ----------
    p : float
        Ljung-Box test of the residuals of an autoregressive process of order one, 10 lags; NaN where too few
        values tell.
    is_enough : bool
        Whether such a process accounts for the memory.
    time : float
        Shots that are worth one independent shot: the larger of ``(1 + phi) / (1 - phi)`` and, where lag 1 is
        not enough and the values show it beyond doubt, the integrated autocorrelation time. At least 1.
    phi : float
        The autocorrelation at lag 1 of an autoregressive process with this memory, 0 to 0.99; for limits.
    """

    p: float
    is_enough: bool
    time: float
    phi: float


def residuals(x: ArrayLike, phi: float) -> FloatArray:
    """Return what each value differs from what its neighbor before foretold, ``d(i) - phi d(i - 1)``.

    Parameters
    ----------
    x : array_like of float, shape (n,)
        Values in order; NaN where missing.
    phi : float
        Autocorrelation at lag 1.

    Returns
    -------
    ndarray of float64, shape (n,)
        Residuals around the mean, in the unit of the values; NaN at the first value and where either is
        missing. With ``phi`` 0 the distances from the mean.
    """
    values = finite_series(x)
    if not (~np.isnan(values)).any():
        return values.copy()
    away = values - np.nanmean(values)
    if phi == 0.0:
        return np.asarray(away, dtype=np.float64)
    left = np.full(len(values), np.nan)
    left[1:] = away[1:] - phi * away[:-1]
    return left


def integrated_time(x: ArrayLike) -> tuple[float, float]:
    """Return how many shots are worth one independent shot, without supposing a model, and its error.

    Parameters
    ----------
    x : array_like of float, shape (n,)
        Values in order, none missing.

    Returns
    -------
    time, error : float
        ``1 + 2 (r1 + r2 + ...)`` up to the first lag that is five times the sum so far, and its standard
        error. Both NaN where fewer than two values, or values that do not vary, tell nothing.

    References
    ----------
    Madras, N. and Sokal, A. D. (1988). The pivot algorithm: a highly efficient Monte Carlo method for the
    self-avoiding walk. J. Statistical Physics 50, 109-186 (appendix C).
    """
    values = finite_series(x)
    n = len(values)
    if n < 2:
        return math.nan, math.nan
    away = values - values.mean()
    square = float(away @ away)
    if square <= 1e-24 * n * float(np.abs(values).max()) ** 2:
        return math.nan, math.nan
    spectrum = np.fft.rfft(away, 2 * n)
    correlations = np.fft.irfft(spectrum * np.conj(spectrum))[:n] / square
    times = 2.0 * np.cumsum(correlations) - 1.0
    ends = np.flatnonzero(np.arange(n) >= WINDOW * times)
    end = int(ends[0]) if len(ends) else n - 1
    time = float(times[end])
    return time, abs(time) * math.sqrt((4.0 * end + 2.0) / n)


def memory_of(x: ArrayLike, correlation: Autocorrelation) -> Memory:
    """Ask whether the autocorrelation at lag 1 accounts for the memory of the values.

    Parameters
    ----------
    x : array_like of float, shape (n,)
        Steady values in order; missing ones are closed up.
    correlation : Autocorrelation
        Of the same values.

    Returns
    -------
    Memory

    Notes
    -----
    A slow wander under the noise of single shots shows little at lag 1 and much at all lags together.
    Averages of such values scatter by the integrated time, and limits set from lag 1 alone would cry wolf, so
    the longer memory counts where the test rejects the simple one and the difference is two standard errors.

    References
    ----------
    Ljung, G. M. and Box, G. E. P. (1978). On a measure of lack of fit in time series models. Biometrika 65,
    297-303.
    """
    values = finite_series(x)
    present = values[~np.isnan(values)]
    phi = correlation.established
    simple = (1.0 + phi) / (1.0 - phi)
    if len(present) < FEWEST or np.ptp(present) <= 1e-12 * float(np.abs(present).max()):
        return Memory(p=math.nan, is_enough=True, time=simple, phi=phi)
    p = _ljung_box(present, correlation.phi)
    if p >= ALPHA:
        return Memory(p=p, is_enough=True, time=simple, phi=phi)
    time, error = integrated_time(present)
    if time - 2.0 * error > simple:
        return Memory(p=p, is_enough=False, time=time, phi=min((time - 1.0) / (time + 1.0), 0.99))
    return Memory(p=p, is_enough=False, time=simple, phi=phi)


def _ljung_box(present: FloatArray, phi: float) -> float:
    left = residuals(present, phi)
    left = left[~np.isnan(left)]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # residuals that are all alike
        table = acorr_ljungbox(left, lags=[LAGS], model_df=1)
    p = float(table["lb_pvalue"].iloc[0])
    return 1.0 if math.isnan(p) else p
