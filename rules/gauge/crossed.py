"""How much do gauge and appraisers add, when several appraisers gauge the same parts several times?

References
----------
Burdick, R. K., Borror, C. M. and Montgomery, D. C. (2005). Design and Analysis of Gauge R&R Studies. SIAM.
Measurement Systems Analysis, reference manual of the automotive industry, 4th ed. (2010), chapter III
(average and range method, analysis of variance).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rules.constants import d2, d3
from rules.gauge.anova import CrossedTable, f_ratio, pooled, two_way
from rules.gauge.components import Term
from rules.gauge.study import GaugeStudy, Parts, assemble, checked, checked_options

__all__ = ["by_anova", "by_ranges", "d2_star", "range_freedom"]

FloatArray = NDArray[np.float64]
AXES = ("part", "appraiser", "trial")
UNSEEN = "Ranges do not show whether appraisers disagree on some parts only; the analysis of variance does."


def by_anova(
    readings: ArrayLike,
    *,
    tolerance: float | None = None,
    confidence: float = 0.95,
    pooling_level: float = 0.25,
) -> GaugeStudy:
    """Return the components of a crossed study from the analysis of variance, all effects random.

    Parameters
    ----------
    readings : array_like of float, shape (parts, appraisers, trials)
        2 or more of each, none missing.
    tolerance : float, optional
        Width of the tolerance, same unit.
    confidence : float
        Of all intervals.
    pooling_level : float
        An interaction with a chance above this is taken for repeatability. 0 always pools, 1 never does.

    Returns
    -------
    GaugeStudy
        A component that comes out negative is 0.

    Raises
    ------
    ValueError
        If the table is not full, nothing varies, or an argument is out of range.

    References
    ----------
    Burdick, Borror and Montgomery (2005), chapter 3.
    Bancroft, T. A. (1964). Analysis and inference for incompletely specified models involving the use of
    preliminary test(s) of significance. Biometrics 20, 427-442 (the level of 0.25).
    """
    checked_options(tolerance, confidence)
    if not 0.0 <= pooling_level <= 1.0:
        raise ValueError(f"The pooling level is {pooling_level}; give a number from 0 to 1.")
    table = checked(readings, AXES)
    sources = two_way(table)
    p = f_ratio(sources.interaction, sources.equipment)[1]
    pools = pooling_level < 1.0 and p >= pooling_level
    study = _without_interaction if pools else _with_interaction
    variances, terms, expected = study(sources, *table.shape)
    rest = [sources.interaction, sources.equipment]
    lines = (sources.part, sources.appraiser, *([pooled(*rest)] if pools else rest))
    return assemble(
        variances, terms, expected, method="anova", shape=_shape(table), tolerance=tolerance,
        confidence=confidence, interaction_p=p, table=lines, notes=(_pooling_note(p, pools=pools),),
    )  # fmt: skip


def by_ranges(readings: ArrayLike, *, tolerance: float | None = None, confidence: float = 0.95) -> GaugeStudy:
    """Return the components of a crossed study by averages and ranges, as the printed forms do.

    Parameters
    ----------
    readings, tolerance, confidence
        As in :func:`by_anova`.

    Returns
    -------
    GaugeStudy

    Raises
    ------
    ValueError
        As :func:`by_anova`.

    Notes
    -----
    The mean range is divided by d2, the range of appraisers and of parts by d2* for one range (forms print
    the reciprocals K1, K2, K3). Interaction is not seen, and part variation keeps a share of the gauge, as on
    the forms. Intervals rest on the degrees of freedom that a range is worth.

    References
    ----------
    Measurement Systems Analysis (2010), chapter III, average and range method, and appendix C (d2*).
    """
    checked_options(tolerance, confidence)
    table = checked(readings, AXES)
    part, between, equipment = _of_ranges(table)
    less = -1.0 / (table.shape[0] * table.shape[2])
    appraiser = Parts(
        max(between.mean_square + less * equipment.mean_square, 0.0), (between, _by(less, equipment))
    )
    gauge = Parts(appraiser.variance + equipment.mean_square, (between, _by(1.0 + less, equipment)))
    variances = {
        "equipment": Parts(equipment.mean_square, (equipment,)), "appraiser": appraiser, "gauge": gauge,
        "part": Parts(part.mean_square, (part,)),
        "total": Parts(gauge.variance + part.mean_square, (*gauge.terms, part)),
    }  # fmt: skip
    expected = {"part": [[1.0, 0.0, 0.0]], "gauge": [[0.0, 1.0, less], [0.0, 0.0, 1.0]]}
    return assemble(
        variances, (part, between, equipment), expected, method="ranges", shape=_shape(table),
        tolerance=tolerance, confidence=confidence, notes=(UNSEEN,),
    )  # fmt: skip


def _of_ranges(table: FloatArray) -> tuple[Term, Term, Term]:
    """Variances of parts, of appraisers and of repetition, each from its range as if it stood alone."""
    parts, appraisers, trials = table.shape
    mean_range = float(np.ptp(table, axis=2).mean())
    of_appraisers, of_parts = (float(np.ptp(table.mean(axis=axes))) for axes in ((0, 2), (1, 2)))
    if not max(mean_range, of_appraisers, of_parts) > 0.0:
        raise ValueError("No range shows where these readings vary; use the analysis of variance.")
    return (
        Term(1.0, (of_parts / d2_star(parts)) ** 2, range_freedom(parts, 1)),
        Term(1.0, (of_appraisers / d2_star(appraisers)) ** 2, range_freedom(appraisers, 1)),
        Term(1.0, (mean_range / d2(trials)) ** 2, range_freedom(trials, parts * appraisers)),
    )


def d2_star(n: int, groups: int = 1) -> float:
    """Return the factor that a mean of ranges is divided by so that its square is unbiased.

    Parameters
    ----------
    n, groups : int
        2 or more values a range; 1 or more ranges.

    Returns
    -------
    float
        ``sqrt(d2^2 + d3^2 / groups)``.

    References
    ----------
    Duncan, A. J. (1974). Quality Control and Industrial Statistics, 4th ed., Irwin, table D3.
    """
    return math.sqrt(d2(n) ** 2 + d3(n) ** 2 / groups)


def range_freedom(n: int, groups: int) -> float:
    """Return the degrees of freedom that a mean of ``groups`` ranges of ``n`` is worth.

    Parameters
    ----------
    n, groups : int

    Returns
    -------
    float

    References
    ----------
    Patnaik, P. B. (1950). The use of mean range as an estimator of variance in statistical tests. Biometrika
    37, 78-87.
    """
    relative = (d3(n) / d2(n)) ** 2 / groups
    return 1.0 / (2.0 * math.sqrt(1.0 + 2.0 * relative) - 2.0)


Model = tuple[dict[str, Parts], tuple[Term, ...], dict[str, list[list[float]]]]


def _with_interaction(sources: CrossedTable, parts: int, appraisers: int, trials: int) -> Model:
    terms = tuple(
        Term(1.0, source.mean_square, source.freedom)
        for source in (sources.part, sources.appraiser, sources.interaction, sources.equipment)
    )
    rows = {
        "part": [1.0 / (appraisers * trials), 0.0, -1.0 / (appraisers * trials), 0.0],
        "appraiser": [0.0, 1.0 / (parts * trials), -1.0 / (parts * trials), 0.0],
        "interaction": [0.0, 0.0, 1.0 / trials, -1.0 / trials],
        "equipment": [0.0, 0.0, 0.0, 1.0],
    }
    return _model(rows, terms)


def _without_interaction(sources: CrossedTable, parts: int, appraisers: int, trials: int) -> Model:
    rest = pooled(sources.interaction, sources.equipment)
    terms = tuple(
        Term(1.0, source.mean_square, source.freedom) for source in (sources.part, sources.appraiser, rest)
    )
    rows = {
        "part": [1.0 / (appraisers * trials), 0.0, -1.0 / (appraisers * trials)],
        "appraiser": [0.0, 1.0 / (parts * trials), -1.0 / (parts * trials)],
        "equipment": [0.0, 0.0, 1.0],
    }
    return _model(rows, terms)


def _model(rows: dict[str, list[float]], terms: tuple[Term, ...]) -> Model:
    """Variances from rows of factors over the mean squares; sums add what is left after negatives are 0."""
    held = {name: Parts(max(_sum(row, terms), 0.0), _scaled(row, terms)) for name, row in rows.items()}
    of_gauge = [name for name in rows if name != "part"]
    for whole, names in (("gauge", of_gauge), ("total", list(rows))):
        row = [math.fsum(rows[name][i] for name in names) for i in range(len(terms))]
        held[whole] = Parts(math.fsum(held[name].variance for name in names), _scaled(row, terms))
    return held, terms, {"part": [rows["part"]], "gauge": [rows[name] for name in of_gauge]}


def _sum(row: list[float], terms: tuple[Term, ...]) -> float:
    return math.fsum(factor * term.mean_square for factor, term in zip(row, terms, strict=True))


def _scaled(row: list[float], terms: tuple[Term, ...]) -> tuple[Term, ...]:
    return tuple(_by(factor, term) for factor, term in zip(row, terms, strict=True))


def _by(factor: float, term: Term) -> Term:
    return Term(factor, term.mean_square, term.freedom)


def _shape(table: FloatArray) -> tuple[int, int, int]:
    parts, appraisers, trials = table.shape
    return parts, appraisers, trials


def _pooling_note(p: float, *, pools: bool) -> str:
    if pools:
        return (
            f"Appraisers do not disagree on single parts more than chance does (p {p:.2f}), so their "
            "interaction with parts is counted as repeatability."
        )
    return f"The interaction of appraisers with parts is kept apart (p {p:.3f})."
