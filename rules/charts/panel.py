"""What do all charts of a press say about a batch of its shots?

The values of a batch are one table, a row a shot and a column a characteristic. Charts of one family advance
together over it (`rules.charts.families`); a chart of no family goes by its own whole-array form. The
answer is that of folding each chart's ``step`` over its column.

References
----------
The methods are those of the charts themselves, which name their sources.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import accumulate, pairwise
from operator import itemgetter
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rules.charts.chart import BEYOND_LIMIT, Chart, FloatArray
from rules.charts.families import Family, Residuals, family_of
from rules.charts.record import table
from rules.charts.residual import ResidualChart, ResidualState
from rules.charts.verdict import side
from rules.charts.whitening import Predecessor

__all__ = ["Charts", "Hit", "Panel", "PanelTrack", "panel_of"]

Charts = tuple[Chart[Any], ...]
States = tuple[Any, ...]
Indices = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Hit:
    """One rule of one chart met by one row.

    Parameters
    ----------
    row, column, chart : int
        Row and column of the table, and place among the charts of the column, all from 0.
    rule : str
        Its name.
    statistic, share : float
        As in :class:`rules.charts.chart.Point`.
    direction : int
        The same.
    """

    row: int
    column: int
    chart: int
    rule: str
    statistic: float
    share: float
    direction: int


@dataclass(frozen=True, slots=True)
class PanelTrack:
    """What a table of values did to the charts of a panel.

    Parameters
    ----------
    share : ndarray of float64, shape (n,)
        Largest share of its limit over all charts of the row; NaN where no chart had a value.
    column : ndarray of int, shape (n,)
        Whose it is, the first of equals.
    hits : tuple of Hit
        By row, column, chart, then published number of the rule.
    """

    share: FloatArray
    column: Indices
    hits: tuple[Hit, ...]


class Panel:
    """The charts of several characteristics that take the same shots.

    Parameters
    ----------
    charts : sequence of tuple of Chart
        Those of each column, in the order in which the signals of a shot are told.
    """

    def __init__(self, charts: Sequence[Charts]) -> None:
        self._cuts = list(pairwise(accumulate(map(len, charts), initial=0)))
        self._charts = [chart for each in charts for chart in each]
        self._column = np.repeat(np.arange(len(charts)), [len(each) for each in charts])
        self._groups, self._alone, self._white = _grouped(self._charts, self._column, len(charts))
        whitened = (self._charts[index] for index in self._white)
        self._residuals = Residuals([chart for chart in whitened if isinstance(chart, ResidualChart)])

    def run(self, x: ArrayLike, states: Sequence[States]) -> tuple[list[States], PanelTrack]:
        """Take the values of many shots, shape (n, columns), NaN where missing; n is 1 or more.

        Parameters
        ----------
        x : array_like
        states : sequence of tuple
            State of each chart of each column before the first row.

        Returns
        -------
        states : list of tuple
            After the last row.
        track : PanelTrack
        """
        values = table(x, len(self._cuts))
        held = [state for each in states for state in each]
        shares = np.empty((len(values), len(held)))
        found = self._alone_in(values, held, shares)
        found += self._together_in(*self._whitened(values, held), held, shares)
        after = [tuple(held[start:stop]) for start, stop in self._cuts]
        return after, self._largest(shares, found)

    def _alone_in(self, values: FloatArray, held: list[Any], shares: FloatArray) -> list[_Found]:
        """Let the charts without a family take their columns; their entries of ``held`` are replaced."""
        found: list[_Found] = []
        for index in self._alone:
            held[index], track = self._charts[index].run(values[:, self._column[index]], held[index])
            shares[:, index] = track.share
            found += [
                (row, index, rule, float(track.statistic[row]), int(track.direction[row]))
                for row, rule in track.signals
            ]
        return found

    def _whitened(self, values: FloatArray, held: list[Any]) -> tuple[FloatArray, list[Predecessor]]:
        """Add a whitened column for each residual chart; its entry of ``held`` becomes the inner state."""
        if not self._white:
            return values, []
        before = [held[index] for index in self._white]
        predecessors, white = self._residuals.run(values[:, self._column[self._white]], before)
        for index, state in zip(self._white, before, strict=True):
            held[index] = state.inner
        return np.hstack((values, white)), predecessors

    def _together_in(
        self, values: FloatArray, predecessors: list[Predecessor], held: list[Any], shares: FloatArray
    ) -> list[_Found]:
        found: list[_Found] = []
        for group in self._groups:
            before = [held[index] for index in group.where]
            after, statistic, share = group.family.run(values.take(group.columns, axis=1), before)
            for index, state in zip(group.where, after, strict=True):
                held[index] = state
            shares[:, group.where] = share
            found += group.beyond(statistic, share)
        for index, last in zip(self._white, predecessors, strict=True):
            held[index] = ResidualState(last.deviation, last.shots_back, held[index])
        return found

    def _largest(self, shares: FloatArray, found: list[_Found]) -> PanelTrack:
        rows = np.arange(len(shares))
        known = shares if not (missing := np.isnan(shares)).any() else np.where(missing, -1.0, shares)
        best = known.argmax(axis=1)
        found.sort(key=_ROW_AND_CHART)  # stable: the rules of one chart stay in their order
        hits = tuple(self._hit(shares, each) for each in found)
        return PanelTrack(shares[rows, best], self._column[best], hits)

    def _hit(self, shares: FloatArray, found: _Found) -> Hit:
        row, index, rule, statistic, direction = found
        column = int(self._column[index])
        place = index - self._cuts[column][0]
        return Hit(row, column, place, rule, statistic, float(shares[row, index]), direction)


_Found = tuple[int, int, str, float, int]  # row, chart of the panel, rule, statistic, direction
_ROW_AND_CHART = itemgetter(0, 1)


@dataclass(frozen=True, slots=True)
class _Group:
    """Charts that advance together: which of the panel, and the columns of their values."""

    family: Family
    where: list[int]
    columns: Indices

    def beyond(self, statistic: FloatArray, share: FloatArray) -> list[_Found]:
        """List the values beyond their limit."""
        out = share > 1
        if not out.any():
            return []
        off = statistic - self.family.center
        return [
            (row, self.where[chart], BEYOND_LIMIT, float(statistic[row, chart]), side(float(off[row, chart])))
            for row, chart in np.argwhere(out).tolist()
        ]


def _grouped(
    charts: Sequence[Chart[Any]], column: Indices, columns: int
) -> tuple[list[_Group], list[int], list[int]]:
    """Sort charts by family: groups, charts without one, residual charts whose inner chart has one."""
    members: dict[Callable[[Sequence[Any]], Family], list[int]] = {}
    alone: list[int] = []
    white: list[int] = []
    source = column.copy()
    for index, chart in enumerate(charts):
        family = family_of(_inner(chart))
        if family is None:
            alone.append(index)
            continue
        members.setdefault(family, []).append(index)
        if isinstance(chart, ResidualChart):
            source[index] = columns + len(white)  # whitened values stand right of the table's own
            white.append(index)
    groups = [
        _Group(family([_inner(charts[index]) for index in where]), where, source[where])
        for family, where in members.items()
    ]
    return groups, alone, white


def _inner(chart: Chart[Any]) -> Chart[Any]:
    return chart.inner if isinstance(chart, ResidualChart) else chart


@lru_cache(maxsize=1024)
def panel_of(charts: tuple[Charts, ...]) -> Panel:
    """Return the panel of these charts; making one takes as long as many shots do, so it is kept."""
    return Panel(charts)
