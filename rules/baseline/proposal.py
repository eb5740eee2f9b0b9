"""Which charts should a characteristic get, and why? The conclusion from a phase I study, for a person.

Independent or moderately correlated values get what the false-alarm budget affords (:mod:`rules.budget`); one
that never moves is watched for change; one that wanders gets no chart of its spread but a band to confirm
(:mod:`rules.baseline.wandering`). The choice is our own, no source; each part
names its own.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rules import budget
from rules.baseline.planned import PlannedChart, Proposal
from rules.baseline.refusals import ConstantValues
from rules.baseline.studied import Study
from rules.baseline.study import study
from rules.baseline.tails import heavy_quantile, skewed_interval, skewed_quantiles
from rules.baseline.wandering import propose_for_wandering
from rules.baseline.widening import Floor, widening
from rules.baseline.without_sigma import propose_setting
from rules.series import finite_series

__all__ = ["propose_charts"]

FloatArray = NDArray[np.float64]
CORRELATED = 0.05  # below, the correlation changes no constant


def propose_charts(
    x: ArrayLike,
    floor: Floor,
    *,
    setpoint: float | None = None,
    allowed_deviation: float | None = None,
    minimum_shift: float = 0.0,
    resolution: float | None = None,
    left_out: Sequence[int] = (),
    boundaries: Sequence[int] = (),
) -> Proposal:
    """Study the values of a characteristic and propose its charts.

    Parameters
    ----------
    x : array_like of float, shape (n,)
        Values in the order of the shots; NaN where missing. For a setpoint that moves hand in the deviations
        from it, with a setpoint of 0.
    floor : Floor
        The false-alarm budget.
    setpoint : float, optional
        What the characteristic is set to.
    allowed_deviation : float, optional
        How far a person allows it to go from the setpoint, above zero.
    minimum_shift : float
        Smallest shift that matters, in the unit of the values.
    resolution, left_out, boundaries
        As in :func:`rules.baseline.study.study`.

    Returns
    -------
    Proposal

    Raises
    ------
    ValueError
        As :func:`rules.baseline.study.study`, but for values that never move: those are watched for change.
    """
    values = finite_series(x)
    try:
        found = study(values, resolution=resolution, left_out=left_out, boundaries=boundaries)
    except ConstantValues:
        return _never_moves(values)
    if found.wanders:
        return propose_for_wandering(
            _steady(values, found), found, floor, setpoint=setpoint, allowed_deviation=allowed_deviation
        )
    if found.stability.verdict in ("steps", "drifts"):
        return _unsteady(values, found, floor, minimum_shift, resolution)
    return _of_values(found, floor, minimum_shift)


def _never_moves(values: FloatArray) -> Proposal:
    level = float(values[~np.isnan(values)][0])
    made = propose_setting(level, max(abs(level), 1.0) * 1e-6)
    return replace(made, why=f"All values are {level:g}, so it is watched for change and has no sigma.")


def _steady(values: FloatArray, found: Study) -> FloatArray:
    steady = values.copy()
    steady[list(found.left_out)] = np.nan
    for start, stop in found.startups:
        steady[start:stop] = np.nan
    return steady


def _of_values(found: Study, floor: Floor, minimum_shift: float) -> Proposal:
    """Charts of the values, with the constants that the budget affords."""
    base = found.baseline
    plan = budget.solve(
        characteristics=floor.characteristics, cycle_time_s=floor.cycle_time_s,
        false_alarms_per_day=floor.false_alarms_per_day, phi=budget.coarse(base.phi, base.n), n=base.n,
        minimum_shift=round(minimum_shift / base.sigma, 2),
    )  # fmt: skip
    plan = _for_shape(plan, found)
    smallest = minimum_shift / base.sigma
    # Where the smallest shift that matters sets the charts, it is what they are judged by.
    own = (smallest, 2.0 * smallest) if smallest > min(budget.SHIFTS) else ()
    cost = budget.cost(plan, cycle_time_s=floor.cycle_time_s, shifts=sorted({*budget.SHIFTS, *own}))
    common = {"center": base.center, "sigma": base.sigma, "minimum_shift": minimum_shift}
    charts = [PlannedChart("individuals", {**common, "width": plan.width})]
    if math.isfinite(plan.h):
        reach = plan.reach(smallest)
        charts.append(PlannedChart("cusum", {**common, "k": plan.k, "h": plan.h, "reach": reach}))
    return Proposal(
        "values", tuple(charts), _why(found), "", found.standing.name, cost.false_alarms_per_shift,
        cost.delay, widening(base, floor), found,
    )  # fmt: skip


def _for_shape(plan: budget.Plan, found: Study) -> budget.Plan:
    """Constants for values that are not normal: limits as far out as the long side or the tails need."""
    shape, phi = found.shape, found.baseline.phi
    if shape.kind == "heavy_tailed":
        return replace(plan, width=heavy_quantile(plan.width, shape.value_kurtosis))
    if shape.kind != "skewed":
        return plan
    lower, upper = skewed_quantiles(plan.width, shape.value_skewness)
    h = plan.h
    if math.isfinite(h):
        h = skewed_interval(plan.k, h, skewness=shape.skewness, variance_ratio=(1.0 + phi) / (1.0 - phi))
    return replace(plan, width=max(-lower, upper), h=h)


def _why(found: Study) -> str:
    base = found.baseline
    alike = f"Shots are alike (autocorrelation {base.phi:.2f}), so limits are computed for that"
    if not found.correlation.is_positive:
        alike = f"Shots may be a little alike (autocorrelation {base.phi:.2f}), and limits allow for it"
    why = [alike if base.phi >= CORRELATED else "Shots are independent"]
    why.append("one wide limit sees single bad shots and a CUSUM small lasting shifts")
    if base.sigma_method == "floor":
        why.append("sigma is held at half a step of the values")
    if found.shape.kind == "skewed":
        why.append("limits rest on a skewed curve (Pearson type III), not on the normal one")
    if found.shape.kind == "heavy_tailed":
        why.append("the limit of single shots rests on a curve with heavy tails (Student's t)")
        why.append("the CUSUM signals oftener than the budget says")
    return f"{'; '.join(why)}."


def _unsteady(
    values: FloatArray, found: Study, floor: Floor, minimum_shift: float, resolution: float | None
) -> Proposal:
    """Limits from the longest stretch at one level, where there is one; the cause comes first."""
    start, stop = found.stability.stretch
    cause = f"{found.stability.sentence} Find the cause before these limits are put in force."
    if found.stability.verdict == "drifts":
        why = "No limits yet: a level that drifts has none, and limits from its spread would hide the drift."
        return Proposal("none", (), why, cause, study=found)
    try:
        part = study(_steady(values, found)[start:stop], exclude_startup=False, resolution=resolution)
        made = _of_values(part, floor, minimum_shift)
    except ValueError:
        why = "No limits yet: the level steps, and no stretch of it is long and varied enough."
        return Proposal("none", (), why, cause, study=found)
    why = f"The level steps, so limits rest on its longest stretch, shot {start} to {stop - 1}."
    return replace(
        made, why=f"{why[:-1]}: {made.why[0].lower()}{made.why[1:]}", confirm=cause, standing="provisional"
    )
