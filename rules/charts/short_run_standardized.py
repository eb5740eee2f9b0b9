"""Standardized: is the process off by more than it should be, where what it makes scatters differently?

Runs too short for limits of their own share one chart when each value comes with the nominal and the sigma of
its kind: the deviation in sigma is alike for all.

References
----------
ISO 7870-8:2017, Control charts - Part 8: Charting techniques for short runs and small mixed batches.
Montgomery, D. C. (2012). Introduction to Statistical Quality Control, 7th ed., section 10.1 (standardized
charts). Wiley.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, ClassVar

import numpy as np
from numpy.typing import ArrayLike

from rules.charts.chart import Chart, FloatArray, Point, Track
from rules.charts.individuals import IndividualsChart
from rules.charts.inner import build_inner, chosen_parameters, load_inner
from rules.charts.record import Record, table
from rules.limits import Limits

__all__ = ["StandardizedChart", "StandardizedState"]


@dataclass(frozen=True, slots=True)
class StandardizedState:
    """The state of the inner chart."""

    inner: Any


@dataclass(frozen=True, slots=True)
class StandardizedChart(Record[StandardizedState]):
    """A chart of ``(value - nominal) / sigma``; a row is the three, and a row that lacks one is missing.

    Parameters
    ----------
    chart : str
        Inner chart, a key of :data:`rules.charts.inner.INNER_CHARTS`.
    chart_parameters : mapping
        Its parameters but for those in a unit (center, sigma, minimum shift); those left out keep their
        defaults.

    Raises
    ------
    ValueError
        If the inner chart cannot be built; from a row, if its sigma is not above zero.
    """

    chart: str = IndividualsChart.name
    chart_parameters: Mapping[str, Any] = field(default_factory=dict, hash=False)
    inner: Chart[Any] = field(init=False, repr=False, compare=False)

    name: ClassVar[str] = "standardized"
    state_type: ClassVar[type[StandardizedState]] = StandardizedState

    def __post_init__(self) -> None:
        """Build the inner chart."""
        inner = build_inner(self.name, self.chart, self.chart_parameters)
        object.__setattr__(self, "inner", inner)
        object.__setattr__(self, "chart_parameters", chosen_parameters(inner))

    @property
    def columns(self) -> int:
        """How many numbers a row has: value, nominal, sigma."""
        return 3

    def start(self) -> StandardizedState:
        """Return the state before the first row."""
        return StandardizedState(self.inner.start())

    def step(self, state: StandardizedState, row: Sequence[float]) -> tuple[StandardizedState, Point]:
        """Take one row; the point is the inner chart's, in sigma."""
        inner, point = self.inner.step(state.inner, float(self._standardized(table([row], 3))[0]))
        return StandardizedState(inner), point

    def run(self, rows: ArrayLike, state: StandardizedState | None = None) -> tuple[StandardizedState, Track]:
        """Take many rows."""
        held = state or self.start()
        inner, track = self.inner.run(self._standardized(table(rows, 3)), held.inner)
        return StandardizedState(inner), track

    def _standardized(self, rows: FloatArray) -> FloatArray:
        sigmas = rows[:, 2]
        if (sigmas <= 0).any():
            raise ValueError(
                f"The {self.name} chart was given a sigma of {sigmas[sigmas <= 0][0]:g}; give numbers above "
                "zero."
            )
        return np.asarray((rows[:, 0] - rows[:, 1]) / sigmas)

    def limits(self) -> Limits | None:
        """Return the lines of the inner chart, in sigma."""
        return self.inner.limits()

    def parameters(self) -> dict[str, object]:
        """Return the parameters as a dictionary that JSON can carry; the inner chart's have their own."""
        return {"chart": self.chart, "chart_parameters": dict(self.chart_parameters)}

    def dump_state(self, state: StandardizedState) -> dict[str, Any]:
        """Return the state with that of the inner chart, dumped with its own version, inside."""
        own = super(StandardizedChart, self).dump_state(state)
        return {**own, "inner": self.inner.dump_state(state.inner)}

    def load_state(self, dumped: dict[str, Any]) -> StandardizedState:
        """Rebuild a state; ValueError if a newer release wrote it or it belongs to another chart."""
        state = super(StandardizedChart, self).load_state(dumped)
        return StandardizedState(load_inner(self.name, self.inner, state.inner))
