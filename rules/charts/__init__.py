"""Which charts are there, by name? Each names its source."""

from __future__ import annotations

from typing import Any

from rules.charts.attribute_c import CChart
from rules.charts.attribute_np import NpChart
from rules.charts.attribute_p import PChart
from rules.charts.attribute_u import UChart
from rules.charts.chart import Chart, Point, RowChart, Track
from rules.charts.cusum import CusumChart
from rules.charts.engineering_limits import EngineeringLimitsChart
from rules.charts.ewma import EwmaChart
from rules.charts.individuals import IndividualsChart
from rules.charts.mewma import MewmaChart
from rules.charts.moving_range import MovingRangeChart
from rules.charts.residual import ResidualChart
from rules.charts.setting import SettingChart
from rules.charts.short_run_deviation import DeviationChart
from rules.charts.short_run_standardized import StandardizedChart
from rules.charts.spread import SpreadChart
from rules.charts.subgroup_mean import SubgroupMeanChart
from rules.charts.subgroup_range import SubgroupRangeChart
from rules.charts.subgroup_sd import SubgroupSdChart
from rules.charts.t2 import T2Chart

__all__ = [
    "CHARTS",
    "ROW_CHARTS",
    "CChart",
    "Chart",
    "CusumChart",
    "DeviationChart",
    "EngineeringLimitsChart",
    "EwmaChart",
    "IndividualsChart",
    "MewmaChart",
    "MovingRangeChart",
    "NpChart",
    "PChart",
    "Point",
    "ResidualChart",
    "RowChart",
    "SettingChart",
    "SpreadChart",
    "StandardizedChart",
    "SubgroupMeanChart",
    "SubgroupRangeChart",
    "SubgroupSdChart",
    "T2Chart",
    "Track",
    "UChart",
    "make",
    "make_row",
]

CHARTS: dict[str, type[Chart[Any]]] = {
    IndividualsChart.name: IndividualsChart,
    MovingRangeChart.name: MovingRangeChart,
    CusumChart.name: CusumChart,
    EwmaChart.name: EwmaChart,
    SettingChart.name: SettingChart,
    ResidualChart.name: ResidualChart,
    CChart.name: CChart,
    NpChart.name: NpChart,
    EngineeringLimitsChart.name: EngineeringLimitsChart,
    SpreadChart.name: SpreadChart,
}

ROW_CHARTS: dict[str, type[RowChart[Any]]] = {
    SubgroupMeanChart.name: SubgroupMeanChart,
    SubgroupRangeChart.name: SubgroupRangeChart,
    SubgroupSdChart.name: SubgroupSdChart,
    PChart.name: PChart,
    UChart.name: UChart,
    DeviationChart.name: DeviationChart,
    StandardizedChart.name: StandardizedChart,
    T2Chart.name: T2Chart,
    MewmaChart.name: MewmaChart,
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


def make_row(name: str, parameters: dict[str, Any]) -> RowChart[Any]:
    """Build a chart of rows from its name (a key of ``ROW_CHARTS``) and parameters; as :func:`make`."""
    if name not in ROW_CHARTS:
        raise ValueError(f"There is no chart of rows {name!r}; the charts are {', '.join(ROW_CHARTS)}.")
    return ROW_CHARTS[name].from_parameters(parameters)
