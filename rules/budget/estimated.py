"""How much wider must constants be because center, sigma and autocorrelation are estimated?

A chart drawn from estimates has a false-alarm rate of its own, and the mean of that rate over all baselines
one might have drawn is higher than with known values, since it grows faster on the tight side than it falls
on the wide side. The constants here keep that mean to the budget, for a process of about the estimated
autocorrelation.

The chart a baseline gets depends on the autocorrelation estimated from it, so the mean runs over what each of
those baselines would get. Around the estimate the decision interval is ``h0 exp(a + b t + c t^2)``, h0 that
for known values scaled with the long-run variance and t in standard errors of the estimate; a, b and c are
such that the mean rate is the budget for processes one standard error below, at, and above it.

References
----------
Jensen, W. A. et al. (2006). Effects of parameter estimation on control chart properties: a literature review.
J. Quality Technology 38, 349-364 (the problem).
Hahn, G. J. and Meeker, W. Q. (1991). Statistical Intervals, 4.7 (the individuals limit).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq, root
from scipy.special import ndtr

from rules.budget import brownian
from rules.budget.errors import LOWEST_PHI, Baselines, angle
from rules.budget.known import SMALLEST_INTERVAL, Constants
from rules.estimation import widened_limit
from rules.limits import PHI_CEILING
from rules.run_length.autocorrelated import variance_ratio

__all__ = ["widened"]

FloatArray = NDArray[np.float64]
Polynomial = tuple[float, float, float]
RAISES = (1.0, 1.1, 1.2, 1.3, 1.4, 1.5, 1.6, 1.7, 1.8)  # of the reference value
FEWEST_EFFECTIVE = 5.0  # below this a baseline is worth nothing, and widening has no end
PHI_TOLD_FROM = 30.0  # effective size from which the error of phi can be allowed for
CLOSE_ENOUGH = 2e-3
LOWEST, HIGHEST = -2.0, 5.0  # logarithm of the widening


def widened(exact: Constants, *, phi: float, n: float) -> Constants:
    """Return constants, in estimated sigma, whose mean false-alarm rate over baselines is that of ``exact``.

    Parameters
    ----------
    exact : Constants
        For known values.
    phi : float
        Estimated autocorrelation at lag 1, freed of bias; 0 where it is not significant.
    n : float
        Shots in the baseline.

    Returns
    -------
    Constants
        With the reference value, of those up to 1.8 times as high, that sees a shift of ``2 k`` soonest: a
        short baseline may put the center so far off that a low one never comes to rest, and a higher one
        costs less delay there than an ever longer decision interval.

    Notes
    -----
    Below an effective size of 30 shots the error of phi is left out: allowing for it there would make a chart
    that sees nothing. Such limits are provisional anyway, and may cry wolf several times too often.
    """
    if (
        exact.width <= exact.minimum_shift
    ):  # what an engineer asked for is no estimate, and far inside the budget
        return exact
    ratio = variance_ratio(phi)
    shots = max(n, FEWEST_EFFECTIVE * ratio)
    width = widened_limit(exact.width, phi=phi, n=shots / ratio)
    if math.isinf(exact.arl_added) or exact.h <= SMALLEST_INTERVAL:
        return replace(exact, width=width)  # the minimum shift sets the CUSUM, far inside the budget
    model = _Model.of(exact, width, phi, shots)
    k = min((raised * exact.k for raised in RAISES), key=model.delay)
    return replace(exact, width=width, k=k, h=model.interval(k))


@dataclass(frozen=True, slots=True)
class _Process:
    """One process, the baselines it may give, and what does not change with the CUSUM's constants."""

    seen: Baselines
    scaled: FloatArray  # decision interval for known values, by estimated autocorrelation
    off: FloatArray  # estimated autocorrelation less the one asked for, in standard errors
    ratio: float
    excess: float
    singles: float  # mean rate of the individuals limit

    def lengths(self, k: float, level: Polynomial) -> FloatArray:
        """Run lengths of the upper sum under each baseline."""
        a, b, c = level
        with np.errstate(over="ignore"):  # on its way the search tries widenings without bounds
            interval = self.scaled * np.exp(a + b * self.off + c * self.off * self.off)
        barrier = interval * self.seen.sigma + self.excess
        return brownian.run_length(k * self.seen.sigma + self.seen.center, barrier, self.ratio)

    def rate(self, k: float, level: Polynomial) -> float:
        """Mean rate of both charts."""
        return self.singles + 2.0 * self.seen.mean(1.0 / self.lengths(k, level))


@dataclass(frozen=True, slots=True)
class _Model:
    """Processes with an autocorrelation near the estimated one, the middle one with just that."""

    exact: Constants
    processes: tuple[_Process, ...]

    @classmethod
    def of(cls, exact: Constants, width: float, phi: float, n: float) -> _Model:
        """Put a process one standard error either side of the estimate, where there is room."""
        middle, error = angle(phi), 1.0 / math.sqrt(n)
        told = phi > 0.0 and n >= PHI_TOLD_FROM * variance_ratio(phi)
        room = told and middle - error > angle(LOWEST_PHI) and middle + 2.0 * error < angle(PHI_CEILING)
        angles = (middle - error, middle, middle + error) if room else (middle,)
        seen = (Baselines.of(math.sin(each), n, known_phi=not told) for each in angles)
        return cls(exact, tuple(_process(exact, width, phi, each, n) for each in seen))

    def level(self, k: float) -> float:
        """Return the logarithm of the widening at which the middle process keeps to the budget."""
        middle = self.processes[len(self.processes) // 2]

        def miss(a: float) -> float:
            return math.log(middle.rate(k, (a, 0.0, 0.0)) * self.exact.arl)

        if miss(LOWEST) <= 0.0:  # a high reference value alone keeps to the budget
            return LOWEST
        return float(brentq(miss, LOWEST, HIGHEST, xtol=1e-3)) if miss(HIGHEST) < 0.0 else HIGHEST

    def delay(self, k: float) -> float:
        """Return the delay of the shift that the exact chart looks for, under a baseline without error."""
        middle = self.processes[len(self.processes) // 2]
        barrier = self.exact.h * math.exp(self.level(k)) + middle.excess
        return float(brownian.run_length(k - 2.0 * self.exact.k, barrier, middle.ratio))

    def interval(self, k: float) -> float:
        """Return the decision interval at which all processes keep to the budget."""
        level = self.level(k)
        if len(self.processes) > 1:

            def miss(polynomial: FloatArray) -> list[float]:
                a, b, c = polynomial.tolist()
                return [math.log(each.rate(k, (a, b, c)) * self.exact.arl) for each in self.processes]

            solved = root(miss, [level, 0.0, 0.0], tol=CLOSE_ENOUGH)
            level = float(np.clip(solved.x[0], LOWEST, HIGHEST)) if solved.success else level
        return max(self.exact.h * math.exp(level), SMALLEST_INTERVAL)


def _process(exact: Constants, width: float, asked: float, seen: Baselines, n: float) -> _Process:
    ratio = variance_ratio(seen.phi)
    off = (np.arcsin(seen.phi_hat) - angle(asked)) * math.sqrt(n)
    scaled = exact.h / variance_ratio(asked) * (1.0 + seen.phi_hat) / (1.0 - seen.phi_hat)
    matched = brownian.barrier_for(exact.k, 2.0 * exact.arl_added, variance_ratio(asked)) - exact.h
    excess = matched * float(brownian.excess(seen.phi) / brownian.excess(asked))
    # Values beyond a limit come in clusters: fewer alarms than values, by the same share for every baseline.
    clusters = 0.5 / float(ndtr(-exact.width)) / exact.arl_individuals
    singles = (
        2.0 * clusters * seen.mean(np.asarray(ndtr(-width * seen.sigma - seen.center), dtype=np.float64))
    )
    return _Process(seen, scaled, off, ratio, excess, singles)
