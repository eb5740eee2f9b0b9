"""Run lengths of the two rules that look at order alone: trend and alternating.

Whatever the distribution, values can be turned into uniform ones without changing their order, so these run
lengths hold for every continuous distribution of independent values, and a lasting shift does not change
them. The state is the last value, the direction of the last step, and how many steps the pattern has lasted.
The mean number of values still to come is a smooth function of the last value and obeys an integral equation,
which is solved on Gauss-Legendre points; the solution is so smooth that 40 points give all digits.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.polynomial import legendre
from numpy.typing import NDArray

__all__ = ["alternating_arl", "trend_arl"]

FloatArray = NDArray[np.float64]
POINTS = 40


@lru_cache(maxsize=32)
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

    References
    ----------
    Nelson, L. S. (1984). The Shewhart control chart - tests for special causes. J. Quality Technology 16,
    237-239 (the rule).
    """
    stages = _stages(points)
    below, above, weights, mirror = _integrals()
    blocks = np.zeros((stages, stages, POINTS, POINTS))
    for stage in range(stages):
        blocks[stage, 0] += below @ mirror  # a step the other way starts a run of one
        if stage + 1 < stages:
            blocks[stage, stage + 1] += above
    return _mean_length(blocks, below, above, weights, mirror)


@lru_cache(maxsize=32)
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

    References
    ----------
    Nelson, L. S. (1984). The Shewhart control chart - tests for special causes. J. Quality Technology 16,
    237-239 (the rule).
    """
    stages = _stages(points)
    below, above, weights, mirror = _integrals()
    blocks = np.zeros((stages, stages, POINTS, POINTS))
    for stage in range(stages):
        blocks[stage, 0] += above  # a second step the same way starts over with one step
        if stage + 1 < stages:
            blocks[stage, stage + 1] += below @ mirror
    return _mean_length(blocks, below, above, weights, mirror)


def _stages(points: int) -> int:
    """Number of unfinished stages: after 1, 2, ... steps of the pattern."""
    if not 2 <= points <= 20:
        raise ValueError(f"A pattern of {points} values is not handled; use 2 to 20.")
    return points - 2


def _mean_length(
    blocks: FloatArray, below: FloatArray, above: FloatArray, weights: FloatArray, mirror: FloatArray
) -> float:
    """Solve for the mean number of values to come after a rise; falls are its mirror image."""
    stages = len(blocks)
    if stages == 0:
        return 2.0
    size = stages * POINTS
    matrix = blocks.transpose(0, 2, 1, 3).reshape(size, size)
    to_come = np.linalg.solve(np.eye(size) - matrix, np.ones(size))[:POINTS]
    return float(2.0 + weights @ (above @ to_come + below @ (mirror @ to_come)))


@lru_cache(maxsize=1)
def _integrals() -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Matrices for the integral from 0 to u, from u to 1, the weights of 0 to 1, and u -> 1 - u."""
    nodes, weights = legendre.leggauss(POINTS)
    values = legendre.legvander(nodes, POINTS)
    order = np.arange(1, POINTS)
    antiderivative = np.empty((POINTS, POINTS))
    antiderivative[:, 0] = nodes + 1.0
    antiderivative[:, 1:] = (values[:, 2:] - values[:, :-2]) / (2 * order + 1)
    below = antiderivative @ np.linalg.inv(values[:, :POINTS]) / 2.0
    return below, weights / 2.0 - below, weights / 2.0, np.eye(POINTS)[::-1]
