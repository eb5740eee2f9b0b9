"""Is this value out of the ordinary? Individuals: each against limits, with any of the run rules.

References
----------
ISO 7870-2:2023, Control charts - Part 2: Shewhart control charts (individuals chart).
Nelson, L. S. (1984). The Shewhart control chart - tests for special causes. J. Quality Technology 16,
237-239.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import ClassVar

import numpy as np
from numpy.typing import ArrayLike

from rules.charts.chart import BEYOND_LIMIT, Point, Track
from rules.charts.record import Record, cleaned, finite, one_dimensional, positive
from rules.charts.verdict import MISSING, blocks, side, sides
from rules.limits import Limits
from rules.run_rules import BLOCK, RunRule, RunRulesState, named, scan, step

__all__ = ["IndividualsChart"]


@lru_cache(maxsize=1024)
def _rules_at(names: tuple[str, ...], reach: float) -> tuple[RunRule, ...]:
    """Return the named rules with ``beyond_limit`` moved to ``reach`` sigma."""
    return tuple(replace(rule, limit=reach) if rule.name == BEYOND_LIMIT else rule for rule in named(names))


@dataclass(frozen=True, slots=True)
class IndividualsChart(Record[RunRulesState]):
    """Chart of the values themselves.

    Parameters
    ----------
    center, sigma : float
        Level and standard deviation of the values, in their unit; ``sigma`` above zero.
    width : float
        Distance of the limits from the center in sigma.
    rules : tuple of str
        Names of the run rules to watch for; the zones of the others stay at their published sigma.
    minimum_shift : float
        Engineering minimum, in the unit of the values: the limits are never closer to the center than this.

    Raises
    ------
    ValueError
        If a parameter is out of range or a rule unknown.
    """

    center: float
    sigma: float
    width: float = 3.0
    rules: tuple[str, ...] = (BEYOND_LIMIT,)
    minimum_shift: float = 0.0

    name: ClassVar[str] = "individuals"
    state_type: ClassVar[type[RunRulesState]] = RunRulesState

    def __post_init__(self) -> None:
        """Check the parameters."""
        finite(self.name, "center", self.center)
        positive(self.name, "sigma", self.sigma)
        positive(self.name, "width", self.width)
        if not (math.isfinite(self.minimum_shift) and self.minimum_shift >= 0):
            raise ValueError(
                f"The minimum shift of the {self.name} chart is {self.minimum_shift}; give 0 or more."
            )
        if not named(self.rules):
            raise ValueError(f"An {self.name} chart needs a rule; {BEYOND_LIMIT} is the usual one.")

    def start(self) -> RunRulesState:
        """Return the state before the first value."""
        return RunRulesState()

    def step(self, state: RunRulesState, x: float) -> tuple[RunRulesState, Point]:
        """Take one value; the statistic is the value."""
        if not math.isfinite(x):
            return RunRulesState(), MISSING
        z = (x - self.center) / self.sigma
        after, met = step(self.run_rules(), state, z)
        return after, Point(x, abs(z) / self._reach(), met, side(z))

    def run(self, x: ArrayLike, state: RunRulesState | None = None) -> tuple[RunRulesState, Track]:
        """Take many values."""
        values, after, rules = one_dimensional(x), state or self.start(), self.run_rules()
        statistic, share = np.empty(values.size), np.empty(values.size)
        direction = np.empty(values.size, dtype=np.int8)
        signals: list[tuple[int, str]] = []
        for here in blocks(values.size, BLOCK):
            statistic[here] = cleaned(values[here])
            z = statistic[here] - self.center
            z /= self.sigma
            after, met = scan(rules, after, z, first=here.start)
            signals += met
            np.divide(np.abs(z), self._reach(), out=share[here])
            direction[here] = sides(z)
        return after, Track(statistic, share, tuple(signals), direction)

    def _reach(self) -> float:
        """Distance of the limits from the center in sigma."""
        return max(self.width, self.minimum_shift / self.sigma)

    def run_rules(self) -> tuple[RunRule, ...]:
        """Return the rules watched for, ``beyond_limit`` at the limit of this chart."""
        return _rules_at(self.rules, self._reach())

    def limits(self) -> Limits:
        """Return the limits in the unit of the values."""
        reach = self._reach() * self.sigma
        return Limits(self.center - reach, self.center, self.center + reach)
