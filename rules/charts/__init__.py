"""The charts there are, by name."""

from __future__ import annotations

from typing import Any

from rules.charts.chart import Chart, Point, Track
from rules.charts.cusum import CusumChart
from rules.charts.ewma import EwmaChart
from rules.charts.individuals import IndividualsChart
from rules.charts.moving_range import MovingRangeChart
from rules.charts.setting import SettingChart

__all__ = [
    "CHARTS",
    "Chart",
    "CusumChart",
    "EwmaChart",
    "IndividualsChart",
    "MovingRangeChart",
    "Point",
    "SettingChart",
    "Track",
    "make",
]

CHARTS: dict[str, type[Chart[Any]]] = {
    IndividualsChart.name: IndividualsChart,
    MovingRangeChart.name: MovingRangeChart,
    CusumChart.name: CusumChart,
    EwmaChart.name: EwmaChart,
    SettingChart.name: SettingChart,
}


def make(name: str, parameters: dict[str, Any]) -> Chart[Any]:
    """Build a chart from its name and parameters.

    Parameters
    ----------
    name : str
        A key of ``CHARTS``.
    parameters : dict
        As a chart's ``parameters()`` returns them.

    Returns
    -------
    Chart

    Raises
    ------
    ValueError
        If there is no such chart, or a parameter is unknown, missing or out of range.
    """
    if name not in CHARTS:
        raise ValueError(f"There is no chart {name!r}; the charts are {', '.join(CHARTS)}.")
    return CHARTS[name].from_parameters(parameters)
