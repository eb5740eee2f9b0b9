"""What is steady for several characteristics together: mean vector and covariance for the joint charts.

References
----------
NIST/SEMATECH e-Handbook of Statistical Methods, 6.5.4.1 (mean vector and sample covariance).
Holmes, D. S. and Mergen, A. E. (1993). Improving the performance of the T2 control chart. Quality
Engineering 5, 619-625 (covariance from successive differences, which a step in the baseline hardly touches).
Scholz, F. W. and Tosch, T. J. (1994). Small sample uni- and multivariate control charts for means.
Proceedings of the ASA Section on Quality and Productivity (its degrees of freedom).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rules.baseline.autocorrelation import lag_one
from rules.baseline.joint_limits import known_limit, phase_two_limit
from rules.baseline.refusals import ConstantValues, InfiniteValue, TooFewValues
from rules.charts.joint_rows import Matrix, Vector, check_covariance, check_parts
from rules.series import LARGEST

__all__ = [
    "GIVEN",
    "JOINT_METHODS",
    "SAMPLE",
    "SUCCESSIVE_DIFFERENCES",
    "JointBaseline",
    "autocorrelations",
    "joint_baseline",
    "subgroup_baseline",
]

FloatArray = NDArray[np.float64]
SAMPLE = "sample"
SUCCESSIVE_DIFFERENCES = "successive_differences"
SUBGROUPS = "subgroups"
GIVEN = "given"
JOINT_METHODS = (SAMPLE, SUCCESSIVE_DIFFERENCES, SUBGROUPS, GIVEN)


@dataclass(frozen=True, slots=True, kw_only=True)
class JointBaseline:
    """Mean vector and covariance of a steady process, with the evidence they rest on.

    Parameters
    ----------
    names : tuple of str
        Characteristics, in the order of the columns.
    center : tuple of float
        Level of each, in its unit.
    covariance : tuple of tuple of float, shape (p, p)
        Of the innovations where ``phi`` is given, of subgroup means where rows are those, else of the rows.
    n : int
        Complete rows (or subgroups) used; 0 where mean and covariance were given.
    freedom : float
        Degrees of freedom of the covariance; 0 where given.
    phi : tuple of float
        Autocorrelation at lag 1 of each characteristic; empty where rows are taken as independent.
    method : str
        ``"sample"``, ``"successive_differences"``, ``"subgroups"`` or ``"given"``.

    Raises
    ------
    ValueError
        If the parts do not fit each other; SingularCovariance if the covariance is singular or nearly so.
    """

    names: tuple[str, ...]
    center: Vector
    covariance: Matrix
    n: int
    freedom: float
    phi: Vector = ()
    method: str = SAMPLE

    def __post_init__(self) -> None:
        """Refuse what no joint chart could be drawn from."""
        check_parts(self.names, len(self.center), np.shape(self.covariance), self.phi)
        check_covariance(self.names, np.asarray(self.covariance, dtype=np.float64))
        if self.method not in JOINT_METHODS:
            known = ", ".join(JOINT_METHODS)
            raise ValueError(f"A covariance by {self.method!r} is unknown; use one of {known}.")
        if self.n < 0 or (self.method != GIVEN and self.freedom < len(self.names)):
            raise ValueError(
                f"A covariance of {len(self.names)} characteristics with {self.freedom:g} degrees of freedom "
                f"from {self.n} rows is impossible; collect more rows."
            )

    def limit(self, alpha: float) -> float:
        """Return the T2 limit for new rows, by chi-square where mean and covariance were given, else by F.

        Parameters
        ----------
        alpha : float
            Chance that a row of the steady process is beyond.
        """
        p = len(self.names)
        if self.method == GIVEN:
            return known_limit(alpha=alpha, columns=p)
        return phase_two_limit(alpha=alpha, columns=p, rows=self.n, freedom=self.freedom)

    def chart_parameters(self) -> dict[str, Any]:
        """Return what a T2 or MEWMA chart takes from the baseline; its limit is to be added."""
        return {
            "names": self.names,
            "center": self.center,
            "covariance": self.covariance,
            "phi": self.phi,
        }

    def to_dict(self) -> dict[str, Any]:
        """Return the fields as a dictionary that JSON can carry."""
        return asdict(self)

    @classmethod
    def from_dict(cls, fields: dict[str, Any]) -> JointBaseline:
        """Build a baseline from what :meth:`to_dict` returned, before or after JSON."""
        vectors = {key: tuple(fields[key]) for key in ("names", "center", "phi")}
        covariance = tuple(tuple(row) for row in fields["covariance"])
        return cls(**(fields | vectors | {"covariance": covariance}))


def joint_baseline(
    rows: ArrayLike,
    names: Sequence[str],
    *,
    method: str = SAMPLE,
    phi: Sequence[float] = (),
) -> JointBaseline:
    """Return the mean vector and the covariance of steady rows.

    Parameters
    ----------
    rows : array_like of float, shape (n, p)
        Rows in the order of the shots, NaN where missing. A row with a missing value is left out.
    names : sequence of str
        The characteristics.
    method : str
        ``"sample"``: about the mean, divisor n - 1. ``"successive_differences"``: half the mean product of
        differences of neighboring rows, for a baseline that may hold a step or a slow wander; it takes
        autocorrelation for a small spread, so free the rows of that by ``phi``.
    phi : sequence of float
        Autocorrelation at lag 1 of each characteristic, as :func:`autocorrelations` gives it; the covariance
        is then of the innovations. Empty for none.

    Returns
    -------
    JointBaseline

    Raises
    ------
    TooFewValues
        If fewer than p + 2 complete rows are there.
    ConstantValues
        If a characteristic does not vary.
    InfiniteValue
        If a value is infinite.
    SingularCovariance
        If a characteristic follows from others.
    ValueError
        If the arguments do not fit each other.
    """
    if method not in (SAMPLE, SUCCESSIVE_DIFFERENCES):
        raise ValueError(f"The method is {method!r}; use {SAMPLE} or {SUCCESSIVE_DIFFERENCES}.")
    values = _checked(rows, names)
    check_parts(names, values.shape[1], (len(names),) * 2, tuple(phi))
    complete = values[~np.isnan(values).any(axis=1)]
    center = complete.mean(axis=0)
    fresh = _innovations(values - center, np.asarray(phi)) if any(phi) else values - center
    covariance, freedom = _spread(fresh, method)
    return JointBaseline(
        names=tuple(names),
        center=tuple(center.tolist()),
        covariance=_nested(covariance),
        n=len(complete),
        freedom=freedom,
        phi=tuple(float(value) for value in phi),
        method=method,
    )


def subgroup_baseline(groups: ArrayLike, names: Sequence[str]) -> JointBaseline:
    """Return the baseline of subgroup means: grand mean, and pooled covariance over the size of a subgroup.

    Parameters
    ----------
    groups : array_like of float, shape (m, n, p)
        m subgroups of n rows, n at least 2, none missing.
    names : sequence of str
        The characteristics.

    Returns
    -------
    JointBaseline
        For a T2 chart whose rows are means of n shots; ``n`` is the number of subgroups.

    Raises
    ------
    ValueError
        As :func:`joint_baseline`, or if a value is missing or subgroups are of one row.

    References
    ----------
    Alt, F. B. (1985). Multivariate quality control. In Encyclopedia of Statistical Sciences 6, 110-122.
    """
    values = np.asarray(groups, dtype=np.float64)
    if values.ndim != 3 or values.shape[1] < 2:
        raise ValueError(
            f"Subgroups come as (subgroups, 2 or more rows, characteristics), not {values.shape}."
        )
    if np.isnan(values).any():
        place = int(np.argwhere(np.isnan(values))[0][0])
        raise ValueError(f"Subgroup {place} has a missing value; leave the subgroup out.")
    m, size, p = values.shape
    _checked(values.reshape(-1, p), names)
    within = (values - values.mean(axis=1, keepdims=True)).reshape(-1, p)
    freedom = m * (size - 1)
    return JointBaseline(
        names=tuple(names),
        center=tuple(values.mean(axis=(0, 1)).tolist()),
        covariance=_nested(within.T @ within / freedom / size),
        n=m,
        freedom=float(freedom),
        method=SUBGROUPS,
    )


def autocorrelations(rows: ArrayLike) -> Vector:
    """Return the autocorrelation at lag 1 of each column, 0 where its 95 % interval holds zero.

    Parameters
    ----------
    rows : array_like of float, shape (n, p)
        As in :func:`joint_baseline`.
    """
    found = [lag_one(column) for column in np.asarray(rows, dtype=np.float64).T]
    return tuple(one.phi if one.is_positive or one.is_negative else 0.0 for one in found)


def _checked(rows: ArrayLike, names: Sequence[str]) -> FloatArray:
    values = np.asarray(rows, dtype=np.float64)
    if values.ndim != 2 or values.shape[1] != len(names):
        raise ValueError(f"{len(names)} names need rows of as many values; this array is {values.shape}.")
    for row, column in np.argwhere(np.abs(values) > LARGEST)[:1].tolist():
        raise InfiniteValue(f"Row {row} of {names[column]!r} is infinite; leave it out or mark it missing.")
    _refuse_few(values, names)
    complete = values[~np.isnan(values).any(axis=1)]
    steady = np.ptp(complete, axis=0) <= 1e-12 * np.abs(complete).max(axis=0)
    if steady.any():
        constant = " and ".join(repr(name) for name, one in zip(names, steady, strict=True) if one)
        raise ConstantValues(
            f"{constant} is the same in all rows; leave it out of the joint chart, or watch it as a setting."
        )
    return values


def _refuse_few(values: FloatArray, names: Sequence[str]) -> None:
    missing = np.isnan(values)
    complete, needed = int((~missing.any(axis=1)).sum()), len(names) + 2
    if complete >= needed:
        return
    blame = ""
    if missing.any():
        worst = int(missing.sum(axis=0).argmax())
        blame = f" ({names[worst]!r} is missing most often, in {int(missing[:, worst].sum())} rows)"
    raise TooFewValues(
        f"{complete} of {len(values)} rows are complete{blame}, and {len(names)} characteristics need "
        f"{needed} or more; collect more rows or leave characteristics out."
    )


def _innovations(off: FloatArray, phi: FloatArray) -> FloatArray:
    """Free deviations from center of their autocorrelation; NaN where a row or the one before is missing."""
    fresh = np.full_like(off, np.nan)
    fresh[1:] = (off[1:] - phi * off[:-1]) / np.sqrt(1.0 - phi * phi)
    return fresh


def _spread(rows: FloatArray, method: str) -> tuple[FloatArray, float]:
    """Return the covariance and its degrees of freedom, at least one more than there are columns."""
    parts = rows if method == SAMPLE else np.diff(rows, axis=0)
    parts = parts[~np.isnan(parts).any(axis=1)]
    count, columns = parts.shape
    freedom = count - 1.0 if method == SAMPLE else 2.0 * count**2 / (3.0 * count - 1.0)
    if freedom < columns + 1:
        raise TooFewValues(
            f"Too few neighboring rows are complete to see how {columns} characteristics vary together; "
            "collect more rows or leave out what is often missing."
        )
    if method == SAMPLE:
        away = parts - parts.mean(axis=0)
        return away.T @ away / freedom, freedom
    return parts.T @ parts / (2.0 * count), freedom


def _nested(covariance: FloatArray) -> Matrix:
    even = (covariance + covariance.T) / 2.0
    return tuple(tuple(row) for row in even.tolist())
