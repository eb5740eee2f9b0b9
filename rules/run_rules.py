"""Which of the eight run rules does a value complete, and which values take part?

One value at a time and over a whole array, with the same answer. A rule signals at every value that completes
it, so a run that goes on keeps signaling. Inequalities are strict. A missing value breaks a run: nothing
before it counts any more.

References
----------
Nelson, L. S. (1984). The Shewhart control chart - tests for special causes. J. Quality Technology 16,
237-239.
Western Electric (1956). Statistical Quality Control Handbook (the zone tests, 1, 5 and 6).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rules.run_patterns import PATTERNS, BoolArray
from rules.run_rule import RunRule, sentence
from rules.written_rule import read_rule

__all__ = [
    "BLOCK",
    "RULES",
    "RunRule",
    "RunRulesState",
    "apply",
    "named",
    "points_of",
    "scan",
    "sentence",
    "span",
    "step",
    "taking_part",
    "taking_part_back",
]

BLOCK = 65_536  # values: a block and its flags stay in the processor's second-level cache

RULES: tuple[RunRule, ...] = (
    RunRule(name="beyond_limit", nelson=1, pattern="beyond", count=1, of=1, limit=3.0),
    RunRule(name="same_side", nelson=2, pattern="beyond", count=9, of=9),
    RunRule(name="trend", nelson=3, pattern="trend", count=6, of=6),
    RunRule(name="alternating", nelson=4, pattern="alternating", count=14, of=14),
    RunRule(name="two_of_three", nelson=5, pattern="beyond", count=2, of=3, limit=2.0),
    RunRule(name="four_of_five", nelson=6, pattern="beyond", count=4, of=5, limit=1.0),
    RunRule(name="hugging", nelson=7, pattern="inside", count=15, of=15, limit=1.0),
    RunRule(name="avoiding", nelson=8, pattern="outside", count=8, of=8, limit=1.0),
)


@dataclass(frozen=True, slots=True)
class RunRulesState:
    """The newest standardised values that a later value can still form a run with, oldest first."""

    recent: tuple[float, ...] = ()


_PUBLISHED = {rule.name: rule for rule in RULES}


def named(names: Iterable[str]) -> tuple[RunRule, ...]:
    """Return the rules of these names, in the order of their numbers in Nelson (1984).

    Parameters
    ----------
    names : iterable of str
        Names from ``RULES``, with numbers of their own where :mod:`rules.written_rule` says how; a rule given
        twice counts once.

    Returns
    -------
    tuple of RunRule

    Raises
    ------
    ValueError
        If a name is unknown (the message lists the names there are), or its numbers make no rule.
    """
    found = [_PUBLISHED.get(name) or read_rule(name, _PUBLISHED) for name in names]
    return tuple(dict.fromkeys(sorted(found, key=lambda rule: rule.nelson)))


def points_of(rule: RunRule) -> int:
    """Return how many values, the newest included, ``rule`` looks at; see also :func:`taking_part`."""
    return rule.of


def span(rules: Iterable[RunRule]) -> int:
    """Return how many values, the newest included, the widest of ``rules`` looks at."""
    return max((points_of(rule) for rule in rules), default=1)


def step(rules: Sequence[RunRule], state: RunRulesState, z: float) -> tuple[RunRulesState, tuple[str, ...]]:
    """Take one standardised value.

    Parameters
    ----------
    rules : sequence of RunRule
        Rules to watch for.
    state : RunRulesState
        What came before; it is not changed.
    z : float
        ``(x - center) / sigma``; NaN is a missing value.

    Returns
    -------
    state : RunRulesState
        For the next value.
    met : tuple of str
        Names of the rules this value completes, in the order of ``rules``.
    """
    if math.isnan(z):
        return RunRulesState(), ()
    values = (*state.recent, z)
    met = tuple(rule.name for rule in rules if PATTERNS[rule.pattern].newest(values, rule))
    return _remember(rules, values), met


def _remember(rules: Sequence[RunRule], values: tuple[float, ...]) -> RunRulesState:
    keep = span(rules) - 1
    return RunRulesState(values[-keep:]) if keep else RunRulesState()


def scan(
    rules: Sequence[RunRule], state: RunRulesState, z: NDArray[np.float64], *, first: int = 0
) -> tuple[RunRulesState, list[tuple[int, str]]]:
    """Take one block of standardised values at once; same answer as folding :func:`step`.

    Parameters
    ----------
    rules : sequence of RunRule
        Rules to watch for.
    state : RunRulesState
        What came before.
    z : ndarray of float64, shape (n,)
        Standardised values, NaN where missing; best of ``BLOCK`` values or fewer.
    first : int
        Index of the block's first value in the whole series.

    Returns
    -------
    state : RunRulesState
        For the next block.
    met : list of (int, str)
        Index and rule, sorted by index, then by the order of ``rules``.
    """
    before = len(state.recent)
    values = np.concatenate([state.recent, z]) if before else z
    flags = np.empty((len(rules), z.size), dtype=np.bool_)
    for row, rule in enumerate(rules):
        flags[row] = PATTERNS[rule.pattern].whole(values, rule)[before:]
    return _remember_block(rules, values), _listed(rules, flags, first)


def _remember_block(rules: Sequence[RunRule], values: NDArray[np.float64]) -> RunRulesState:
    keep = span(rules) - 1
    tail = values[-keep:] if keep else values[:0]
    gaps = np.flatnonzero(np.isnan(tail))
    return RunRulesState(tuple(tail[gaps[-1] + 1 :].tolist() if gaps.size else tail.tolist()))


def _listed(rules: Sequence[RunRule], flags: BoolArray, first: int) -> list[tuple[int, str]]:
    where = np.flatnonzero(np.logical_or.reduce(flags, axis=0))
    found, row = np.nonzero(flags[:, where].T)
    names = [rule.name for rule in rules]
    indices = (where[found] + first).tolist()
    return [(index, names[rule]) for index, rule in zip(indices, row.tolist(), strict=True)]


def apply(z: ArrayLike, rules: Sequence[RunRule] = RULES) -> list[tuple[int, str]]:
    """Return every signal of ``rules`` over a whole series.

    Parameters
    ----------
    z : array_like, shape (n,)
        Standardised values ``(x - center) / sigma``; NaN is a missing value.
    rules : sequence of RunRule
        Rules to watch for; all eight by default.

    Returns
    -------
    list of (int, str)
        Index from 0 and rule, sorted by index, then by the order of ``rules``.

    Raises
    ------
    ValueError
        If ``z`` is no single series.
    """
    values = np.asarray(z, dtype=np.float64)
    if values.ndim != 1:
        raise ValueError(f"Run rules take one series of values; this array has {values.ndim} dimensions.")
    state = RunRulesState()
    signals: list[tuple[int, str]] = []
    for first in range(0, values.size, BLOCK):
        state, met = scan(rules, state, values[first : first + BLOCK], first=first)
        signals += met
    return signals


def taking_part_back(rule: RunRule, state: RunRulesState, z: float) -> tuple[int, ...]:
    """Return which values take part when one standardised value completes ``rule``.

    Parameters
    ----------
    rule : RunRule
        One of the rules that ``state`` was kept for.
    state : RunRulesState
        What came before ``z``, as for :func:`step`.
    z : float
        The newest value; NaN is a missing value.

    Returns
    -------
    tuple of int
        How many values before the newest each of them lies, the oldest first and 0, the newest, last; empty
        if the rule is not met. Of 2 of 3 beyond 2 sigma these are the 2 or 3 beyond, not the one between.
    """
    pattern, values = PATTERNS[rule.pattern], (*state.recent, z)
    if math.isnan(z) or not pattern.newest(values, rule):
        return ()
    window = values[-rule.of :]
    flags = pattern.part(window, rule)
    return tuple(len(window) - 1 - place for place, takes_part in enumerate(flags) if takes_part)


def taking_part(rule: RunRule, z: ArrayLike, index: int) -> tuple[int, ...]:
    """Return the indices of the values that take part in a signal of a whole series.

    Parameters
    ----------
    rule : RunRule
        The rule that signals.
    z : array_like, shape (n,)
        Standardised values, NaN where missing.
    index : int
        Where it signals, from 0.

    Returns
    -------
    tuple of int
        Ascending, ``index`` last; empty if ``rule`` does not signal there.

    Raises
    ------
    ValueError
        If the series has no value of this index.
    """
    values = np.asarray(z, dtype=np.float64)
    if not 0 <= index < values.size:
        raise ValueError(f"A series of {values.size} values has none at index {index}; count from 0.")
    earlier = _remember_block((rule,), values[max(0, index - rule.of) : index])
    return tuple(index - back for back in taking_part_back(rule, earlier, float(values[index])))
