"""Where a run becomes steady: the first shots differ from the later level and are left out of a baseline.

Our own rule, by medians of five; dropping a fixed number of shots is common practice, no source.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rules.series import finite_series

__all__ = ["LONGEST_STARTUP", "first_steady_index"]

FloatArray = NDArray[np.float64]
LONGEST_STARTUP = 60
REFERENCE = 120  # values after the longest startup that define the later level
WINDOW = 5
IN_A_ROW = 5
DISTANCE = 4.0  # sigma of a median of five; beyond, the level differs
FEWEST = 20
MAD_TO_SIGMA = 1.482602218505602  # 1 / normal quantile of 3/4
MEDIAN_OF_FIVE = 0.5355  # standard deviation of the median of five normal values, in sigma


def first_steady_index(x: ArrayLike, *, longest: int = LONGEST_STARTUP) -> int:
    """Return the index of the first value at the later level.

    Medians of five neighboring values are compared with the level and spread of the values that follow the
    longest possible startup (or of the second half of a short series). The run is steady from the first value
    at which five such medians in a row are within four standard deviations of that level. A median of five
    passes over single bad shots; a slow wander of the level widens the spread and so is no startup.

    Parameters
    ----------
    x : array_like of float, shape (n,)
        Values in the order of the shots; NaN where missing.
    longest : int
        Startup is looked for within so many shots.

    Returns
    -------
    int
        0 where nothing stands out, or where fewer than 20 values leave nothing to compare with; at most
        ``longest`` and at most n / 2.

    Raises
    ------
    ValueError
        If ``longest`` is negative.

    Notes
    -----
    Our own rule (common practice, no source, is to drop a fixed number of shots). The standard deviation of a
    median of five normal values is 0.5355 sigma (order statistics, by integration).
    """
    if longest < 0:
        raise ValueError(f"A startup of at most {longest} shots is impossible; give 0 or more.")
    values = finite_series(x)
    if np.count_nonzero(~np.isnan(values)) < FEWEST:
        return 0
    end = min(longest, len(values) // 2)
    medians = _medians(values)
    level, spread = _later_level(values, medians, end)
    steady = ~(
        np.abs(medians[: end + IN_A_ROW] - level) > DISTANCE * spread
    )  # a missing median is no evidence
    for index in range(end):
        if steady[index : index + IN_A_ROW].all():
            return min(index + WINDOW // 2, end) if index else 0  # the middle of the first steady window
    return end


def _medians(values: FloatArray) -> FloatArray:
    """Median of each value and the four after it; missing values left out."""
    windows = np.lib.stride_tricks.sliding_window_view(values, WINDOW)
    medians = np.full(len(windows), np.nan)
    known = ~np.isnan(windows).all(axis=1)
    medians[known] = np.nanmedian(windows[known], axis=1)
    return medians


def _later_level(values: FloatArray, medians: FloatArray, end: int) -> tuple[float, float]:
    """Level of what follows, and the standard deviation of a median of five around it."""
    later = values[end : end + REFERENCE]
    level = float(np.nanmedian(later))
    single = MAD_TO_SIGMA * float(np.nanmedian(np.abs(later - level)))
    wander = MAD_TO_SIGMA * float(np.nanmedian(np.abs(medians[end : end + REFERENCE] - level)))
    # Rounding to a few steps can make both zero: then any difference from the level counts.
    return level, max(MEDIAN_OF_FIVE * single, wander, 1e-12 * math.fabs(level))
