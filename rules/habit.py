"""Has something gone on far longer than it ever does, as a reading that repeats itself does when it is stuck?

An event that comes at every observation with chance p comes r times on end, from a given one on, with chance
p**r (independent observations). Observations that depend on one another make longer runs than that, so a run
must also be several times as long as any that was seen before.

References
----------
W. Feller, An Introduction to Probability Theory and Its Applications, vol. 1, 3rd ed. (1968), XIII.7
(success runs); from memory.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

__all__ = ["LEARNED", "LEAST", "Habit", "Scan", "is_unusual", "scan", "step"]

BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]

LEARNED = 30  # observations before anything is judged
LEAST = 8  # shortest run that counts
CHANCE = 1e-8  # of so long a run from a given observation on; a press makes 5e5 shots a year
TIMES_LONGEST = 3
TOO_OFTEN = 0.9  # an event as frequent as this says nothing by coming again


class Habit(NamedTuple):
    """How often an event came so far; the run that goes on is not part of that history.

    Attributes
    ----------
    seen, hits : int
        Observations, and those among them with the event.
    longest : int
        Longest run that has ended.
    run : int
        Observations on end with the event, up to now.
    """

    seen: int = 0
    hits: int = 0
    longest: int = 0
    run: int = 0


def step(habit: Habit, *, hit: bool) -> Habit:
    """Take one observation in; an unusual run is forgotten when it ends, so that it can be told again."""
    if hit:
        return Habit(habit.seen, habit.hits, habit.longest, habit.run + 1)
    if is_unusual(habit):
        return Habit(habit.seen + 1, habit.hits, habit.longest, 0)
    return Habit(
        habit.seen + habit.run + 1, habit.hits + habit.run, max(habit.longest, habit.run), 0
    )


def is_unusual(habit: Habit) -> bool:
    """Whether the run that goes on is far longer than the history lets expect."""
    if habit.run < LEAST or habit.seen < LEARNED:
        return False
    rate = _rate(habit.seen, habit.hits)
    return (
        rate <= TOO_OFTEN
        and habit.run >= TIMES_LONGEST * habit.longest
        and habit.run * math.log(rate) <= math.log(CHANCE)
    )


def _rate(seen: int, hits: int) -> float:
    """How often the event comes, on the careful side: never none of all."""
    return (hits + 1) / (seen + 2)


@dataclass(frozen=True, slots=True)
class Scan:
    """What many observations do to several habits.

    Attributes
    ----------
    after : tuple of Habit
        One a column, as :func:`step` leaves it, where `may_fire` is False.
    may_fire : array of bool, shape (columns,)
        A run may have become unusual; only :func:`step` tells where.
    """

    after: tuple[Habit, ...]
    may_fire: BoolArray


def scan(habits: Sequence[Habit], hits: BoolArray) -> Scan:
    """Take many observations in at once.

    Parameters
    ----------
    habits : sequence of Habit
        One a column.
    hits : array of bool, shape (observations, columns)
        At least one observation.

    Returns
    -------
    Scan
    """
    before = np.array(habits, dtype=np.int64).reshape(len(habits), 4)
    seen, counted, longest, run = before.T
    count, at = len(hits), np.arange(len(hits))[:, None]
    missed_at = np.maximum.accumulate(np.where(hits, -1, at), axis=0)
    runs = at - missed_at + np.where(missed_at < 0, run, 0)
    last = missed_at[-1]
    ended = np.maximum(np.where(at < last, runs, 0).max(axis=0), run)
    earlier_hits = hits.sum(axis=0) - (count - 1 - last)
    after = np.where(
        (last >= 0)[:, None],
        np.column_stack(
            (seen + run + last + 1, counted + run + earlier_hits, np.maximum(longest, ended), runs[-1])
        ),
        np.column_stack((seen, counted, longest, run + count)),
    )
    most_seen = np.where(last >= 0, seen + run + count, seen)
    may_fire = _may_fire(counted, longest, most_seen, np.maximum(runs.max(axis=0), run))
    return Scan(tuple(map(Habit._make, after.tolist())), may_fire)


def _may_fire(counted: IntArray, longest: IntArray, most_seen: IntArray, greatest: IntArray) -> BoolArray:
    """Whether the greatest run could be unusual at the rarest that the event may look on the way."""
    rarest = (counted + 1) / (most_seen + 2)
    judged = (greatest >= LEAST) & (most_seen >= LEARNED) & (rarest <= TOO_OFTEN)
    long = (greatest >= TIMES_LONGEST * longest) & (greatest * np.log(rarest) <= math.log(CHANCE))
    return np.asarray(judged & long)
