"""What are the chart constants of one characteristic, and what do charts cost in false alarms and in delay?

References
----------
Page, E. S. (1954). Continuous inspection schemes. Biometrika 41, 100-115.
Lucas, J. M. (1982). Combined Shewhart-CUSUM quality control schemes. J. Quality Technology 14, 51-59.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np

from rules.budget.classic import rules_arl
from rules.budget.estimated import widened
from rules.budget.known import Constants, known, together, watched_alone
from rules.figures import written
from rules.limits import PHI_CEILING, USABLE_FROM
from rules.run_length.integral import first_of
from rules.run_rules import RunRule

__all__ = ["SHIFTS", "Cost", "Plan", "coarse", "cost", "plan_for", "solve"]

SECONDS_PER_SHIFT = 8 * 3600.0
SECONDS_PER_DAY = 24 * 3600.0
SHIFTS = (0.5, 1.0, 2.0, 3.0)
COARSE_STEP, FINE_STEP = 0.05, 0.01
FEWEST_SHOTS = 5
SHORTEST_RUN = 20.0  # shots a characteristic; a looser budget asks for no chart at all


@dataclass(frozen=True, slots=True)
class Plan:
    """Chart constants of a characteristic, in sigma, and what charts like these cost the press.

    Parameters
    ----------
    width : float
        Individuals limits.
    k, h : float
        Two-sided CUSUM of the values; ``h`` is infinite where there is none.
    arl_individuals : float
        Shots between false alarms of the individuals limit alone.
    arl_cusum : float
        Shots between the false alarms that the CUSUM adds to them.
    false_alarms_per_day, false_alarms_per_shift : float
        Of all characteristics that this plan was solved for, in 24 h and in 8 h.
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

    @property
    def arl(self) -> float:
        """Shots between false alarms of both charts: one over their mean rate over baselines."""
        return first_of(self.arl_individuals, self.arl_cusum)

    def reach(self, minimum_shift: float = 0.0) -> float | None:
        """Return how far one shot counts in the sums, in sigma: as far as it goes without its own signal.

        The first signal of both charts, and so every run length here, is what it would be without. None, no
        end, where that would leave nothing to add up next to a minimum shift, in sigma.
        """
        limit = max(self.width, minimum_shift)
        return limit if limit > max(self.k, minimum_shift) else None


@dataclass(frozen=True, slots=True)
class Cost:
    """What a set of charts costs a press and how soon it sees a lasting shift.

    Parameters
    ----------
    arl : float
        Shots between false alarms of one characteristic.
    false_alarms_per_shift, false_alarms_per_day : float
        Of all characteristics together, in 8 h and in 24 h.
    delay : dict of float to float
        Mean number of shots to the first signal after a shift of so many sigma in one characteristic, the
        shot of the shift included.
    """

    arl: float
    false_alarms_per_shift: float
    false_alarms_per_day: float
    delay: dict[float, float] = field(default_factory=dict)


def coarse(phi: float, n: int) -> float:
    """Return an autocorrelation rounded to a few times finer than ``n`` shots can tell it.

    Presses and characteristics that are nearly alike so share one solution, which takes tenths of a second to
    find.
    """
    step = COARSE_STEP if n < USABLE_FROM else FINE_STEP
    return min(round(max(phi, 0.0) / step) * step, PHI_CEILING)


def solve(
    *,
    characteristics: int,
    cycle_time_s: float,
    false_alarms_per_day: float = 1.0,
    phi: float = 0.0,
    n: int | None = None,
    minimum_shift: float = 0.0,
) -> Plan:
    """Return chart constants that keep to a false-alarm budget shared equally.

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
    minimum_shift : float
        Engineering minimum shift, in sigma: a smaller lasting shift need not be found.

    Returns
    -------
    Plan
        With ``n`` it is widened until the mean rate over baselines of that size meets the budget; see
        :mod:`rules.budget.estimated`.

    Raises
    ------
    ValueError
        If an argument is out of range, or the budget leaves fewer than 20 shots between false alarms.
    """
    check_press(characteristics, cycle_time_s, false_alarms_per_day)
    shots = SECONDS_PER_DAY / cycle_time_s * characteristics
    return plan_for(shots / false_alarms_per_day, shots, phi=phi, n=n, minimum_shift=minimum_shift)


def plan_for(
    run: float,
    shots_per_day: float,
    *,
    phi: float = 0.0,
    n: float | None = None,
    minimum_shift: float = 0.0,
    vital: bool = True,
) -> Plan:
    """Return the plan of a characteristic that may raise a false alarm every ``run`` shots.

    Parameters
    ----------
    run : float
        Shots between false alarms of the characteristic, 20 or more.
    shots_per_day : float
        Values in 24 h that the false alarms of the plan are counted over.
    phi, n, minimum_shift : float
        As in :func:`solve`.
    vital : bool
        False leaves out the CUSUM.

    Returns
    -------
    Plan

    Raises
    ------
    ValueError
        If an argument is out of range.
    """
    if not 0.0 <= phi <= 0.99:
        raise ValueError(f"phi is {phi}; give an autocorrelation between 0 and 0.99.")
    if n is not None and n < FEWEST_SHOTS:
        raise ValueError(f"A baseline of {n} shots sets no limits; use {FEWEST_SHOTS} or more.")
    if not (math.isfinite(minimum_shift) and minimum_shift >= 0.0):
        raise ValueError(f"The minimum shift is {minimum_shift}; give 0 or more, in sigma.")
    if run < SHORTEST_RUN:
        raise ValueError(
            f"This budget allows a false alarm every {written(run, 3)} shots of a characteristic; lower it."
        )
    found = _constants(_rounded(run, 4), round(phi, 2), n and _rounded(n, 2), minimum_shift, vital=vital)
    day = shots_per_day / found.arl
    return Plan(
        found.width, found.k, found.h, found.arl_individuals, found.arl_added, day, day / 3.0, round(phi, 2)
    )


def check_press(characteristics: int, cycle_time_s: float, false_alarms_per_day: float = 1.0) -> None:
    """Refuse a press without charts, a cycle without length, a budget of nothing."""
    if characteristics < 1:
        raise ValueError(f"A press with {characteristics} characteristics has no chart; give 1 or more.")
    if not (math.isfinite(cycle_time_s) and cycle_time_s > 0):
        raise ValueError(f"A cycle of {cycle_time_s} s is impossible; give seconds above 0.")
    if not (math.isfinite(false_alarms_per_day) and false_alarms_per_day > 0):
        raise ValueError(
            f"A budget of {false_alarms_per_day} false alarms a day is impossible; give a number above 0."
        )


def _rounded(number: float, digits: int) -> float:
    """So many digits, so that presses and baselines that are nearly alike share one solution."""
    return float(f"{number:.{digits}g}")


@lru_cache(maxsize=4096)
def _constants(run: float, phi: float, n: float | None, minimum_shift: float, *, vital: bool) -> Constants:
    exact = known(run, phi, minimum_shift) if vital else watched_alone(run, phi, minimum_shift)
    return exact if n is None else widened(exact, phi=phi, n=n)


def cost(
    charts: Plan | Sequence[str | RunRule],
    *,
    cycle_time_s: float,
    characteristics: int = 1,
    width: float = 3.0,
    phi: float = 0.0,
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
        Limits of ``"beyond_limit"`` in total sigma, where rules are given.
    phi : float
        Autocorrelation at lag 1, where rules are given; a plan knows its own.
    shifts : sequence of float
        Lasting shifts, in sigma, to give the delay for.
    rng : numpy.random.Generator, optional
        Needed where rules have no exact run length, which is then simulated to about 2 %.

    Returns
    -------
    Cost
        Delays are for a process whose baseline has no error, from a fresh start of the charts.

    Raises
    ------
    ValueError
        If an argument is out of range, or a mixture needs ``rng``.
    """
    check_press(characteristics, cycle_time_s)
    if isinstance(charts, Plan):
        arl = charts.arl
        delay = {shift: together(charts.width, charts.k, charts.h, charts.phi, shift) for shift in shifts}
    else:
        arl = rules_arl(charts, width=width, phi=phi, rng=rng)
        delay = {shift: rules_arl(charts, width=width, phi=phi, shift=shift, rng=rng) for shift in shifts}
    shots = SECONDS_PER_SHIFT / cycle_time_s * characteristics
    return Cost(arl, shots / arl, 3.0 * shots / arl, delay)
