"""How large is one step of the values, and how small a sigma can such values support?

Source: Euclid's algorithm, and the standard deviation of a fair coin between two steps; the choice of half
a step as the floor is ours.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from rules.series import finite_series

__all__ = ["MOST_STEPS", "sigma_floor", "step_of"]

MOST_STEPS = 20_000  # across the whole range; finer than that is as good as continuous
TOLERANCE = 0.02  # of a step: what is left of rounding in a chain of units


def step_of(x: ArrayLike) -> float | None:
    """Return the step that the values are rounded to.

    Parameters
    ----------
    x : array_like of float, shape (n,)
        Values; NaN left out.

    Returns
    -------
    float or None
        The greatest step of which every difference between values is a multiple; None where there is no such
        step, fewer than three different values, or so fine a step that it does not matter.

    Notes
    -----
    Euclid's algorithm on the differences of the sorted values, with a tolerance. Three values at least,
    because two always have a common step.
    """
    values = finite_series(x)
    distinct = np.unique(values[~np.isnan(values)])
    if len(distinct) < 3:
        return None
    span = float(distinct[-1] - distinct[0])
    finest = span / MOST_STEPS
    differences = np.diff(distinct)
    differences = differences[differences > finest * TOLERANCE]  # equal but for the last digits
    step = float(differences.min())
    for difference in np.unique(differences):
        step = _common(step, float(difference), finest)
        if step < finest:
            return None
    # Steps found from small differences drift over the span; settle on the one that divides the span.
    step = span / max(round(span / step), 1)
    return step if _divides(step, distinct) else None


def _common(a: float, b: float, finest: float) -> float:
    """Greatest common measure of two lengths, but for small remainders."""
    a, b = max(a, b), min(a, b)
    while b > finest:
        rest = a % b
        if b - rest < TOLERANCE * b or rest < TOLERANCE * b:
            rest = 0.0
        a, b = b, rest
    return a


def _divides(step: float, distinct: np.ndarray) -> bool:
    counts = (distinct - distinct[0]) / step
    return bool(np.all(np.abs(counts - np.round(counts)) < 5 * TOLERANCE))


def sigma_floor(step: float | None) -> float:
    """Return the smallest sigma that values rounded to ``step`` can support.

    Parameters
    ----------
    step : float or None
        Size of one step, or None where values are not rounded.

    Returns
    -------
    float
        Half a step: a process that stands still between two steps reads as either, with this standard
        deviation. 0 without a step.

    Raises
    ------
    ValueError
        If the step is not above zero.
    """
    if step is None:
        return 0.0
    if not step > 0.0:
        raise ValueError(f"A resolution of {step} is impossible; give a number above 0.")
    return step / 2.0
