"""Has the level shifted a little, for good? CUSUM: two tabular cumulative sums, one for up and one for down.

References
----------
Page, E. S. (1954). Continuous inspection schemes. Biometrika 41, 100-115.
Lucas, J. M. and Crosier, R. B. (1982). Fast initial response for CUSUM quality-control schemes. Technometrics
24, 199-205.
ISO 7870-4:2021, Control charts - Part 4: Cumulative sum charts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import ArrayLike

from rules.charts.chart import Point, Track
from rules.charts.clamped_sums import BLOCK, Clamp, replace_by_sums
from rules.charts.record import Record, cleaned, finite, one_dimensional, positive
from rules.charts.verdict import MISSING, beyond, blocks, judge, side, sides
from rules.limits import Limits

__all__ = ["CusumChart", "CusumState"]


@dataclass(frozen=True, slots=True)
class CusumState:
    """Upper and lower sum, both in sigma and never below zero."""

    upper: float
    lower: float


@dataclass(frozen=True, slots=True)
class CusumChart(Record[CusumState]):
    """Two-sided tabular CUSUM of standardised values.

    With ``z = (x - center) / sigma`` the upper sum is ``max(0, upper + z - k)``, the lower one
    ``max(0, lower - z - k)``; neither grows beyond ``cap``. A signal leaves the sums as they are.

    Parameters
    ----------
    center, sigma : float
        Level and standard deviation of the values, in their unit; ``sigma`` above zero.
    k : float
        Reference value in sigma, 0 or more: half the shift to find soonest.
    h : float
        Decision interval in sigma, above zero.
    head_start : float
        Where both sums start, in sigma, from 0 to below ``h``; ``h / 2`` is the usual fast initial response.
    cap : float, optional
        Ceiling of both sums in sigma, above ``h``; ``h + 2`` unless given. Without one a long shift keeps the
        chart out long after the process is back; ``sys.float_info.max`` leaves the sums as published.
    minimum_shift : float
        Engineering minimum, in the unit of the values: ``k`` is never below it, so that a lasting shift
        smaller than this does not build up.
    reach : float, optional
        Farthest that a single value counts, in sigma, above ``k``; all of it unless given. With the limit of
        an individuals chart watched beside, the first signal of the two is where it would be without, and one
        bad shot does not keep the sums out for a dozen good ones.

    Raises
    ------
    ValueError
        If a parameter is out of range.
    """

    center: float
    sigma: float
    k: float = 0.5
    h: float = 5.0
    head_start: float = 0.0
    cap: float | None = None
    minimum_shift: float = 0.0
    reach: float | None = None

    name: ClassVar[str] = "cusum"
    state_type: ClassVar[type[CusumState]] = CusumState

    def __post_init__(self) -> None:
        """Check the parameters."""
        finite(self.name, "center", self.center)
        positive(self.name, "sigma", self.sigma)
        positive(self.name, "h", self.h)
        for name in ("k", "minimum_shift"):
            if not (math.isfinite(getattr(self, name)) and getattr(self, name) >= 0):
                raise ValueError(
                    f"The {name} of the {self.name} chart is {getattr(self, name)}; give 0 or more."
                )
        if not 0 <= self.head_start < self.h:
            raise ValueError(
                f"The head start of the {self.name} chart is {self.head_start}; give 0 to below h."
            )
        if self.cap is not None and not (math.isfinite(self.cap) and self.cap > self.h):
            raise ValueError(
                f"The cap of the {self.name} chart is {self.cap}; give a number above h = {self.h}."
            )
        if self.reach is not None and not self.reach > self.clamp().reference:
            raise ValueError(
                f"The reach of the {self.name} chart is {self.reach}; give a number above its reference "
                f"value of {self.clamp().reference:g}."
            )

    def start(self) -> CusumState:
        """Return the state before the first value."""
        return CusumState(self.head_start, self.head_start)

    def step(self, state: CusumState, x: float) -> tuple[CusumState, Point]:
        """Take one value; the statistic is the larger sum in sigma, negative if that is the lower one."""
        if not math.isfinite(x):
            return state, MISSING
        z, clamp = self._within_reach((x - self.center) / self.sigma), self.clamp()
        upper, lower = clamp.add(state.upper, z), clamp.add(state.lower, -z)
        larger = upper if upper >= lower else -lower
        return CusumState(upper, lower), judge(larger, abs(larger) / self.h, side(larger))

    def run(self, x: ArrayLike, state: CusumState | None = None) -> tuple[CusumState, Track]:
        """Take many values."""
        values, after, clamp = one_dimensional(x), state or self.start(), self.clamp()
        larger, share = np.empty(values.size), np.empty(values.size)
        direction = np.empty(values.size, dtype=np.int8)
        signals: list[tuple[int, str]] = []
        for here in blocks(values.size, BLOCK):
            np.subtract(cleaned(values[here]), self.center, out=larger[here])
            larger[here] /= self.sigma
            if self.reach is not None:
                np.clip(larger[here], -self.reach, self.reach, out=larger[here])
            after = CusumState(*replace_by_sums(larger[here], clamp, (after.upper, after.lower)))
            np.divide(np.abs(larger[here]), self.h, out=share[here])
            direction[here] = sides(larger[here])
            signals += beyond(share[here], here.start)
        return after, Track(larger, share, tuple(signals), direction)

    def _within_reach(self, z: float) -> float:
        return z if self.reach is None else min(max(z, -self.reach), self.reach)

    def clamp(self) -> Clamp:
        """Return how both sums grow, in sigma."""
        cap = self.h + 2.0 if self.cap is None else self.cap
        return Clamp(reference=max(self.k, self.minimum_shift / self.sigma), ceiling=cap)

    def limits(self) -> Limits:
        """Return the decision interval either side of zero, in sigma."""
        return Limits(-self.h, 0.0, self.h)
