"""Does the process fit between the tolerance limits: Cp, Cpk, Pp, Ppk and Cpm, each with its interval.

References
----------
ISO 22514-2:2017, Statistical methods in process management - Capability and performance - Part 2: Process
capability and performance of time-dependent process models.
ISO 22514-7:2021, Part 7: Capability of measurement processes (observed and actual index).
NIST/SEMATECH e-Handbook of Statistical Methods, 6.1.6.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import normaltest

from rules.baseline.autocorrelation import lag_one
from rules.capability import intervals
from rules.capability.gauge_share import GaugeShare, without_gauge
from rules.capability.rejects import Rejects, expected
from rules.capability.specification import Specification
from rules.capability.spread import (
    Method,
    Spread,
    checked,
    effective_size,
    overall,
    within_neighbors,
    within_subgroups,
)
from rules.change_point import many
from rules.dome.welch import Interval
from rules.plain_record import plain

__all__ = ["Capability", "Indices", "capability"]

FloatArray = NDArray[np.float64]
ENOUGH = 100  # effective values below which the interval is the message; common practice, no source
FEWEST_FOR_SHAPE = 20
DOUBTFUL_SHAPE = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class Indices:
    """Indices from one sigma.

    Parameters
    ----------
    spread : Spread
    potential : Interval or None
        Cp or Pp: tolerance over six sigma; None with one limit.
    lower, upper : float or None
        One-sided: distance from the mean to each limit over three sigma.
    nearest : Interval
        Cpk or Ppk: the smaller of the two.
    """

    spread: Spread
    potential: Interval | None
    lower: float | None
    upper: float | None
    nearest: Interval


@dataclass(frozen=True, slots=True, kw_only=True)
class Capability:
    """What a sample says about a process and its specification.

    Parameters
    ----------
    specification : Specification
    n : int
        Values present.
    effective_n : float
        Independent values that would say as much about the mean.
    phi : float
        Autocorrelation at lag 1 that was reckoned with, 0 or more.
    mean : float
    within : Indices or None
        Cp, Cpk: from neighbors or subgroups; None where these do not differ.
    overall : Indices
        Pp, Ppk: from all values.
    cpm : Interval or None
        None without a target or with one limit.
    rejects : Rejects
        From the overall indices.
    gauge : GaugeShare or None
        None where no gauge sigma was given.
    confidence : float
    notes : tuple of str
        Sentences that say what to doubt.
    """

    specification: Specification
    n: int
    effective_n: float
    phi: float
    mean: float
    within: Indices | None
    overall: Indices
    cpm: Interval | None
    rejects: Rejects
    gauge: GaugeShare | None
    confidence: float
    notes: tuple[str, ...]

    @property
    def cp(self) -> Interval | None:
        """Potential index within."""
        return None if self.within is None else self.within.potential

    @property
    def cpk(self) -> Interval | None:
        """Index to the nearer limit within."""
        return None if self.within is None else self.within.nearest

    @property
    def pp(self) -> Interval | None:
        """Potential index overall."""
        return self.overall.potential

    @property
    def ppk(self) -> Interval:
        """Index to the nearer limit overall."""
        return self.overall.nearest

    def to_dict(self) -> dict[str, Any]:
        """Return all fields and the indices by name, as plain values that JSON can carry."""
        named = {"cp": self.cp, "cpk": self.cpk, "pp": self.pp, "ppk": self.ppk}
        return {**plain(self), **plain(named)}


def capability(
    x: ArrayLike,
    specification: Specification,
    *,
    phi: float | None = None,
    within: Method = "pooled",
    gauge_sigma: float | None = None,
    confidence: float = 0.95,
) -> Capability:
    """Return capability and performance indices of normal values.

    Parameters
    ----------
    x : array_like of float, shape (n,) or (groups, size)
        Values in order (NaN where missing), or full subgroups in order.
    specification : Specification
        Same unit.
    phi : float, optional
        Autocorrelation at lag 1, from 0 to below 1; of a single series it is estimated, and counts where its
        interval lies above zero. Subgroups are taken for independent.
    within : {'pooled', 'ranges'}
        How sigma within subgroups is found; a single series uses moving ranges.
    gauge_sigma : float, optional
        Standard deviation of one reading by the gauge alone.
    confidence : float
        Of all intervals.

    Returns
    -------
    Capability

    Raises
    ------
    ValueError
        If fewer than 2 values are present, one is infinite, all are equal, subgroups are not full, or an
        argument is out of range.

    References
    ----------
    ISO 22514-2:2017; intervals as in :mod:`rules.capability.intervals`.
    """
    _check_options(phi, within, gauge_sigma, confidence)
    table = checked(x)
    values = table[~np.isnan(table)]
    reckoned = _reckoned_phi(table, phi)
    n, mean, size = len(values), float(values.mean()), effective_size(len(values), reckoned)
    spread = overall(values, reckoned)
    near = within_neighbors(table) if table.ndim == 1 else within_subgroups(table, within)
    whole = _indices(mean, spread, size, specification, confidence)
    seen = sum(specification.outside(float(value)) for value in values)
    share = None if gauge_sigma is None else without_gauge(
        spread, gauge_sigma, whole.potential, whole.nearest, confidence
    )  # fmt: skip
    return Capability(
        specification=specification, n=n, effective_n=size, phi=reckoned, mean=mean,
        within=None if near is None else _indices(mean, near, size, specification, confidence),
        overall=whole, cpm=_cpm(mean, spread, size, specification, confidence),
        rejects=expected(
            whole.lower, whole.upper, confidence=confidence, seen=(seen, n),
            interval=lambda index, sure: intervals.nearest(index, size, spread.freedom, sure),
        ),
        gauge=share, confidence=confidence,
        notes=(*_notes(table, values, reckoned, size), *(() if share is None else share.notes)),
    )  # fmt: skip


def _check_options(phi: float | None, within: str, gauge_sigma: float | None, confidence: float) -> None:
    if phi is not None and not 0.0 <= phi < 1.0:
        raise ValueError(f"phi is {phi}; give an autocorrelation of 0 or more, below 1.")
    if within not in ("pooled", "ranges"):
        raise ValueError(f"There is no spread within by {within!r}; give 'pooled' or 'ranges'.")
    if gauge_sigma is not None and not (math.isfinite(gauge_sigma) and gauge_sigma >= 0.0):
        raise ValueError(f"The gauge sigma is {gauge_sigma}; give a number of 0 or more.")
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"The confidence is {confidence}; give a number between 0 and 1.")


def _reckoned_phi(table: FloatArray, phi: float | None) -> float:
    if phi is not None:
        return phi
    if table.ndim == 2:
        return 0.0
    return lag_one(table).established


def _indices(
    mean: float, spread: Spread, size: float, specification: Specification, confidence: float
) -> Indices:
    low, high, width = specification.low, specification.high, specification.width
    lower = None if low is None else (mean - low) / (3.0 * spread.sigma)
    upper = None if high is None else (high - mean) / (3.0 * spread.sigma)
    smaller = min(index for index in (lower, upper) if index is not None)
    index = None if width is None else width / (6.0 * spread.sigma)
    return Indices(
        spread=spread, lower=lower, upper=upper,
        potential=None if index is None else intervals.potential(index, spread.freedom, confidence),
        nearest=intervals.nearest(smaller, size, spread.freedom, confidence),
    )  # fmt: skip


def _cpm(
    mean: float, spread: Spread, size: float, specification: Specification, confidence: float
) -> Interval | None:
    width, target = specification.width, specification.target
    if width is None or target is None:
        return None
    return intervals.around_target(
        mean, spread.sigma, size, width=width, target=target, confidence=confidence
    )


def _notes(table: FloatArray, values: FloatArray, phi: float, size: float) -> Sequence[str]:
    notes = []
    if phi > 0.0:
        notes.append(
            f"Neighbors are alike (autocorrelation {phi:.2f}): the {len(values)} values are worth {size:.0f} "
            "independent ones, and Cp and Cpk flatter; judge by Pp and Ppk."
        )
    if size < ENOUGH:
        notes.append(f"{size:.0f} independent values settle little; read the lower bounds, not the indices.")
    shifts = many(table.ravel()) if table.ndim == 1 else []
    if shifts:
        places = ", ".join(str(shift.index) for shift in shifts)
        notes.append(
            f"The level shifted (at value {places}): these figures describe a mixture and foretell nothing "
            "until the process is steady."
        )
    if len(values) >= FEWEST_FOR_SHAPE and float(normaltest(values).pvalue) < DOUBTFUL_SHAPE:
        notes.append("The values do not look normal; take the indices by quantiles beside these.")
    return notes
