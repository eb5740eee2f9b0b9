"""Which chart do counts of a steady process make for the next ones?

References
----------
ISO 7870-2:2023, Control charts - Part 2: Shewhart control charts (attribute control charts, no values given).
Laney, D. B. (2002). Improved control charts for attributes. Quality Engineering 14, 531-537.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TypeVar

import numpy as np
from numpy.typing import ArrayLike

from rules.charts.attribute_c import CChart
from rules.charts.attribute_limits import check_counts
from rules.charts.attribute_np import NpChart
from rules.charts.attribute_p import PChart
from rules.charts.attribute_rate import RateChart
from rules.charts.attribute_u import UChart
from rules.charts.chart import FloatArray
from rules.charts.moving_range import sigma_from_moving_ranges
from rules.charts.record import series, table

__all__ = ["c_chart", "dispersion", "np_chart", "p_chart", "u_chart"]

R = TypeVar("R", bound=RateChart)


def p_chart(rows: ArrayLike, *, tail: float | None = None, laney: bool = False) -> PChart:
    """Return the chart of fractions whose center is that of all pieces together.

    Parameters
    ----------
    rows : array_like, shape (samples, 2)
        Number of nonconforming pieces and size of each sample; a row with a missing number is left out.
    tail : float, optional
        For exact limits, as in :class:`PChart`.
    laney : bool
        Widen or narrow the limits by how far the fractions really scatter from one sample to the next.

    Returns
    -------
    PChart

    Raises
    ------
    ValueError
        If nothing was inspected, or no piece or every piece was nonconforming.
    """
    return _of_rates(PChart, rows, tail, laney=laney)


def u_chart(rows: ArrayLike, *, tail: float | None = None, laney: bool = False) -> UChart:
    """Return the chart of events per unit whose center is that of all units together; as :func:`p_chart`."""
    return _of_rates(UChart, rows, tail, laney=laney)


def np_chart(counts: ArrayLike, size: int, *, tail: float | None = None) -> NpChart:
    """Return the chart of the number of nonconforming pieces in samples of ``size``.

    Parameters
    ----------
    counts : array_like, shape (samples,)
        NaN where missing.
    size : int
        Pieces in a sample.
    tail : float, optional
        For exact limits, as in :class:`NpChart`.

    Returns
    -------
    NpChart

    Raises
    ------
    ValueError
        If there are no counts, or no piece or every piece was nonconforming.
    """
    return NpChart(_mean(NpChart.name, series(counts)), size, tail=tail)


def c_chart(counts: ArrayLike, *, tail: float | None = None) -> CChart:
    """Return the chart of the number of events in samples of one size; as :func:`np_chart`."""
    return CChart(_mean(CChart.name, series(counts)), tail=tail)


def dispersion(chart: RateChart, rows: ArrayLike) -> float:
    """Return how many times as far rates scatter from one sample to the next as their distribution says.

    Parameters
    ----------
    chart : PChart or UChart
    rows : array_like, shape (samples, 2)
        Count and size of each sample, in order.

    Returns
    -------
    float
        Laney's sigma of z: the mean moving range of the standardized rates over d2(2), here with its exact
        value 2/sqrt(pi) where the paper has 1.128.

    Raises
    ------
    ValueError
        If no two samples follow each other, or no rate differs from the one before.
    """
    values = table(rows, 2)
    z = (values[:, 0] / values[:, 1] - chart.center) / chart.deviation(values[:, 1])
    found = sigma_from_moving_ranges(z)
    if found == 0:
        raise ValueError(f"All rates given to the {chart.name} chart are the same; give samples that differ.")
    return found


def _of_rates(kind: type[R], rows: ArrayLike, tail: float | None, *, laney: bool) -> R:
    values = table(rows, 2)
    known = values[~np.isnan(values).any(axis=1)]
    check_counts(kind.name, known[:, 0])
    total = float(known[:, 0].sum())
    _refuse_none(kind.name, len(known), total)
    chart = kind(total / float(known[:, 1].sum()), tail=tail)
    chart.check_rows(known[:, 0], known[:, 1])
    return replace(chart, dispersion=dispersion(chart, values)) if laney else chart


def _mean(chart: str, counts: FloatArray) -> float:
    check_counts(chart, counts)
    known = counts[~np.isnan(counts)]
    _refuse_none(chart, known.size, float(known.sum()))
    return float(known.mean())


def _refuse_none(chart: str, samples: int, total: float) -> None:
    if samples == 0 or total == 0:
        raise ValueError(
            f"The {samples} samples for the {chart} chart hold no count above 0; inspect until some do."
        )
