"""What do the integral equations of run lengths share? Points, densities, and the bound of double precision.

References
----------
Crowder, S. V. (1987). A simple method for studying run-length distributions of exponentially weighted moving
average charts. Technometrics 29, 401-407 (a run length as the solution on Gauss-Legendre points).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache

import numpy as np
from numpy.polynomial import legendre
from numpy.typing import NDArray

__all__ = ["LONGEST", "bounded", "check_shift", "cut_kernel", "density", "first_of", "gauss", "lengths_from"]

FloatArray = NDArray[np.float64]
MOST_POINTS = 6_000  # their square takes a third of a gigabyte
LONGEST = 1e11  # beyond this a linear solve in double precision has too few correct digits left


@lru_cache(maxsize=128)
def _unit_gauss(size: int) -> tuple[FloatArray, FloatArray]:
    return legendre.leggauss(size)


def check_shift(shift: float) -> None:
    """Raise ValueError unless ``shift`` is a finite number."""
    if not math.isfinite(shift):
        raise ValueError(f"The shift is {shift}; give a finite number of sigma.")


def gauss(size: int, low: float, high: float) -> tuple[FloatArray, FloatArray]:
    """Gauss-Legendre points and weights between two bounds; ValueError if they are too many to solve for."""
    if size > MOST_POINTS:
        raise ValueError(
            f"A run length with limits so far for their weight needs {size} points, over {MOST_POINTS}; give "
            "nearer limits or a larger weight."
        )
    nodes, weights = _unit_gauss(size)
    half = (high - low) / 2.0
    return np.asarray(low + half * (nodes + 1.0)), np.asarray(half * weights)


def density(z: NDArray[np.floating]) -> FloatArray:
    """Standard normal density."""
    return np.asarray(np.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi), dtype=np.float64)


def lengths_from(kernel: FloatArray) -> FloatArray:
    """Return the run lengths ``L = 1 + kernel L`` from each of the starts that ``kernel`` has a row for."""
    solved = np.linalg.solve(np.eye(len(kernel)) - kernel, np.ones(len(kernel)))
    return np.asarray(solved, dtype=np.float64)


def cut_kernel(
    arriving: Callable[[FloatArray], FloatArray],
    lows: FloatArray,
    highs: FloatArray,
    size: int,
    bounds: tuple[float, float],
) -> FloatArray:
    """Return the kernel of an integral whose range is another one from each start.

    Parameters
    ----------
    arriving : callable
        Density of arriving at points of shape (starts, size), one row a start.
    lows, highs : ndarray of float64, shape (starts,)
        The range from each start, inside of ``bounds``.
    size : int
        Number of common Gauss-Legendre points over ``bounds``.
    bounds : (float, float)
        The widest range.

    Returns
    -------
    ndarray of float64, shape (starts, size)
        Weights of the run lengths at the common points. Each range has points of its own; the run length
        there is read from its polynomial through the common points.
    """
    unit, weights = gauss(size, 0.0, 1.0)
    widths = np.maximum(highs - lows, 0.0)[:, None]
    points = lows[:, None] + widths * unit
    chance = widths * weights * arriving(points)
    low, high = bounds
    common, _ = gauss(size, -1.0, 1.0)
    read = np.linalg.inv(legendre.legvander(common, size - 1))
    basis = legendre.legvander(2.0 * (points - low) / (high - low) - 1.0, size - 1)
    return np.asarray(np.einsum("iq,iqm->im", chance, basis) @ read, dtype=np.float64)


def first_of(upper: float, lower: float) -> float:
    """Return the run length of two sides whose rates add; infinity where neither ever signals."""
    rate = 1.0 / upper + 1.0 / lower
    return 1.0 / rate if rate > 0.0 else math.inf


def bounded(length: float) -> float:
    """Turn what lies beyond double precision into infinity."""
    return float(length) if 0.0 < length < LONGEST else math.inf
