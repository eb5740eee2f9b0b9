"""Do skewed values fit the tolerance? Indices by the quantiles of a fitted family of distributions.

References
----------
ISO 22514-2:2017, Statistical methods in process management - Capability and performance - Part 2 (general
geometric method).
Efron, B. and Tibshirani, R. J. (1993). An Introduction to the Bootstrap, Chapman and Hall, chapters 6 and 12.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.signal import lfilter
from scipy.special import ndtr

from rules.baseline import lag_one
from rules.capability.families import FAMILIES, Family, Fitted, best, tail_distance
from rules.capability.quantiles import SHARES, QuantileCapability, check_confidence, indices_of
from rules.capability.rejects import MILLION
from rules.capability.specification import Specification
from rules.capability.spread import checked
from rules.dome.welch import Interval
from rules.figures import written

__all__ = ["by_family"]

FloatArray = NDArray[np.float64]
FEWEST = 20  # below, families cannot be told apart; common practice, no source
DOUBTFUL_FIT = 0.05


def by_family(
    x: ArrayLike,
    specification: Specification,
    rng: np.random.Generator,
    *,
    family: str | None = None,
    bound: float = 0.0,
    confidence: float = 0.95,
    draws: int = 400,
) -> QuantileCapability:
    """Return indices from a fitted family, with intervals by the parametric bootstrap.

    Parameters
    ----------
    x : array_like of float, shape (n,)
        20 or more values in order; NaN where missing.
    specification : Specification
        Same unit.
    rng : numpy.random.Generator
        Source of the redrawn samples.
    family : str, optional
        A key of ``FAMILIES``; the likeliest otherwise.
    bound : float
        Natural lower bound of the characteristic, from which families with a bound are reckoned.
    confidence : float
        Of the intervals.
    draws : int
        Redrawn samples, 100 or more.

    Returns
    -------
    QuantileCapability

    Raises
    ------
    ValueError
        If fewer than 20 values are present, one is infinite or not above the bound of the family asked for,
        all are equal, or an argument is out of range.

    Notes
    -----
    Samples of the same size, with the same autocorrelation at lag 1, are drawn from the fit and fitted again
    with the same family. How far their figures lie from those of the fit, as a ratio, tells how far the fit
    may lie from the truth. The choice of the family itself is not part of the interval.

    References
    ----------
    ISO 22514-2:2017; Efron and Tibshirani (1993).
    """
    check_confidence(confidence)
    if draws < 100:
        raise ValueError(f"{draws} redrawn samples give no interval; use 100 or more.")
    table = checked(x, FEWEST)
    values = table[~np.isnan(table)] - bound
    chosen = best(values) if family is None else _named(family, values, bound)
    phi = lag_one(table.ravel()).established
    moved = _moved(specification, bound)
    fitted = chosen.fit(values)
    distance = tail_distance(values, fitted)
    redrawn, distances = _redrawn(fitted, chosen, moved, n=len(values), phi=phi, draws=draws, rng=rng)
    fit_p = (1.0 + float(np.count_nonzero(distances >= distance))) / (draws + 1.0)
    return QuantileCapability(
        **_intervals(_figures(fitted, moved), redrawn, moved, bound, confidence),
        n=len(values), method=chosen.name, fit_p=fit_p, phi=phi, confidence=confidence,
        notes=tuple(_notes(chosen, fit_p, phi)),
    )  # fmt: skip


def _intervals(
    figures: FloatArray, redrawn: FloatArray, moved: Specification, bound: float, confidence: float
) -> dict[str, Any]:
    """Every figure of a fit with its interval, by its name in the result."""
    lower, median, upper = (
        _percentiles(figures[i] + bound, redrawn[:, i] + bound, confidence) for i in range(3)
    )
    one_sided = indices_of(moved, *(float(figure) for figure in figures[:3]))
    return {
        "lower_quantile": lower, "median": median, "upper_quantile": upper,
        "pp": None if one_sided.pp is None else _ratio_interval(figures[3], redrawn[:, 3], confidence),
        "ppl": one_sided.ppl, "ppu": one_sided.ppu,
        "ppk": _ratio_interval(figures[4], redrawn[:, 4], confidence),
        "rejects_ppm": _percentiles(figures[5], redrawn[:, 5], confidence),
    }  # fmt: skip


def _named(family: str, values: FloatArray, bound: float) -> Family:
    if family not in FAMILIES:
        raise ValueError(f"There is no family {family!r}; the families are {', '.join(FAMILIES)}.")
    chosen = FAMILIES[family]
    if chosen.positive and not float(values.min()) > 0.0:
        raise ValueError(
            f"A {family} distribution needs values above {written(bound, 6)}; one is "
            f"{written(float(values.min()) + bound, 6)}. Give a lower bound or another family."
        )
    return chosen


def _moved(specification: Specification, bound: float) -> Specification:
    low, high = (
        None if limit is None else limit - bound for limit in (specification.low, specification.high)
    )
    return Specification(low=low, high=high)


def _figures(fitted: Fitted, specification: Specification) -> FloatArray:
    """Three quantiles, pp (NaN with one limit), ppk, rejects in ppm."""
    quantiles = [float(q) for q in fitted.call("ppf", SHARES)]
    found = indices_of(specification, *quantiles)
    beyond = 0.0 if specification.low is None else float(fitted.call("cdf", specification.low))
    beyond += 0.0 if specification.high is None else float(fitted.call("sf", specification.high))
    pp = math.nan if found.pp is None else found.pp
    return np.array([*quantiles, pp, found.ppk, MILLION * beyond])


def _redrawn(
    fitted: Fitted,
    family: Family,
    specification: Specification,
    *,
    n: int,
    phi: float,
    draws: int,
    rng: np.random.Generator,
) -> tuple[FloatArray, FloatArray]:
    """Figures and distances of samples from the fit, each fitted again."""
    figures, distances = [], []
    for _ in range(draws):
        sample = fitted.draw(n, rng) if phi == 0.0 else fitted.call("ppf", ndtr(_alike(n, phi, rng)))
        again = family.fit(sample)
        figures.append(_figures(again, specification))
        distances.append(tail_distance(sample, again))
    return np.array(figures), np.array(distances)


def _alike(n: int, phi: float, rng: np.random.Generator) -> FloatArray:
    """Standard normal values with autocorrelation phi at lag 1."""
    noise = rng.standard_normal(n)
    noise[1:] *= math.sqrt(1.0 - phi * phi)
    return np.asarray(lfilter([1.0], [1.0, -phi], noise), dtype=np.float64)


def _percentiles(estimate: float, redrawn: FloatArray, confidence: float) -> Interval:
    tail = (1.0 - confidence) / 2.0
    low, high = (float(q) for q in np.quantile(redrawn, [tail, 1.0 - tail]))
    return Interval(float(estimate), min(low, float(estimate)), max(high, float(estimate)))


def _ratio_interval(estimate: float, redrawn: FloatArray, confidence: float) -> Interval:
    """The truth lies from the fit as the fit from the redrawn: by a ratio, for a normal Pp this is exact.

    An index around zero has no ratio; there the difference takes its place.
    """
    tail, index = (1.0 - confidence) / 2.0, float(estimate)
    low, high = (float(q) for q in np.quantile(redrawn, [tail, 1.0 - tail]))
    if low > 0.0:
        return Interval(index, index * index / high, index * index / low)
    return Interval(index, 2.0 * index - high, 2.0 * index - low)


def _notes(family: Family, fit_p: float, phi: float) -> Iterator[str]:
    if fit_p < DOUBTFUL_FIT:
        yield (
            f"Even the {family.name} distribution does not describe these values (p {fit_p:.3f}); look for "
            "mixtures, outliers or steps before believing the indices."
        )
    if phi > 0.0:
        yield f"Neighbors are alike (autocorrelation {phi:.2f}); the intervals are widened for it."
