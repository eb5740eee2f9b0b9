"""How long until rules about zones and rules about order, watched together, signal? By an exact chain.

What the zone rules remember is a state of their chain; what trend and alternating remember is the direction
of the last step, how many steps went the same way, and how many in turn. Only the last value itself is
continuous. On the scale of probability (``Phi(x - shift)``) every zone is an interval and values are uniform,
so that within a zone the chance of a value is a polynomial to all digits, held on a few Gauss-Legendre
points; integrals up and down from a point are those of :mod:`rules.run_length.patterns`.

References
----------
Champ, C. W. and Woodall, W. H. (1987). Exact results for Shewhart control charts with supplementary runs
rules. Technometrics 29, 393-399 (the zones).
Nelson, L. S. (1984). The Shewhart control chart - tests for special causes. J. Quality Technology 16,
237-239 (the rules).
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from rules.run_length.distribution import RunLengthDistribution, settled
from rules.run_length.patterns import integrals
from rules.run_length.zone_chain import ZoneChain, ZoneRule, zone_chain

__all__ = ["mixed_run_length"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
POINTS = 12
STATE_LIMIT = 100_000
APART, UP, DOWN = range(3)  # a step to another zone, and steps inside of one


class _Order(NamedTuple):
    """Direction of the last step (0 before there is one), steps the same way, steps in turn."""

    direction: int = 0
    same_way: int = 0
    in_turn: int = 0

    def step(self, direction: int, trend: int | None, alternating: int | None) -> _Order | None:
        """Return what is remembered after one more step, or None when a rule is met."""
        turned = self.direction == -direction
        same_way = 1 if turned else self.same_way + 1
        in_turn = self.in_turn + 1 if turned else 1
        if trend is not None and same_way >= trend - 1:
            return None
        if alternating is not None and in_turn >= alternating - 1:
            return None
        return _Order(direction, same_way if trend else 1, in_turn if alternating else 1)


class _State(NamedTuple):
    """What is remembered besides the last value: history of the zone rules, zone of that value, order."""

    history: int
    zone: int
    order: _Order


@dataclass(frozen=True, slots=True)
class _Structure:
    """All states that can be reached, and the steps between them; none of it depends on the shift."""

    chain: ZoneChain
    zones: IntArray  # of each state
    first: IntArray  # the state after a first value in each zone, -1 for a signal
    moves: IntArray  # rows of source, target (-1 for a signal), zone of the target, kind of step


def mixed_run_length(
    zones: Sequence[ZoneRule],
    *,
    trend: int | None = None,
    alternating: int | None = None,
    shift: float = 0.0,
) -> RunLengthDistribution:
    """Return the zero-state distribution of the run length of rules watched together.

    Parameters
    ----------
    zones : sequence of ZoneRule
        Rules about zones.
    trend, alternating : int, optional
        Values that take part in a trend, and in an alternation; without the rule if not given.
    shift : float
        Distance of the process mean from center, in sigma, of independent normal values.

    Returns
    -------
    RunLengthDistribution

    Raises
    ------
    ValueError
        If the rules together need more than 100,000 states.
    """
    structure = _structure(tuple(zones), trend, alternating)
    widths = structure.chain.probabilities(shift)
    nodes, weights, below, above = integrals(POINTS)
    size = structure.zones.size
    apart, up, down = (_steps_of(structure, widths, kind) for kind in (APART, UP, DOWN))

    def advance(states: FloatArray) -> FloatArray:
        here = states.reshape(size, POINTS)
        after = np.outer(apart @ here.sum(axis=1), weights) + up @ (here @ above) + down @ (here @ below)
        return np.asarray(after.ravel(), dtype=np.float64)

    exits_apart, exits_up, exits_down = (_exits_of(structure, widths, kind) for kind in (APART, UP, DOWN))
    signals = exits_apart + exits_up * (1.0 - nodes) + exits_down * nodes
    start = np.zeros((size, POINTS))
    kept = structure.first >= 0
    start[structure.first[kept]] = np.outer(widths[kept], weights)
    longest = 2 * max([rule.of for rule in zones] + [trend or 0, alternating or 0])
    before = (1.0, float(widths[kept].sum()))
    return settled(start.ravel(), advance, signals.ravel(), before, longest)


def _steps_of(structure: _Structure, widths: FloatArray, which: int) -> csr_array:
    """Chances of the steps of one kind that do not signal, a row for each state they lead to."""
    source, target, zone, kind = structure.moves.T
    chosen, size = (target >= 0) & (kind == which), structure.zones.size
    return csr_array((widths[zone[chosen]], (target[chosen], source[chosen])), shape=(size, size))


def _exits_of(structure: _Structure, widths: FloatArray, which: int) -> FloatArray:
    """Chance that a step of one kind signals, for each state, shape (states, 1)."""
    source, target, zone, kind = structure.moves.T
    chosen = (target < 0) & (kind == which)
    chances = np.bincount(source[chosen], widths[zone[chosen]], minlength=structure.zones.size)
    return np.asarray(chances[:, None])


@lru_cache(maxsize=16)
def _structure(rules: tuple[ZoneRule, ...], trend: int | None, alternating: int | None) -> _Structure:
    """Walk breadth first over what can be remembered."""
    chain = zone_chain(rules)
    leads_to = np.full((chain.states, chain.edges.size + 1), -1)
    leads_to[chain.source, chain.zone] = chain.target
    first = [_State(int(history), zone, _Order()) for zone, history in enumerate(leads_to[0])]
    number: dict[_State, int] = {}
    for state in first:
        if state.history >= 0:
            number[state] = len(number)
    queue, moves = deque(number), []
    while queue:
        state = queue.popleft()
        for after, zone, kind in _steps(state, leads_to, trend, alternating):
            if after is not None and after not in number:
                number[after] = len(number)
                queue.append(after)
            moves.append((number[state], -1 if after is None else number[after], zone, kind))
        if len(number) > STATE_LIMIT:
            raise ValueError(f"These rules together need over {STATE_LIMIT} states; simulate them.")
    zones, begin = [state.zone for state in number], [number.get(state, -1) for state in first]
    return _Structure(chain, np.array(zones), np.array(begin), np.array(moves))


def _steps(
    state: _State, leads_to: IntArray, trend: int | None, alternating: int | None
) -> Iterator[tuple[_State | None, int, int]]:
    """Give the state after each possible step (None for a signal), the zone it leads to, and its kind."""
    directions = {way: state.order.step(way, trend, alternating) for way in (-1, 1)}
    for zone, history in enumerate(leads_to[state.history].tolist()):
        here = [(UP, 1), (DOWN, -1)] if zone == state.zone else [(APART, 1 if zone > state.zone else -1)]
        for kind, way in here:
            order = directions[way]
            yield (None if history < 0 or order is None else _State(history, zone, order)), zone, kind
