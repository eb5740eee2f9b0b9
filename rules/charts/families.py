"""What do charts of one family say about a table of values, a column a chart?

Charts that differ in their parameters only advance together: a limit around a center is a few operations
on the whole table, the sums of all CUSUM charts go from row to row as one vector. Every answer is, bit for
bit, that of the chart's own ``step`` folded over its column.

References
----------
The methods are those of the charts: `rules.charts.individuals`, `rules.charts.setting`, `rules.charts.cusum`
and `rules.charts.whitening` name their sources.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Protocol

import numpy as np

from rules.charts.chart import BEYOND_LIMIT, Chart, FloatArray
from rules.charts.cusum import CusumChart, CusumState
from rules.charts.individuals import IndividualsChart
from rules.charts.residual import ResidualChart, ResidualState
from rules.charts.setting import SettingChart
from rules.charts.whitening import Predecessor

__all__ = ["Family", "Levels", "Residuals", "Sums", "family_of"]


class Family(Protocol):
    """Charts of one kind whose only rule is their limit."""

    center: FloatArray
    """Where the statistic of each chart has no side, shape (charts,)."""

    def run(self, x: FloatArray, states: Sequence[Any]) -> tuple[Sequence[Any], FloatArray, FloatArray]:
        """Take values, shape (n, charts), NaN where missing; return next states, statistics and shares."""
        ...


class Levels:
    """Individuals charts whose only rule is their limit, and settings: they remember nothing."""

    def __init__(self, charts: Sequence[IndividualsChart | SettingChart]) -> None:
        self._states = [chart.start() for chart in charts]
        spans = [_span(chart) for chart in charts]
        self.center, self._sigma, self._reach = np.array(spans, dtype=np.float64).reshape(-1, 3).T.copy()

    def run(self, x: FloatArray, states: Sequence[Any]) -> tuple[Sequence[Any], FloatArray, FloatArray]:  # noqa: ARG002
        """Take values; the statistic is the value."""
        share = x - self.center
        share /= self._sigma
        np.abs(share, out=share)
        share /= self._reach
        return self._states, x, share


def _span(chart: IndividualsChart | SettingChart) -> tuple[float, float, float]:
    """Center, unit of the distance, and how many units lie inside; a division by one changes nothing."""
    if isinstance(chart, SettingChart):
        return chart.setpoint, 1.0, chart.tolerance
    return chart.center, chart.sigma, chart.run_rules()[0].limit


class Sums:
    """CUSUM charts."""

    def __init__(self, charts: Sequence[CusumChart]) -> None:
        clamps = [chart.clamp() for chart in charts]
        self.center = np.zeros(len(charts))
        self._level = np.array([chart.center for chart in charts])
        self._sigma = np.array([chart.sigma for chart in charts])
        self._h = np.array([chart.h for chart in charts])
        self._reference = np.array([clamp.reference for clamp in clamps])
        self._ceiling = np.array([clamp.ceiling for clamp in clamps] * 2)
        self._reach = np.array([np.inf if chart.reach is None else chart.reach for chart in charts])

    def run(
        self, x: FloatArray, states: Sequence[CusumState]
    ) -> tuple[Sequence[CusumState], FloatArray, FloatArray]:
        """Take values; the statistic is the larger sum, negative if that is the lower one."""
        charts, gaps = len(self._h), np.isnan(x)
        some_missing = bool(gaps.any())
        rows = self._increments(x, gaps if some_missing else None)
        _advance(rows, _side_by_side(states), self._ceiling)
        upper, lower = rows[:, :charts], rows[:, charts:]
        share = np.maximum(upper, lower)
        statistic = np.copysign(share, upper - lower)
        share /= self._h
        if some_missing:
            statistic[gaps] = share[gaps] = np.nan
        last = rows[-1].tolist()
        after = [CusumState(*pair) for pair in zip(last[:charts], last[charts:], strict=True)]
        return after, statistic, share

    def _increments(self, x: FloatArray, gaps: np.ndarray | None) -> FloatArray:
        """Return what each row adds to the upper and, right of them, the lower sums."""
        z = x - self._level
        z /= self._sigma
        np.clip(z, -self._reach, self._reach, out=z)
        if gaps is None:
            return np.hstack((z - self._reference, -self._reference - z))
        upper, lower = z - self._reference, -self._reference - z
        upper[gaps] = lower[gaps] = 0.0  # a missing value leaves both sums
        return np.hstack((upper, lower))


def _side_by_side(states: Sequence[CusumState]) -> FloatArray:
    return np.array([*(state.upper for state in states), *(state.lower for state in states)])


def _advance(rows: FloatArray, level: FloatArray, ceiling: FloatArray) -> None:
    """Turn increments into levels from 0 up to ``ceiling``, in place, one row of all sums at a time."""
    floor = np.zeros(level.size)
    add, maximum, minimum = np.add, np.maximum, np.minimum
    for row in rows:
        add(level, row, out=row)
        maximum(row, floor, out=row)
        minimum(row, ceiling, out=row)
        level = row


class Residuals:
    """The whitening part of residual charts; what they hold inside is of another family."""

    def __init__(self, charts: Sequence[ResidualChart]) -> None:
        self._models = [chart.whitening() for chart in charts]
        self._center = np.array([model.center for model in self._models])
        kept_and_scale = [model.forecast(1) for model in self._models]
        self._kept, self._scale = np.array(kept_and_scale, dtype=np.float64).reshape(-1, 2).T.copy()

    def run(
        self, x: FloatArray, states: Sequence[ResidualState]
    ) -> tuple[list[Predecessor], FloatArray]:
        """Return what the next row is forecast from, and the whitened values, NaN where missing."""
        if all(state.shots_back == 1 for state in states) and not np.isnan(x).any():
            return self._unbroken(x, states)
        runs = [
            model.run(column, Predecessor(state.deviation, state.shots_back))
            for model, column, state in zip(self._models, x.T, states, strict=True)
        ]
        return [after for after, _ in runs], np.stack([white for _, white in runs], axis=1)

    def _unbroken(
        self, x: FloatArray, states: Sequence[ResidualState]
    ) -> tuple[list[Predecessor], FloatArray]:
        """Every value follows the one before it directly."""
        deviations = np.empty((len(x) + 1, x.shape[1]))
        deviations[0] = [state.deviation for state in states]  # there is one where a shot lies back
        np.subtract(x, self._center, out=deviations[1:])
        white = deviations[1:] - self._kept * deviations[:-1]
        white /= self._scale
        return [Predecessor(last, 1) for last in deviations[-1].tolist()], white


def family_of(chart: Chart[Any]) -> type[Levels | Sums] | None:
    """Return the family that a chart advances with, None for one that goes by its own array form."""
    if isinstance(chart, CusumChart):
        return Sums
    alone = isinstance(chart, IndividualsChart) and chart.rules == (BEYOND_LIMIT,)
    return Levels if alone or isinstance(chart, SettingChart) else None
