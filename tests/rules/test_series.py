"""What no question can be asked of is refused in a sentence, whichever question it is.

What a double precision number holds is IEEE 754-2019; that the sentence says what to do is our own demand.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np
import pytest

from rules.baseline import study
from rules.baseline.autocorrelation import lag_one
from rules.baseline.contexts import compare
from rules.baseline.memory import integrated_time, residuals
from rules.baseline.normality import shape_of
from rules.baseline.outliers import propose, propose_among_alike
from rules.baseline.resolution import step_of
from rules.baseline.spread import moving_range_sigma, total_sigma
from rules.baseline.stability import runs_score
from rules.baseline.startup import first_steady_index
from rules.capability import Specification, by_order, capability
from rules.change_point import drift, form, lag_one_of_differences, many, step
from rules.charts import make
from rules.gauge import by_anova, by_ranges, check_standard, single_by_anova, single_by_ranges
from rules.run_rules import apply
from rules.series import InfiniteValue, finite_series
from rules.tolerance import normal_interval

SOUND = np.random.default_rng(1).normal(10.0, 1.0, 60)
WITHIN = Specification(low=0.0, high=20.0)
ASKED: dict[str, Callable[[Any], object]] = {
    "finite_series": finite_series,
    "study": study,
    "lag_one": lag_one,
    "compare": lambda x: compare(x, (10,)),
    "integrated_time": integrated_time,
    "residuals": lambda x: residuals(x, 0.0),
    "shape_of": shape_of,
    "propose": propose,
    "propose_among_alike": propose_among_alike,
    "step_of": step_of,
    "moving_range_sigma": moving_range_sigma,
    "total_sigma": total_sigma,
    "runs_score": runs_score,
    "first_steady_index": first_steady_index,
    "drift": drift,
    "form": form,
    "step": step,
    "many": many,
    "lag_one_of_differences": lag_one_of_differences,
    "normal_interval": normal_interval,
}


@pytest.mark.parametrize("ask", ASKED.values(), ids=ASKED)
@pytest.mark.parametrize("far", [math.inf, -math.inf, 1e200])
def test_a_value_without_a_square_is_refused_by_its_place(ask: Callable[[Any], object], far: float) -> None:
    with pytest.raises(InfiniteValue, match=r"^Value 3 is .*; leave it out or mark it missing\.$"):
        ask(np.insert(SOUND, 3, far))


@pytest.mark.parametrize("ask", ASKED.values(), ids=ASKED)
def test_a_table_and_a_word_are_no_series(ask: Callable[[Any], object]) -> None:
    with pytest.raises(ValueError, match="this array has 2 dimensions"):
        ask(SOUND.reshape(30, 2))
    with pytest.raises(ValueError, match="A series needs numbers, NaN where one is missing"):
        ask(["1.0", "high"])


@pytest.mark.parametrize(
    "ask", [partial(capability, specification=WITHIN), partial(by_order, specification=WITHIN)]
)
def test_capability_refuses_values_without_a_square_too(ask: Callable[[Any], object]) -> None:
    with pytest.raises(ValueError, match="Value 3 is 1e\\+200, which is absurd"):
        ask(np.insert(SOUND, 3, 1e200))


def test_differences_whose_squares_vanish_are_none() -> None:
    faint = 1e-300 * SOUND
    asked: list[Callable[[], object]] = [
        lambda: capability(faint, WITHIN),
        lambda: by_anova(faint.reshape(10, 2, 3)),
        lambda: by_ranges(faint.reshape(10, 2, 3)),
        lambda: single_by_anova(faint.reshape(20, 3)),
        lambda: single_by_ranges(faint.reshape(20, 3)),
        lambda: check_standard(faint),
    ]
    for ask in asked:
        with pytest.raises(ValueError, match=r"^All .* are 1\.0\d+e-299; "):
            ask()


def test_readings_without_a_square_are_refused_by_their_place() -> None:
    readings = SOUND.copy()
    readings[4] = -1e200
    with pytest.raises(ValueError, match="part 1, appraiser 2, trial 2 is missing or infinite"):
        by_anova(readings.reshape(10, 2, 3))
    with pytest.raises(ValueError, match="Value 4 of the check standard is missing or infinite"):
        check_standard(readings)


@pytest.mark.parametrize("name", ["individuals", "cusum", "ewma"])
def test_a_chart_refuses_words(name: str) -> None:
    with pytest.raises(ValueError, match="A chart takes numbers, NaN where one is missing"):
        make(name, {"center": 0.0, "sigma": 1.0}).run(["1.0", "high"])


def test_run_rules_take_one_series() -> None:
    with pytest.raises(ValueError, match="Run rules take one series of values; this array has 2 dimensions"):
        apply(SOUND.reshape(30, 2))


def test_none_is_a_missing_value() -> None:
    assert np.isnan(finite_series([1.0, None, 2.0])).tolist() == [False, True, False]  # type: ignore[arg-type]
