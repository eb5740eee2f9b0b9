"""How long do joint charts with known mean and covariance run: Hotelling's T2 and the MEWMA?

In control, after a shift, and which limit gives a wanted run length. A joint chart sees of a shift only its
size, the Mahalanobis distance of `shift_size`. T2 has a closed form; the MEWMA is an integral equation in one
variable in control and in two after a shift (the two coordinates of Runger and Prabhu,
solved on Gauss-Legendre points in place of their Markov chain).

Source: Hotelling (1947) for T2, Rigdon (1995), Runger and Prabhu (1996) for the MEWMA.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.polynomial import legendre
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq
from scipy.sparse.linalg import LinearOperator, gmres
from scipy.special import ive
from scipy.stats import chi, chi2, ncx2

from rules.run_length.ewma import ewma_arl
from rules.run_length.integral import LONGEST, bounded, density, gauss

__all__ = ["mewma_arl", "mewma_limit", "shift_size", "t2_arl", "t2_limit"]

FloatArray = NDArray[np.float64]
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
    longest = _in_control(columns, r, radius)
    return bounded(_shifted(columns, r, radius, shift, longest)) if shift else bounded(longest)


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


def _in_control(columns: int, r: float, radius: float) -> float:
    """Solve ``L(a) = 1 + integral of L(b) f(b | a) db`` over the distances b inside the limit."""
    nodes, weights = gauss(int(32 + 5 * radius / r), 0.0, radius)
    kernel = weights * _distance_density(nodes, (1.0 - r) * nodes, r, columns)
    lengths = np.linalg.solve(np.eye(len(nodes)) - kernel, np.ones(len(nodes)))
    return float(1.0 + (weights * chi.pdf(nodes / r, columns) / r) @ lengths)


def _distance_density(distance: FloatArray, center: FloatArray, spread: float, dimension: int) -> FloatArray:
    """Density of the distance from zero of a normal point, shape (centers, distances).

    The point has ``dimension`` independent coordinates of standard deviation ``spread`` about a point that is
    itself at distance ``center``, above zero: the root of a noncentral chi-square variable.
    """
    far, near = distance / spread, center[:, None] / spread
    if dimension == 1:
        return (density(far - near) + density(far + near)) / spread
    order = dimension / 2.0 - 1.0
    bell = far * np.exp(-0.5 * (far - near) ** 2) / spread
    return np.asarray((far / near) ** order * bell * ive(order, far * near), dtype=np.float64)


def _shifted(columns: int, r: float, radius: float, shift: float, longest: float) -> float:
    """Solve the equation in the coordinates along and across the shift.

    The half disc of averages inside the limit is cut across the shift. Along it, points are sines of
    Gauss-Legendre angles, since the length of a cut ends like a root. Across it, run lengths are held on
    points common to all cuts, and read inside each cut from their polynomial. ``longest`` is the run length
    in control, which a shift only shortens: rounding leaves a residual of some 1e-16 of it, and the relative
    error of the run length is about the residual.
    """
    angles, turns = gauss(int(24 + 6 * radius / r), -math.pi / 2.0, math.pi / 2.0)
    along, steps = radius * np.sin(angles), turns * radius * np.cos(angles)
    drift = (1.0 - r) * along + r * shift
    move = steps * density((along - drift[:, None]) / r) / r
    size = int(24 + 3 * radius / r)
    half = np.sqrt(radius**2 - along[: (len(along) + 1) // 2] ** 2)  # cuts before and behind are alike
    across, from_zero = (
        np.concatenate((part, part[: len(along) // 2][::-1]))
        for part in _across(columns - 1, r, radius, half, size)
    )
    shape = (len(along), size)

    def remaining(flat: FloatArray) -> FloatArray:
        lengths = flat.reshape(shape)
        inside = np.matmul(across, lengths[:, :, None])[:, :, 0]
        return np.asarray((lengths - move @ inside).ravel(), dtype=np.float64)

    operator = LinearOperator((shape[0] * size,) * 2, matvec=remaining, dtype=np.float64)
    beyond = not 0.0 < longest < LONGEST
    rest = 1e-4 if beyond else 1e-14 * longest
    flat, failed = gmres(operator, np.ones(shape[0] * size), rtol=max(1e-11, rest), restart=100, maxiter=3)
    if failed and beyond:
        return math.inf
    if failed:
        raise ArithmeticError(f"The run length of the MEWMA chart did not converge at r = {r}.")
    start = steps * density((along - r * shift) / r) / r
    return float(1.0 + start @ (from_zero * flat.reshape(shape)).sum(axis=1))


def _across(
    dimension: int, r: float, radius: float, ends: FloatArray, size: int
) -> tuple[FloatArray, FloatArray]:
    """Return what one step across the shift does, per cut: from each common point, and from zero.

    Shapes (cuts, size, size) and (cuts, size): weights on the run lengths at the common points.
    """
    nodes, _ = gauss(size, 0.0, radius)
    unit, unit_weights = gauss(size, 0.0, 1.0)
    points, weights = ends[:, None] * unit, ends[:, None] * unit_weights
    read = np.linalg.inv(legendre.legvander(2.0 * nodes / radius - 1.0, size - 1))
    basis = legendre.legvander(2.0 * points / radius - 1.0, size - 1) @ read
    chances = _distance_density(points.ravel(), (1.0 - r) * nodes, r, dimension)
    chances = chances.reshape(size, *points.shape).transpose(1, 0, 2) * weights[:, None, :]
    begin = weights * chi.pdf(points / r, dimension) / r
    return chances @ basis, np.einsum("iq,iqm->im", begin, basis)
