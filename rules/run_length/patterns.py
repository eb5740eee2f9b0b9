"""How long until the rules that look at order alone, trend and alternating, signal?

Whatever the distribution, values can be turned into uniform ones without changing their order, so these run
lengths hold for every continuous distribution of independent values, and a lasting shift does not change
them. The state is the last value, the direction of the last step, and how many steps the pattern has lasted.
What comes after depends smoothly on the last value, so integrals over it are exact to all digits on 40
Gauss-Legendre points.

References
----------
Nelson, L. S. (1984). The Shewhart control chart - tests for special causes. J. Quality Technology 16,
237-239 (the rules).
Clenshaw, C. W. and Curtis, A. R. (1960). A method for numerical integration on an automatic computer.
Numerische Mathematik 2, 197-205 (integrals of the interpolating polynomial, there on other points).
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.polynomial import legendre
from numpy.typing import NDArray

from rules.run_length.distribution import RunLengthDistribution, settled

__all__ = ["alternating_arl", "alternating_run_length", "integrals", "trend_arl", "trend_run_length"]

FloatArray = NDArray[np.float64]
POINTS = 40


def trend_arl(points: int) -> float:
    """Return the mean number of values until ``points`` in a row rise, or fall, steadily.

    Parameters
    ----------
    points : int
        Values that take part: 6 means five rises, or five falls, in a row.

    Returns
    -------
    float
        Zero-state average run length of independent values of any continuous distribution.

    Raises
    ------
    ValueError
        If ``points`` is not between 2 and 20.
    """
    return trend_run_length(points).mean


@lru_cache(maxsize=32)
def trend_run_length(points: int) -> RunLengthDistribution:
    """Return the distribution of the run length; see :func:`trend_arl`."""
    _, _, below, above = integrals(POINTS)
    return _distribution(points, onward=above, back=below[:, ::-1])  # a step the other way is a run of one


def alternating_arl(points: int) -> float:
    """Return the mean number of values until ``points`` in a row alternate up and down.

    Parameters
    ----------
    points : int
        Values that take part: 14 means thirteen steps, each against the one before.

    Returns
    -------
    float
        Zero-state average run length of independent values of any continuous distribution.

    Raises
    ------
    ValueError
        If ``points`` is not between 2 and 20.
    """
    return alternating_run_length(points).mean


@lru_cache(maxsize=32)
def alternating_run_length(points: int) -> RunLengthDistribution:
    """Return the distribution of the run length; see :func:`alternating_arl`."""
    _, _, below, above = integrals(POINTS)
    return _distribution(points, onward=below[:, ::-1], back=above)  # a second step the same way starts anew


def _distribution(points: int, *, onward: FloatArray, back: FloatArray) -> RunLengthDistribution:
    """Follow the stages of the pattern: after 1, 2, ... steps, the last of them a rise.

    A fall is a rise in the mirror, so that only rises need to be followed.
    """
    if not 2 <= points <= 20:
        raise ValueError(f"A pattern of {points} values is not handled; use 2 to 20.")
    stages = points - 2
    if stages == 0:
        return RunLengthDistribution(np.array([1.0, 1.0, 0.0]), 1.0)
    _, weights, below, above = integrals(POINTS)
    first = weights @ (above + below[:, ::-1])
    start = np.concatenate((first, np.zeros((stages - 1) * POINTS)))
    exits = np.zeros((stages, POINTS))
    exits[-1] = onward.sum(axis=1)

    def advance(states: FloatArray) -> FloatArray:
        by_stage = states.reshape(stages, POINTS)
        after = np.empty_like(by_stage)
        after[0] = by_stage.sum(axis=0) @ back
        after[1:] = by_stage[:-1] @ onward
        return after.ravel()

    return settled(start, advance, exits.ravel(), before=(1.0, 1.0, 1.0), at_least=2 * points)


@lru_cache(maxsize=4)
def integrals(points: int) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return what integrates a polynomial that is held on Gauss-Legendre points from 0 to 1.

    Parameters
    ----------
    points : int
        How many.

    Returns
    -------
    nodes, weights : ndarray of float64, shape (points,)
        Of the integral from 0 to 1.
    below, above : ndarray of float64, shape (points, points)
        Rows of the weights of the integrals from 0 to each of the points, and from each to 1.
    """
    nodes, weights = legendre.leggauss(points)
    values = legendre.legvander(nodes, points)
    order = np.arange(1, points)
    antiderivative = np.empty((points, points))
    antiderivative[:, 0] = nodes + 1.0
    antiderivative[:, 1:] = (values[:, 2:] - values[:, :-2]) / (2 * order + 1)
    below = antiderivative @ np.linalg.inv(values[:, :points]) / 2.0
    return (nodes + 1.0) / 2.0, weights / 2.0, below, weights / 2.0 - below
