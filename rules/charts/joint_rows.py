"""What is new in a row of several characteristics, and how far is that from the center?

What the two joint charts share. Where characteristics are autocorrelated, what is new in a row is its AR(1)
innovation, scaled back to the spread of the values, ``(d - phi d_before) / sqrt(1 - phi^2)`` with d the
deviation from center; without autocorrelation it is d itself. The first row, and one after a missing row, has
no row before it: it is turned by the ratio of two Cholesky factors, so that it has the same covariance as all
others. A lasting shift shows in the innovations as ``sqrt((1 - phi) / (1 + phi))`` of itself.

Every sum is taken in the same order for one row as for an array, so both give the same bits.

References
----------
Hotelling, H. (1947). Multivariate quality control. In Techniques of Statistical Analysis, 111-184 (distance).
Alwan, L. C. and Roberts, H. V. (1988). Time-series modeling for statistical process control. J. Business and
Economic Statistics 6, 87-95 (charts of innovations).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike
from scipy.linalg import solve_triangular
from scipy.stats import chi2

from rules.charts.chart import FloatArray
from rules.charts.record import finite, positive

__all__ = [
    "BLOCK",
    "Innovations",
    "JointRows",
    "Matrix",
    "SingularCovariance",
    "Vector",
    "check_covariance",
    "check_parts",
    "dependent",
    "distance",
    "distances",
    "weigh",
]

BLOCK = 4096  # rows: with their work they stay in the processor's cache
NEAR_SINGULAR = 1e-6  # of its own variance left by the others: a tighter tie is arithmetic (common practice)
SYMMETRY = 1e-9

Vector = tuple[float, ...]
Matrix = tuple[Vector, ...]


class SingularCovariance(ValueError):
    """A characteristic does not vary, or follows from others, so that no joint distance exists."""


@dataclass(frozen=True, slots=True)
class Innovations:
    """Which part of a row is new.

    Parameters
    ----------
    phi, scale : tuple of float
        Autocorrelation at lag 1 of each characteristic, and ``1 / sqrt(1 - phi^2)``.
    first : tuple of tuple of float
        Lower triangle that turns a row with no row before it.
    """

    phi: Vector
    scale: Vector
    first: Matrix

    @classmethod
    def of(cls, phi: Vector, covariance: FloatArray) -> Innovations:
        """Prepare for innovations of a given covariance, shape (p, p)."""
        phis = np.asarray(phi)
        spread = np.sqrt(1.0 - phis * phis)
        settled = covariance * np.outer(spread, spread) / (1.0 - np.outer(phis, phis))
        lower, before = np.linalg.cholesky(covariance), np.linalg.cholesky(settled)
        turn = solve_triangular(before.T, lower.T, lower=False).T  # lower @ inverse of before
        return cls(phi, tuple((1.0 / spread).tolist()), _triangle(turn))

    def step(self, before: Vector, off: Sequence[float]) -> list[float]:
        """Return what is new in the deviations ``off``; ``before`` is empty where no row came before."""
        if not before:
            return weigh(self.first, off)
        parts = zip(off, self.phi, before, self.scale, strict=True)
        return [(d - phi * b) * scale for d, phi, b, scale in parts]

    def run(self, before: Vector, off: FloatArray) -> FloatArray:
        """Return what is new in many rows, shape (p, n), NaN in the columns of missing rows."""
        held = np.array(before or [math.nan] * len(self.phi))[:, None]
        earlier = np.concatenate((held, off[:, :-1]), axis=1)
        phi, scale = np.array(self.phi)[:, None], np.array(self.scale)[:, None]
        fresh: FloatArray = (off - phi * earlier) * scale
        for index in np.flatnonzero(np.isnan(earlier[0]) & ~np.isnan(off[0])).tolist():
            fresh[:, index] = weigh(self.first, off[:, index].tolist())
        return fresh


@dataclass(frozen=True, kw_only=True)
class JointRows:
    """What a joint chart knows of its rows.

    Parameters
    ----------
    names : tuple of str
        Characteristics, in the order of the columns.
    center : tuple of float
        Level of each, in its unit.
    covariance : tuple of tuple of float, shape (p, p)
        Of the innovations where ``phi`` is given, else of the rows.
    limit : float
        Upper limit of the statistic, above zero.
    phi : tuple of float
        Autocorrelation at lag 1 of each characteristic, between -1 and 1; empty for none.

    Raises
    ------
    ValueError
        If the parts do not fit each other; SingularCovariance if the covariance is singular or nearly so.
    """

    names: tuple[str, ...]
    center: Vector
    covariance: Matrix
    limit: float
    phi: Vector = ()

    def __post_init__(self) -> None:
        """Check the parameters."""
        object.__setattr__(self, "covariance", tuple(tuple(row) for row in self.covariance))
        positive("joint", "limit", self.limit)
        for name, value in zip(self.names, self.center, strict=False):
            finite("joint", f"center of {name!r}", value)
        check_parts(self.names, len(self.center), np.shape(self.covariance), self.phi)
        check_covariance(self.names, np.asarray(self.covariance, dtype=np.float64))

    @property
    def columns(self) -> int:
        """How many numbers a row has."""
        return len(self.center)

    @cached_property
    def inverse(self) -> Matrix:
        """Inverse of the lower Cholesky factor of the covariance, as the rows of its triangle."""
        lower = np.linalg.cholesky(np.asarray(self.covariance))
        return _triangle(solve_triangular(lower, np.eye(self.columns), lower=True))

    @cached_property
    def innovations(self) -> Innovations | None:
        """How rows are freed of autocorrelation, None where there is none."""
        return Innovations.of(self.phi, np.asarray(self.covariance)) if any(self.phi) else None

    @cached_property
    def alpha(self) -> float:
        """Chance that a row with known mean and covariance is beyond the limit."""
        return max(float(chi2.sf(self.limit, self.columns)), 1e-300)

    def off(self, row: Sequence[float]) -> list[float] | None:
        """Return the deviations of a row from center, None if a value is missing."""
        if len(row) != len(self.center):
            raise ValueError(f"This chart takes rows of {self.columns} numbers; this row has {len(row)}.")
        if not all(map(math.isfinite, row)):
            return None
        return [value - center for value, center in zip(row, self.center, strict=True)]

    def offs(self, rows: FloatArray) -> FloatArray:
        """Return the deviations of many rows, shape (p, n), NaN throughout a row where a value is missing."""
        off: FloatArray = np.ascontiguousarray(rows.T) - np.array(self.center)[:, None]
        off[:, np.isnan(off).any(axis=0)] = np.nan
        return off


def distance(inverse: Matrix, vector: Sequence[float]) -> float:
    """Return ``vector' covariance^-1 vector`` from the inverse of the Cholesky factor."""
    total = 0.0
    for part in weigh(inverse, vector):
        total += part * part
    return total


def distances(inverse: Matrix, vectors: FloatArray) -> FloatArray:
    """Return the distance of many vectors, shape (p, n), in the same bits as :func:`distance`."""
    full = np.zeros((len(inverse), len(inverse)))
    full[np.tril_indices(len(inverse))] = [weight for row in inverse for weight in row]
    parts = np.zeros(vectors.shape)
    for column, values in enumerate(vectors):
        parts[column:] += full[column:, column, None] * values
    total = np.zeros(vectors.shape[1])
    for part in parts:
        total += part * part
    return np.asarray(total, dtype=np.float64)


def weigh(triangle: Matrix, vector: Sequence[float]) -> list[float]:
    """Return the product of a lower triangle and a vector, summed from the first column on."""
    parts = []
    for weights in triangle:
        part = 0.0
        for weight, value in zip(weights, vector, strict=False):  # a row of the triangle ends early
            part += weight * value
        parts.append(part)
    return parts


def _triangle(matrix: FloatArray) -> Matrix:
    return tuple(tuple(row[: index + 1]) for index, row in enumerate(matrix.tolist()))


def check_parts(names: Sequence[str], centers: int, shape: tuple[int, ...], phi: Vector) -> None:
    """Raise ValueError unless names, center, covariance and phi are of one size, and phi in range."""
    p = len(names)
    if len(set(names)) != p or p < 1:
        raise ValueError(f"The names {', '.join(names) or '(none)'} do not name different characteristics.")
    if centers != p or shape != (p, p) or len(phi) not in (0, p):
        raise ValueError(
            f"{p} names, {centers} centers, a covariance of shape {shape} and {len(phi)} autocorrelations do "
            "not fit; give one of each for every characteristic."
        )
    for name, value in zip(names, phi, strict=False):
        if not -1.0 < value < 1.0:
            raise ValueError(f"The phi of {name!r} is {value}; give a number between -1 and 1.")


def check_covariance(names: Sequence[str], covariance: FloatArray) -> None:
    """Raise SingularCovariance, naming what to leave out, unless there is a joint distance."""
    variances = np.diag(covariance)
    if not np.isfinite(covariance).all():
        raise ValueError("The covariance has a value that is not finite; compute it from complete rows.")
    constant = [name for name, variance in zip(names, variances.tolist(), strict=True) if not variance > 0.0]
    if constant:
        raise SingularCovariance(
            f"{_listed(constant)} does not vary; leave it out, or watch it as a setting."
        )
    spread = np.sqrt(variances)
    correlation = covariance / np.outer(spread, spread)
    if np.abs(correlation - correlation.T).max() > SYMMETRY:
        raise ValueError("The covariance is not symmetric; give that of one pair the same both ways.")
    found = dependent(correlation)
    if found:
        causes = "; ".join(
            f"{names[index]!r} follows from {_listed([names[other] for other in others])}"
            for index, others in found.items()
        )
        raise SingularCovariance(f"{causes}: leave out {_listed([names[index] for index in found])}.")


def dependent(correlation: ArrayLike) -> dict[int, list[int]]:
    """Return which columns follow from columns before them, and from which.

    Parameters
    ----------
    correlation : array_like of float, shape (p, p)

    Returns
    -------
    dict of int to list of int
        A column of which others leave under 1e-6 of its variance, and those that matter to it. Without the
        columns found the rest is not singular.
    """
    matrix, kept, found = np.asarray(correlation, dtype=np.float64), [0], {}
    for column in range(1, len(matrix)):
        weights = np.linalg.solve(matrix[np.ix_(kept, kept)], matrix[kept, column])
        if 1.0 - matrix[kept, column] @ weights < NEAR_SINGULAR:
            strong = np.abs(weights) > 0.01 * np.abs(weights).max()
            found[column] = [other for other, counts in zip(kept, strong, strict=True) if counts]
        else:
            kept.append(column)
    return found


def _listed(names: Sequence[str]) -> str:
    return " and ".join(repr(name) for name in names)
