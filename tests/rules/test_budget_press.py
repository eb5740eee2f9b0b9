"""A press's false alarms are shared among its characteristics, and each plan keeps to its part."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest

from rules.budget import Characteristic, cost, solve, solve_press
from rules.run_length import individuals_arl


def test_equal_characteristics_get_what_the_budget_shared_equally_gives() -> None:
    press = solve_press([Characteristic(name=name) for name in "abcd"], cycle_time_s=30.0)

    alone = solve(characteristics=4, cycle_time_s=30.0)
    for plan in press.plans.values():
        assert (plan.width, plan.k, plan.h) == (alone.width, alone.k, alone.h)
    assert press.false_alarms_per_day == pytest.approx(1.0, rel=1e-3)
    assert press.false_alarms_per_shift == pytest.approx(1 / 3, rel=1e-3)


def test_characteristics_of_every_kind_spend_the_budget_of_the_press_together() -> None:
    press = solve_press(
        [
            Characteristic(name="alike", phi=0.6),
            Characteristic(name="short baseline", n=300),
            Characteristic(name="precise", minimum_shift=1.2),
            Characteristic(name="not vital", vital=False),
            Characteristic(name="favored", share=0.4),
        ],
        cycle_time_s=60.0,
        false_alarms_per_day=2.0,
    )

    assert press.false_alarms_per_day == pytest.approx(2.0, rel=2e-3)
    assert press.plans["favored"].false_alarms_per_day == pytest.approx(0.8, rel=2e-3)
    assert press.plans["favored"].h < press.plans["short baseline"].h


def test_what_is_not_vital_gets_a_single_shot_limit_for_a_quarter_of_a_vital_ones_part() -> None:
    press = solve_press(
        [Characteristic(name="vital"), Characteristic(name="other", vital=False)], cycle_time_s=60.0
    )

    other = press.plans["other"]
    assert math.isinf(other.h)
    assert other.arl == pytest.approx(individuals_arl(width=other.width))
    assert other.false_alarms_per_day == pytest.approx(0.2, rel=1e-3)
    assert press.plans["vital"].width == pytest.approx(other.width, rel=1e-3)
    charged = cost(other, cycle_time_s=60.0)
    assert charged.delay[1.0] == pytest.approx(individuals_arl(width=other.width, shift=1.0))


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: solve_press([], cycle_time_s=60.0), "0 characteristics"),
        (
            lambda: solve_press([Characteristic(name="a"), Characteristic(name="a")], cycle_time_s=60.0),
            "called a",
        ),
        (lambda: solve_press([Characteristic(name="a", phi=1.0)], cycle_time_s=60.0), "a: phi is 1.0"),
        (lambda: solve_press([Characteristic(name="a", share=0.0)], cycle_time_s=60.0), "above 0"),
        (
            lambda: solve_press(
                [Characteristic(name="a", share=1.0), Characteristic(name="b")], cycle_time_s=60.0
            ),
            "come to 1 of the budget",
        ),
        (
            lambda: solve_press(
                [Characteristic(name="a", share=0.7), Characteristic(name="b", share=0.7)], cycle_time_s=60.0
            ),
            "come to 1.4 of the budget",
        ),
    ],
)
def test_an_impossible_press_is_refused_with_a_sentence(call: Callable[[], object], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        call()
