"""Subgroup mean: has the level moved, judged from the mean of several values at a time?

References
----------
ISO 7870-2:2023, Control charts - Part 2: Shewhart control charts (mean with range, mean with standard
deviation).
Montgomery, D. C. (2012). Introduction to Statistical Quality Control, 7th ed., sections 6.2 and 6.3. Wiley.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import ArrayLike

from rules.charts.by_row import only_point
from rules.charts.chart import BEYOND_LIMIT, Point, Track
from rules.charts.individuals import IndividualsChart
from rules.charts.record import Record, finite, positive, table
from rules.charts.subgroup_statistics import check_size, counts, means
from rules.limits import Limits
from rules.run_rules import RunRulesState

__all__ = ["SubgroupMeanChart"]


@dataclass(frozen=True, slots=True)
class SubgroupMeanChart(Record[RunRulesState]):
    """Chart of the mean of each subgroup; a row is its ``n`` values.

    One chart for both ways to its limits: ``sigma`` from the mean range (Xbar-R) or from the mean standard
    deviation (Xbar-S), see :mod:`rules.charts.subgroup_baseline`.

    Parameters
    ----------
    center, sigma : float
        Level and standard deviation of single values within a subgroup, in their unit; ``sigma`` above zero.
    n : int
        Values in a subgroup, 2 to 25.
    width : float
        Distance of the limits from the center in standard deviations of the mean.
    rules : tuple of str
        Names of the run rules to watch for.
    minimum_shift : float
        Engineering minimum, in the unit of the values: the limits are never closer to the center than this.

    Raises
    ------
    ValueError
        If a parameter is out of range or a rule unknown.

    Notes
    -----
    Of a row with missing values the mean of the others is judged, with the limits of as many, so its share
    can pass 1 where the line of :meth:`limits` is not reached. A row with no value breaks a run.

    Consecutive shots of one cavity hold only the scatter from shot to shot. What changes between subgroups
    anyway, such as lots, is then outside of ``sigma`` and signals; chart the means as individuals instead
    (common practice, no source).
    """

    center: float
    sigma: float
    n: int
    width: float = 3.0
    rules: tuple[str, ...] = (BEYOND_LIMIT,)
    minimum_shift: float = 0.0

    name: ClassVar[str] = "subgroup_mean"
    state_type: ClassVar[type[RunRulesState]] = RunRulesState

    def __post_init__(self) -> None:
        """Check the parameters."""
        finite(self.name, "center", self.center)
        positive(self.name, "sigma", self.sigma)
        positive(self.name, "width", self.width)
        check_size(self.name, self.n)
        self._of_full()

    @property
    def columns(self) -> int:
        """How many values a subgroup has."""
        return self.n

    def _of_full(self) -> IndividualsChart:
        """Return the chart of single means of ``n`` values; it checks what is left."""
        spread = self.sigma / math.sqrt(self.n)
        return IndividualsChart(self.center, spread, self.width, self.rules, self.minimum_shift)

    def start(self) -> RunRulesState:
        """Return the state before the first subgroup."""
        return RunRulesState()

    def step(self, state: RunRulesState, row: Sequence[float]) -> tuple[RunRulesState, Point]:
        """Take one subgroup; the statistic is its mean, in the unit of the values."""
        after, track = self.run([row], state)
        return after, only_point(track)

    def run(self, rows: ArrayLike, state: RunRulesState | None = None) -> tuple[RunRulesState, Track]:
        """Take many subgroups."""
        values = table(rows, self.n)
        middle, sizes = means(values), counts(values)
        # A mean of fewer values scatters more: moved as close to center as its limit is wider.
        alike = np.where(
            sizes == self.n, middle, self.center + (middle - self.center) * np.sqrt(sizes / self.n)
        )
        after, track = self._of_full().run(alike, state)
        return after, Track(middle, track.share, track.signals, track.direction)

    def limits(self) -> Limits:
        """Return the limits of a full subgroup, in the unit of the values."""
        return self._of_full().limits()
