"""How are run lengths spread about their average? Survival of a chart step by step, and its geometric tail.

A chart that has not signaled yet is somewhere: in one of the states of a Markov chain, or at one of the
points of an integral equation. The chance of each is carried from value to value. Before long the chances
settle (to the quasi-stationary law), and from there on every value signals with the same chance, so that the
rest of the distribution is geometric: a median of 1e12 values costs as little as one of ten. Nothing is ever
subtracted, so that even the smallest chance keeps its digits.

References
----------
Brook, D. and Evans, D. A. (1972). An approach to the probability distribution of cusum run length. Biometrika
59, 539-549.
Woodall, W. H. (1983). The distribution of the run length of one-sided CUSUM procedures for continuous random
variables. Technometrics 25, 295-301 (the geometric tail).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["RunLengthDistribution", "is_settled", "settled", "settling"]

FloatArray = NDArray[np.float64]
SAME = 1e-11  # the chance of a signal has settled when it stays within this share of itself
SPENT = 1e-17  # what survives with less chance than this changes no result
SILENT = 2_000  # values without any chance of a signal, after which there is none (it would underflow)
LONGEST_WALK = 100_000
CHECK_EVERY = 16


@dataclass(frozen=True, slots=True, eq=False)
class RunLengthDistribution:
    """Distribution of the number of values up to and including the first signal.

    Parameters
    ----------
    survival : ndarray of float64, shape (n + 1,)
        Chance that none of the first 0, 1, ..., n values signals.
    hazard : float
        Chance that a value signals after that if none before it has.
    """

    survival: FloatArray
    hazard: float

    @property
    def mean(self) -> float:
        """Average run length; infinity if no signal ever comes."""
        if self.survival[-1] == 0.0:
            return float(self.survival.sum())
        if self.hazard == 0.0:
            return math.inf
        return float(self.survival[:-1].sum() + self.survival[-1] / self.hazard)

    @property
    def median(self) -> float:
        """Number of values within which half of all runs have signaled."""
        return self.quantile(0.5)

    def quantile(self, share: float) -> float:
        """Return the number of values within which ``share`` of all runs have signaled.

        Parameters
        ----------
        share : float
            Above 0 and below 1.

        Returns
        -------
        float
            The smallest whole number ``n`` with ``P(run length <= n) >= share``; infinity if there is none.

        Raises
        ------
        ValueError
            If ``share`` is not between 0 and 1.
        """
        if not 0.0 < share < 1.0:
            raise ValueError(f"The share of runs is {share}; give a number between 0 and 1.")
        left, last = 1.0 - share, self.survival.size - 1
        if self.survival[-1] <= left:
            return float(np.searchsorted(-self.survival, -left))
        if self.hazard == 0.0:
            return math.inf
        return float(last + math.ceil(math.log(left / self.survival[-1]) / math.log1p(-self.hazard)))

    def surviving(self, values: int) -> FloatArray:
        """Return the chances that none of the first 0, 1, ..., ``values`` values signals."""
        beyond = np.arange(1, max(0, values + 1 - self.survival.size) + 1)
        # Not a power of (1 - hazard), which would lose the digits of a small hazard.
        tail = np.zeros(beyond.size) if self.hazard >= 1.0 else np.exp(beyond * math.log1p(-self.hazard))
        return np.concatenate((self.survival, self.survival[-1] * tail))[: values + 1]

    def chances(self, values: int) -> FloatArray:
        """Return the chances that the first signal comes at value 1, 2, ..., ``values``."""
        steps = self.survival.size - 1
        known = -np.diff(self.survival[: values + 1])
        beyond = self.surviving(values)[steps:values] * self.hazard if values > steps else np.empty(0)
        return np.concatenate((known, beyond))


def settled(
    start: FloatArray,
    advance: Callable[[FloatArray], FloatArray],
    exits: FloatArray,
    before: Sequence[float] = (1.0,),
    at_least: int = 0,
) -> RunLengthDistribution:
    """Return the run length distribution of a chain; see :func:`settling`."""
    return settling(start, advance, exits, before, at_least)[0]


def settling(
    start: FloatArray,
    advance: Callable[[FloatArray], FloatArray],
    exits: FloatArray,
    before: Sequence[float] = (1.0,),
    at_least: int = 0,
) -> tuple[RunLengthDistribution, FloatArray]:
    """Follow a chain until the chance of a signal has settled.

    Parameters
    ----------
    start : ndarray of float64, shape (n,)
        Chance of each state, or of the surroundings of each point, before the next value.
    advance : callable
        From the chances before a value to those after it, signals left out.
    exits : ndarray of float64, shape (n,)
        Chance that the next value signals, from each state.
    before : sequence of float
        Survival of the values before ``start``, from the first 0 values on.
    at_least : int
        Values to follow in any case: what cannot happen earlier would otherwise be missed.

    Returns
    -------
    distribution : RunLengthDistribution
    states : ndarray of float64, shape (n,)
        Chance of each state of a chart that has not signaled for long.
    """
    states, survival = start / start.sum(), list(before)
    hazards: list[float] = []
    while len(hazards) < LONGEST_WALK:
        hazards.append(min(1.0, float(states @ exits)))
        survival.append(survival[-1] * (1.0 - hazards[-1]))
        after = advance(states)
        left = float(after.sum())
        if survival[-1] < SPENT or not left > 0.0:
            break
        states = after / left
        if len(hazards) % CHECK_EVERY == 0 and len(hazards) >= at_least and is_settled(hazards):
            break
    return RunLengthDistribution(np.array(survival), hazards[-1]), states


def is_settled(hazards: Sequence[float]) -> bool:
    """Return whether the last third of ``hazards`` are the same."""
    recent = hazards[-max(CHECK_EVERY // 2, len(hazards) // 3) :]
    if recent[-1] == 0.0:
        return len(hazards) >= SILENT
    return max(recent) - min(recent) <= SAME * recent[-1]
