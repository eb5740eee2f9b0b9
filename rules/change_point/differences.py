"""How alike are neighbors, and how far do values spread, where shifts must not count: from differences.

The ratio of squared differences over two shots and over one; shifts and single bad shots touch only a few
differences, and far ones are pulled in.

References
----------
Box, G. E. P., Jenkins, G. M. and Reinsel, G. C. (2008). Time Series Analysis, 4th ed., Wiley, 3.2
(first-order autoregressive process).
Huber, P. J. and Ronchetti, E. M. (2009). Robust Statistics, 2nd ed., Wiley, chapter 5 (pulling in).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rules.series import finite_series

__all__ = ["lag_one_of_differences", "sigma_of_differences"]

FloatArray = NDArray[np.float64]
MEDIAN_TO_SIGMA = 1.482602218505602  # 1 / normal quantile of 3/4
HIGHEST_PHI = 0.9
FARTHEST = 3.0


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
    values = finite_series(x)
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


def sigma_of_differences(values: FloatArray, phi: float) -> float:
    return _spread(np.diff(values)) / math.sqrt(2.0 * (1.0 - phi))
