"""What does a gauge study say: how much of the spread is the gauge, and how many classes can it tell apart?

References
----------
ISO 22514-7:2021, Statistical methods in process management - Capability and performance - Part 7: Capability
of measurement processes.
Burdick, R. K., Borror, C. M. and Montgomery, D. C. (2003). A review of methods for measurement systems
capability analysis. J. Quality Technology 35, 342-354.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rules.dome.welch import Interval
from rules.figures import written
from rules.gauge.anova import Source
from rules.gauge.components import Term, ratio_bounds, sigma_interval
from rules.plain_record import plain
from rules.series import LARGEST, LEAST_SPREAD

__all__ = ["Component", "GaugeStudy", "Parts", "assemble", "checked", "checked_options"]

FloatArray = NDArray[np.float64]
Method = Literal["anova", "ranges"]
CLASSES = 1.41  # times part variation over gauge variation, the rounded root of two of the printed forms
SPREAD = 6.0  # standard deviations that a tolerance is compared with


@dataclass(frozen=True, slots=True)
class Component:
    """One source of variation.

    Parameters
    ----------
    sigma : Interval
        Standard deviation with its interval, in the unit of the readings.
    of_study : float
        Percent of the total variation of the study (standard deviations, so shares do not add up to 100).
    of_tolerance : float or None
        Six sigma in percent of the tolerance; None without a tolerance.
    """

    sigma: Interval
    of_study: float
    of_tolerance: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugeStudy:
    """What a study of parts, appraisers and trials found.

    Parameters
    ----------
    method : {'anova', 'ranges'}
    parts, appraisers, trials : int
    equipment : Component
        Repeatability (EV): one appraiser, one part, again.
    appraiser : Component or None
        Reproducibility (AV): between appraisers; None where only one took part.
    interaction : Component or None
        Appraisers who disagree on some parts only; None where it was pooled or cannot be seen.
    gauge : Component
        All of the above (GRR).
    part : Component
        Part variation (PV).
    total : Component
        Total variation (TV).
    classes : Interval
        Number of distinct categories (ndc), not truncated; infinite where the gauge repeats to the digit.
    gauge_share : Interval
        Percent of the study that is the gauge (%GRR), with its interval.
    interaction_p : float or None
        Chance of so much interaction where there is none.
    table : tuple of Source
        The analysis of variance, after pooling; empty for ranges.
    confidence : float
    notes : tuple of str
        Sentences that explain the choices and doubts.
    """

    method: Method
    parts: int
    appraisers: int
    trials: int
    equipment: Component
    appraiser: Component | None
    interaction: Component | None
    gauge: Component
    part: Component
    total: Component
    classes: Interval
    gauge_share: Interval
    interaction_p: float | None
    table: tuple[Source, ...]
    confidence: float
    notes: tuple[str, ...]

    @property
    def whole_classes(self) -> int | None:
        """Number of distinct categories, truncated and at least 1 as the forms print it; None if infinite."""
        return max(int(self.classes.estimate), 1) if math.isfinite(self.classes.estimate) else None

    def to_dict(self) -> dict[str, Any]:
        """Return all fields as plain values that JSON can carry."""
        held: dict[str, Any] = plain(self)
        return held


@dataclass(frozen=True, slots=True)
class Parts:
    """A variance of the study: its estimate, and the terms whose sum it is before negatives are set to 0."""

    variance: float
    terms: tuple[Term, ...]


def assemble(
    variances: Mapping[str, Parts],
    ratio_terms: Sequence[Term],
    expected: Mapping[str, Sequence[Sequence[float]]],
    *,
    method: Method,
    shape: tuple[int, int, int],
    tolerance: float | None,
    confidence: float,
    interaction_p: float | None = None,
    table: tuple[Source, ...] = (),
    notes: Sequence[str] = (),
) -> GaugeStudy:
    """Put a study together from its variances.

    Parameters
    ----------
    variances : mapping of str to Parts
        ``equipment``, ``gauge``, ``part``, ``total``, and where present ``appraiser``, ``interaction``.
    ratio_terms : sequence of Term
        The mean squares behind the ratio of part to gauge.
    expected : mapping
        Rows of factors over ``ratio_terms`` whose sums, each not below zero, make ``part`` and ``gauge``.
    method, shape, tolerance, confidence, interaction_p, table, notes
        As in :class:`GaugeStudy`; shape is parts, appraisers, trials.
    """
    total = math.sqrt(variances["total"].variance)
    found = {name: _component(parts, total, tolerance, confidence) for name, parts in variances.items()}
    share = _signal(variances, ratio_terms, expected, confidence)
    return GaugeStudy(
        method=method, parts=shape[0], appraisers=shape[1], trials=shape[2],
        equipment=found["equipment"], appraiser=found.get("appraiser"), interaction=found.get("interaction"),
        gauge=found["gauge"], part=found["part"], total=found["total"],
        classes=Interval(*(CLASSES * each for each in (share.estimate, share.low, share.high))),
        gauge_share=Interval(*(100.0 * _share(each) for each in (share.estimate, share.high, share.low))),
        interaction_p=interaction_p, table=table, confidence=confidence,
        notes=(*notes, *_doubts(variances)),
    )  # fmt: skip


def checked(readings: ArrayLike, what: Sequence[str]) -> FloatArray:
    """Return the readings as a full table; ValueError says what is missing.

    Parameters
    ----------
    readings : array_like of float
        One axis for each word of ``what``.
    what : sequence of str
        Names of the axes, singular.
    """
    try:
        table = np.asarray(readings, dtype=np.float64)
    except ValueError as exc:
        raise ValueError(
            f"The readings are no full table of {_plural(what)}; give every part the same trials."
        ) from exc
    if table.ndim != len(what):
        raise ValueError(f"A gauge study needs a table of {_plural(what)}; this has {table.ndim} dimensions.")
    for name, count in zip(what, table.shape, strict=True):
        if count < 2:
            raise ValueError(f"A gauge study with {count} {name} shows no spread; take 2 {name}s or more.")
    sound = np.abs(table) <= LARGEST
    if not sound.all():
        place = np.argwhere(~sound)[0]
        where = ", ".join(f"{name} {i + 1}" for name, i in zip(what, place, strict=True))
        raise ValueError(
            f"The reading of {where} is missing or infinite; gauge it again or leave out its part."
        )
    if np.ptp(table) <= LEAST_SPREAD:
        raise ValueError(
            f"All readings are {written(table.flat[0], 6)}; take parts that differ, or a gauge with finer "
            "steps."
        )
    return table


def checked_options(tolerance: float | None, confidence: float) -> None:
    """Raise ValueError for a tolerance or confidence out of range."""
    if tolerance is not None and not (math.isfinite(tolerance) and tolerance > 0.0):
        raise ValueError(f"The tolerance is {tolerance}; give its width, upper minus lower limit, above 0.")
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"The confidence is {confidence}; give a number between 0 and 1.")


def _plural(what: Sequence[str]) -> str:
    return " x ".join(f"{name}s" for name in what)


def _component(parts: Parts, total: float, tolerance: float | None, confidence: float) -> Component:
    sigma = sigma_interval(parts.variance, parts.terms, confidence)
    of_tolerance = None if tolerance is None else 100.0 * SPREAD * sigma.estimate / tolerance
    return Component(sigma, 100.0 * sigma.estimate / total, of_tolerance)


def _signal(
    variances: Mapping[str, Parts],
    terms: Sequence[Term],
    expected: Mapping[str, Sequence[Sequence[float]]],
    confidence: float,
) -> Interval:
    """Part variation over gauge variation, as standard deviations."""
    part, gauge = variances["part"].variance, variances["gauge"].variance
    if gauge == 0.0:
        return Interval(math.inf, math.inf, math.inf)

    def ratio(squares: FloatArray) -> FloatArray:
        above, below = (_sum_of_positive(expected[name], squares) for name in ("part", "gauge"))
        with np.errstate(divide="ignore"):
            return np.asarray(np.sqrt(above / below), dtype=np.float64)

    estimate = math.sqrt(part / gauge)
    low, high = ratio_bounds(terms, ratio, confidence)
    return Interval(estimate, min(low, estimate), max(high, estimate))


def _sum_of_positive(rows: Sequence[Sequence[float]], squares: FloatArray) -> FloatArray:
    parts = np.maximum(np.asarray(rows, dtype=np.float64) @ squares, 0.0)
    return np.asarray(parts.sum(axis=0), dtype=np.float64)


def _share(signal: float) -> float:
    return 1.0 / math.sqrt(1.0 + signal * signal) if math.isfinite(signal) else 0.0


def _doubts(variances: Mapping[str, Parts]) -> list[str]:
    doubts = []
    if variances["equipment"].variance == 0.0:
        doubts.append("Every trial repeats to the digit: the step of the gauge hides its repeatability.")
    if variances["part"].variance == 0.0:
        doubts.append("The parts cannot be told apart by this gauge; take parts that span the production.")
    return doubts
