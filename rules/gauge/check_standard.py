"""Is the gauge still the one it was? A check standard gauged again and again.

References
----------
NIST/SEMATECH e-Handbook of Statistical Methods, 2.2 and 2.6.2 (statistical control of a measurement process
by a check standard: value and short-term standard deviation).
Hahn, G. J. and Meeker, W. Q. (1991). Statistical Intervals, Wiley, 4.7 (limits for one new value).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import fdtri, stdtrit

from rules.baseline.autocorrelation import Autocorrelation, lag_one
from rules.change_point import Form, form
from rules.dome.welch import Interval
from rules.figures import written
from rules.gauge.components import Term, sigma_interval
from rules.gauge.study import checked_options
from rules.plain_record import plain
from rules.series import LARGEST, LEAST_SPREAD

__all__ = ["CheckStandard", "check_standard"]

FloatArray = NDArray[np.float64]
FEWEST = 8
FALSE_ALARMS = 0.0027  # of a three-sigma limit


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckStandard:
    """What repeated gauging of one kept part shows.

    Parameters
    ----------
    n : int
    mean : float
    sigma : Interval
        Long-term standard deviation of the values.
    low, high : float
        Limits for one new value.
    short_sigma : float or None
        Pooled short-term standard deviation; None where none were given.
    short_freedom : int
    short_limit : float or None
        Largest short-term standard deviation that is still usual.
    autocorrelation : Autocorrelation
        At lag 1; alike neighbors make the limits too tight.
    change : Form
        Whether the values stepped or drifted.
    """

    n: int
    mean: float
    sigma: Interval
    low: float
    high: float
    short_sigma: float | None
    short_freedom: int
    short_limit: float | None
    autocorrelation: Autocorrelation
    change: Form

    @property
    def is_stable(self) -> bool:
        """Whether the values show neither step nor drift."""
        return self.change.kind == "none"

    def doubts(self, value: float, sd: float | None = None) -> tuple[str, ...]:
        """Return why a new gauging of the check standard does not fit, as sentences; empty where it does.

        Parameters
        ----------
        value : float
            New average.
        sd : float, optional
            Its short-term standard deviation, from as many repetitions as before.
        """
        found = []
        if not self.low <= value <= self.high:
            side = "above" if value > self.high else "below"
            found.append(
                f"The check standard reads {written(value, 6)}, {side} its limits {written(self.low, 6)} to "
                f"{written(self.high, 6)}."
            )
        if sd is not None and self.short_limit is not None and not sd <= self.short_limit:
            usual = written(self.short_limit, 3)
            found.append(f"Repetitions spread by {written(sd, 6)}, more than the usual {usual}.")
        return tuple(found)

    def to_dict(self) -> dict[str, Any]:
        """Return all fields as plain values that JSON can carry."""
        held: dict[str, Any] = plain(self)
        return held


def check_standard(
    values: ArrayLike,
    sds: ArrayLike | None = None,
    *,
    freedom_each: int = 0,
    confidence: float = 0.95,
) -> CheckStandard:
    """Return limits for a check standard and whether it has been stable.

    Parameters
    ----------
    values : array_like of float, shape (n,)
        Averages in order, 8 or more, none missing.
    sds : array_like of float, shape (n,), optional
        Short-term standard deviations behind the averages.
    freedom_each : int
        Degrees of freedom of each, repetitions minus 1; needed with ``sds``.
    confidence : float
        Of the interval of sigma.

    Returns
    -------
    CheckStandard

    Raises
    ------
    ValueError
        If values are too few, missing, infinite or all equal, or the standard deviations do not match.

    Notes
    -----
    Limits are set for one false alarm in 370 values, one-sided for the standard deviation.

    References
    ----------
    NIST/SEMATECH e-Handbook, 2.2.2 and 2.2.3.
    """
    checked_options(None, confidence)
    x = _checked_values(values)
    n, mean, s = len(x), float(x.mean()), float(x.std(ddof=1))
    half = float(stdtrit(n - 1, 1.0 - FALSE_ALARMS / 2.0)) * s * math.sqrt(1.0 + 1.0 / n)
    short, freedom = (None, 0) if sds is None else _pooled(sds, n, freedom_each)
    usual = None if short is None else short * math.sqrt(fdtri(freedom_each, freedom, 1.0 - FALSE_ALARMS))
    return CheckStandard(
        n=n, mean=mean, sigma=sigma_interval(s * s, (Term(1.0, s * s, n - 1),), confidence),
        low=mean - half, high=mean + half, short_sigma=short, short_freedom=freedom, short_limit=usual,
        autocorrelation=lag_one(x), change=form(x),
    )  # fmt: skip


def _checked_values(values: ArrayLike) -> FloatArray:
    x = np.asarray(values, dtype=np.float64)
    if x.ndim != 1 or len(x) < FEWEST:
        raise ValueError(
            f"A check standard needs {FEWEST} or more values in one series; gauge it more often."
        )
    sound = np.abs(x) <= LARGEST
    if not sound.all():
        place = int(np.argmin(sound))
        raise ValueError(f"Value {place} of the check standard is missing or infinite; leave it out.")
    if np.ptp(x) <= LEAST_SPREAD:
        raise ValueError(
            f"All {len(x)} values are {written(x[0], 6)}; read the check standard with finer steps."
        )
    return x


def _pooled(sds: ArrayLike, n: int, freedom_each: int) -> tuple[float, int]:
    spreads = np.asarray(sds, dtype=np.float64)
    if spreads.shape != (n,) or not (np.isfinite(spreads).all() and (spreads >= 0.0).all()):
        raise ValueError(f"Give {n} short-term standard deviations, 0 or more, one for each value.")
    if freedom_each < 1:
        raise ValueError(f"The degrees of freedom of each are {freedom_each}; give repetitions minus 1.")
    return math.sqrt(float(np.mean(spreads**2))), n * freedom_each
