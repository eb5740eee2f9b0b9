"""What no run length exists for is refused in a sentence, not answered by infinity or by want of memory.

No source: our own demand.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
from scipy.stats import norm

from rules.estimation import sigma_degrees_of_freedom, widened_limit
from rules.run_length import (
    ZoneRule,
    combined_ar1_arl,
    combined_arl,
    cusum_ar1_arl,
    cusum_arl,
    cusum_run_length,
    ewma_arl,
    individuals_ar1_arl,
    individuals_arl,
    mewma_arl,
)

SHIFTED: list[Callable[[float], object]] = [
    lambda shift: cusum_arl(k=0.5, h=4.0, shift=shift),
    lambda shift: cusum_run_length(k=0.5, h=4.0, shift=shift),
    lambda shift: combined_arl(width=3.5, k=0.5, h=4.0, shift=shift),
    lambda shift: ewma_arl(lam=0.1, width=2.7, shift=shift),
    lambda shift: individuals_arl(shift=shift),
    lambda shift: individuals_ar1_arl(width=3.0, phi=0.3, shift=shift),
    lambda shift: cusum_ar1_arl(k=0.5, h=4.0, phi=0.3, shift=shift),
    lambda shift: combined_ar1_arl(width=3.5, k=0.5, h=4.0, phi=0.3, shift=shift),
]


@pytest.mark.parametrize("length", SHIFTED)
@pytest.mark.parametrize("shift", [math.nan, math.inf])
def test_a_shift_that_is_no_number_has_no_run_length(length: Callable[[float], object], shift: float) -> None:
    with pytest.raises(ValueError, match=f"^The shift is {shift}; give a finite number of sigma"):
        length(shift)


@pytest.mark.parametrize(
    "length",
    [
        lambda: cusum_arl(k=0.5, h=1e9),
        lambda: ewma_arl(lam=0.1, width=1e9),
        lambda: ewma_arl(lam=1e-9, width=3.0),
        lambda: mewma_arl(columns=2, r=1e-9, limit=8.0),
        lambda: mewma_arl(columns=2, r=0.1, limit=1e9),
    ],
)
def test_an_equation_that_no_memory_holds_is_refused(length: Callable[[], object]) -> None:
    with pytest.raises(ValueError, match=r"give nearer limits or a larger weight\.$"):
        length()


@pytest.mark.parametrize("n", [0.0, 1.0, -1.0, math.nan, math.inf])
def test_a_baseline_without_shots_widens_nothing(n: float) -> None:
    with pytest.raises(ValueError, match="tells no sigma; give more than one"):
        widened_limit(3.0, phi=0.0, n=n)


@pytest.mark.parametrize("phi", [-1.0, 1.0, math.nan])
def test_an_impossible_autocorrelation_is_refused(phi: float) -> None:
    with pytest.raises(ValueError, match="give an autocorrelation above -1 and below 1"):
        sigma_degrees_of_freedom(phi=phi, n=100.0)


@pytest.mark.parametrize("width", [0.0, -1.0, math.nan, math.inf])
def test_an_impossible_width_is_refused(width: float) -> None:
    with pytest.raises(ValueError, match="give individuals limits above 0, in sigma"):
        widened_limit(width, phi=0.0, n=100.0)


@pytest.mark.filterwarnings("error")
def test_limits_that_hardly_any_value_passes_have_a_run_length_without_a_warning() -> None:
    assert individuals_arl(width=9.0) == pytest.approx(0.5 / norm.sf(9.0), rel=1e-12)
    assert math.isinf(individuals_arl(width=1e9))
    assert math.isfinite(individuals_arl(width=1e9, rules=("beyond_limit", "two_of_three")))
    assert math.isinf(individuals_arl(width=1e9, rules=(ZoneRule(1, 1, 1e9), ZoneRule(2, 2, 2e9))))
