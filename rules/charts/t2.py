"""Hotelling's T2 of individual rows: is this shot, over all characteristics together, unlike the baseline?

It sees a broken relation (high pressure with a short fill, say) that no chart of one characteristic sees.

References
----------
Hotelling, H. (1947). Multivariate quality control. In Techniques of Statistical Analysis, 111-184.
Tracy, N. D., Young, J. C. and Mason, R. L. (1992). Multivariate control charts for individual observations.
J. Quality Technology 24, 88-95.
ISO 7870-7:2020, Control charts - Part 7: Multivariate control charts.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import ArrayLike

from rules.charts.chart import Point, Track
from rules.charts.joint_contribution import Contributions, contributions
from rules.charts.joint_rows import BLOCK, JointRows, Vector, distance, distances
from rules.charts.record import Record, table
from rules.charts.verdict import MISSING, blocks, judge, judge_all
from rules.limits import Limits

__all__ = ["T2Chart", "T2State"]


@dataclass(frozen=True, slots=True)
class T2State:
    """Deviations of the row before, where they matter; empty where it was missing or there is none."""

    before: Vector = ()


@dataclass(frozen=True, kw_only=True)
class T2Chart(JointRows, Record[T2State]):
    """Chart of ``d' covariance^-1 d``, with d the deviation of a row from center.

    Parameters are those of :class:`rules.charts.joint_rows.JointRows`; ``rules.baseline.joint_limits`` has
    the limits. A row of subgroup means is charted with the covariance of such means.

    Notes
    -----
    The share is ``sqrt(T2 / limit)``, a distance like that of an individuals chart, and has no side. A row
    with a missing value is missing, and the next one then has no row before it.
    """

    name: ClassVar[str] = "t2"
    state_type: ClassVar[type[T2State]] = T2State

    def start(self) -> T2State:
        """Return the state before the first row."""
        return T2State()

    def step(self, state: T2State, row: Sequence[float]) -> tuple[T2State, Point]:
        """Take one row; the statistic is T2."""
        off, innovations = self.off(row), self.innovations
        if off is None:
            return T2State(), MISSING
        if innovations is None:
            after, fresh = state, off
        else:
            after, fresh = T2State(tuple(off)), innovations.step(state.before, off)
        t2 = distance(self.inverse, fresh)
        return after, judge(t2, math.sqrt(t2 / self.limit), 0)

    def run(self, rows: ArrayLike, state: T2State | None = None) -> tuple[T2State, Track]:
        """Take many rows."""
        values, after, innovations = table(rows, self.columns), state or self.start(), self.innovations
        statistic = np.empty(len(values))
        for here in blocks(len(values), BLOCK):
            fresh = off = self.offs(values[here])
            if innovations is not None:
                fresh = innovations.run(after.before, off)
                last = off[:, -1].tolist()
                after = T2State() if math.isnan(last[0]) else T2State(tuple(last))
            statistic[here] = distances(self.inverse, fresh)
        return after, judge_all(statistic, np.sqrt(statistic / self.limit), np.zeros(len(values), np.int8))

    def limits(self) -> Limits:
        """Return zero and the limit of T2."""
        return Limits(0.0, 0.0, self.limit)

    def explain(self, state: T2State, row: Sequence[float]) -> Contributions | None:
        """Return what each characteristic adds to the T2 of a row, None if the row is missing.

        Parameters
        ----------
        state : T2State
            Before the row.
        row : sequence of float
            The row.

        Returns
        -------
        Contributions or None
            A term is large if a chart of that characteristic alone, with as many false alarms, would signal.
        """
        off = self.off(row)
        if off is None:
            return None
        fresh = off if self.innovations is None else self.innovations.step(state.before, off)
        return contributions(self.names, fresh, self.covariance, alpha=self.alpha)
