"""Run lengths of zone rules ("m of n points between two distances from center") by an exact Markov chain."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, eye_array
from scipy.sparse.linalg import spsolve
from scipy.stats import norm

__all__ = ["ZoneRule", "zone_arl"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
STATE_LIMIT = 50_000


@dataclass(frozen=True, slots=True)
class ZoneRule:
    """A rule met when ``count`` of the last ``of`` values lie between ``low`` and ``high`` sigma from center.

    Parameters
    ----------
    count, of : int
        How many values out of how many, ``1 <= count <= of``.
    low, high : float
        Distances from center in sigma, ``0 <= low < high``.
    same_side : bool
        True if the values must lie on one side of center, False if both sides count together.

    Raises
    ------
    ValueError
        If a bound above is broken.
    """

    count: int
    of: int
    low: float
    high: float = math.inf
    same_side: bool = True

    def __post_init__(self) -> None:
        """Refuse a rule that could never be met or always would be."""
        if not 1 <= self.count <= self.of <= 60:
            raise ValueError(
                f"A rule of {self.count} in {self.of} values is not possible; use 1 <= m <= n <= 60."
            )
        if not 0.0 <= self.low < self.high:
            raise ValueError(f"A zone from {self.low} to {self.high} sigma is empty; give 0 <= low < high.")


@dataclass(frozen=True, slots=True)
class _Tracker:
    """One thing counted: the zones that count, and the m of n."""

    count: int
    of: int
    zones: frozenset[int]

    def step(self, history: int, zone: int) -> int | None:
        """Return the history after a value in ``zone``, or None when the rule is met."""
        seen = (history << 1) | (zone in self.zones)
        if seen & 1 and seen.bit_count() >= self.count:
            return None
        return self._reduced(seen & ((1 << (self.of - 1)) - 1))

    def _reduced(self, history: int) -> int:
        """Forget old hits that can no longer take part in a signal: equal futures become one state."""
        for age in range(self.of - 2, -1, -1):
            recent = (history & ((1 << (age + 1)) - 1)).bit_count()
            if history >> age & 1 and recent + self.of - 1 - age < self.count:
                history &= ~(1 << age)
        return history


@dataclass(frozen=True, slots=True)
class _Chain:
    """Transitions between rule histories; those that signal are left out."""

    edges: FloatArray  # cuts between zones, ascending, in sigma
    source: IntArray
    zone: IntArray
    target: IntArray
    states: int

    def probabilities(self, shift: float) -> FloatArray:
        """Return the probability of each zone for normal values moved by ``shift`` sigma."""
        cuts = np.concatenate(([-np.inf], self.edges, [np.inf])) - shift
        upper = (
            cuts[:-1] >= 0
        )  # take the difference in the nearer tail, so that small zones keep their digits
        below = norm.cdf(cuts[1:]) - norm.cdf(cuts[:-1])
        above = norm.sf(cuts[:-1]) - norm.sf(cuts[1:])
        return np.asarray(np.where(upper, above, below), dtype=np.float64)


def zone_arl(rules: Sequence[ZoneRule], shift: float = 0.0) -> float:
    """Return the zero-state average run length of zone rules used together on independent normal values.

    Parameters
    ----------
    rules : sequence of ZoneRule
        At least one; a signal is the first value at which any of them is met.
    shift : float
        Distance of the process mean from center, in sigma.

    Returns
    -------
    float
        Mean number of values up to and including the first signal.

    Raises
    ------
    ValueError
        If no rule is given, or the rules together need more than 50,000 states.

    References
    ----------
    Champ, C. W. and Woodall, W. H. (1987). Exact results for Shewhart control charts with supplementary runs
    rules. Technometrics 29, 393-399.
    Feller, W. (1968). An Introduction to Probability Theory and Its Applications, vol. 1, XIII.7 (success
    runs).
    """
    if not rules:
        raise ValueError("No rule is given, so no signal would ever come; name at least one rule.")
    chain = _chain(tuple(rules))
    chance = chain.probabilities(shift)
    if len(rules) == 1 and rules[0].count == rules[0].of and not rules[0].same_side:
        return _run_of_hits(_tail(rules[0], shift), rules[0].of)
    moves = coo_array((chance[chain.zone], (chain.source, chain.target)), shape=(chain.states, chain.states))
    system = (eye_array(chain.states) - moves).tocsc()
    lengths = np.atleast_1d(spsolve(system, np.ones(chain.states)))
    return float(lengths[0])


def _tail(rule: ZoneRule, shift: float) -> float:
    """Probability that one value lies in the zone, either side."""
    upper = norm.sf(rule.low - shift) - norm.sf(rule.high - shift)
    lower = norm.cdf(-rule.low - shift) - norm.cdf(-rule.high - shift)
    return float(upper + lower)


def _run_of_hits(p: float, length: int) -> float:
    """Mean waiting time for ``length`` hits in a row, in closed form: no digit lost where it is huge."""
    if p <= 0.0:
        return math.inf
    missed = 1.0 - p
    return float(length) if missed <= 0.0 else (p**-length - 1.0) / missed


@lru_cache(maxsize=64)
def _chain(rules: tuple[ZoneRule, ...]) -> _Chain:
    """Walk breadth first over all histories that the rules can tell apart."""
    edges = _edges(rules)
    trackers = [tracker for rule in rules for tracker in _trackers(rule, edges)]
    start = (0,) * len(trackers)
    number = {start: 0}
    queue = deque([start])
    moves: list[tuple[int, int, int]] = []
    while queue:
        state = queue.popleft()
        for zone in range(len(edges) + 1):
            after = _advance(trackers, state, zone)
            if after is None:
                continue
            if after not in number:
                number[after] = len(number)
                queue.append(after)
            moves.append((number[state], zone, number[after]))
        if len(number) > STATE_LIMIT:
            raise ValueError(
                f"These rules together need over {STATE_LIMIT} states; use fewer rules or simulate."
            )
    source, zones, target = np.array(moves, dtype=np.int64).reshape(-1, 3).T
    return _Chain(np.array(edges), source, zones, target, len(number))


def _edges(rules: Sequence[ZoneRule]) -> list[float]:
    """All finite cuts of the line that some rule needs."""
    cuts = {side * cut for rule in rules for cut in (rule.low, rule.high) for side in (1, -1)}
    return sorted({cut + 0.0 for cut in cuts if math.isfinite(cut)})


def _trackers(rule: ZoneRule, edges: list[float]) -> list[_Tracker]:
    """One tracker a side, or one for both sides together."""
    cuts = [-math.inf, *edges, math.inf]
    above = frozenset(i for i in range(len(cuts) - 1) if rule.low <= cuts[i] and cuts[i + 1] <= rule.high)
    below = frozenset(i for i in range(len(cuts) - 1) if -rule.high <= cuts[i] and cuts[i + 1] <= -rule.low)
    sides = (above, below) if rule.same_side else (above | below,)
    return [_Tracker(rule.count, rule.of, zones) for zones in sides]


def _advance(trackers: Sequence[_Tracker], state: tuple[int, ...], zone: int) -> tuple[int, ...] | None:
    """Return the state after a value in ``zone``, or None when a rule is met."""
    after = []
    for tracker, history in zip(trackers, state, strict=True):
        moved = tracker.step(history, zone)
        if moved is None:
            return None
        after.append(moved)
    return tuple(after)
