"""How are two sums held between 0 and a ceiling over a long array, bit for bit as if value by value?

The usual array form, cumulative sum minus its running minimum, rounds differently and knows no ceiling.
Instead the array is cut into lanes of equal length that all advance together, each from a guess of its first
state: the state after a short run-up from zero. A sum forgets where it began as soon as it touches 0 or the
ceiling, so nearly every guess is right. Then the lanes are checked in order, and one whose guess is not
exactly the end of the lane before is added again value by value until it meets what was stored.

The sums are those of Page (1954), see :mod:`rules.charts.cusum`; the way through the array is our own.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["BLOCK", "SHORT", "Clamp", "Sums", "replace_by_sums"]

FloatArray = NDArray[np.float64]
Sums = tuple[float, float]

BLOCK = 125_000  # values: with its increments it stays in the processor's cache
SHORT = 8_000  # values: below this, lanes cost more than they save
_STEPS = 125  # values in a lane; no power of two, whose strides would share cache lines
_RUN_UP = 32  # values


@dataclass(frozen=True, slots=True)
class Clamp:
    """How both sums grow: by the distance to their side less ``reference``, from 0 up to ``ceiling``."""

    reference: float
    ceiling: float

    def add(self, level: float, distance: float) -> float:
        """Return the next level of one sum; a missing distance (NaN) leaves it."""
        reached = level + (distance - self.reference)
        if reached > self.ceiling:
            return self.ceiling
        if reached >= 0.0:
            return reached
        return 0.0 if reached < 0.0 else level


def replace_by_sums(z: FloatArray, clamp: Clamp, start: Sums) -> Sums:
    """Replace each value by the larger of the upper and the lower sum after it, the lower one negative.

    Parameters
    ----------
    z : ndarray of float64, shape (n,)
        Standardised values, NaN where missing; overwritten, a missing value stays NaN. Best
        given ``BLOCK`` values at a time.
    clamp : Clamp
        How the sums grow.
    start : (float, float)
        Upper and lower sum before the first value.

    Returns
    -------
    (float, float)
        Upper and lower sum after the last value.
    """
    whole = z.size - z.size % _STEPS if z.size >= SHORT else 0
    sums = _in_lanes(z[:whole].reshape(-1, _STEPS), clamp, start) if whole else start
    return _one_by_one(z[whole:], clamp, sums)


def _one_by_one(z: FloatArray, clamp: Clamp, start: Sums) -> Sums:
    upper, lower = start
    for index, value in enumerate(z.tolist()):
        upper, lower = clamp.add(upper, value), clamp.add(lower, -value)
        if not math.isnan(value):
            z[index] = upper if upper >= lower else -lower
    return upper, lower


def _in_lanes(lanes: FloatArray, clamp: Clamp, start: Sums) -> Sums:
    """Do a block, shape (lanes, steps); turned on its side, so that a step of all lanes is one operation."""
    rows, gaps = np.empty((_STEPS, 2, len(lanes))), np.isnan(lanes)
    _fill_increments(rows, lanes, clamp, gaps)
    begin = np.empty((2, len(lanes)))
    begin[:, 0], begin[:, 1:] = start, _run_up(rows, clamp)
    _advance(rows, begin, clamp)
    upper, lower = rows[:, 0], rows[:, 1]
    _repair(upper, begin[0], lanes, clamp)
    _repair(lower, begin[1], -lanes, clamp)
    # Larger sum with the sign of its side; a choice by mask would cost five times as much.
    lanes[...] = np.copysign(np.maximum(upper, lower), upper - lower).T
    if gaps.any():
        np.copyto(lanes, np.nan, where=gaps)
    return float(upper[-1, -1]), float(lower[-1, -1])


def _fill_increments(rows: FloatArray, lanes: FloatArray, clamp: Clamp, gaps: NDArray[np.bool_]) -> None:
    """Write what each step adds, shape (steps, 2 sides, lanes); nothing where a value is missing."""
    np.subtract(lanes.T, clamp.reference, out=rows[:, 0])
    np.subtract(-clamp.reference, lanes.T, out=rows[:, 1])
    if gaps.any():
        np.copyto(rows, 0.0, where=gaps.T[:, None, :])


def _run_up(rows: FloatArray, clamp: Clamp) -> FloatArray:
    """Return the guess where each lane but the first begins: the end of the lane before, walked from zero."""
    tail = rows[-_RUN_UP:, :, :-1].copy()
    _advance(tail, np.zeros(tail.shape[1:]), clamp)
    guess: FloatArray = tail[-1]
    return guess


def _advance(rows: FloatArray, level: FloatArray, clamp: Clamp) -> None:
    """Turn increments into levels, in place, one step of all lanes at a time."""
    for row in rows:
        np.add(level, row, out=row)
        np.maximum(row, 0.0, out=row)
        np.minimum(row, clamp.ceiling, out=row)
        level = row


def _repair(levels: FloatArray, begin: FloatArray, lanes: FloatArray, clamp: Clamp) -> None:
    """Walk again, in order, every lane that did not begin where the lane before it ended."""
    for first in (1 + np.flatnonzero(levels[-1, :-1] != begin[1:])).tolist():
        lane = first
        while lane < len(lanes) and begin[lane] != levels[-1, lane - 1]:
            begin[lane] = levels[-1, lane - 1]
            _walk(levels[:, lane], lanes[lane].tolist(), clamp, float(begin[lane]))
            lane += 1


def _walk(levels: FloatArray, distances: list[float], clamp: Clamp, level: float) -> None:
    """Overwrite ``levels`` from the first on, until they agree with what is stored."""
    for index, distance in enumerate(distances):
        level = clamp.add(level, distance)
        if level == levels[index]:
            return
        levels[index] = level
