"""How long until two CUSUMs signal that both start so high that neither need be at zero when one signals?

Until one of two sums of the same values has been at zero, both together are ``2 k`` less after each value, so
that one of them tells the other: the pair moves along a line. From where it leaves the line, one sum at zero,
the run lengths of the two sides combine exactly as usual.

References
----------
Lucas, J. M. and Crosier, R. B. (1982). Fast initial response for CUSUM quality-control schemes. Technometrics
24, 199-205 (head start; the combination of the sides, here kept to where it is exact).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rules.run_length.integral import density, gauss

__all__ = ["Together", "high_start_arl"]

FloatArray = NDArray[np.float64]
SPENT = 1e-15


@dataclass(frozen=True, slots=True)
class Together:
    """Run lengths of the pair, one sum at zero: ``upper_at`` where the upper one is, and likewise lower."""

    upper_at: Callable[[FloatArray], FloatArray]
    lower_at: Callable[[FloatArray], FloatArray]


def high_start_arl(k: float, h: float, shift: float, head_start: float, together: Together) -> float:
    """Return the average run length of two sums that both start at ``head_start``.

    Parameters
    ----------
    k, h, shift, head_start : float
        As in :func:`rules.run_length.cusum.cusum_arl`.
    together : Together
        Run lengths from where the line is left.

    Returns
    -------
    float
        Mean number of values up to and including the first signal.
    """
    size = int(24 + 6 * h)
    upper, chances, total, length = np.array([head_start]), np.ones(1), 2.0 * head_start, 0.0
    while chances.sum() > SPENT:
        length += float(chances.sum())
        rising, falling = upper + shift - k, total - upper - shift - k  # where the sums are expected next
        total -= 2.0 * k
        left = gauss(size, min(max(total, 0.0), h), h)  # one sum is here when the other comes to zero
        length += _to_come(chances, rising, left, together.upper_at)
        length += _to_come(chances, falling, left, together.lower_at)
        if total <= 0.0:
            both_at_zero = gauss(size, total, 0.0)
            return length + _to_come(chances, rising, both_at_zero, lambda u: together.upper_at(0.0 * u))
        points, weights = gauss(size, max(0.0, total - h), min(h, total))
        chances = chances @ (weights * density(points - rising[:, None]))
        upper = points
    return length


def _to_come(
    chances: FloatArray,
    expected: FloatArray,
    where: tuple[FloatArray, FloatArray],
    lengths_at: Callable[[FloatArray], FloatArray],
) -> float:
    """What is still to come for those that leave the line for one of the points of ``where``."""
    points, weights = where
    return float(chances @ density(points - expected[:, None]) @ (weights * lengths_at(points)))
