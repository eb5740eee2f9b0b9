"""What to propose for a characteristic that wanders, in place of a chart that cannot work on it.

With a setpoint: the deviation from it, within what a person allows or what its past suggests. Without one:
engineering limits, suggested from its past (:mod:`rules.baseline.band`).

Source: ISO 7870-8:2017 for deviation from nominal; the band names its own.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from rules.baseline.band import Band, band_of
from rules.baseline.planned import PlannedChart, Proposal
from rules.baseline.refusals import TooFewValues
from rules.baseline.studied import Study
from rules.baseline.widening import Floor
from rules.budget import SHIFTS
from rules.figures import written

__all__ = ["propose_for_wandering"]


def propose_for_wandering(
    steady: NDArray[np.float64],
    found: Study,
    floor: Floor,
    *,
    setpoint: float | None = None,
    allowed_deviation: float | None = None,
) -> Proposal:
    """Propose how far a characteristic may go from its setpoint, or from where it has been.

    Parameters
    ----------
    steady : ndarray of float64, shape (n,)
        Values in order; NaN where missing or left out.
    found : Study
        Of these values.
    floor : Floor
        The false-alarm budget.
    setpoint, allowed_deviation : float, optional
        As in :func:`rules.baseline.proposal.propose_charts`.

    Returns
    -------
    Proposal
        Of kind ``"deviation"`` with a setpoint, ``"band"`` without, ``"none"`` where the values are worth too
        few independent looks for a suggestion.

    Raises
    ------
    ValueError
        If ``allowed_deviation`` is not above zero, or the budget allows a false alarm in fewer than 20 shots.
    """
    why = f"{found.stability.sentence[:-1]}, so a plain chart is refused"
    if setpoint is not None and allowed_deviation is not None:
        planned = _around(setpoint, allowed_deviation)
        said = f"{why}; it is watched against its setpoint, with the deviation that was allowed."
        return Proposal("deviation", (planned,), said, standing="usable", study=found)
    try:
        band = band_of(steady, run=floor.shots_between(), setpoint=setpoint)
    except TooFewValues as error:
        return Proposal("none", (), f"{why}, and no band can be suggested yet.", str(error), study=found)
    kind, instead = "band", f"engineering limits of {written(band.lower)} and {written(band.upper)}"
    if setpoint is not None:
        kind, instead = "deviation", f"a deviation of {written(band.allowed)} from its setpoint"
    return Proposal(
        kind, _charts(band), f"{why}; in its place {instead}.", _to_confirm(band), "provisional",
        floor.false_alarms_per_shift(), band.delay(SHIFTS), None, found, band,
    )  # fmt: skip


def _charts(band: Band) -> tuple[PlannedChart, ...]:
    around = _around(band.nominal, band.allowed)
    if band.step is None:
        return (around,)
    return (around, PlannedChart("moving_range", {"sigma": band.step.sigma, "width": band.step.width}))


def _around(nominal: float, allowed: float) -> PlannedChart:
    if not allowed > 0.0:
        raise ValueError(f"An allowed deviation of {allowed} is impossible; give a number above 0.")
    limits = {"lower": nominal - allowed, "upper": nominal + allowed, "center": nominal}
    return PlannedChart("engineering_limits", limits)


def _to_confirm(band: Band) -> str:
    good = f"from {written(band.lower)} to {written(band.upper)}"
    said = f"{band.sentence} Confirm that the product is good {good}"
    if band.step is not None:
        said += f", and that a change of {written(band.step.limit)} from one shot to the next is worth a look"
    return f"{said}."
