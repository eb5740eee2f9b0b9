"""Which values of a baseline stand apart? Proposed with a reason, never dropped in silence.

Source: Rosner (1983), generalized extreme Studentized deviate test.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike
from scipy.stats import t

from rules.series import finite_series

__all__ = ["Outlier", "propose", "propose_among_alike"]

FEWEST = 15
FAR_OUT = 15.0  # sigma


@dataclass(frozen=True, slots=True)
class Outlier:
    """One value a person should look at.

    Parameters
    ----------
    index : int
        Place in the values handed in, from 0.
    value : float
        The value.
    distance : float
        From the mean of the values that stay, in their standard deviations, signed.
    reason : str
        One sentence.
    """

    index: int
    value: float
    distance: float
    reason: str

    @property
    def is_far_out(self) -> bool:
        """Whether no process gives such a value, whatever its shape: over 15 sigma away (the number is ours).

        One of them in 400 shots hides how alike neighbors are, and doubles the total spread. Where all others
        are the same there is no sigma to tell by.
        """
        return FAR_OUT < abs(self.distance) < math.inf


def propose(x: ArrayLike, *, most: int | None = None, alpha: float = 0.05) -> tuple[Outlier, ...]:
    """Return the values that do not belong to the rest, by the generalized extreme Studentized deviate test.

    Parameters
    ----------
    x : array_like of float, shape (n,)
        Values of a steady process; NaN where missing.
    most : int, optional
        Greatest number of outliers to look for; a tenth of the values, and at most 20, if not given.
    alpha : float
        Chance that any is proposed where there is none.

    Returns
    -------
    tuple of Outlier
        In the order of the shots; empty for fewer than 15 values.

    Raises
    ------
    ValueError
        If ``alpha`` is not between 0 and 1.

    References
    ----------
    Rosner, B. (1983). Percentage points for a generalized ESD many-outlier procedure. Technometrics 25,
    165-172.
    NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17.3.
    """
    if not 0.0 < alpha < 1.0:
        raise ValueError(f"alpha is {alpha}; give a chance between 0 and 1.")
    values = finite_series(x)
    present = np.flatnonzero(~np.isnan(values))
    if len(present) < FEWEST:
        return ()
    limit = min(len(present) // 10, 20) if most is None else min(most, len(present) - 3)
    removed = _most_extreme(values, present, limit, alpha)
    rest = np.setdiff1d(present, removed)
    return tuple(_described(values, int(index), rest) for index in sorted(removed))


def propose_among_alike(
    residuals: ArrayLike, *, most: int | None = None, alpha: float = 0.05
) -> tuple[Outlier, ...]:
    """Return the values that their neighbors did not foretell.

    Parameters
    ----------
    residuals : array_like of float, shape (n,)
        What an autocorrelated characteristic differs from what the shot before foretold, in order; NaN where
        missing.
    most, alpha
        As in :func:`propose`.

    Returns
    -------
    tuple of Outlier
        With the residuals as their values. A single bad shot leaves two residuals, its own and, to the other
        side, that of the shot after it; only the first is returned.

    Raises
    ------
    ValueError
        If ``alpha`` is not between 0 and 1.

    References
    ----------
    Fox, A. J. (1972). Outliers in time series. J. Royal Statistical Society B 34, 350-363 (what one bad value
    does to the residuals).
    """
    found = propose(residuals, most=most, alpha=alpha)
    sides = {each.index: each.distance > 0.0 for each in found}
    kept = []
    for each in found:
        before = sides.get(each.index - 1)
        if before is None or before == sides[each.index]:
            kept.append(each)
    return tuple(replace(each, reason=_foretold(each)) for each in kept)


def _foretold(found: Outlier) -> str:
    side = "above" if found.distance > 0.0 else "below"
    return f"It lies {abs(found.distance):.1f} standard deviations {side} what the shot before foretold."


def _most_extreme(values: np.ndarray, present: np.ndarray, limit: int, alpha: float) -> list[int]:
    """Remove the farthest value again and again; keep as many as the last test that was met says."""
    left, removed, met = list(present), [], 0
    total = len(present)
    for count in range(1, limit + 1):
        current = values[left]
        sigma = float(current.std(ddof=1))
        if sigma <= 1e-12 * abs(float(current.mean())):
            break
        distances = np.abs(current - current.mean()) / sigma
        farthest = int(distances.argmax())
        if distances[farthest] > _critical(total, count, alpha):
            met = count
        removed.append(int(left.pop(farthest)))
    return removed[:met]


@lru_cache(maxsize=4096)
def _critical(total: int, count: int, alpha: float) -> float:
    """Critical value of the test for the ``count``-th outlier among ``total`` values."""
    freedom = total - count - 1
    quantile = float(t.isf(alpha / (2.0 * (total - count + 1)), freedom))
    return float((total - count) * quantile / np.sqrt((freedom + quantile**2) * (total - count + 1)))


def _described(values: np.ndarray, index: int, rest: np.ndarray) -> Outlier:
    value, sigma = float(values[index]), float(values[rest].std(ddof=1))
    away = value - float(values[rest].mean())
    if sigma <= 1e-12 * abs(value):
        return Outlier(
            index, value, float(np.sign(away)) * np.inf, "Every other value is the same; this one is not."
        )
    side = "above" if away > 0 else "below"
    reason = f"It lies {abs(away) / sigma:.1f} standard deviations {side} the mean of the others."
    return Outlier(index, value, away / sigma, reason)
