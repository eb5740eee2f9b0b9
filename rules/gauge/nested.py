"""How does a gauge repeat within a day, from day to day, and from run to run? A nested study.

References
----------
NIST/SEMATECH e-Handbook of Statistical Methods, 2.4.3 and 2.6.1 (three levels, nested), 2.5.3 (combining).
Satterthwaite, F. E. (1946). An approximate distribution of estimates of variance components. Biometrics
Bulletin 2, 110-114.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rules.dome.welch import Interval
from rules.gauge.components import Term, sigma_interval
from rules.gauge.study import checked, checked_options
from rules.plain_record import plain

__all__ = ["Level", "NestedStudy", "nested"]

FloatArray = NDArray[np.float64]
AXES = ("run", "part", "day")


@dataclass(frozen=True, slots=True)
class Level:
    """A pooled standard deviation with its interval and degrees of freedom."""

    sigma: Interval
    freedom: int


@dataclass(frozen=True, slots=True, kw_only=True)
class NestedStudy:
    """Three levels of a nested study, and what one reported value is worth.

    Parameters
    ----------
    within_day : Level
        Level 1: repetitions of one day.
    between_days : Level
        Level 2: averages of days, within a run.
    between_runs : Level
        Level 3: averages of runs.
    days_sigma, runs_sigma : float
        What days and runs add of their own; 0 where the lower level explains all.
    reported_sigma : float
        Standard deviation of one day's average, over days and runs.
    reported_freedom : float
        Its effective degrees of freedom.
    confidence : float
    """

    within_day: Level
    between_days: Level
    between_runs: Level
    days_sigma: float
    runs_sigma: float
    reported_sigma: float
    reported_freedom: float
    confidence: float

    def to_dict(self) -> dict[str, Any]:
        """Return all fields as plain values that JSON can carry."""
        held: dict[str, Any] = plain(self)
        return held


def nested(averages: ArrayLike, sds: ArrayLike, *, repetitions: int, confidence: float = 0.95) -> NestedStudy:
    """Return the three levels of spread of a nested study.

    Parameters
    ----------
    averages, sds : array_like of float, shape (runs, parts, days)
        Average and standard deviation of each day's repetitions; 2 or more of each axis.
    repetitions : int
        Behind each average, 2 or more.
    confidence : float
        Of the intervals.

    Returns
    -------
    NestedStudy

    Raises
    ------
    ValueError
        If the tables are not full or do not match, or an argument is out of range.

    References
    ----------
    NIST/SEMATECH e-Handbook, 2.6.1; 2.5.3 for the reported value: level 3 squared plus (days - 1)/days of
    level 2 squared.
    """
    checked_options(None, confidence)
    table, spreads = checked(averages, AXES), np.asarray(sds, dtype=np.float64)
    if spreads.shape != table.shape or not np.isfinite(spreads).all() or (spreads < 0.0).any():
        raise ValueError(
            "Every average needs its standard deviation, 0 or more; give two tables of one shape."
        )
    if repetitions < 2:
        raise ValueError(f"{repetitions} repetition a day shows no spread within a day; take 2 or more.")
    runs, parts, days = table.shape
    first = _level(float(np.mean(spreads**2)), table.size * (repetitions - 1), confidence)
    second = _level(float(table.var(axis=2, ddof=1).mean()), runs * parts * (days - 1), confidence)
    third = _level(float(table.mean(axis=2).var(axis=0, ddof=1).mean()), parts * (runs - 1), confidence)
    s1, s2, s3 = (level.sigma.estimate**2 for level in (first, second, third))
    of_days = (days - 1) / days * s2
    reported = s3 + of_days
    freedom = reported**2 / (s3**2 / third.freedom + of_days**2 / second.freedom) if reported else math.nan
    return NestedStudy(
        within_day=first, between_days=second, between_runs=third,
        days_sigma=math.sqrt(max(s2 - s1 / repetitions, 0.0)), runs_sigma=math.sqrt(max(s3 - s2 / days, 0.0)),
        reported_sigma=math.sqrt(reported), reported_freedom=freedom, confidence=confidence,
    )  # fmt: skip


def _level(variance: float, freedom: int, confidence: float) -> Level:
    return Level(sigma_interval(variance, (Term(1.0, variance, freedom),), confidence), freedom)
