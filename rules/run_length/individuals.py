"""How long until an individuals chart signals under run rules? Which exact method fits which rules.

References
----------
Champ, C. W. and Woodall, W. H. (1987). Exact results for Shewhart control charts with supplementary runs
rules. Technometrics 29, 393-399 (zones).
Nelson, L. S. (1984). The Shewhart control chart - tests for special causes. J. Quality Technology 16,
237-239 (the rules).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache

import numpy as np

from rules.run_length.distribution import RunLengthDistribution
from rules.run_length.integral import check_shift
from rules.run_length.mixed import mixed_run_length
from rules.run_length.patterns import alternating_run_length, trend_run_length
from rules.run_length.zone_chain import ZoneRule
from rules.run_length.zones import zone_arl, zone_run_length
from rules.run_rules import RunRule, RunRulesState, named, scan

__all__ = ["individuals_arl", "individuals_run_length", "simulated_individuals_arl"]

Rule = str | RunRule | ZoneRule
ORDER_ALONE = {"trend": trend_run_length, "alternating": alternating_run_length}


def individuals_arl(
    *, width: float = 3.0, shift: float = 0.0, rules: Sequence[Rule] = ("beyond_limit",)
) -> float:
    """Return the exact zero-state average run length of an individuals chart of independent normal values.

    Parameters
    ----------
    width : float
        Distance of the limits from center in sigma; replaces the 3 sigma of ``"beyond_limit"``.
    shift : float
        Distance of the process mean from center, in sigma.
    rules : sequence of str, RunRule or ZoneRule
        Names of the published rules, or rules with numbers of your own, in any mixture.

    Returns
    -------
    float
        Mean number of values up to and including the first signal.

    Raises
    ------
    ValueError
        If no rule is given, a name is unknown, the width is not above zero, or the rules remember so much
        together that only :func:`simulated_individuals_arl` can tell.

    References
    ----------
    Champ, C. W. and Woodall, W. H. (1987). Exact results for Shewhart control charts with supplementary runs
    rules. Technometrics 29, 393-399.
    """
    _check(width, shift, rules)
    zones, order = _sorted(rules, width)
    return (
        individuals_run_length(width=width, shift=shift, rules=rules).mean
        if order
        else zone_arl(zones, shift)
    )


def individuals_run_length(
    *, width: float = 3.0, shift: float = 0.0, rules: Sequence[Rule] = ("beyond_limit",)
) -> RunLengthDistribution:
    """Return the exact zero-state distribution of the run length; see :func:`individuals_arl`.

    Raises
    ------
    ValueError
        As :func:`individuals_arl`.
    """
    _check(width, shift, rules)
    zones, order = _sorted(rules, width)
    if not order:
        return zone_run_length(zones, shift)
    if not zones and len(order) == 1:
        ((pattern, of),) = order.items()
        return ORDER_ALONE[pattern](of)
    return mixed_run_length(zones, shift=shift, **order)


def _sorted(rules: Sequence[Rule], width: float) -> tuple[list[ZoneRule], dict[str, int]]:
    """Tell rules about zones from those about order; of the latter only the shortest of a kind matters."""
    zones: list[ZoneRule] = []
    order: dict[str, int] = {}
    for rule in _resolved(rules, width):
        if isinstance(rule, RunRule) and rule.pattern in ORDER_ALONE:
            order[rule.pattern] = min(rule.of, order.get(rule.pattern, rule.of))
        else:
            zones.append(_zone(rule))
    return zones, order


def simulated_individuals_arl(
    *,
    rng: np.random.Generator,
    rules: Sequence[str | RunRule],
    width: float = 3.0,
    shift: float = 0.0,
    runs: int = 4000,
) -> tuple[float, float]:
    """Return the simulated average run length of any mixture of run rules, and its standard error.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of the random values.
    rules : sequence of str or RunRule
        Names of the published rules, or rules with numbers of your own.
    width, shift : float
        As in :func:`individuals_arl`.
    runs : int
        Number of simulated runs, 2 or more.

    Returns
    -------
    mean, standard_error : float

    Raises
    ------
    ValueError
        As :func:`individuals_arl`, or with fewer than 2 runs.
    """
    _check(width, shift, rules)
    if runs < 2:
        raise ValueError(f"{runs} runs tell nothing about the spread; simulate 2 or more.")
    wanted = tuple(rule for rule in _resolved(rules, width) if isinstance(rule, RunRule))
    lengths = np.array([_one_run(rng, wanted, shift) for _ in range(runs)], dtype=np.float64)
    return float(lengths.mean()), float(lengths.std(ddof=1) / math.sqrt(runs))


def _one_run(rng: np.random.Generator, rules: tuple[RunRule, ...], shift: float) -> int:
    """Number of values up to the first signal, looked for in growing blocks."""
    state, passed, block = RunRulesState(), 0, 128
    while True:
        state, met = scan(rules, state, rng.standard_normal(block) + shift)
        if met:
            return passed + met[0][0] + 1
        passed += block
        block = min(2 * block, 8192)


def _check(width: float, shift: float, rules: Sequence[Rule]) -> None:
    if not (math.isfinite(width) and width > 0.0):
        raise ValueError(f"The width is {width}; give individuals limits above 0, in sigma.")
    check_shift(shift)
    if not rules:
        raise ValueError("No rule is given, so no signal would ever come; name at least one rule.")


@lru_cache(maxsize=256)
def _published(name: str) -> RunRule:
    return named([name])[0]


def _resolved(rules: Sequence[Rule], width: float) -> list[RunRule | ZoneRule]:
    """Look up names, each rule once; the beyond-limit rule takes the width of the chart."""
    found: list[RunRule | ZoneRule] = []
    for rule in rules:
        known: RunRule | ZoneRule = _published(rule) if isinstance(rule, str) else rule
        if rule == "beyond_limit":
            assert isinstance(known, RunRule)  # names stand for run rules
            known = replace(known, limit=width)
        if known not in found:
            found.append(known)
    return found


def _zone(rule: RunRule | ZoneRule) -> ZoneRule:
    """Say a run rule as counts in zones."""
    if isinstance(rule, ZoneRule):
        return rule
    if rule.pattern == "inside":
        return ZoneRule(rule.count, rule.of, 0.0, rule.limit, same_side=False)
    same_side = rule.pattern == "beyond"
    return ZoneRule(rule.count, rule.of, rule.limit, rule.high, same_side, rule.both_sides)
