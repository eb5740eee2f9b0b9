"""How long does a MEWMA chart run? The integral equations, in control and after a shift.

In control one variable tells all, the distance of the average from the center; after a shift two do, along it
and across it. Both are solved on Gauss-Legendre points, the second in place of a Markov chain.

References
----------
Rigdon, S. E. (1995). An integral equation for the in-control average run length of a multivariate
exponentially weighted moving average control chart. J. Statistical Computation and Simulation 52, 351-365.
Runger, G. C. and Prabhu, S. S. (1996). A Markov chain model for the multivariate exponentially weighted
moving averages control chart. J. American Statistical Association 91, 1701-1706.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.polynomial import legendre
from numpy.typing import NDArray
from scipy.sparse.linalg import LinearOperator, gmres
from scipy.special import ive
from scipy.stats import chi

from rules.run_length.integral import LONGEST, density, gauss

__all__ = ["after_shift", "in_control"]

FloatArray = NDArray[np.float64]


def in_control(columns: int, r: float, radius: float) -> float:
    """Return the run length of a MEWMA chart in control.

    Solves ``L(a) = 1 + integral of L(b) f(b | a) db`` over the distances b inside the limit (Rigdon 1995).

    Parameters
    ----------
    columns : int
        Number of characteristics, 2 or more.
    r : float
        Weight of the newest row, above 0 and below 1.
    radius : float
        Distance from center beyond which the average signals, in standard coordinates.
    """
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


def after_shift(columns: int, r: float, radius: float, shift: float, longest: float) -> float:
    """Return the run length after a shift, by the coordinates along and across it (Runger and Prabhu 1996).

    The half disc of averages inside the limit is cut across the shift. Along it, points are sines of
    Gauss-Legendre angles, since the length of a cut ends like a root. Across it, run lengths are held on
    points common to all cuts, and read inside each cut from their polynomial. ``longest`` is the run length
    in control, which a shift only shortens: rounding leaves a residual of some 1e-16 of it, and the relative
    error of the run length is about the residual.

    Parameters
    ----------
    columns, r, radius
        As in :func:`in_control`.
    shift : float
        Its size, above zero.
    longest : float

    Raises
    ------
    ArithmeticError
        If the equation does not converge.
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
