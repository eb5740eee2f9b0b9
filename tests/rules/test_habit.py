"""Runs of one event: the whole-array form against one observation after the other, both against counting."""

from __future__ import annotations

import math
from itertools import groupby

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.habit import CHANCE, LEARNED, LEAST, TIMES_LONGEST, TOO_OFTEN, Habit, is_unusual, scan, step

# Observations in stretches, since single ones hardly ever make a run that could be unusual.
STRETCHES = st.lists(st.tuples(st.booleans(), st.integers(1, 40)), max_size=8).map(
    lambda parts: [hit for hit, length in parts for _ in range(length)]
)


def after(habit: Habit, hits: list[bool]) -> tuple[Habit, bool]:
    """One observation after the other: where it ends, and whether a run was unusual on the way."""
    fired = is_unusual(habit)
    for hit in hits:
        habit = step(habit, hit=hit)
        fired |= is_unusual(habit)
    return habit, fired


@given(before=st.lists(STRETCHES, min_size=1, max_size=3), now=STRETCHES, seed=st.integers(0, 2**32 - 1))
@settings(max_examples=300, deadline=None)
def test_many_at_once_leave_what_one_after_the_other_leaves(
    before: list[list[bool]], now: list[bool], seed: int
) -> None:
    habits = [after(Habit(), hits)[0] for hits in before]
    # A column each: the drawn one, and others of the same length by chance.
    columns = np.random.default_rng(seed).random((max(1, len(now)), len(habits))) < 0.3
    columns[: len(now), 0] = now
    found = scan(habits, columns)

    for number, habit in enumerate(habits):
        expected, fired = after(habit, columns[:, number].tolist())
        assert found.may_fire[number] or not fired
        if not found.may_fire[number]:
            assert found.after[number] == expected


@given(hits=STRETCHES)
@settings(max_examples=300, deadline=None)
def test_a_habit_is_what_counting_gives(hits: list[bool]) -> None:
    habit, fired = after(Habit(), hits)
    runs = [len(list(run)) for hit, run in groupby(hits) if hit]
    open_run = runs.pop() if hits and hits[-1] else 0

    if not fired:
        assert habit == Habit(len(hits) - open_run, sum(hits) - open_run, max(runs, default=0), open_run)


@pytest.mark.parametrize(
    ("seen", "hits", "longest"), [(40, 3, 1), (500, 100, 3), (5_000, 2_000, 9), (60, 0, 0)]
)
def test_a_run_is_unusual_once_its_chance_is_small_and_it_is_far_longer_than_any(
    seen: int, hits: int, longest: int
) -> None:
    """Chance of r on end: p**r (Feller, XIII.7; from memory), p by the rule of succession (Laplace)."""
    p = (hits + 1) / (seen + 2)
    least = next(r for r in range(1, 1000) if math.prod([p] * r) <= CHANCE)
    first = max(least, TIMES_LONGEST * longest, LEAST)

    unusual = [is_unusual(Habit(seen, hits, longest, run)) for run in range(first + 3)]
    assert unusual == [run >= first for run in range(first + 3)]


def test_nothing_is_unusual_before_enough_was_seen_or_where_it_comes_nearly_always() -> None:
    assert not is_unusual(Habit(LEARNED - 1, 0, 0, 1_000))
    assert is_unusual(Habit(LEARNED, 0, 0, 1_000))
    often = math.ceil(TOO_OFTEN * 1_002)
    assert not is_unusual(Habit(1_000, often, 1, 10_000))
    assert is_unusual(Habit(1_000, often - 2, 1, 10_000))


def test_an_unusual_run_is_forgotten_when_it_ends_so_that_the_next_is_told_too() -> None:
    stuck, fired = after(Habit(), [False] * 60 + [True] * 30)
    assert fired
    again, fired = after(step(stuck, hit=False), [True] * 30)
    assert fired
    assert (again.hits, again.longest) == (0, 0)
