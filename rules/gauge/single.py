"""How well does one gauge repeat in the hands of one person? Parts gauged several times each.

Differences between people cannot show here; the gauge's share is a lower bound where more than one gauges.

References
----------
Burdick, R. K., Borror, C. M. and Montgomery, D. C. (2005). Design and Analysis of Gauge R&R Studies. SIAM,
chapter 2 (one random factor).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from rules.constants import d2
from rules.gauge.anova import one_way
from rules.gauge.components import Term
from rules.gauge.crossed import d2_star, range_freedom
from rules.gauge.study import GaugeStudy, Parts, assemble, checked, checked_options

__all__ = ["single_by_anova", "single_by_ranges"]

AXES = ("part", "trial")
ONE_PERSON = "One person gauged; differences between people are not in these figures."


def single_by_anova(
    readings: ArrayLike, *, tolerance: float | None = None, confidence: float = 0.95
) -> GaugeStudy:
    """Return repeatability and part variation from a one-way analysis of variance.

    Parameters
    ----------
    readings : array_like of float, shape (parts, trials)
        2 or more of each, none missing.
    tolerance : float, optional
        Width of the tolerance, same unit.
    confidence : float
        Of all intervals.

    Returns
    -------
    GaugeStudy

    Raises
    ------
    ValueError
        If the table is not full, nothing varies, or an argument is out of range.

    References
    ----------
    Burdick, Borror and Montgomery (2005), chapter 2.
    """
    checked_options(tolerance, confidence)
    table = checked(readings, AXES)
    parts, trials = table.shape
    found = one_way(list(table))
    terms = tuple(Term(1.0, line.mean_square, line.freedom) for line in (found.between, found.within))
    part = max((found.between.mean_square - found.within.mean_square) / trials, 0.0)
    equipment = Parts(found.within.mean_square, (terms[1],))
    spread = Term(1.0 / trials, found.between.mean_square, found.between.freedom)
    variances = {
        "equipment": equipment, "gauge": equipment,
        "part": Parts(part, (spread, Term(-1.0 / trials, terms[1].mean_square, terms[1].freedom))),
        "total": Parts(
            part + equipment.variance,
            (spread, Term(1.0 - 1.0 / trials, terms[1].mean_square, terms[1].freedom)),
        ),
    }  # fmt: skip
    expected = {"part": [[1.0 / trials, -1.0 / trials]], "gauge": [[0.0, 1.0]]}
    return assemble(
        variances, terms, expected, method="anova", shape=(parts, 1, trials), tolerance=tolerance,
        confidence=confidence, table=(found.between, found.within), notes=(ONE_PERSON,),
    )  # fmt: skip


def single_by_ranges(
    readings: ArrayLike, *, tolerance: float | None = None, confidence: float = 0.95
) -> GaugeStudy:
    """Return repeatability and part variation by averages and ranges, as the printed forms do.

    Parameters
    ----------
    readings, tolerance, confidence
        As in :func:`single_by_anova`.

    Returns
    -------
    GaugeStudy

    Raises
    ------
    ValueError
        As :func:`single_by_anova`.

    References
    ----------
    As :func:`rules.gauge.by_ranges`, without appraisers.
    """
    checked_options(tolerance, confidence)
    table = checked(readings, AXES)
    parts, trials = table.shape
    mean_range, of_parts = float(np.ptp(table, axis=1).mean()), float(np.ptp(table.mean(axis=1)))
    equipment = Term(1.0, (mean_range / d2(trials)) ** 2, range_freedom(trials, parts))
    part = Term(1.0, (of_parts / d2_star(parts)) ** 2, range_freedom(parts, 1))
    gauge = Parts(equipment.mean_square, (equipment,))
    variances = {
        "equipment": gauge, "gauge": gauge, "part": Parts(part.mean_square, (part,)),
        "total": Parts(part.mean_square + equipment.mean_square, (part, equipment)),
    }  # fmt: skip
    return assemble(
        variances, (part, equipment), {"part": [[1.0, 0.0]], "gauge": [[0.0, 1.0]]}, method="ranges",
        shape=(parts, 1, trials), tolerance=tolerance, confidence=confidence, notes=(ONE_PERSON,),
    )  # fmt: skip
