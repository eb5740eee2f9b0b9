"""How far may a joint statistic go: limits of Hotelling's T2, by what its mean and covariance come from.

Known mean and covariance give chi-square. Where both come from m rows, T2 of a row that was among them is a
beta variable (phase I), T2 of a new row an F variable (phase II). ``alpha`` is the chance that one row of a
steady process is beyond.

References
----------
Tracy, N. D., Young, J. C. and Mason, R. L. (1992). Multivariate control charts for individual observations.
J. Quality Technology 24, 88-95 (individual rows).
Alt, F. B. (1985). Multivariate quality control. In Encyclopedia of Statistical Sciences 6, 110-122 (means of
subgroups).
NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.4.
"""

from __future__ import annotations

from scipy.stats import beta, chi2, f

__all__ = ["known_limit", "phase_one_limit", "phase_one_means_limit", "phase_two_limit"]


def known_limit(*, alpha: float, columns: int) -> float:
    """Return the limit for known mean and covariance.

    Parameters
    ----------
    alpha : float
        Chance that a row of a steady process is beyond, between 0 and 1.
    columns : int
        Number of characteristics.

    Returns
    -------
    float

    Raises
    ------
    ValueError
        If a parameter is out of range.
    """
    _check(alpha, columns, columns + 1.0)
    return float(chi2.isf(alpha, columns))


def phase_one_limit(*, alpha: float, columns: int, rows: int) -> float:
    """Return the limit for a row that is among those whose sample covariance is used.

    Parameters
    ----------
    alpha : float
        Chance that a row of a steady process is beyond, between 0 and 1.
    columns, rows : int
        Number of characteristics, and of rows: at least two more.

    Returns
    -------
    float

    Raises
    ------
    ValueError
        If a parameter is out of range.
    """
    _check(alpha, columns, rows - 1.0)
    if rows < columns + 2:
        raise ValueError(f"{rows} rows of {columns} characteristics leave nothing to judge by; collect more.")
    most = (rows - 1.0) ** 2 / rows
    return most * float(beta.isf(alpha, columns / 2.0, (rows - columns - 1.0) / 2.0))


def phase_two_limit(*, alpha: float, columns: int, rows: int, freedom: float | None = None) -> float:
    """Return the limit for a new row.

    Parameters
    ----------
    alpha : float
        Chance that a row of a steady process is beyond, between 0 and 1.
    columns, rows : int
        Number of characteristics, and of rows (or subgroup means) in the baseline.
    freedom : float, optional
        Degrees of freedom of the covariance, at least ``columns``; ``rows - 1`` if not given. Subgroups of n
        give ``rows (n - 1)``, and T2 of their means is then judged with the covariance of a mean.

    Returns
    -------
    float

    Raises
    ------
    ValueError
        If a parameter is out of range.
    """
    held = rows - 1.0 if freedom is None else freedom
    _check(alpha, columns, held)
    return (rows + 1.0) / rows * _hotelling(alpha, columns, held)


def phase_one_means_limit(*, alpha: float, columns: int, rows: int, freedom: float) -> float:
    """Return the limit for a subgroup mean that is among those whose pooled covariance is used.

    Parameters
    ----------
    alpha : float
        Chance that a mean of a steady process is beyond, between 0 and 1.
    columns, rows : int
        Number of characteristics, and of subgroups.
    freedom : float
        Degrees of freedom of the pooled covariance, ``rows (n - 1)`` for subgroups of n.

    Returns
    -------
    float

    Raises
    ------
    ValueError
        If a parameter is out of range.
    """
    _check(alpha, columns, freedom)
    return (rows - 1.0) / rows * _hotelling(alpha, columns, freedom)


def _hotelling(alpha: float, columns: int, freedom: float) -> float:
    left = freedom - columns + 1.0
    return columns * freedom / left * float(f.isf(alpha, columns, left))


def _check(alpha: float, columns: int, freedom: float) -> None:
    if not 0.0 < alpha < 1.0:
        raise ValueError(f"alpha is {alpha}; give a chance between 0 and 1.")
    if columns < 1:
        raise ValueError(f"A joint chart of {columns} characteristics is impossible; give 1 or more.")
    if freedom < columns:
        raise ValueError(
            f"{freedom:g} degrees of freedom cannot carry {columns} characteristics; collect more rows or "
            "leave some out."
        )
