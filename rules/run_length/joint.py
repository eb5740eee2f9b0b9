"""How long do joint charts with known mean and covariance run: Hotelling's T2 and the MEWMA?

In control, after a shift, and which limit gives a wanted run length. A joint chart sees of a shift only its
size, the Mahalanobis distance of `shift_size`. T2 has a closed form; the MEWMA is an integral equation,
solved in :mod:`rules.run_length.mewma_equation`.

Source: Hotelling (1947) for T2, Rigdon (1995), Runger and Prabhu (1996) for the MEWMA.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import brentq
from scipy.stats import chi2, ncx2

from rules.run_length.ewma import ewma_arl
from rules.run_length.integral import LONGEST, bounded
from rules.run_length.mewma_equation import after_shift, in_control

__all__ = ["mewma_arl", "mewma_limit", "shift_size", "t2_arl", "t2_limit"]

LONGEST_WANTED = 1e9  # a limit for a longer run length would rest on digits that are not there


def shift_size(covariance: ArrayLike, shift: ArrayLike) -> float:
    """Return the size of a shift of the mean vector as joint charts see it.

    Parameters
    ----------
    covariance : array_like of float, shape (p, p)
        Of the rows, in the units of the characteristics.
    shift : array_like of float, shape (p,)
        How far each mean moved, same units.

    Returns
    -------
    float
        Mahalanobis distance ``sqrt(shift' covariance^-1 shift)``.

    Raises
    ------
    ValueError
        If the covariance is singular.

    References
    ----------
    Lowry, C. A., Woodall, W. H., Champ, C. W. and Rigdon, S. E. (1992). A multivariate exponentially weighted
    moving average control chart. Technometrics 34, 46-53 (run lengths depend on this distance alone).
    """
    moved = np.asarray(shift, dtype=np.float64)
    try:
        return math.sqrt(float(moved @ np.linalg.solve(np.asarray(covariance, dtype=np.float64), moved)))
    except np.linalg.LinAlgError as exc:
        raise ValueError(
            "The covariance is singular; leave out a characteristic that follows from the others."
        ) from exc


def t2_arl(*, columns: int, limit: float, shift: float = 0.0) -> float:
    """Return the average run length of a T2 chart of independent normal rows with known parameters.

    Parameters
    ----------
    columns : int
        Number of characteristics.
    limit : float
        Upper limit of T2, above zero.
    shift : float
        Size of the shift, as :func:`shift_size` gives it.

    Returns
    -------
    float
        Mean number of rows up to and including the first signal.

    Raises
    ------
    ValueError
        If a parameter is outside the range above.

    References
    ----------
    Hotelling, H. (1947). Multivariate quality control. In Techniques of Statistical Analysis, 111-184.
    T2 with known parameters is noncentral chi-square with the squared shift as its noncentrality.
    """
    _check(columns, shift)
    _check_limit(limit)
    chance = float(ncx2.sf(limit, columns, shift * shift)) if shift else float(chi2.sf(limit, columns))
    return 1.0 / chance if chance > 0.0 else math.inf


def t2_limit(*, columns: int, arl: float) -> float:
    """Return the limit of T2 that gives a wanted run length in control, parameters known.

    Parameters
    ----------
    columns : int
        Number of characteristics.
    arl : float
        Wanted mean number of rows between false alarms, above 1.

    Returns
    -------
    float

    Raises
    ------
    ValueError
        If a parameter is outside the range above.
    """
    _check(columns, 0.0)
    _check_arl(arl)
    return float(chi2.isf(1.0 / arl, columns))


def mewma_arl(*, columns: int, r: float, limit: float, shift: float = 0.0) -> float:
    """Return the zero-state average run length of a MEWMA chart with asymptotic covariance.

    Parameters
    ----------
    columns : int
        Number of characteristics.
    r : float
        Weight of the newest row, ``0 < r <= 1``; 1 is a T2 chart.
    limit : float
        Upper limit H of the statistic, above zero.
    shift : float
        Size of the shift, as :func:`shift_size` gives it.

    Returns
    -------
    float
        Mean number of rows up to and including the first signal, from an average at center; infinity above
        1e11.

    Raises
    ------
    ValueError
        If a parameter is outside the range above.

    Notes
    -----
    With rows in standard independent coordinates the chart signals when the average leaves a ball of radius
    ``sqrt(limit r / (2 - r))``. In control its distance from the center is itself a Markov process. After a
    shift two coordinates are: along the shift, and across it.

    References
    ----------
    Rigdon, S. E. (1995). An integral equation for the in-control average run length of a multivariate
    exponentially weighted moving average control chart. J. Statistical Computation and Simulation 52,
    351-365.
    Runger, G. C. and Prabhu, S. S. (1996). A Markov chain model for the multivariate exponentially weighted
    moving averages control chart. J. American Statistical Association 91, 1701-1706.
    """
    _check(columns, shift)
    _check_limit(limit)
    _check_weight(r)
    if r == 1.0:
        return t2_arl(columns=columns, limit=limit, shift=shift)
    if columns == 1:
        return ewma_arl(lam=r, width=math.sqrt(limit), shift=shift)
    radius = math.sqrt(limit * r / (2.0 - r))
    longest = in_control(columns, r, radius)
    return bounded(after_shift(columns, r, radius, shift, longest)) if shift else bounded(longest)


@lru_cache(maxsize=256)
def mewma_limit(*, columns: int, r: float, arl: float) -> float:
    """Return the limit H of a MEWMA chart that gives a wanted zero-state run length in control.

    Parameters
    ----------
    columns : int
        Number of characteristics.
    r : float
        Weight of the newest row, ``0 < r <= 1``.
    arl : float
        Wanted mean number of rows between false alarms, above 1, at most 1e9.

    Returns
    -------
    float

    Raises
    ------
    ValueError
        If a parameter is outside the range above.
    """
    _check(columns, 0.0)
    _check_weight(r)
    _check_arl(arl)
    # A T2 chart, which has no memory, needs the highest limit for a run length.
    top = t2_limit(columns=columns, arl=arl)

    def miss(limit: float) -> float:
        return math.log(min(mewma_arl(columns=columns, r=r, limit=limit), LONGEST) / arl)

    if r == 1.0:
        return top
    low = top / 2.0
    while miss(low) > 0.0:
        low /= 2.0
    return float(brentq(miss, low, top, xtol=1e-9))


def _check(columns: int, shift: float) -> None:
    if columns < 1:
        raise ValueError(f"A joint chart of {columns} characteristics is impossible; give 1 or more.")
    if not (math.isfinite(shift) and shift >= 0.0):
        raise ValueError(f"The shift is {shift}; give a Mahalanobis distance of 0 or more.")


def _check_limit(limit: float) -> None:
    if not (math.isfinite(limit) and limit > 0.0):
        raise ValueError(f"The limit is {limit}; give a number above 0, in the unit of T2.")


def _check_weight(r: float) -> None:
    if not 0.0 < r <= 1.0:
        raise ValueError(f"r is {r}; give a weight above 0 and at most 1.")


def _check_arl(arl: float) -> None:
    if not 1.0 < arl <= LONGEST_WANTED:
        raise ValueError(f"A run length of {arl} is wanted; give one above 1, at most {LONGEST_WANTED:.0e}.")
