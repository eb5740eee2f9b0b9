"""From a false-alarm budget to chart constants, and back from charts to what they cost.

Each characteristic of a press carries one wide individuals limit, for single bad shots, and one CUSUM, for
small lasting shifts. The press may raise so many false alarms a day; the characteristics share that number
equally, and within one the individuals limit gets a quarter and the CUSUM the rest. The individuals limit is
never set closer than 3.5 sigma; what it then does not use goes to the CUSUM. The two rates are added, which
overstates their joint rate by about 1 %.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from scipy.optimize import brentq
from scipy.stats import norm

from rules.estimation import widened_cusum, widened_limit
from rules.run_length import (
    combined_arl,
    cusum_ar1_arl,
    cusum_arl,
    individuals_ar1_arl,
    individuals_arl,
    simulated_individuals_arl,
)
from rules.run_rules import RunRule

__all__ = ["INDIVIDUALS_SHARE", "NARROWEST_WIDTH", "SHIFTS", "Cost", "Plan", "cost", "solve"]

SECONDS_PER_SHIFT = 8 * 3600.0
SECONDS_PER_DAY = 24 * 3600.0
INDIVIDUALS_SHARE = 0.25
NARROWEST_WIDTH = 3.5
REFERENCE_VALUE = 0.5  # half of the 1 sigma shift to be found, Page (1954)
SHIFTS = (0.5, 1.0, 2.0, 3.0)
FEWEST_SHOTS = 5
FEWEST_EFFECTIVE = 5.0  # below this a baseline is worth nothing, and widening has no end
SHORTEST_RUN = 20.0  # shots a characteristic; a looser budget asks for no chart at all


@dataclass(frozen=True)
class Plan:
    """Chart constants for every characteristic of a press, in sigma, and what they cost the press.

    Parameters
    ----------
    width : float
        Individuals limits.
    k, h : float
        Two-sided CUSUM.
    arl_individuals, arl_cusum : float
        Shots between false alarms of one characteristic: 1 / mean rate over baselines of the given size.
    false_alarms_per_day, false_alarms_per_shift : float
        Of all characteristics together, in 24 h and in 8 h.
    phi : float
        Autocorrelation the run lengths were computed for.
    """

    width: float
    k: float
    h: float
    arl_individuals: float
    arl_cusum: float
    false_alarms_per_day: float
    false_alarms_per_shift: float
    phi: float = 0.0


@dataclass(frozen=True)
class Cost:
    """What a set of charts costs a press and how soon it sees a lasting shift.

    Parameters
    ----------
    arl : float
        Shots between false alarms of one characteristic.
    false_alarms_per_shift, false_alarms_per_day : float
        Of all characteristics together, in 8 h and in 24 h.
    delay : dict of float to float
        Mean number of shots to the first signal after a shift of so many sigma in one characteristic.
    """

    arl: float
    false_alarms_per_shift: float
    false_alarms_per_day: float
    delay: dict[float, float] = field(default_factory=dict)


def solve(
    *,
    characteristics: int,
    cycle_time_s: float,
    false_alarms_per_day: float = 1.0,
    phi: float = 0.0,
    n: int | None = None,
) -> Plan:
    """Return chart constants that keep to a false-alarm budget.

    Parameters
    ----------
    characteristics : int
        Number of charted characteristics of the press.
    cycle_time_s : float
        Seconds from shot to shot.
    false_alarms_per_day : float
        False alarms that the press may raise in 24 h, all characteristics together.
    phi : float
        Autocorrelation at lag 1, 0 to 0.99; limits are in total sigma.
    n : float, optional
        Number of shots in the baseline (``Baseline.n``); autocorrelation makes it worth fewer. None for known
        center and sigma.

    Returns
    -------
    Plan

    Raises
    ------
    ValueError
        If an argument is out of range, or the budget leaves fewer than 20 shots between false alarms.

    Notes
    -----
    With ``n`` the constants are widened until the mean rate over baselines of that size meets the budget; see
    :mod:`rules.estimation`.

    References
    ----------
    Page, E. S. (1954). Continuous inspection schemes. Biometrika 41, 100-115.
    """
    _check_press(characteristics, cycle_time_s)
    if not (math.isfinite(false_alarms_per_day) and false_alarms_per_day > 0):
        raise ValueError(
            f"A budget of {false_alarms_per_day} false alarms a day is impossible; give a number above 0."
        )
    if not 0.0 <= phi <= 0.99:
        raise ValueError(f"phi is {phi}; give an autocorrelation between 0 and 0.99.")
    if n is not None and n < FEWEST_SHOTS:
        raise ValueError(f"A baseline of {n} shots sets no limits; use {FEWEST_SHOTS} or more.")
    run = SECONDS_PER_DAY / cycle_time_s * characteristics / false_alarms_per_day
    if run < SHORTEST_RUN:
        raise ValueError(
            f"This budget allows a false alarm every {run:.3g} shots of a characteristic; lower it."
        )
    width, k, h, individuals, cusum = _constants(_rounded(run), round(phi, 2), n)
    shots = SECONDS_PER_DAY / cycle_time_s * characteristics
    day = shots * (1.0 / individuals + 1.0 / cusum)
    return Plan(width, k, h, individuals, cusum, day, day / 3.0, round(phi, 2))


def _check_press(characteristics: int, cycle_time_s: float) -> None:
    if characteristics < 1:
        raise ValueError(f"A press with {characteristics} characteristics has no chart; give 1 or more.")
    if not (math.isfinite(cycle_time_s) and cycle_time_s > 0):
        raise ValueError(f"A cycle of {cycle_time_s} s is impossible; give seconds above 0.")


def _rounded(run: float) -> float:
    """Four digits, so that presses with nearly the same cycle share one solution."""
    return float(f"{run:.4g}")


@lru_cache(maxsize=1024)
def _constants(run: float, phi: float, n: int | None) -> tuple[float, float, float, float, float]:
    """Return width, k, h, and the mean run lengths of both for one characteristic."""
    wanted_width = _width_for(run / INDIVIDUALS_SHARE, phi)
    known_width = max(wanted_width, NARROWEST_WIDTH)
    individuals = _individuals_length(known_width, phi)
    cusum = 1.0 / (1.0 / run - 1.0 / individuals)
    h = _decision_interval_for(_rounded(cusum), phi)
    cusum = _cusum_length(h, phi)
    if n is None:
        return known_width, REFERENCE_VALUE, h, individuals, cusum
    size = max(n * (1.0 - phi) / (1.0 + phi), FEWEST_EFFECTIVE)
    k, h = widened_cusum(k=REFERENCE_VALUE, h=h, arl=cusum, phi=phi, n=size)
    return widened_limit(known_width, phi=phi, n=size), k, h, individuals, cusum


def _individuals_length(width: float, phi: float) -> float:
    return individuals_ar1_arl(width=width, phi=phi) if phi else individuals_arl(width=width)


def _cusum_length(h: float, phi: float) -> float:
    return cusum_ar1_arl(k=REFERENCE_VALUE, h=h, phi=phi) if phi else cusum_arl(k=REFERENCE_VALUE, h=h)


def _width_for(run: float, phi: float) -> float:
    """Individuals limit with this run length."""
    independent = float(norm.isf(0.5 / run))
    if not phi:
        return independent
    return float(
        brentq(
            lambda w: math.log(_individuals_length(w, phi) / run), independent - 2.0, independent, xtol=1e-6
        )
    )


@lru_cache(maxsize=1024)
def _decision_interval_for(run: float, phi: float) -> float:
    """CUSUM h with this run length: secant steps on its logarithm, which is nearly a straight line in h."""
    slope = 2.0 * REFERENCE_VALUE * (1.0 - phi) / (1.0 + phi)
    h = max(math.log1p(run * slope * slope / 2.0) / slope - 1.0, 0.5)
    miss = math.log(_cusum_length(h, phi) / run)
    for _ in range(30):
        if abs(miss) < 1e-6:
            break
        step = max(-miss / slope, -0.5 * h)
        after = math.log(_cusum_length(h + step, phi) / run)
        slope = (after - miss) / step
        h, miss = h + step, after
    return h


def cost(
    charts: Plan | Sequence[str | RunRule],
    *,
    cycle_time_s: float,
    characteristics: int = 1,
    width: float = 3.0,
    shifts: Sequence[float] = SHIFTS,
    rng: np.random.Generator | None = None,
) -> Cost:
    """Return what a plan, or an individuals chart with chosen run rules, costs in false alarms and delay.

    Parameters
    ----------
    charts : Plan or sequence of str or RunRule
        A plan from :func:`solve`, or the run rules used on every characteristic.
    cycle_time_s : float
        Seconds from shot to shot.
    characteristics : int
        Number of charted characteristics of the press.
    width : float
        Limits of ``"beyond_limit"`` in sigma, where rules are given.
    shifts : sequence of float
        Lasting shifts, in sigma, to give the delay for.
    rng : numpy.random.Generator, optional
        Needed for mixtures with ``trend`` or ``alternating``, whose run length is simulated to about 2 %.

    Returns
    -------
    Cost
        Delays are for a process with known center and sigma.

    Raises
    ------
    ValueError
        If an argument is out of range, or a mixture needs ``rng``.
    """
    _check_press(characteristics, cycle_time_s)
    if isinstance(charts, Plan):
        arl = 1.0 / (1.0 / charts.arl_individuals + 1.0 / charts.arl_cusum)
        delay = {shift: _plan_delay(charts, shift) for shift in shifts}
    else:
        arl = _rules_length(charts, width, 0.0, rng)
        delay = {shift: _rules_length(charts, width, shift, rng) for shift in shifts}
    shots = SECONDS_PER_SHIFT / cycle_time_s * characteristics
    return Cost(arl, shots / arl, 3.0 * shots / arl, delay)


def _plan_delay(plan: Plan, shift: float) -> float:
    """Both charts together; where values are autocorrelated the sooner of the two, a little too long."""
    if plan.phi == 0.0:
        return combined_arl(width=plan.width, k=plan.k, h=plan.h, shift=shift)
    return min(
        individuals_ar1_arl(width=plan.width, phi=plan.phi, shift=shift),
        cusum_ar1_arl(k=plan.k, h=plan.h, phi=plan.phi, shift=shift),
    )


def _rules_length(
    rules: Sequence[str | RunRule], width: float, shift: float, rng: np.random.Generator | None
) -> float:
    try:
        return individuals_arl(width=width, shift=shift, rules=rules)
    except ValueError:
        if rng is None or not rules:
            raise
    return simulated_individuals_arl(rng=rng, rules=rules, width=width, shift=shift, runs=2500)[0]
