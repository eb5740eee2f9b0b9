"""Which characteristic moved: what each adds to a joint statistic, alone and beside all others.

Two terms a characteristic. The unconditional one is its own squared distance from center in its own sigma:
did it move? The conditional one, given all others, is its squared distance from where the others lead one to
expect it: did it leave them? That is also what the statistic loses without the characteristic.

References
----------
Mason, R. L., Tracy, N. D. and Young, J. C. (1995). Decomposition of T2 for multivariate control chart
interpretation. J. Quality Technology 27, 99-108 (both terms, and the sequences that add up to T2).
Runger, G. C., Alt, F. B. and Montgomery, D. C. (1996). Contributors to a multivariate statistical process
control chart signal. Communications in Statistics - Theory and Methods 25, 2203-2213 (the loss, d_i).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.stats import chi2

__all__ = ["LEVEL", "RELATION", "TOGETHER", "Contribution", "Contributions", "contributions", "sequence"]

LEVEL = "level"
RELATION = "relation"
TOGETHER = "together"


@dataclass(frozen=True, slots=True)
class Contribution:
    """What one characteristic adds.

    Parameters
    ----------
    name : str
        The characteristic.
    moved : float
        From center, in its unit (of the average in a MEWMA; of the innovation where rows are freed of
        autocorrelation).
    strayed : float
        From where the others lead one to expect it, in its unit.
    unconditional, conditional : float
        Both squared, in their variances.
    """

    name: str
    moved: float
    strayed: float
    unconditional: float
    conditional: float


@dataclass(frozen=True, slots=True)
class Contributions:
    """What all characteristics add to one value of a joint statistic.

    Parameters
    ----------
    statistic : float
        The value.
    parts : tuple of Contribution
        In the order of the columns.
    kind : str
        ``"level"``: a characteristic is far from its center; ``"relation"``: none is, but one is far from
        where the others lead one to expect it; ``"together"``: neither, small deviations add up.
    leading : Contribution
        The one that moved most: by the unconditional term for a level, else by the conditional term.
    direction : int
        1 or -1: up or down, in ``moved`` for a level, else in ``strayed``; 0 if neither.
    """

    statistic: float
    parts: tuple[Contribution, ...]
    kind: str
    leading: Contribution
    direction: int


def contributions(
    names: Sequence[str], vector: ArrayLike, covariance: ArrayLike, *, alpha: float = 0.0027
) -> Contributions:
    """Return what each characteristic adds to ``vector' covariance^-1 vector``.

    Parameters
    ----------
    names : sequence of str
        Characteristics.
    vector : array_like of float, shape (p,)
        Deviation of each from center, in its unit.
    covariance : array_like of float, shape (p, p)
        Of the vector, known; positive definite.
    alpha : float
        Chance that a term counts as large without a cause; 0.0027 is what a three-sigma chart of that
        characteristic alone would see.

    Returns
    -------
    Contributions

    Raises
    ------
    ValueError
        If ``alpha`` is not between 0 and 1.

    Notes
    -----
    With P the inverse of the covariance, the conditional term is ``(P d)_i^2 / P_ii`` and the distance from
    the expected value ``(P d)_i / P_ii``. Each term is chi-square with one degree of freedom.
    """
    if not 0.0 < alpha < 1.0:
        raise ValueError(f"alpha is {alpha}; give a chance between 0 and 1.")
    off, known = np.asarray(vector, dtype=np.float64), np.asarray(covariance, dtype=np.float64)
    precision = np.linalg.inv(known)
    pull, hold = precision @ off, np.diag(precision)
    unconditional, conditional = off * off / np.diag(known), pull * pull / hold
    columns = (off, pull / hold, unconditional, conditional)
    numbers = zip(*(column.tolist() for column in columns), strict=True)
    parts = tuple(Contribution(name, *held) for name, held in zip(names, numbers, strict=True))
    large = float(chi2.isf(alpha, 1))
    kind = _kind(float(unconditional.max()), float(conditional.max()), large)
    leading = parts[int(np.argmax(unconditional if kind == LEVEL else conditional))]
    way = leading.moved if kind == LEVEL else leading.strayed
    return Contributions(float(off @ pull), parts, kind, leading, (way > 0) - (way < 0))


def _kind(unconditional: float, conditional: float, large: float) -> str:
    if unconditional > large:
        return LEVEL
    return RELATION if conditional > large else TOGETHER


def sequence(vector: ArrayLike, covariance: ArrayLike, order: Sequence[int]) -> tuple[float, ...]:
    """Return terms that add up to the statistic: each characteristic given those before it in ``order``.

    Parameters
    ----------
    vector, covariance
        As in :func:`contributions`.
    order : sequence of int
        Every column once.

    Returns
    -------
    tuple of float
        The first unconditional, each later one conditional on those before.
    """
    places = list(order)
    chosen = np.ix_(places, places)
    lower = np.linalg.cholesky(np.asarray(covariance, dtype=np.float64)[chosen])
    parts = np.linalg.solve(lower, np.asarray(vector, dtype=np.float64)[places])
    return tuple((parts * parts).tolist())
