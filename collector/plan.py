"""The chart plan: which charts a characteristic gets, with which constants, and what they cost. Pure.

The constants follow from the floor's false-alarm budget (`rules.budget`). The default per vital
characteristic is one wide individuals limit for single bad shots and one CUSUM for small lasting
shifts, both of the values, widened where the baseline is autocorrelated or small. Timers are watched
for change.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from collector.contract import quantities
from rules import budget
from rules.budget.known import REFERENCE_VALUE
from rules.charts import EngineeringLimitsChart, IndividualsChart, SettingChart, make
from rules.charts.chart import Chart
from rules.limits import USABLE_FROM, Baseline, Limits

PROVISIONAL_FACTOR = 5.0
SHIFT_STEP = 0.1
OF_THE_VALUE = (IndividualsChart.name, SettingChart.name, EngineeringLimitsChart.name)


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget:
    """What the floor allows: false alarms per press and day, shared by so many characteristics."""

    false_alarms_per_day: float
    characteristics: int
    cycle_time_s: float

    def provisional(self, baseline: Baseline) -> Budget:
        """What limits that nobody approved may spend: five times as much, while they rest on few shots.

        Held to the budget itself, limits from 25 shots would be half as wide again as firm ones and take
        130 shots to notice a shift of one sigma. They are marked, and a study takes their place.
        """
        if baseline.effective_n() >= USABLE_FROM:
            return self
        return replace(self, false_alarms_per_day=PROVISIONAL_FACTOR * self.false_alarms_per_day)


@dataclass(slots=True, kw_only=True)
class KeyLimits:
    """Limits of one characteristic; `id` is filled in when the row is stored."""

    key: str
    version: int
    standing: str
    baseline: Baseline
    charts: tuple[Chart[Any], ...]
    cost: Mapping[str, Any] = field(default_factory=dict)
    id: int | None = None
    approved_by: str | None = None

    def charts_json(self) -> list[dict[str, Any]]:
        """The charts as stored in the `limits` table."""
        return [{"chart": chart.name, "parameters": chart.parameters()} for chart in self.charts]


def charts_from_json(stored: Sequence[Mapping[str, Any]]) -> tuple[Chart[Any], ...]:
    """Rebuild what :meth:`KeyLimits.charts_json` wrote."""
    return tuple(make(item["chart"], item["parameters"]) for item in stored)


def drawn_limits(charts: Sequence[Chart[Any]]) -> Limits | None:
    """The lines to draw through the values: of the first chart whose statistic is the value itself."""
    return next((chart.limits() for chart in charts if chart.name in OF_THE_VALUE), None)


def plan_key(
    key: str, baseline: Baseline, floor: Budget, *, version: int, minimum_shift: float = 0.0
) -> KeyLimits:
    """Charts of one characteristic, from its baseline and the floor's budget.

    The constants are widened for the estimation error of the baseline, so that the budget holds on average
    over the baselines that might have come out.

    Parameters
    ----------
    key : str
        Quantity key.
    baseline : Baseline
        Center, sigma and autocorrelation, in the key's canonical unit.
    floor : Budget
    version : int
        Version number of these limits in their context.
    minimum_shift : float
        Smallest shift that matters, canonical unit; a smaller one never signals.

    Raises
    ------
    ValueError
        If the budget cannot be met (from `rules.budget`).
    """
    plan = budget.solve(
        characteristics=floor.characteristics,
        cycle_time_s=float(f"{floor.cycle_time_s:.2g}"),
        false_alarms_per_day=floor.false_alarms_per_day,
        phi=budget.coarse(baseline.phi, baseline.n),
        n=None if baseline.sigma_method == "given" else baseline.n,
        minimum_shift=coarse_shift(minimum_shift / baseline.sigma),
    )
    common = {"center": baseline.center, "sigma": baseline.sigma, "minimum_shift": minimum_shift}
    reach = plan.reach(minimum_shift / baseline.sigma)
    charts = (
        make("individuals", {**common, "width": plan.width}),
        make("cusum", {**common, "k": plan.k, "h": plan.h, "reach": reach}),
    )
    cost = {
        "false_alarms_per_day": plan.false_alarms_per_day,
        "false_alarms_per_shift": plan.false_alarms_per_shift,
        "arl_individuals": _finite(plan.arl_individuals),
        "arl_cusum": _finite(plan.arl_cusum),
    }
    return KeyLimits(
        key=key, version=version, standing=baseline.standing(), baseline=baseline, charts=charts, cost=cost
    )


def _finite(run: float) -> float | None:
    """A run length as JSON can carry it: None is longer than can be computed, next to a minimum shift."""
    return run if math.isfinite(run) else None


def coarse_shift(sigmas: float) -> float:
    """A minimum shift rounded down to a tenth of sigma; 0 where it is less than any chart looks for.

    The charts hold to the minimum as it is stated, and so raise no more false alarms than computed.
    """
    if sigmas <= REFERENCE_VALUE:
        return 0.0
    return math.floor(round(sigmas / SHIFT_STEP, 6)) * SHIFT_STEP


def watch_timer(key: str, setpoint: float, *, version: int) -> KeyLimits:
    """A timer is changed or not: it has no sigma, only the resolution it is written with."""
    quantity = quantities.find(key)
    tolerance = 0.5 * 10.0 ** -(quantity.decimals if quantity else 2)
    return KeyLimits(
        key=key,
        version=version,
        standing="usable",
        baseline=Baseline(center=setpoint, sigma=tolerance, n=0, sigma_method="given"),
        charts=(make("setting", {"setpoint": setpoint, "tolerance": tolerance}),),
    )
