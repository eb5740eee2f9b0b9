"""Which chart takes the values that another one has made independent, with center 0 and sigma 1?

References
----------
Alwan, L. C. and Roberts, H. V. (1988). Time-series modeling for statistical process control. J. Business &
Economic Statistics 6, 87-95 (any chart for independent values, of residuals).
ISO 7870-8:2017, Control charts - Part 8: Charting techniques for short runs and small mixed batches
(standardized values).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from typing import Any, cast

from rules.charts.chart import Chart
from rules.charts.cusum import CusumChart
from rules.charts.ewma import EwmaChart
from rules.charts.individuals import IndividualsChart
from rules.charts.moving_range import MovingRangeChart
from rules.charts.spread import SpreadChart

__all__ = ["INNER_CHARTS", "build_inner", "chosen_parameters", "load_inner"]

INNER_CHARTS: dict[str, type[Chart[Any]]] = {
    IndividualsChart.name: IndividualsChart,
    MovingRangeChart.name: MovingRangeChart,
    CusumChart.name: CusumChart,
    EwmaChart.name: EwmaChart,
    SpreadChart.name: SpreadChart,
}

_STANDARD = {"center": 0.0, "sigma": 1.0}
_IN_UNITS = (*_STANDARD, "minimum_shift", "minimum_scatter")


def build_inner(
    owner: str, chart: str, chosen: Mapping[str, Any], *, minimum_shift: float = 0.0
) -> Chart[Any]:
    """Build the inner chart for values with center 0 and sigma 1.

    Parameters
    ----------
    owner : str
        Name of the outer chart, for the message.
    chart : str
        A key of ``INNER_CHARTS``.
    chosen : mapping
        Its parameters but for those in the unit of the values.
    minimum_shift : float
        Engineering minimum in standard deviations of the values it will meet.

    Returns
    -------
    Chart

    Raises
    ------
    ValueError
        If there is no such chart, a parameter does not fit, or the chart takes no minimum shift.
    """
    if chart not in INNER_CHARTS:
        raise ValueError(f"A {owner} chart cannot hold a chart {chart!r}; use {', '.join(INNER_CHARTS)}.")
    for key in chosen:
        if key in _IN_UNITS:
            raise ValueError(
                f"The {key} of the inner chart follows from the {owner} chart; leave it out of "
                "chart_parameters."
            )
    given = {key: value for key, value in _STANDARD.items() if _takes(chart, key)} | dict(chosen)
    if minimum_shift:
        if not _takes(chart, "minimum_shift"):
            raise ValueError(
                f"The {chart} chart inside of a {owner} chart takes no minimum_shift; give 0 or use a "
                f"{CusumChart.name} chart."
            )
        given["minimum_shift"] = minimum_shift
    return INNER_CHARTS[chart].from_parameters(given)


def chosen_parameters(inner: Chart[Any]) -> dict[str, Any]:
    """Return the parameters of an inner chart but for those in the unit of the values."""
    return {key: value for key, value in inner.parameters().items() if key not in _IN_UNITS}


def load_inner(owner: str, inner: Chart[Any], dumped: object) -> Any:
    """Rebuild the state of an inner chart; ValueError if there is none or a newer release wrote it."""
    if not isinstance(dumped, dict):
        raise ValueError(
            f"This is no state of the {owner} chart: it lacks the inner chart's; start the chart anew."
        )
    return inner.load_state(dumped)


def _takes(chart: str, parameter: str) -> bool:
    """Return whether the inner chart has such a parameter."""
    return parameter in {each.name for each in fields(cast(Any, INNER_CHARTS[chart]))}
