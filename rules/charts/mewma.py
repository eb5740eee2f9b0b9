"""Have several characteristics shifted a little, for good? MEWMA: a weighted average of all of them.

References
----------
Lowry, C. A., Woodall, W. H., Champ, C. W. and Rigdon, S. E. (1992). A multivariate exponentially weighted
moving average control chart. Technometrics 34, 46-53.
ISO 7870-7:2020, Control charts - Part 7: Multivariate control charts.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import ArrayLike
from scipy.signal import lfilter

from rules.charts.chart import FloatArray, Point, Track
from rules.charts.joint_contribution import Contributions, contributions
from rules.charts.joint_rows import BLOCK, JointRows, Vector, distance, distances
from rules.charts.record import Record, table
from rules.charts.verdict import MISSING, blocks, judge, judge_all
from rules.limits import Limits

__all__ = ["MewmaChart", "MewmaState"]


@dataclass(frozen=True, slots=True)
class MewmaState:
    """The average deviation of each characteristic so far, and two things that only some charts need.

    ``lacking`` is the share its covariance still lacks to the asymptotic one, 1 at the start; ``before`` the
    deviations of the row before, empty where it was missing or there is none.
    """

    average: Vector
    lacking: float = 1.0
    before: Vector = ()


@dataclass(frozen=True, kw_only=True)
class MewmaChart(JointRows, Record[MewmaState]):
    """Chart of ``z' covariance_of_z^-1 z``, with ``z = r d + (1 - r) z`` started at zero.

    Parameters
    ----------
    r : float
        Weight of the newest row, above 0, at most 1 (1 is a T2 chart).
    asymptotic : bool
        Covariance of an average that has run for long; False lets it grow from the first row on, by
        ``1 - (1 - r)^(2 n)``: an early shift is seen sooner, and a fresh chart cries wolf sooner too (by 6 %
        at r 0.1, two characteristics, a run length of 200). Computed run lengths are for the
        asymptotic one.

    Others are those of :class:`rules.charts.joint_rows.JointRows`; ``rules.run_length.mewma_limit`` gives the
    limit.

    Raises
    ------
    ValueError
        If a parameter is out of range.

    Notes
    -----
    The share is ``sqrt(statistic / limit)``, a distance like that of an EWMA chart, and has no side. A row
    with a missing value is missing and leaves the average as it was.
    """

    r: float = 0.1
    asymptotic: bool = True

    name: ClassVar[str] = "mewma"
    state_type: ClassVar[type[MewmaState]] = MewmaState

    def __post_init__(self) -> None:
        """Check the parameters."""
        super().__post_init__()
        if not 0 < self.r <= 1:
            raise ValueError(f"The r of the {self.name} chart is {self.r}; give a weight above 0, at most 1.")

    def start(self) -> MewmaState:
        """Return the state before the first row."""
        return MewmaState((0.0,) * self.columns)

    def step(self, state: MewmaState, row: Sequence[float]) -> tuple[MewmaState, Point]:
        """Take one row; the statistic is the distance of the average."""
        off = self.off(row)
        if off is None:
            return MewmaState(state.average, state.lacking), MISSING
        after = self._after(state, off)
        statistic = distance(self.inverse, after.average) / self._share_of_covariance(after.lacking)
        return after, judge(statistic, math.sqrt(statistic / self.limit), 0)

    def _after(self, state: MewmaState, off: list[float]) -> MewmaState:
        fresh = off
        before: Vector = ()
        if self.innovations is not None:
            fresh, before = self.innovations.step(state.before, off), tuple(off)
        keep = 1.0 - self.r
        average = tuple([self.r * new + keep * old for new, old in zip(fresh, state.average, strict=True)])
        lacking = state.lacking if self.asymptotic else state.lacking * keep**2
        return MewmaState(average, lacking, before)

    def _share_of_covariance(self, lacking: float) -> float:
        """Covariance of the average as a share of that of a row."""
        settled = self.r / (2.0 - self.r)
        return settled if self.asymptotic else settled * (1.0 - lacking)

    def run(self, rows: ArrayLike, state: MewmaState | None = None) -> tuple[MewmaState, Track]:
        """Take many rows."""
        values, after = table(rows, self.columns), state or self.start()
        statistic = np.empty(len(values))
        for here in blocks(len(values), BLOCK):
            after, statistic[here] = self._block(values[here], after)
        return after, judge_all(statistic, np.sqrt(statistic / self.limit), np.zeros(len(values), np.int8))

    def _block(self, rows: FloatArray, state: MewmaState) -> tuple[MewmaState, FloatArray]:
        fresh = off = self.offs(rows)
        before: Vector = ()
        if self.innovations is not None:
            fresh = self.innovations.run(state.before, off)
            last = off[:, -1].tolist()
            before = () if math.isnan(last[0]) else tuple(last)
        known = ~np.isnan(off[0])
        statistic = np.full(len(rows), np.nan)
        if not known.any():
            return MewmaState(state.average, state.lacking, before), statistic
        averages = self._averages(state, fresh if known.all() else fresh[:, known])
        share, lacking = self._shares(state, averages.shape[1])
        statistic[known] = distances(self.inverse, averages) / share
        return MewmaState(tuple(averages[:, -1].tolist()), lacking, before), statistic

    def _averages(self, state: MewmaState, fresh: FloatArray) -> FloatArray:
        # A first-order recursive filter multiplies and adds in the same order as step does.
        keep = 1.0 - self.r
        begin = keep * np.array(state.average)[:, None]
        averages, _ = lfilter([self.r], [1.0, -keep], fresh, axis=1, zi=begin)
        return np.asarray(averages, dtype=np.float64)

    def _shares(self, state: MewmaState, count: int) -> tuple[FloatArray, float]:
        """Return the share of the covariance at each row, and what it lacks after the last."""
        if self.asymptotic:
            return np.array(self._share_of_covariance(state.lacking)), state.lacking
        shrinking = np.full(count, (1.0 - self.r) ** 2)
        shrinking[0] *= state.lacking
        lacking = np.cumprod(shrinking)
        return self.r / (2.0 - self.r) * (1.0 - lacking), float(lacking[-1])

    def limits(self) -> Limits:
        """Return zero and the limit of the statistic."""
        return Limits(0.0, 0.0, self.limit)

    def explain(self, state: MewmaState, row: Sequence[float]) -> Contributions | None:
        """Return what each characteristic adds to the statistic of a row, None if the row is missing.

        Parameters
        ----------
        state : MewmaState
            Before the row.
        row : sequence of float
            The row.

        Returns
        -------
        Contributions or None
            Of the average; a term is large if a chart of that characteristic alone, with a limit as rarely
            passed, would signal.
        """
        off = self.off(row)
        if off is None:
            return None
        after = self._after(state, off)
        covariance = np.asarray(self.covariance) * self._share_of_covariance(after.lacking)
        return contributions(self.names, after.average, covariance, alpha=self.alpha)
