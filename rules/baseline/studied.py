"""What did a phase I study find? The record of all its answers.

A record of our own, no source; the modules that give the answers name their sources.
"""

from __future__ import annotations

from dataclasses import dataclass

from rules.baseline.autocorrelation import Autocorrelation
from rules.baseline.contexts import ContextChange
from rules.baseline.memory import Memory
from rules.baseline.normality import Shape
from rules.baseline.outliers import Outlier
from rules.baseline.spread import Spread
from rules.baseline.stability import Stability
from rules.baseline.standing import Standing
from rules.limits import Baseline

__all__ = ["Study"]


@dataclass(frozen=True)
class Study:
    """What a phase I study found. All places count the values handed in, from 0.

    Parameters
    ----------
    baseline : Baseline
        Center and sigma for the charts.
    startup : int
        Index of the first steady value.
    outliers : tuple of int
        Values a person should look at; they are part of the baseline.
    phi_interval : tuple of (float, float)
        95 % interval of the autocorrelation at lag 1.
    resolution : float or None
        Step of the values, if they come in steps.
    notes : tuple of str
        Sentences that explain the choices and reasons; those on outliers last.
    startups : tuple of (int, int)
        Every stretch of startup shots left out, first and one past the last: the run's own, and one after
        each boundary that has one.
    left_out : tuple of int
        What a person chose to leave out.
    proposed : tuple of Outlier
        The outliers with their reasons.
    correlation : Autocorrelation
        At lag 1.
    memory : Memory
        Whether lag 1 tells all of it.
    shape : Shape
        Normal or not, and what that means for limits.
    stability : Stability
        Whether one level holds.
    spread : Spread
        Sigma both ways, and the choice.
    standing : Standing
        Provisional, usable or firm.
    changes : tuple of ContextChange
        Before against after each boundary.
    """

    baseline: Baseline
    startup: int
    outliers: tuple[int, ...]
    phi_interval: tuple[float, float]
    resolution: float | None
    notes: tuple[str, ...]
    startups: tuple[tuple[int, int], ...]
    left_out: tuple[int, ...]
    proposed: tuple[Outlier, ...]
    correlation: Autocorrelation
    memory: Memory
    shape: Shape
    stability: Stability
    spread: Spread
    standing: Standing
    changes: tuple[ContextChange, ...]

    @property
    def wanders(self) -> bool:
        """Whether no chart with limits from this baseline can work."""
        return self.stability.verdict == "wanders"
