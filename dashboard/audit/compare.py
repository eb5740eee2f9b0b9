"""This run beside runs of the same press and context. Pure.

A run's level is said to be unusual when it lies outside the 95 % prediction interval for the level of one
more run, from the levels of the others; its spread likewise, on the scale of logarithms. Two runs have no
such interval worth the name, so fewer than three others give no judgment.

References
----------
Hahn, G. J. and Meeker, W. Q. (1991). Statistical Intervals. Wiley (interval to contain one future
observation from a normal distribution).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from dashboard.audit.facts import Level, OtherRun

FEWEST_RUNS = 3
CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class Against:
    """Level and spread of one characteristic against other runs.

    Attributes
    ----------
    level_range, spread_range : tuple of (float, float) or None
        What one more run would have, nineteen times in twenty; None with too few runs.
    unusual_level, unusual_spread : bool or None
        None where no judgment is possible.
    """

    key: str
    here: Level
    runs: int
    typical_level: float | None
    typical_spread: float | None
    level_range: tuple[float, float] | None
    spread_range: tuple[float, float] | None
    unusual_level: bool | None
    unusual_spread: bool | None


def usable(others: Sequence[OtherRun]) -> list[OtherRun]:
    """The runs that nothing speaks against: no hold of theirs was scrapped."""
    return [other for other in others if not other.scrapped]


def against(here: Level, others: Sequence[Level]) -> Against:
    """Compare one level and spread with those of other runs."""
    means = [other.mean for other in others]
    spreads = [other.sd for other in others if other.sd > 0]
    level_range = prediction(means)
    logs = prediction([math.log(spread) for spread in spreads])
    spread_range = None if logs is None else (math.exp(logs[0]), math.exp(logs[1]))
    return Against(
        key=here.key, here=here, runs=len(others),
        typical_level=float(np.median(means)) if means else None,
        typical_spread=float(np.median(spreads)) if spreads else None,
        level_range=level_range, spread_range=spread_range,
        unusual_level=_outside(here.mean, level_range), unusual_spread=_outside(here.sd, spread_range),
    )  # fmt: skip


def prediction(values: Sequence[float], confidence: float = CONFIDENCE) -> tuple[float, float] | None:
    """Interval for one more value of the same kind, supposing a normal distribution.

    Returns
    -------
    tuple of (float, float) or None
        None for fewer than three values.
    """
    n = len(values)
    if n < FEWEST_RUNS:
        return None
    center, spread = float(np.mean(values)), float(np.std(values, ddof=1))
    half = float(special.stdtrit(n - 1, 0.5 + confidence / 2)) * spread * math.sqrt(1 + 1 / n)
    return center - half, center + half


def _outside(value: float, interval: tuple[float, float] | None) -> bool | None:
    return None if interval is None else not interval[0] <= value <= interval[1]
