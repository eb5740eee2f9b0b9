"""What to propose for a characteristic that has no sigma: a timer, a value that never moves, a count.

Source: ISO 7870-2:2023 for counts; that a timer is watched for change is common practice, no source.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from rules.baseline.planned import PlannedChart, Proposal
from rules.baseline.refusals import ConstantValues, TooFewValues
from rules.baseline.study import FEWEST_VALUES
from rules.baseline.widening import Floor
from rules.figures import written
from rules.limits import Baseline
from rules.series import finite_series

__all__ = ["propose_counts", "propose_setting"]


def propose_setting(setpoint: float, tolerance: float) -> Proposal:
    """Propose to watch a timer, or a value that never moves, for change.

    Parameters
    ----------
    setpoint : float
        What it is set to.
    tolerance : float
        Half of the step it is written with, above zero.

    Returns
    -------
    Proposal
    """
    planned = PlannedChart("setting", {"setpoint": setpoint, "tolerance": tolerance})
    planned.make()  # refuses what makes no chart
    why = "It is set and does not scatter, so it is watched for change and has no sigma."
    return Proposal("setting", (planned,), why, standing="usable", false_alarms_per_shift=0.0)


def propose_counts(x: ArrayLike, floor: Floor) -> Proposal:
    """Propose a chart for counts of events a shot.

    Parameters
    ----------
    x : array_like of float, shape (n,)
        Counts in the order of the shots; NaN where missing.
    floor : Floor

    Returns
    -------
    Proposal
        A c chart with exact limits, each passed at most half as often as the characteristic's whole budget.

    Raises
    ------
    TooFewValues
        If fewer than 25 counts are there.
    ConstantValues
        If no event is among them.

    References
    ----------
    ISO 7870-2:2023, Control charts - Part 2: Shewhart control charts (c chart).
    """
    counts = finite_series(x)
    counts = counts[~np.isnan(counts)]
    if len(counts) < FEWEST_VALUES:
        raise TooFewValues(f"{len(counts)} counts are too few for limits; collect {FEWEST_VALUES} or more.")
    center = float(counts.mean())
    if not center > 0.0:
        raise ConstantValues(
            f"None of {len(counts)} shots shows an event; collect more shots, or watch for one."
        )
    planned = PlannedChart("c", {"center": center, "tail": 0.5 / floor.shots_between()})
    planned.make()
    counts_a_shot = f"{written(center, 3)} a shot"
    why = f"They are counts ({counts_a_shot}), so they get a c chart with exact limits, not a sigma."
    standing = Baseline(center=center, sigma=center**0.5, n=len(counts)).standing()
    return Proposal(
        "counts", (planned,), why, standing=standing, false_alarms_per_shift=floor.false_alarms_per_shift()
    )
