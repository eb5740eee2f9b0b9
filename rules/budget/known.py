"""Which constants spend a false-alarm budget, when center, sigma and autocorrelation are known?

One characteristic gets an individuals limit for single bad shots and a CUSUM of the values for lasting
shifts. The limit gets a quarter of the rate, and is never set closer than 3.5 sigma; the CUSUM gets what the
limit leaves, counted as what it adds to it: the run length of both together is exact.

Both charts take the values as they are, also where those are autocorrelated; the limits are widened for it.

- Lasting shift: a CUSUM of the residuals finds a shift of one sigma no sooner at the same rate, at any
  autocorrelation (:mod:`rules.budget.residuals` computes it; the two differ by 7 % at most), and large shifts
  later; its rate hangs on the estimated autocorrelation just as much.
- Single bad shot: a limit on the residuals would find a smaller one from an autocorrelation of a half on
  (nine times in ten 3.3 against 5.5 sigma at 0.8). It is not used. A bad shot spoils the forecast of the good
  shot after it, which is then accused on the other side, at 0.8 more often than not; and a limit that moves
  from shot to shot cannot be drawn beside the values, where a person checks it.

References
----------
Page, E. S. (1954). Continuous inspection schemes. Biometrika 41, 100-115 (reference value: half the shift).
Lucas, J. M. (1982). Combined Shewhart-CUSUM quality control schemes. J. Quality Technology 14, 51-59.
ISO 7870-9:2020, Control charts - Part 9: Control charts for stationary processes (both ways of charting).
Moustakides, G. V. (1986). Optimal stopping times for detecting changes in distributions. Annals of Statistics
14, 1379-1387 (what no chart can beat).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

from scipy.stats import norm

from rules.budget import brownian
from rules.run_length import combined_ar1_arl, combined_arl, individuals_ar1_arl, individuals_arl
from rules.run_length.autocorrelated import variance_ratio

__all__ = [
    "INDIVIDUALS_SHARE",
    "NARROWEST_WIDTH",
    "REFERENCE_VALUE",
    "Constants",
    "known",
    "together",
    "watched_alone",
]

INDIVIDUALS_SHARE = 0.25
NARROWEST_WIDTH = 3.5
REFERENCE_VALUE = 0.5  # half of the 1 sigma shift to be found
SMALLEST_INTERVAL = 1.0
NEAR = 0.03  # the next step is then exact to a thousandth and need not be computed
ROUNDS = 20
OUT_OF_REACH = 6.5  # sigma: one value in 1e10 lies so far out, and no linear system can tell that from none


@dataclass(frozen=True, slots=True)
class Constants:
    """Charts of one characteristic, in sigma, and their shots between false alarms.

    Parameters
    ----------
    width, k, h : float
        Individuals limit and two-sided CUSUM.
    arl_individuals : float
        Of the limit alone.
    arl : float
        Of both together.
    minimum_shift : float
        Engineering minimum, which may be what sets the limit.
    """

    width: float
    k: float
    h: float
    arl_individuals: float
    arl: float
    minimum_shift: float = 0.0

    @property
    def arl_added(self) -> float:
        """Shots between the false alarms that the CUSUM adds to those of the limit."""
        added = 1.0 / self.arl - 1.0 / self.arl_individuals
        return 1.0 / added if added > 0.0 else math.inf


@lru_cache(maxsize=1024)
def known(run: float, phi: float, minimum_shift: float = 0.0) -> Constants:
    """Return the constants with ``run`` shots between false alarms.

    Parameters
    ----------
    run : float
        Shots between false alarms of this characteristic.
    phi : float
        Autocorrelation at lag 1, 0 to 0.99.
    minimum_shift : float
        Engineering minimum shift in sigma: neither chart looks for less. The CUSUM then looks for twice that,
        with the shorter decision interval that the budget allows it.

    Returns
    -------
    Constants
    """
    width = max(_width_for(run / INDIVIDUALS_SHARE, phi), NARROWEST_WIDTH, minimum_shift)
    alone = _individuals(width, phi)
    k = max(REFERENCE_VALUE, minimum_shift)
    return replace(_with_cusum(run, phi, width, k, alone), minimum_shift=minimum_shift)


def _with_cusum(run: float, phi: float, width: float, k: float, alone: float) -> Constants:
    """Secant steps of the decision interval; the logarithm of the rate is nearly a straight line in it."""
    wanted, slope = 1.0 / run - 1.0 / alone, -2.0 * k / variance_ratio(phi)
    h, step, before = max(_first_guess(k, 1.0 / wanted, phi), SMALLEST_INTERVAL), 0.0, 0.0
    for _ in range(ROUNDS):
        found = Constants(width, k, h, alone, together(width, k, h, phi))
        if h == SMALLEST_INTERVAL and found.arl_added * wanted >= 1.0:
            return found
        if math.isinf(found.arl_added):  # too long for the chain; the closed form that gave h is good to 2 %
            break
        miss = -math.log(found.arl_added * wanted)
        if step != 0.0:
            slope = min((miss - before) / step, 0.2 * slope)
        after = max(h - miss / slope, 0.5 * h, SMALLEST_INTERVAL)
        step, h, before = after - h, after, miss
        if abs(miss) < NEAR or step == 0.0:
            break
    return Constants(width, k, h, alone, run)


def watched_alone(run: float, phi: float, minimum_shift: float = 0.0) -> Constants:
    """Return the individuals limit with ``run`` shots between false alarms, and no CUSUM."""
    width = max(_width_for(run, phi), NARROWEST_WIDTH, minimum_shift)
    alone = _individuals(width, phi)
    return Constants(width, REFERENCE_VALUE, math.inf, alone, alone, minimum_shift)


@lru_cache(maxsize=4096)
def together(width: float, k: float, h: float, phi: float, shift: float = 0.0) -> float:
    """Return the run length of both charts of the same values, of the limit alone where ``h`` is infinite."""
    if math.isinf(h):
        return _individuals(width, phi, shift)
    if min(width, k + h) - abs(shift) > OUT_OF_REACH:
        return math.inf
    if phi == 0.0:
        return combined_arl(width=width, k=k, h=h, shift=shift)
    return combined_ar1_arl(width=width, k=k, h=h, phi=phi, shift=shift)


def _individuals(width: float, phi: float, shift: float = 0.0) -> float:
    if width - abs(shift) > OUT_OF_REACH:
        return math.inf
    if phi == 0.0:
        return individuals_arl(width=width, shift=shift)
    return individuals_ar1_arl(width=width, phi=phi, shift=shift)


def _first_guess(k: float, run: float, phi: float) -> float:
    return brownian.barrier_for(k, 2.0 * run, variance_ratio(phi)) - float(brownian.excess(phi))


def _width_for(run: float, phi: float) -> float:
    """Individuals limit with this run length, from that of independent values on: the rate falls by ``w``."""
    width = float(norm.isf(0.5 / run))
    for _ in range(ROUNDS if phi else 0):
        miss = math.log(_individuals(width, phi) / run)
        width -= miss / (width + 1.0 / width)
        if abs(miss) < NEAR:
            break
    return width
