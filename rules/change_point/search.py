"""How many lasting shifts were there, and when: an exact search with a penalty a shift.

References
----------
Killick, R., Fearnhead, P. and Eckley, I. A. (2012). Optimal detection of changepoints with a linear
computational cost. J. American Statistical Association 107, 1590-1598.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np
import ruptures
from numpy.typing import ArrayLike, NDArray

from rules.change_point.differences import lag_one_of_differences, sigma_of_differences
from rules.change_point.penalty import SHORTEST_SEGMENT, penalty_of
from rules.change_point.step import ChangePoint, check_arguments, step
from rules.series import finite_series

__all__ = ["many"]

FloatArray = NDArray[np.float64]
MOST_SEARCHED = 5000  # the search takes time with the square of this: 0.05 s


def many(x: ArrayLike, *, sigma: float | None = None, phi: float | None = None) -> list[ChangePoint]:
    """Return all lasting shifts of the mean.

    Parameters
    ----------
    x : array_like of float, shape (n,)
        Values in order; NaN where missing.
    sigma : float, optional
        Standard deviation of the values around their level; from differences of neighbors otherwise.
    phi : float, optional
        Autocorrelation at lag 1; from differences otherwise, which a shift hardly touches.

    Returns
    -------
    list of ChangePoint
        In order. Each confidence set comes from the stretch between its neighbors. Empty for fewer than 6
        values or values that do not vary.

    Raises
    ------
    ValueError
        If ``sigma`` is not above zero or ``phi`` not from 0 to below 1.

    Notes
    -----
    Exact minimum of squared distances from piecewise levels plus a penalty a shift (the pruned search of the
    second source). :func:`penalty_of` gives the penalty and its reason.

    References
    ----------
    Killick, R., Fearnhead, P. and Eckley, I. A. (2012). Optimal detection of changepoints with a linear
    computational cost. J. American Statistical Association 107, 1590-1598.
    Truong, C., Oudre, L. and Vayatis, N. (2020). Selective review of offline change point detection methods.
    Signal Processing 167, 107299 (the library).
    """
    check_arguments(sigma, 0.5, 0.0 if phi is None else phi)
    values = finite_series(x)
    present = np.flatnonzero(~np.isnan(values))
    kept = values[present]
    if len(kept) < 2 * SHORTEST_SEGMENT:
        return []
    near = lag_one_of_differences(kept) if phi is None else phi
    spread = sigma_of_differences(kept, near) if sigma is None else sigma
    if not spread > 0.0:
        return []
    return _with_sets(kept, present, [0, *_ends((kept - kept.mean()) / spread, near)], spread, near)


def _ends(z: FloatArray, phi: float) -> list[int]:
    """Ends of all stretches; a long series is searched by means of blocks and each find then by its shots."""
    block = math.ceil(len(z) / MOST_SEARCHED)
    whole = len(z) // block * block
    means = z[:whole].reshape(-1, block).mean(axis=1)
    search = ruptures.KernelCPD(kernel="linear", min_size=SHORTEST_SEGMENT)
    # A mean of a block carries the squares of its shots but for the factor.
    places = search.fit(means).predict(pen=penalty_of(len(z), 1.0, phi) / block)[:-1]
    if block == 1:
        return [*places, len(z)]
    refined = (_refined(z, place * block, SHORTEST_SEGMENT * block) for place in places)
    return [*_apart(refined, len(z)), len(z)]


def _apart(places: Iterable[int], n: int) -> list[int]:
    """Places in order, none nearer to another or to an end than a level is long: refining may join two."""
    found: list[int] = []
    for place in sorted(places):
        if place - (found[-1] if found else 0) >= SHORTEST_SEGMENT <= n - place:
            found.append(place)
    return found


def _refined(z: FloatArray, place: int, reach: int) -> int:
    start = max(place - reach, 0)
    return start + step(z[start : place + reach]).index


def _with_sets(
    kept: FloatArray, present: NDArray[np.intp], bounds: list[int], sigma: float, phi: float
) -> list[ChangePoint]:
    """Give each shift its confidence set, from the two levels it separates."""
    found = []
    for start, place, end in zip(bounds, bounds[1:-1], bounds[2:], strict=False):
        one = step(kept[start:end], sigma=sigma, phi=phi)
        before, after = float(kept[start:place].mean()), float(kept[place:end].mean())
        low, high = min(start + one.low, place), max(start + one.high, place)
        found.append(
            ChangePoint(
                int(present[place]), int(present[low]), int(present[high]), before, after, one.statistic
            )
        )
    return found
