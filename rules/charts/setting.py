"""Setting: has a quantity that a person sets, such as a timer, moved away from its set value?

A timer repeats to its resolution, so a sigma of it means nothing: it has changed or it has not (common
practice, no source).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import ArrayLike

from rules.charts.chart import Point, Track
from rules.charts.record import Record, finite, positive, series
from rules.charts.verdict import MISSING, judge, judge_all, side, sides
from rules.limits import Limits

__all__ = ["SettingChart", "SettingState"]


@dataclass(frozen=True, slots=True)
class SettingState:
    """Nothing: each value is judged by itself."""


@dataclass(frozen=True, slots=True)
class SettingChart(Record[SettingState]):
    """Signals every value farther than ``tolerance`` from ``setpoint``.

    Parameters
    ----------
    setpoint : float
        In the unit of the values.
    tolerance : float
        Above zero, same unit; choose it between two steps of the setting, since a tie is decided by rounding.

    Raises
    ------
    ValueError
        If a parameter is out of range.
    """

    setpoint: float
    tolerance: float

    name: ClassVar[str] = "setting"
    state_type: ClassVar[type[SettingState]] = SettingState

    def __post_init__(self) -> None:
        """Check the parameters."""
        finite(self.name, "setpoint", self.setpoint)
        positive(self.name, "tolerance", self.tolerance)

    def start(self) -> SettingState:
        """Return the state before the first value."""
        return SettingState()

    def step(self, state: SettingState, x: float) -> tuple[SettingState, Point]:
        """Take one value; the statistic is the value."""
        off = x - self.setpoint
        if not math.isfinite(off):
            return state, MISSING
        return state, judge(x, abs(off) / self.tolerance, side(off))

    def run(self, x: ArrayLike, state: SettingState | None = None) -> tuple[SettingState, Track]:
        """Take many values."""
        values = series(x)
        off = values - self.setpoint
        return state or self.start(), judge_all(values.copy(), np.abs(off) / self.tolerance, sides(off))

    def limits(self) -> Limits:
        """Return the tolerated band around the setpoint."""
        return Limits(self.setpoint - self.tolerance, self.setpoint, self.setpoint + self.tolerance)
