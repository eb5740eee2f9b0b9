"""What do textbook individuals charts and run rules cost, also where values are autocorrelated?

Exact where there is an exact form, simulated from shots otherwise. Autocorrelated values spoil run rules even
where sigma is the right one: values that resemble their neighbors make runs of themselves.

References
----------
Champ, C. W. and Woodall, W. H. (1987). Exact results for Shewhart control charts with supplementary runs
rules. Technometrics 29, 393-399.
Maragah, H. D. and Woodall, W. H. (1992). The effect of autocorrelation on the retrospective X-chart.
J. Statistical Computation and Simulation 40, 29-42 (the setting).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from scipy.signal import lfilter

from rules.run_length import individuals_ar1_arl, individuals_arl, simulated_individuals_arl
from rules.run_rules import RunRule, RunRulesState, named, scan

__all__ = ["rules_arl"]

RUNS = 2500  # to about 2 %
BLOCK = 128
LONGEST_BLOCK = 8192


def rules_arl(
    rules: Sequence[str | RunRule],
    *,
    width: float = 3.0,
    phi: float = 0.0,
    shift: float = 0.0,
    rng: np.random.Generator | None = None,
) -> float:
    """Return the run length of an individuals chart under run rules.

    Parameters
    ----------
    rules : sequence of str or RunRule
        Names of the published rules, or rules with numbers of your own.
    width : float
        Limits of ``"beyond_limit"``, in total sigma.
    phi : float
        Autocorrelation at lag 1, -0.99 to 0.99.
    shift : float
        Distance of the process mean from center, in total sigma.
    rng : numpy.random.Generator, optional
        Needed where no exact form is known: then the run length is simulated, to about 2 %.

    Returns
    -------
    float
        Mean number of values up to and including the first signal.

    Raises
    ------
    ValueError
        If no rule is given, a name is unknown, a number is out of range, or ``rng`` is needed and missing.
    """
    if phi == 0.0:
        return _independent(rules, width, shift, rng)
    if list(rules) == ["beyond_limit"]:
        return individuals_ar1_arl(width=width, phi=phi, shift=shift)
    if rng is None or not rules:
        raise ValueError("No exact run length is known for run rules of autocorrelated values; simulate it.")
    wanted = tuple(_at(rule, width) for rule in rules)
    return float(np.mean([_one_run(rng, wanted, phi, shift) for _ in range(RUNS)]))


def _independent(
    rules: Sequence[str | RunRule], width: float, shift: float, rng: np.random.Generator | None
) -> float:
    try:
        return individuals_arl(width=width, shift=shift, rules=rules)
    except ValueError:
        if rng is None or not rules:
            raise
    return simulated_individuals_arl(rng=rng, rules=rules, width=width, shift=shift, runs=RUNS)[0]


def _at(rule: str | RunRule, width: float) -> RunRule:
    """Look up a name; the beyond-limit rule takes the width of the chart."""
    if isinstance(rule, RunRule):
        return rule
    (known,) = named([rule])
    return replace(known, limit=width) if known.name == "beyond_limit" else known


def _one_run(rng: np.random.Generator, rules: tuple[RunRule, ...], phi: float, shift: float) -> int:
    """Number of values up to the first signal, looked for in growing blocks of a settled process."""
    state, passed, size = RunRulesState(), 0, BLOCK
    spread, memory = math.sqrt(1.0 - phi * phi), np.array([phi * rng.standard_normal()])
    while True:
        values, memory = lfilter([1.0], [1.0, -phi], spread * rng.standard_normal(size), zi=memory)
        state, met = scan(rules, state, values + shift)
        if met:
            return passed + met[0][0] + 1
        passed += size
        size = min(2 * size, LONGEST_BLOCK)
