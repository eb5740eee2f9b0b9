"""The phase I study: from the first shots of a run to a baseline, with what a person should know."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rules.baseline.autocorrelation import Autocorrelation, lag_one
from rules.baseline.outliers import propose
from rules.baseline.resolution import sigma_floor, step_of
from rules.baseline.startup import first_steady_index
from rules.limits import Baseline

__all__ = ["FEWEST_VALUES", "Study", "moving_range_sigma", "provisional", "study"]

FloatArray = NDArray[np.float64]
FEWEST_VALUES = 25
RANGE_TO_SIGMA = math.sqrt(math.pi) / 2.0  # 1 / d2(2), exactly


@dataclass(frozen=True)
class Study:
    """What a phase I study found.

    Parameters
    ----------
    baseline : Baseline
        Center and sigma for the charts.
    startup : int
        Index of the first steady value.
    outliers : tuple of int
        Indices (in the values handed in) a person should look at; they are part of the baseline.
    phi_interval : tuple of (float, float)
        95 % interval of the autocorrelation at lag 1.
    resolution : float or None
        Step of the values, if they come in steps.
    notes : tuple of str
        Sentences that explain the choices and reasons.
    """

    baseline: Baseline
    startup: int
    outliers: tuple[int, ...]
    phi_interval: tuple[float, float]
    resolution: float | None
    notes: tuple[str, ...]


def study(x: ArrayLike, *, exclude_startup: bool = True, resolution: float | None = None) -> Study:
    """Return the baseline of a run and what should be known about it.

    Parameters
    ----------
    x : array_like of float, shape (n,)
        Values in the order of the shots; NaN where missing.
    exclude_startup : bool
        Leave out the first values that differ from the later level.
    resolution : float, optional
        Step of the values, where it is known; found from the values otherwise.

    Returns
    -------
    Study

    Raises
    ------
    ValueError
        If fewer than 25 steady values are there, one is infinite, or all are equal and no resolution is
        known.

    Notes
    -----
    Sigma comes from moving ranges where neighboring values are independent, because ranges shrug off a slow
    wander. Where they are correlated a moving range misses part of the spread (it shrinks with
    ``sqrt(1 - phi)``), or overstates it, so sigma is the standard deviation of all values. A positive phi is
    handed on, so that limits are widened for it.

    References
    ----------
    ISO 7870-2:2023, Control charts - Part 2: Shewhart control charts (individuals and moving ranges).
    Maragah, H. D. and Woodall, W. H. (1992). The effect of autocorrelation on the retrospective X-chart.
    J. Statistical Computation and Simulation 40, 29-42.
    """
    values = _finite(x)
    startup = first_steady_index(values) if exclude_startup else 0
    steady = values[startup:]
    baseline, correlation, step, note = _baseline(steady, resolution)
    outliers = propose(steady)
    notes = (
        [] if startup == 0 else [f"The first {startup} shots differ from the later level and are left out."]
    )
    notes += [note, _autocorrelation_note(correlation)]
    if step is not None:
        notes.append(f"Values come in steps of {step:.4g}.")
    notes += [f"Look at shot {startup + outlier.index}: {outlier.reason}" for outlier in outliers]
    indices = tuple(startup + outlier.index for outlier in outliers)
    return Study(baseline, startup, indices, (correlation.low, correlation.high), step, tuple(notes))


def provisional(x: ArrayLike, *, resolution: float | None = None) -> Baseline:
    """Return a baseline from a few steady values, for limits that are marked provisional.

    Parameters
    ----------
    x : array_like of float, shape (n,)
        25 or more steady values in the order of the shots; NaN where missing.
    resolution : float, optional
        Step of the values, where it is known; found from the values otherwise.

    Returns
    -------
    Baseline
        Sigma as in :func:`study`. Widening the limits for the small number is the budget's part.

    Raises
    ------
    ValueError
        As :func:`study`.
    """
    return _baseline(_finite(x), resolution)[0]


def moving_range_sigma(x: ArrayLike) -> float:
    """Return sigma from the mean moving range of neighboring values, ``mean |difference| / d2(2)``.

    Parameters
    ----------
    x : array_like of float, shape (n,)
        Values in order; a range with a NaN is left out.

    Returns
    -------
    float
        NaN where no two neighbors are present.
    """
    ranges = np.abs(np.diff(np.asarray(x, dtype=np.float64)))
    ranges = ranges[~np.isnan(ranges)]
    return float(ranges.mean()) * RANGE_TO_SIGMA if ranges.size else math.nan


def _finite(x: ArrayLike) -> FloatArray:
    values = np.asarray(x, dtype=np.float64)
    if values.ndim != 1:
        raise ValueError(f"A baseline needs one row of values, not {values.ndim} dimensions.")
    if np.isinf(values).any():
        place = int(np.flatnonzero(np.isinf(values))[0])
        raise ValueError(f"Value {place} of the baseline is infinite; leave it out or mark it missing.")
    return values


def _baseline(
    steady: FloatArray, resolution: float | None
) -> tuple[Baseline, Autocorrelation, float | None, str]:
    """Choose sigma and say why."""
    present = steady[~np.isnan(steady)]
    if len(present) < FEWEST_VALUES:
        raise ValueError(
            f"{len(present)} steady values are too few for limits; collect {FEWEST_VALUES} or more."
        )
    step = step_of(present) if resolution is None else resolution
    floor = sigma_floor(step)
    correlation = lag_one(steady)
    sigma, method, note = _sigma(steady, present, correlation)
    if sigma < floor:
        sigma, method = floor, "floor"
        note = f"The values vary by less than their step of {step:.4g}; sigma is held at half a step."
    if not sigma > 1e-12 * abs(float(present.mean())):
        raise ValueError(
            f"All {len(present)} values are {present[0]:g}; give the resolution of this characteristic, "
            "or watch it for change as a setting."
        )
    phi = correlation.phi if correlation.is_positive else 0.0
    center = float(present.mean())
    return (
        Baseline(center=center, sigma=sigma, n=len(present), phi=phi, sigma_method=method),
        correlation,
        step,
        note,
    )


def _sigma(steady: FloatArray, present: FloatArray, correlation: Autocorrelation) -> tuple[float, str, str]:
    ranges, total = moving_range_sigma(steady), float(present.std(ddof=1))
    if correlation.is_positive:
        note = "Neighboring shots are alike, so sigma is the standard deviation of all values: "
        return total, "total", note + f"{total:.4g}, where moving ranges would say {ranges:.4g}."
    if correlation.is_negative:
        note = (
            "Neighboring shots swing against each other, so sigma is the standard deviation of all values: "
        )
        return total, "total", note + f"{total:.4g}, where moving ranges would say {ranges:.4g}."
    if math.isnan(ranges):
        return total, "total", "No two neighboring values are present, so sigma is that of all values."
    return (
        ranges,
        "moving_range",
        f"Neighboring shots are independent; sigma {ranges:.4g} is from moving ranges.",
    )


def _autocorrelation_note(correlation: Autocorrelation) -> str:
    return (
        f"Autocorrelation at lag 1 is {correlation.phi:.2f} "
        f"(95 % interval {correlation.low:.2f} to {correlation.high:.2f})."
    )
