"""The values of many shots at once: as far as nothing new comes into doubt or out of it. Pure.

Equal to :func:`collector.data_checks.look.look`, value after value. Columns in which nothing can be odd are
taken in as arrays; the others are looked at one by one.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from collector.contract import quantities
from collector.data_checks import jumps
from collector.data_checks.look import (
    COARSER,
    IN_STEPS,
    LEVEL_OF,
    MAY_BE_ZERO,
    MOST_DECIMALS,
    SAME,
    Doubt,
    Known,
    look,
)
from rules import habit

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Looked:
    """What the first `count` of some shots' values are.

    Attributes
    ----------
    count : int
        Shots taken in, all before the first at which a key comes into doubt or out of it; where the level of
        a key is not known yet, no more than it is taken of.
    after : mapping of str to Known
        What is known after them.
    doubts : mapping of str to list of Doubt
        Of the keys that are in doubt at all of them, one a shot.
    """

    count: int
    after: Mapping[str, Known]
    doubts: Mapping[str, list[Doubt]]


@dataclass(frozen=True, slots=True)
class _Habits:
    """What the values of a table do to the habits of their columns."""

    repeats: habit.Scan
    rounds: habit.Scan


@dataclass(frozen=True, slots=True)
class _Bounds:
    """What one value or one step may be without being odd; one number a key."""

    low: FloatArray
    high: FloatArray
    never_zero: BoolArray
    kelvin: BoolArray
    step: FloatArray


def look_at_rows(data: Mapping[str, Known], keys: Sequence[str], table: FloatArray) -> Looked:
    """Take many shots' values in.

    Parameters
    ----------
    data : mapping of str to Known
        After the shot before; keys that are missing are new.
    keys : sequence of str
        One a column.
    table : array of shape (shots, keys)
        At least one shot, canonical units, finite.

    Returns
    -------
    Looked
    """
    known = [data.get(key) or Known() for key in keys]
    if any(each.rule is None and len(each.recent) < LEVEL_OF for each in known):
        table = table[:LEVEL_OF]  # once levels are known, the rest needs no walk value by value
    habits = _habits(known, table)
    odd = [
        index
        for index, each in enumerate(_odd(known, keys, table, habits).tolist())
        if each or known[index].rule is not None or len(known[index].recent) < LEVEL_OF
    ]
    count, walks = len(table), dict[int, list[tuple[Known, Doubt | None]]]()
    for index in odd:
        walks[index] = _walk(keys[index], known[index], table[:count, index].tolist())
        count = min(count, len(walks[index]))
    if count == 0:
        return Looked(0, data, {})
    if count < len(table):
        table, habits = table[:count], _habits(known, table[:count])
    plain = [index for index in range(len(keys)) if index not in walks]
    after = dict(zip(plain, _taken(known, table, habits, plain), strict=True))
    after |= {index: walk[count - 1][0] for index, walk in walks.items()}
    doubts = {
        keys[index]: [doubt for _, doubt in walk[:count] if doubt is not None]
        for index, walk in walks.items()
        if known[index].rule is not None
    }
    return Looked(count, {**data, **{keys[index]: after[index] for index in sorted(after)}}, doubts)


def _walk(key: str, known: Known, values: Sequence[float]) -> list[tuple[Known, Doubt | None]]:
    """Value after value, as long as each is in doubt, or none is."""
    in_doubt, walk = known.rule is not None, list[tuple[Known, Doubt | None]]()
    for value in values:
        known, doubt = look(key, value, known)
        if (doubt is not None) != in_doubt:
            break
        walk.append((known, doubt))
    return walk


def _habits(known: Sequence[Known], table: FloatArray) -> _Habits:
    return _Habits(
        habit.scan([each.repeats for each in known], _repeats(known, table)),
        habit.scan([each.rounds for each in known], _rounds(known, table)),
    )


def _taken(known: Sequence[Known], table: FloatArray, habits: _Habits, columns: Sequence[int]) -> list[Known]:
    """What is known after values of columns in which none is odd."""
    tails = table[-LEVEL_OF:].T.tolist()
    return [
        Known(
            recent=(*known[i].recent, *tails[i])[-LEVEL_OF:], last=tails[i][-1],
            repeats=habits.repeats.after[i], rounds=habits.rounds.after[i], decimals=known[i].decimals,
        )
        for i in columns
    ]  # fmt: skip


def _odd(known: Sequence[Known], keys: Sequence[str], table: FloatArray, habits: _Habits) -> BoolArray:
    """Columns in which a value could be in doubt; more than there are is no harm."""
    bounds = _bounds(tuple(keys))
    outside = ((table < bounds.low) | (table > bounds.high)).any(axis=0)
    zero = (table == 0).any(axis=0) & bounds.never_zero
    unusual = habits.repeats.may_fire | habits.rounds.may_fire
    return np.asarray(outside | zero | _jumps(known, table, bounds) | unusual | _finer(known, table))


def _jumps(known: Sequence[Known], table: FloatArray, bounds: _Bounds) -> BoolArray:
    """Columns with a step between neighbors that could be on the way of a jump."""
    unknown = (math.nan,) * LEVEL_OF
    before = np.array([each.recent if len(each.recent) == LEVEL_OF else unknown for each in known])
    values = np.vstack((before.T, table))
    with np.errstate(divide="ignore", invalid="ignore"):
        times = values[1:] / values[:-1]
        factors = np.maximum(times, 1 / times)
    steps = np.where(bounds.kelvin, np.abs(np.diff(values, axis=0)), factors)
    far = (steps > bounds.step) | (~bounds.kelvin & np.isfinite(bounds.step) & (times <= 0))
    return np.asarray(far.any(axis=0))


def _finer(known: Sequence[Known], table: FloatArray) -> BoolArray:
    """Columns with more digits than before."""
    decimals = np.array([each.decimals for each in known])
    scale = 10.0**decimals
    finer = np.abs(table - np.rint(table * scale) / scale) > SAME * np.maximum(1.0, np.abs(table))
    return np.asarray(finer.any(axis=0) & (decimals < MOST_DECIMALS))


def _repeats(known: Sequence[Known], table: FloatArray) -> BoolArray:
    last = [math.nan if each.last is None else each.last for each in known]
    return np.vstack((table[0] == last, table[1:] == table[:-1]))


def _rounds(known: Sequence[Known], table: FloatArray) -> BoolArray:
    steps = table * 10.0 ** np.array([each.decimals for each in known]) / COARSER
    return np.asarray(np.abs(steps - np.rint(steps)) <= IN_STEPS)


@lru_cache(maxsize=256)
def _bounds(keys: tuple[str, ...]) -> _Bounds:
    found = [quantities.find(key) for key in keys]
    units = ["" if each is None else each.unit for each in found]
    quiet = [jumps.quiet_step(unit) for unit in units]
    return _Bounds(
        low=np.array([-math.inf if each is None else each.plausible_low for each in found]),
        high=np.array([math.inf if each is None else each.plausible_high for each in found]),
        never_zero=np.array([key not in MAY_BE_ZERO for key in keys]),
        kelvin=np.array([unit == "degC" for unit in units]),
        step=np.array([math.inf if each is None else each for each in quiet]),
    )
