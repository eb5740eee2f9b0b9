"""Which histories do zone rules tell apart, and where does a value lead?

This is the Markov chain behind their run lengths. Histories with the same future are one state; the chain is
walked breadth first from the fresh start.

References
----------
Champ, C. W. and Woodall, W. H. (1987). Exact results for Shewhart control charts with supplementary runs
rules. Technometrics 29, 393-399.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm

__all__ = ["ZoneChain", "ZoneRule", "zone_chain"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
STATE_LIMIT = 50_000


@dataclass(frozen=True, slots=True)
class ZoneRule:
    """A rule met when ``count`` of the last ``of`` values lie between ``low`` and ``high`` sigma from center.

    Parameters
    ----------
    count, of : int
        How many values out of how many, ``1 <= count <= of <= 60``; the newest is one of them.
    low, high : float
        Distances from center in sigma, ``0 <= low < high``.
    same_side : bool
        True if the values must lie on one side of center, False if both sides count together.
    both_sides : bool
        True if some must lie on each side; only with ``same_side`` False and all values in a row.

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
    both_sides: bool = False

    def __post_init__(self) -> None:
        """Refuse a rule that could never be met or always would be."""
        if not 1 <= self.count <= self.of <= 60:
            raise ValueError(
                f"A rule of {self.count} in {self.of} values is not possible; use 1 <= m <= n <= 60."
            )
        if not 0.0 <= self.low < self.high:
            raise ValueError(f"A zone from {self.low} to {self.high} sigma is empty; give 0 <= low < high.")
        if self.both_sides and (self.same_side or not self.count == self.of > 1):
            raise ValueError(
                f"A rule of {self.count} in {self.of} values cannot ask for both sides; "
                f"only 2 or more in a row, of either side, can."
            )


class _Tracker(Protocol):
    """One thing counted, its history so far written as a whole number, 0 at the start."""

    def step(self, history: int, zone: int) -> int | None:
        """Return the history after a value in ``zone``, or None when the rule is met."""
        ...


@dataclass(frozen=True, slots=True)
class _Counter:
    """How many of the last ``of`` values were in some zones: one bit a value, the newest lowest."""

    count: int
    of: int
    zones: frozenset[int]

    def step(self, history: int, zone: int) -> int | None:
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
class _BothSides:
    """How long the run of hits is, how long its newest part on one side, and which side that is."""

    of: int
    above: frozenset[int]
    below: frozenset[int]

    def step(self, history: int, zone: int) -> int | None:
        if zone not in self.above and zone not in self.below:
            return 0
        rest, was_above = divmod(history, 2)
        run, on_side = divmod(rest, self.of + 1)
        is_above = int(zone in self.above)
        on_side = min(on_side + 1, self.of) if run and is_above == was_above else 1
        run = min(run + 1, self.of)
        if run == self.of and on_side < self.of:
            return None
        return (run * (self.of + 1) + on_side) * 2 + is_above


@dataclass(frozen=True, slots=True)
class ZoneChain:
    """Moves between rule histories, the fresh start being state 0."""

    edges: FloatArray  # cuts between zones, ascending, in sigma
    source: IntArray
    zone: IntArray
    target: IntArray  # -1 where a rule is met
    states: int

    def probabilities(self, shift: float) -> FloatArray:
        """Return the probability of each zone for normal values moved by ``shift`` sigma."""
        cuts = np.concatenate(([-np.inf], self.edges, [np.inf])) - shift
        upper = cuts[:-1] >= 0
        # The difference is taken in the nearer tail, so that small zones keep their digits.
        below = norm.cdf(cuts[1:]) - norm.cdf(cuts[:-1])
        above = norm.sf(cuts[:-1]) - norm.sf(cuts[1:])
        return np.asarray(np.where(upper, above, below), dtype=np.float64)


@lru_cache(maxsize=64)
def zone_chain(rules: tuple[ZoneRule, ...]) -> ZoneChain:
    """Walk breadth first over all histories that ``rules`` together can tell apart.

    Raises
    ------
    ValueError
        If there are more than 50,000.
    """
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
            if after is not None and after not in number:
                number[after] = len(number)
                queue.append(after)
            moves.append((number[state], zone, -1 if after is None else number[after]))
        if len(number) > STATE_LIMIT:
            raise ValueError(
                f"These rules together need over {STATE_LIMIT} states; use fewer rules or simulate."
            )
    source, zones, target = np.array(moves, dtype=np.int64).T
    return ZoneChain(np.array(edges), source, zones, target, len(number))


def _edges(rules: Sequence[ZoneRule]) -> list[float]:
    """All finite cuts of the line that some rule needs."""
    cuts = {side * cut for rule in rules for cut in (rule.low, rule.high) for side in (1, -1)}
    return sorted({cut + 0.0 for cut in cuts if math.isfinite(cut)})


def _trackers(rule: ZoneRule, edges: list[float]) -> list[_Tracker]:
    """One tracker a side, or one for both sides together."""
    cuts = [-math.inf, *edges, math.inf]
    above = frozenset(i for i in range(len(cuts) - 1) if rule.low <= cuts[i] and cuts[i + 1] <= rule.high)
    below = frozenset(i for i in range(len(cuts) - 1) if -rule.high <= cuts[i] and cuts[i + 1] <= -rule.low)
    if rule.both_sides:
        return [_BothSides(rule.of, above, below)]
    sides = (above, below) if rule.same_side else (above | below,)
    return [_Counter(rule.count, rule.of, zones) for zones in sides]


def _advance(trackers: Sequence[_Tracker], state: tuple[int, ...], zone: int) -> tuple[int, ...] | None:
    """Return the state after a value in ``zone``, or None when a rule is met."""
    after = []
    for tracker, history in zip(trackers, state, strict=True):
        moved = tracker.step(history, zone)
        if moved is None:
            return None
        after.append(moved)
    return tuple(after)
