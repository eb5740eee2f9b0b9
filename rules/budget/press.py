"""How do the characteristics of one press share its false alarms, and what do all charts cost together?

The arithmetic of sharing is our own, no source; what a share buys is in `plan` and the modules it names.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from rules.budget.known import INDIVIDUALS_SHARE
from rules.budget.plan import SECONDS_PER_DAY, Plan, check_press, plan_for

__all__ = ["Characteristic", "PressPlan", "solve_press"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Characteristic:
    """What a plan must know of a characteristic.

    Parameters
    ----------
    name : str
    phi : float
        Autocorrelation at lag 1, 0 to 0.99.
    n : float, optional
        Shots in its baseline; None where center and sigma are known.
    minimum_shift : float
        Engineering minimum shift, in sigma.
    vital : bool
        A vital one gets an individuals limit and a CUSUM. Any other gets the limit alone, for the share of
        the budget that the limit of a vital one has.
    share : float, optional
        Part of the budget of the press, above 0 to 1; None takes its part of what is left.
    """

    name: str
    phi: float = 0.0
    n: float | None = None
    minimum_shift: float = 0.0
    vital: bool = True
    share: float | None = None


@dataclass(frozen=True, slots=True)
class PressPlan:
    """The plan of each characteristic by name, and what they cost together.

    The false alarms of one plan are those of its characteristic alone.
    """

    plans: Mapping[str, Plan]

    @property
    def false_alarms_per_day(self) -> float:
        """Of the press in 24 h."""
        return math.fsum(plan.false_alarms_per_day for plan in self.plans.values())

    @property
    def false_alarms_per_shift(self) -> float:
        """Of the press in 8 h."""
        return math.fsum(plan.false_alarms_per_shift for plan in self.plans.values())


def solve_press(
    characteristics: Sequence[Characteristic], *, cycle_time_s: float, false_alarms_per_day: float = 1.0
) -> PressPlan:
    """Return the chart constants of every characteristic of a press.

    Parameters
    ----------
    characteristics : sequence of Characteristic
        One or more, each with a name of its own.
    cycle_time_s : float
        Seconds from shot to shot.
    false_alarms_per_day : float
        False alarms that the press may raise in 24 h, all characteristics together.

    Returns
    -------
    PressPlan

    Raises
    ------
    ValueError
        If two names are alike, shares come to more than the whole, or a plan cannot be solved; the sentence
        names the characteristic.
    """
    check_press(len(characteristics), cycle_time_s, false_alarms_per_day)
    shots = SECONDS_PER_DAY / cycle_time_s
    plans: dict[str, Plan] = {}
    for each, share in zip(characteristics, _shares(characteristics), strict=True):
        if each.name in plans:
            raise ValueError(f"Two characteristics are called {each.name}; give each a name of its own.")
        try:
            plans[each.name] = plan_for(
                shots / (share * false_alarms_per_day),
                shots,
                phi=each.phi,
                n=each.n,
                minimum_shift=each.minimum_shift,
                vital=each.vital,
            )
        except ValueError as error:
            raise ValueError(f"{each.name}: {error}") from error
    return PressPlan(plans)


def _shares(characteristics: Sequence[Characteristic]) -> list[float]:
    """Part of the budget of each: the given ones, and the rest by weight."""
    given = [each.share for each in characteristics if each.share is not None]
    if any(not 0.0 < share <= 1.0 for share in given):
        raise ValueError("A share of the budget is a number above 0 and at most 1.")
    left = 1.0 - math.fsum(given)
    weights = [0.0 if each.share is not None else _weight(each) for each in characteristics]
    if left < -1e-9 or (any(weights) and left <= 1e-9):
        raise ValueError(
            f"The shares given come to {math.fsum(given):.3g} of the budget; leave some for the others."
        )
    total = math.fsum(weights)
    return [
        left * weight / total if each.share is None else each.share
        for each, weight in zip(characteristics, weights, strict=True)
    ]


def _weight(characteristic: Characteristic) -> float:
    return 1.0 if characteristic.vital else INDIVIDUALS_SHARE
