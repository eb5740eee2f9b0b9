"""Numbers in sentences, held against how a person writes them (common practice, no source)."""

from __future__ import annotations

import numpy as np
import pytest

from rules.baseline.autocorrelation import lag_one
from rules.baseline.spread import spread_of
from rules.figures import written


@pytest.mark.parametrize(
    ("value", "said"),
    [(1_234_567.0, "1,235,000"), (45_678.9, "45,680"), (61.23456, "61.23"), (0.0000421, "0.0000421"),
     (-12_345.0, "-12,340"), (0.0, "0"), (2.0, "2")],
)  # fmt: skip
def test_no_number_has_an_exponent(value: float, said: str) -> None:
    assert written(value) == said


@pytest.mark.parametrize(
    ("value", "said"),
    [(1.0347e-299, "1.035e-299"), (-2.5e15, "-2.500e+15"), (9e14, "900,000,000,000,000")],
)
def test_zeros_that_nobody_would_count_are_an_exponent(value: float, said: str) -> None:
    assert written(value) == said


def test_digits_and_a_sign_are_asked_for() -> None:
    assert written(1_234_567.0, 6) == "1,234,570"
    assert written(45_678.9, signed=True) == "+45,680"
    assert written(-0.5, signed=True) == "-0.5"


def test_a_study_of_large_values_is_told_without_exponents() -> None:
    x = 3e6 * np.random.default_rng(4).normal(size=60)
    found = spread_of(x, lag_one(x), step=None, floor=0.0)
    assert "e+" not in found.sentence
    assert written(found.sigma) in found.sentence
