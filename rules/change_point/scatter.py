"""Which of the shifts found outlast the scatter around them, where the scatter itself changed?

One standard deviation for a whole series makes many short levels of a stretch that merely scatters more than
the rest. Here each shift is held against the scatter beside it.

References
----------
von Neumann, J. (1941). Distribution of the ratio of the mean square successive difference to the variance.
Annals of Mathematical Statistics 12, 367-395 (spread from differences of neighbors).
Zhang, N. R. and Siegmund, D. O. (2007). A modified Bayes information criterion with applications to the
analysis of comparative genomic hybridization data. Biometrics 63, 22-32 (what a shift must explain).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rules.change_point.differences import lag_one_of_differences, sigma_of_differences
from rules.change_point.penalty import penalty_of
from rules.change_point.step import ChangePoint, step
from rules.series import finite_series

__all__ = ["beyond_scatter"]

FloatArray = NDArray[np.float64]
BESIDE = 25  # shots on each side that tell the scatter there: its estimate is good to a sixth
FEWEST_BESIDE = 8


def beyond_scatter(
    x: ArrayLike, points: Sequence[ChangePoint], *, sigma: float = 0.0, phi: float | None = None
) -> list[ChangePoint]:
    """Return the shifts that remain when levels no farther apart than the scatter beside them are joined.

    Parameters
    ----------
    x : array_like of float, shape (n,)
        Values in order; NaN where missing.
    points : sequence of ChangePoint
        Shifts of these values, in order, as :func:`rules.change_point.many` gives them.
    sigma : float
        Scatter that is never undercut, in the unit of the values.
    phi : float, optional
        Autocorrelation at lag 1; from differences otherwise.

    Returns
    -------
    list of ChangePoint
        In order, with levels, sets and statistics of the joined levels.

    Notes
    -----
    The least supported shift goes first, then the next, until each explains more squares than
    :func:`penalty_of` asks for at its own scatter: the larger one of the 25 shots before and after it.
    """
    values = finite_series(x)
    present = np.flatnonzero(~np.isnan(values))
    kept = values[present]
    near = (lag_one_of_differences(kept) if phi is None else phi) if len(kept) else 0.0
    places = np.searchsorted(present, [point.index for point in points])
    scatter = np.array([max(_beside(kept, place, near), sigma) for place in places.tolist()])
    asked = np.array([penalty_of(len(kept), each, near) for each in scatter.tolist()])
    totals = np.concatenate(([0.0], np.cumsum(kept - kept[:1])))  # keeps the digits on a large level
    left = np.arange(len(places))
    while len(left):
        spare = _gains(totals, places[left]) / np.maximum(asked[left], 1e-300)
        weakest = int(np.argmin(spare))
        if spare[weakest] > 1.0:
            break
        left = np.delete(left, weakest)
    return _with_sets(kept, present, places[left].tolist(), scatter[left].tolist(), near)


def _beside(kept: FloatArray, place: int, phi: float) -> float:
    """The larger scatter of both sides; differences across the shift itself take no part."""
    sides = (kept[max(place - BESIDE, 0) : place], kept[place : place + BESIDE])
    return max((sigma_of_differences(s, phi) for s in sides if len(s) >= FEWEST_BESIDE), default=0.0)


def _gains(totals: FloatArray, places: NDArray[np.intp]) -> FloatArray:
    """Squares that each shift explains between its neighbors, from running totals of the values."""
    bounds = np.concatenate(([0], places, [len(totals) - 1]))
    lengths = np.diff(bounds)
    levels = np.diff(totals[bounds]) / lengths
    return np.asarray(lengths[:-1] * lengths[1:] / (lengths[:-1] + lengths[1:]) * np.diff(levels) ** 2)


def _with_sets(
    kept: FloatArray, present: NDArray[np.intp], places: Sequence[int], scatter: Sequence[float], phi: float
) -> list[ChangePoint]:
    found = []
    bounds = [0, *places, len(kept)]
    for start, place, end, beside in zip(bounds, places, bounds[2:], scatter, strict=False):
        one = step(kept[start:end], sigma=beside or None, phi=phi)
        low, high = min(start + one.low, place), max(start + one.high, place)
        found.append(ChangePoint(
            int(present[place]), int(present[low]), int(present[high]), float(kept[start:place].mean()),
            float(kept[place:end].mean()), one.statistic,
        ))  # fmt: skip
    return found
