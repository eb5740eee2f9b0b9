"""How long until zone rules ("m of n values between two distances from center") signal?

By an exact Markov chain.

References
----------
Champ, C. W. and Woodall, W. H. (1987). Exact results for Shewhart control charts with supplementary runs
rules. Technometrics 29, 393-399.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from warnings import catch_warnings, simplefilter

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array, eye_array
from scipy.sparse.linalg import MatrixRankWarning, spsolve
from scipy.stats import norm

from rules.run_length.distribution import RunLengthDistribution, settling
from rules.run_length.zone_chain import ZoneChain, ZoneRule, zone_chain

__all__ = ["zone_arl", "zone_run_length", "zone_steady_arl"]

FloatArray = NDArray[np.float64]
SURE = 1e7  # up to here the linear solve has nine digits or more; beyond, the settled chain has more


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
    chain = _chain_of(rules)
    alone = rules[0] if len(rules) == 1 else None
    if alone and alone.count == alone.of and (alone.of == 1 or not (alone.same_side or alone.both_sides)):
        return _run_of_hits(_tail(alone, shift), alone.of)
    if not _moves(chain, shift)[1].any():  # so far out that no value lies there in double precision
        return math.inf
    length = float(_to_come(chain, shift)[0])
    return length if 0.0 < length < SURE else zone_run_length(rules, shift).mean


def zone_run_length(rules: Sequence[ZoneRule], shift: float = 0.0) -> RunLengthDistribution:
    """Return the zero-state distribution of the run length; see :func:`zone_arl` for the parameters."""
    return _followed(rules, shift)[0]


def _followed(rules: Sequence[ZoneRule], shift: float) -> tuple[RunLengthDistribution, FloatArray]:
    chain = _chain_of(rules)
    moves, exits = _moves(chain, shift)
    start = np.zeros(chain.states)
    start[0] = 1.0
    # A run of ``of`` values cannot signal before there are as many.
    at_least = 2 * max(rule.of for rule in rules)
    return settling(start, lambda states: states @ moves, exits, at_least=at_least)


def zone_steady_arl(rules: Sequence[ZoneRule], shift: float) -> float:
    """Return the average run length from a shift that comes long after the start, without a signal before it.

    Parameters
    ----------
    rules : sequence of ZoneRule
        As in :func:`zone_arl`.
    shift : float
        How far the process mean moves from center, in sigma.

    Returns
    -------
    float
        Mean number of values from the shift up to and including the first signal.

    Raises
    ------
    ValueError
        As :func:`zone_arl`.
    """
    _, long_after = _followed(rules, 0.0)
    return float(long_after @ _to_come(_chain_of(rules), shift))


def _chain_of(rules: Sequence[ZoneRule]) -> ZoneChain:
    if not rules:
        raise ValueError("No rule is given, so no signal would ever come; name at least one rule.")
    return zone_chain(tuple(rules))


def _moves(chain: ZoneChain, shift: float) -> tuple[csr_array, FloatArray]:
    """Return the chances of the moves from state to state, and of a signal from each."""
    chance, stays = chain.probabilities(shift)[chain.zone], chain.target >= 0
    places = (chain.source[stays], chain.target[stays])
    moves = csr_array((chance[stays], places), shape=(chain.states, chain.states))
    exits = np.bincount(chain.source[~stays], chance[~stays], minlength=chain.states)
    return moves, np.asarray(exits, dtype=np.float64)


def _to_come(chain: ZoneChain, shift: float) -> FloatArray:
    """Mean number of values up to the signal, from each state."""
    moves, _ = _moves(chain, shift)
    system = (eye_array(chain.states) - moves).tocsc()
    with catch_warnings():
        simplefilter("ignore", MatrixRankWarning)  # a chain that hardly ever ends: its length is no number
        lengths = spsolve(system, np.ones(chain.states))
    return np.atleast_1d(np.asarray(lengths, dtype=np.float64))


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
