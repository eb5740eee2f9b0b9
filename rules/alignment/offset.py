"""Which offset does a shot characteristic support for an ordered list of gaugings, if it supports any?

Source: Box, Jenkins and Reinsel (2008) for correlating two series, Fisher (1921) for the doubt of one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import norm

from rules.baseline.autocorrelation import lag_one

__all__ = ["OffsetProposal", "propose_offset"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
FEWEST_PAIRS = 12
LIKELIHOOD_MARGIN = math.log(20.0)  # the best offset must be twenty times as likely as the next
CHANCE = 0.01  # that the best of all offsets looks so good by luck


@dataclass(frozen=True, slots=True)
class OffsetProposal:
    """What a shot characteristic says about the offset of a list.

    Parameters
    ----------
    offset : int
        The best offset.
    correlation : float
        Between gaugings and shots there, with what each tells about its successor taken out.
    margin : float
        Log likelihood by which it is better than the second best.
    supported : bool
        Whether the data support it: 12 pairs or more, better than luck, and twenty times as likely as the
        next.
    scores : tuple of (int, float)
        Correlation at each offset tried; NaN where fewer than 12 pairs are left.
    sentence : str
        The same in words.
    """

    offset: int
    correlation: float
    margin: float
    supported: bool
    scores: tuple[tuple[int, float], ...]
    sentence: str


def propose_offset(
    order_values: ArrayLike, shot_values: ArrayLike, *, steps: ArrayLike | None = None, search: int = 20
) -> OffsetProposal:
    """Return the offset at which gaugings go best with a shot characteristic, and how far to trust it.

    Parameters
    ----------
    order_values : array_like of float, shape (m,)
        Gauged values in the order of the list; NaN where missing.
    shot_values : array_like of float, shape (n,)
        Shot characteristic; NaN where missing.
    steps : array_like of int, shape (m,), optional
        Shots from each gauging to the one before (0 for a double, 1 usually, more after a gap).
    search : int
        Offsets up to so many shots either side are tried.

    Returns
    -------
    OffsetProposal

    Raises
    ------
    ValueError
        If ``search`` is negative.

    Notes
    -----
    Both series are first freed of what a shot tells about the next one, or slow drift would make all offsets
    look alike. The log likelihood of an offset is ``-pairs / 2 ln(1 - r^2)``; luck is judged by Fisher's z,
    for as many tries as there are offsets.

    References
    ----------
    Box, G. E. P., Jenkins, G. M. and Reinsel, G. C. (2008). Time Series Analysis, 4th ed., 12.2
    (prewhitening).
    Fisher, R. A. (1921). On the "probable error" of a coefficient of correlation. Metron 1, 3-32.
    """
    if search < 0:
        raise ValueError(f"A search over {search} shots is impossible; give 0 or more.")
    gauged, shots = np.asarray(order_values, dtype=np.float64), np.asarray(shot_values, dtype=np.float64)
    moves = np.minimum(np.arange(len(gauged)), 1) if steps is None else np.asarray(steps, dtype=np.int64)
    phi = lag_one(shots).phi
    tried = [(at, *_agreement(gauged, shots, moves, at, phi)) for at in range(-search, search + 1)]
    ranked = sorted(tried, key=lambda one: (-_likelihood(one[1], one[2]), abs(one[0])))
    best, second = ranked[0], ranked[1] if len(ranked) > 1 else ranked[0]
    margin = _likelihood(best[1], best[2]) - (_likelihood(second[1], second[2]) if len(ranked) > 1 else 0.0)
    luck = _luck(best[1], best[2], len(tried))
    supported = luck < CHANCE and margin >= LIKELIHOOD_MARGIN
    scores = tuple((at, r) for at, r, _ in tried)
    return OffsetProposal(
        best[0],
        best[1],
        margin,
        supported,
        scores,
        _sentence(best[0], best[1], best[2], second[0], supported=supported),
    )


def _agreement(
    gauged: FloatArray, shots: FloatArray, moves: IntArray, offset: int, phi: float
) -> tuple[float, int]:
    """Correlation and number of pairs at one offset; NaN where too few are left."""
    places = offset + np.cumsum(moves)
    inside = (places >= 1) & (places < len(shots)) & (moves == 1)
    inside[:1] = False
    at = np.flatnonzero(inside)
    a = gauged[at] - phi * gauged[at - 1]
    b = shots[places[at]] - phi * shots[places[at] - 1]
    both = ~(np.isnan(a) | np.isnan(b))
    a, b, pairs = a[both], b[both], int(both.sum())
    if pairs < FEWEST_PAIRS or np.ptp(a) == 0.0 or np.ptp(b) == 0.0:
        return math.nan, pairs
    return float(np.corrcoef(a, b)[0, 1]), pairs


def _likelihood(r: float, pairs: int) -> float:
    """Log likelihood against no relation at all."""
    if math.isnan(r):
        return 0.0
    return -0.5 * pairs * math.log1p(-min(r * r, 1.0 - 1e-12))


def _luck(r: float, pairs: int, tries: int) -> float:
    """Chance that the best of so many offsets looks this good where there is no relation."""
    if math.isnan(r):
        return 1.0
    z = math.atanh(min(abs(r), 1.0 - 1e-12)) * math.sqrt(pairs - 3)
    return min(2.0 * float(norm.sf(z)) * tries, 1.0)


def _sentence(offset: int, r: float, pairs: int, second: int, *, supported: bool) -> str:
    if math.isnan(r):
        return f"Fewer than {FEWEST_PAIRS} pairs of gaugings and shots overlap: too few to propose an offset."
    if not supported:
        return (
            f"The data do not support a choice: offset {offset} goes best (correlation {r:.2f} over {pairs} "
            f"pairs), but {second} is nearly as likely or luck would do as well."
        )
    return f"Offset {offset} goes clearly best with the shots (correlation {r:.2f} over {pairs} pairs)."
