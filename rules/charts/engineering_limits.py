"""Engineering limits: is a value outside of what the process may do, however much it wanders inside?

Limits from sigma need a level that stays. A characteristic whose level wanders by itself, such as a barrel or
coolant temperature, has none: limits close enough to see a fault cry wolf, others see nothing. What it may
do is a matter of the process, not of statistics: a person gives the limits in the unit of the value.

References
----------
ISO 7870-3:2020, Control charts - Part 3: Acceptance control charts (limits from the zone that is acceptable).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

from numpy.typing import ArrayLike

from rules.charts.by_row import NoMemory
from rules.charts.chart import Point, Track
from rules.charts.record import Record, finite, series
from rules.charts.unequal_limits import judge_between, share_between
from rules.charts.verdict import MISSING, judge, side
from rules.limits import Limits

__all__ = ["EngineeringLimitsChart", "check_order"]


def check_order(chart: str, lines: Limits) -> None:
    """Raise ValueError unless lower limit, center and upper limit are finite numbers in this order."""
    for name in ("lower", "center", "upper"):
        finite(chart, name, getattr(lines, name))
    if not lines.lower < lines.center < lines.upper:
        raise ValueError(
            f"The {chart} chart has limits {lines.lower} and {lines.upper} and a center of {lines.center}; "
            "give a center between a lower and an upper limit."
        )


@dataclass(frozen=True, slots=True)
class EngineeringLimitsChart(Record[NoMemory]):
    """Signals every value below ``lower`` or above ``upper``.

    Parameters
    ----------
    lower, upper : float
        What the process may do, in the unit of the values.
    center : float, optional
        Where it should be, between the two; the middle unless given. It says how far a value is on the way to
        its limit, and nothing else.

    Raises
    ------
    ValueError
        If a number is not finite, or they are not in order.
    """

    lower: float
    upper: float
    center: float | None = None

    name: ClassVar[str] = "engineering_limits"
    state_type: ClassVar[type[NoMemory]] = NoMemory

    def __post_init__(self) -> None:
        """Check the parameters."""
        check_order(self.name, self.limits())

    def start(self) -> NoMemory:
        """Return the state before the first value."""
        return NoMemory()

    def step(self, state: NoMemory, x: float) -> tuple[NoMemory, Point]:
        """Take one value; the statistic is the value."""
        if not math.isfinite(x):
            return state, MISSING
        lines = self.limits()
        return state, judge(x, share_between(x, lines), side(x - lines.center))

    def run(self, x: ArrayLike, state: NoMemory | None = None) -> tuple[NoMemory, Track]:
        """Take many values."""
        lines, values = self.limits(), series(x)
        track = judge_between(values.copy(), lines.lower, lines.center, lines.upper)
        return state or self.start(), track

    def limits(self) -> Limits:
        """Return the limits and the center, in the unit of the values."""
        middle = 0.5 * (self.lower + self.upper) if self.center is None else self.center
        return Limits(self.lower, middle, self.upper)
