"""How much does the disc change with the shot, within runs? A slope; each run keeps its own level.

Ordinary least squares after both are centered on their run's mean.

References
----------
Draper, N. R. and Smith, H. (1998). Applied Regression Analysis, 3rd ed., Wiley, chapters 1 and 14
(dummy variables for groups).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from rules.dome.welch import FloatArray, Interval


@dataclass(frozen=True, slots=True)
class Slope:
    """A fitted slope: estimate, standard error, degrees of freedom, spread of x within runs."""

    estimate: float
    error: float
    freedom: int
    spread: float

    def interval(self, confidence: float) -> Interval:
        """Student's interval of the slope."""
        half = float(special.stdtrit(self.freedom, (1 + confidence) / 2)) * self.error
        return Interval(self.estimate, self.estimate - half, self.estimate + half)


def within_runs(x: FloatArray, y: FloatArray, runs: Sequence[object]) -> Slope | None:
    """Fit y on x with one level a run.

    Parameters
    ----------
    x, y : array of float, shape (n,)
        No NaN.
    runs : sequence, length n

    Returns
    -------
    Slope or None
        None when x does not move within any run, or too few values remain for an error.
    """
    index = np.unique([str(run) for run in runs], return_inverse=True)[1]
    groups = int(index.max()) + 1 if len(index) else 0
    freedom = len(x) - groups - 1
    dx, dy = _centered(x, index), _centered(y, index)
    sxx = float(dx @ dx)
    if freedom < 1 or sxx <= 1e-20 * max(1.0, float(x @ x)):
        return None
    estimate = float(dx @ dy) / sxx
    rest = dy - estimate * dx
    error = math.sqrt(float(rest @ rest) / freedom / sxx)
    return Slope(estimate, error, freedom, math.sqrt(sxx / (len(x) - groups)))


def _centered(values: FloatArray, index: npt.NDArray[np.intp]) -> FloatArray:
    means = np.bincount(index, weights=values) / np.bincount(index)
    centered: FloatArray = values - means[index]
    return centered
