"""What it costs that limits rest on estimates: the shots to see a shift, against known center and sigma.

Source: Jensen et al. (2006) for the effect; the limits come from :mod:`rules.budget`, their delays from its
run lengths.
"""

from __future__ import annotations

from dataclasses import dataclass

from rules import budget
from rules.limits import Baseline

__all__ = ["Floor", "Widening", "widening"]

SECONDS_PER_DAY = 24 * 3600.0
SHIFTS_PER_DAY = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Floor:
    """What the floor allows a press.

    Parameters
    ----------
    characteristics : int
        Charted characteristics of the press, 1 or more.
    cycle_time_s : float
        Seconds from shot to shot, above zero.
    false_alarms_per_day : float
        Of all characteristics together, in 24 h; above zero.
    """

    characteristics: int = 10
    cycle_time_s: float = 60.0
    false_alarms_per_day: float = 1.0

    def shots_between(self) -> float:
        """Return how many shots of one characteristic the floor wants between two false alarms."""
        return SECONDS_PER_DAY / self.cycle_time_s * self.characteristics / self.false_alarms_per_day

    def false_alarms_per_shift(self) -> float:
        """Return how many of them one characteristic may have in 8 h."""
        return self.false_alarms_per_day / self.characteristics / SHIFTS_PER_DAY


@dataclass(frozen=True, slots=True)
class Widening:
    """Shots until a lasting shift signals, on the average.

    Parameters
    ----------
    shift : float
        In sigma.
    known, estimated : float
        With limits for known center and sigma, and with limits widened for this baseline; both for the same
        false alarms.
    sentence : str
        The difference in words.
    """

    shift: float
    known: float
    estimated: float
    sentence: str


def widening(baseline: Baseline, floor: Floor, *, shift: float = 1.0) -> Widening:
    """Return what the widened limits of a baseline cost in delay.

    Parameters
    ----------
    baseline : Baseline
    floor : Floor
        The false-alarm budget that both sets of limits keep to.
    shift : float
        Lasting shift to be seen, in sigma.

    Returns
    -------
    Widening

    Raises
    ------
    ValueError
        If the budget cannot be met (from :func:`rules.budget.solve`).

    References
    ----------
    Jensen, W. A. et al. (2006). Effects of parameter estimation on control chart properties: a literature
    review. J. Quality Technology 38, 349-364.
    """
    known, estimated = (_delay(baseline, floor, n, shift) for n in (None, baseline.n or None))
    sentence = (
        f"Widened for {baseline.n} shots, the limits see a shift of {shift:g} sigma after {estimated:.0f} "
        f"shots on the average; known limits would after {known:.0f}."
    )
    return Widening(shift, known, estimated, sentence)


def _delay(baseline: Baseline, floor: Floor, n: int | None, shift: float) -> float:
    plan = budget.solve(
        characteristics=floor.characteristics,
        cycle_time_s=floor.cycle_time_s,
        false_alarms_per_day=floor.false_alarms_per_day,
        phi=budget.coarse(baseline.phi, baseline.n),
        n=n,
    )
    return budget.cost(plan, cycle_time_s=floor.cycle_time_s, shifts=(shift,)).delay[shift]
