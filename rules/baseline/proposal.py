"""Which charts a characteristic should get, and why: the conclusion from a phase I study, for a person to confirm.

Independent or moderately correlated values get what the false-alarm budget affords (:mod:`rules.budget`); a
setting is watched for change; counts get an attribute chart; a characteristic that wanders gets no chart of its
spread but a band to confirm (:mod:`rules.baseline.band`). The choice is ours; each part names its source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rules import budget
from rules.baseline.band import Band, band_of
from rules.baseline.normality import skewed_quantiles
from rules.baseline.refusals import ConstantValues, TooFewValues
from rules.baseline.study import FEWEST_VALUES, Study, study
from rules.baseline.widening import Floor, Widening, coarse, widening
from rules.charts import make
from rules.charts.chart import Chart
from rules.limits import Baseline

__all__ = ["KINDS", "PlannedChart", "Proposal", "propose_charts", "propose_counts", "propose_setting"]

FloatArray = NDArray[np.float64]
KINDS = ("values", "setting", "counts", "deviation", "band", "none")
CORRELATED = 0.05  # below, the correlation changes no constant


@dataclass(frozen=True, slots=True)
class PlannedChart:
    """A chart by its name and parameters, as :func:`rules.charts.make` takes them."""

    name: str
    parameters: dict[str, Any]

    def make(self) -> Chart[Any]:
        """Build the chart."""
        return make(self.name, self.parameters)


@dataclass(frozen=True, slots=True)
class Proposal:
    """A chart plan for one characteristic.

    Parameters
    ----------
    kind : str
        One of ``KINDS``: charts of the values; watched for change; counts; deviation from setpoint, or a band
        without one, for a characteristic that wanders; or nothing yet.
    charts : tuple of PlannedChart
        What to build; empty where nothing can be proposed yet.
    why : str
        One sentence.
    confirm : str
        What a person must confirm against the process; empty where the data say enough.
    standing : str
        ``"provisional"``, ``"usable"`` or ``"firm"``; a suggested band is provisional until it is confirmed.
    false_alarms_per_shift : float or None
        Of this characteristic, in 8 h; None where no rate can be given.
    delay : dict of float to float
        Mean number of shots to the first signal after a lasting shift of so many sigma, known parameters; empty
        where none can be given.
    widening : Widening or None
        What it costs that the limits rest on estimates.
    study : Study or None
        What the proposal rests on.
    band : Band or None
        The suggestion for a characteristic that wanders.
    """

    kind: str
    charts: tuple[PlannedChart, ...]
    why: str
    confirm: str = ""
    standing: str = "provisional"
    false_alarms_per_shift: float | None = None
    delay: dict[float, float] | None = None
    widening: Widening | None = None
    study: Study | None = None
    band: Band | None = None


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
    why = "It is set, not scattered: it has changed or it has not, so it is watched for change and has no sigma."
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
    counts = np.asarray(x, dtype=np.float64)
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
    rate = budget.SECONDS_PER_SHIFT / floor.cycle_time_s / floor.shots_between()
    why = f"They are counts ({center:.3g} a shot), so they get a c chart with exact limits, not a sigma."
    standing = Baseline(center=center, sigma=center**0.5, n=len(counts)).standing()
    return Proposal("counts", (planned,), why, standing=standing, false_alarms_per_shift=rate)


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
    values = np.asarray(x, dtype=np.float64)
    try:
        found = study(values, resolution=resolution, left_out=left_out, boundaries=boundaries)
    except ConstantValues:
        return _never_moves(values)
    if found.wanders:
        return _wandering(_steady(values, found), found, floor, setpoint, allowed_deviation)
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
        false_alarms_per_day=floor.false_alarms_per_day, phi=coarse(base.phi), n=base.n,
    )  # fmt: skip
    cost = budget.cost(plan, cycle_time_s=floor.cycle_time_s)
    common = {"sigma": base.sigma, "minimum_shift": minimum_shift}
    charts = (
        PlannedChart("individuals", {**common, **_single_limits(found, plan.width)}),
        PlannedChart("cusum", {**common, "center": base.center, "k": plan.k, "h": plan.h}),
    )
    return Proposal(
        "values", charts, _why(found), "", found.standing.name, cost.false_alarms_per_shift, cost.delay,
        widening(base, floor), found,
    )  # fmt: skip


def _single_limits(found: Study, width: float) -> dict[str, float]:
    """Center and width of the limits for single shots; skewed values have them farther out on the long side."""
    base = found.baseline
    if found.shape.kind != "skewed":
        return {"center": base.center, "width": width}
    lower, upper = skewed_quantiles(width, found.shape.value_skewness)
    return {"center": base.center + base.sigma * (lower + upper) / 2.0, "width": (upper - lower) / 2.0}


def _why(found: Study) -> str:
    base = found.baseline
    if base.phi < CORRELATED:
        why = (
            "Shots are independent, so one wide limit sees single bad shots and a CUSUM small lasting shifts"
        )
    else:
        why = (
            f"Shots are alike (autocorrelation {base.phi:.2f}), so the limits are computed for that: one wide "
            "limit for single bad shots and a CUSUM for lasting shifts"
        )
    if base.sigma_method == "floor":
        why += "; sigma is held at half a step of the values"
    if found.shape.kind == "skewed":
        why += "; limits of single shots rest on a skewed curve (Pearson type III), those of the CUSUM on averages"
    if found.shape.kind == "heavy_tailed":
        why += "; far values are frequent, so expect more single alarms than the budget says"
    return f"{why}."


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


def _wandering(
    steady: FloatArray, found: Study, floor: Floor, setpoint: float | None, allowed: float | None
) -> Proposal:
    """No chart of the spread, but how far it may go, by a person's word or as a suggestion."""
    why = f"{found.stability.sentence[:-1]}, so a plain chart is refused"
    if setpoint is not None and allowed is not None:
        planned = PlannedChart("setting", {"setpoint": setpoint, "tolerance": allowed})
        planned.make()
        said = f"{why}: it is watched against its setpoint, with the deviation that was allowed."
        return Proposal("deviation", (planned,), said, standing="usable", study=found)
    try:
        band = band_of(steady, run=floor.shots_between(), setpoint=setpoint)
    except TooFewValues as error:
        return Proposal("none", (), f"{why}, and no band can be suggested yet.", str(error), study=found)
    kind = "band" if setpoint is None else "deviation"
    instead = "engineering limits" if setpoint is None else "an allowed deviation from its setpoint"
    rate = budget.SECONDS_PER_SHIFT / floor.cycle_time_s / floor.shots_between()
    return Proposal(
        kind, _band_charts(band), f"{why}; {instead} are proposed instead: {band.lower:.4g} to {band.upper:.4g}."
        if setpoint is None else f"{why}; {instead} is proposed instead: {band.allowed:.4g}.",
        _to_confirm(band), "provisional", rate, study=found, band=band,
    )  # fmt: skip


def _band_charts(band: Band) -> tuple[PlannedChart, ...]:
    around = PlannedChart("setting", {"setpoint": band.nominal, "tolerance": band.allowed})
    if band.step is None:
        return (around,)
    return (around, PlannedChart("moving_range", {"sigma": band.step.sigma, "width": band.step.width}))


def _to_confirm(band: Band) -> str:
    said = f"{band.sentence} Confirm that the product is good from {band.lower:.4g} to {band.upper:.4g}"
    if band.step is not None:
        said += f", and that a change of {band.step.limit:.4g} from one shot to the next is worth a look"
    return f"{said}."
