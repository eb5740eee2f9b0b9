"""Where does a cumulative sum stand, value by value? The upper one alone, with or without individuals limits.

References
----------
Page, E. S. (1954). Continuous inspection schemes. Biometrika 41, 100-115 (the integral equation).
Lucas, J. M. (1982). Combined Shewhart-CUSUM quality control schemes. J. Quality Technology 14, 51-59.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from rules.run_length.distribution import RunLengthDistribution, settling
from rules.run_length.integral import cut_kernel, density, gauss, lengths_from

__all__ = ["OneSum"]

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class OneSum:
    """The upper sum alone: ``L(u) = 1 + L(0) P(X <= k - u) + integral of L(v) f(v + k - u) dv over 0..h``.

    It is held on Gauss-Legendre points from 0 to ``h`` and, the last one, at zero.

    Parameters
    ----------
    k, h : float
        Reference value and decision interval, in sigma.
    shift : float
        Distance of the process mean from center toward the side of the sum, in sigma.
    width : float
        A value farther than this from center, on the side of the sum, signals too.
    """

    k: float
    h: float
    shift: float
    width: float = math.inf

    def lengths_at(self, starts: FloatArray) -> FloatArray:
        """Return the run lengths from each of ``starts``."""
        lengths = lengths_from(self._onward(self._points()))
        return np.asarray(1.0 + self._onward(starts) @ lengths, dtype=np.float64)

    def run_length(self, head_start: float) -> RunLengthDistribution:
        """Return the distribution of the run length of a sum that starts at ``head_start``."""
        return self._followed(head_start)[0]

    def steady_length(self, shift: float) -> float:
        """Return the run length of a sum that has not signaled for long when the mean moves to ``shift``."""
        moved = OneSum(self.k, self.h, shift, self.width)
        return float(self._followed(0.0)[1] @ moved.lengths_at(self._points()))

    def _followed(self, head_start: float) -> tuple[RunLengthDistribution, FloatArray]:
        begin, points = np.array([head_start]), self._points()
        kernel, before = self._onward(points), (1.0, 1.0 - float(self._signals(begin)[0]))
        first = self._onward(begin)[0]
        return settling(first, lambda states: states @ kernel, self._signals(points), before)

    def _panels(self) -> list[tuple[float, float, int]]:
        """Cut 0..h where the run length has a kink: from there on, a value at its limit goes beyond h."""
        kink = self.h - self.width + self.k
        edges = [0.0, *([kink] if 0.0 < kink < self.h else []), self.h]
        return [(low, high, int(24 + 6 * (high - low))) for low, high in pairwise(edges)]

    def _points(self) -> FloatArray:
        return np.concatenate([*(gauss(size, low, high)[0] for low, high, size in self._panels()), [0.0]])

    def _onward(self, starts: FloatArray) -> FloatArray:
        """Chances to come from each of ``starts`` to the surroundings of the points, and to zero."""
        expected, ends = starts + self.shift - self.k, starts + self.width - self.k
        zero = ndtr(np.minimum(self.k - starts, self.width) - self.shift)
        if math.isinf(self.width):
            nodes, weights = gauss(int(24 + 6 * self.h), 0.0, self.h)
            return np.column_stack((weights * density(nodes - expected[:, None]), zero))
        kernel = [
            cut_kernel(
                lambda points: density(points - expected[:, None]),
                np.full_like(ends, low),
                np.clip(ends, low, high),
                size,
                (low, high),
            )
            for low, high, size in self._panels()
        ]
        return np.column_stack((*kernel, zero))

    def _signals(self, starts: FloatArray) -> FloatArray:
        """Chance of a signal at the next value, from each of ``starts``."""
        reach = np.minimum(self.k + self.h - starts, self.width)
        return np.asarray(ndtr(self.shift - reach), dtype=np.float64)
