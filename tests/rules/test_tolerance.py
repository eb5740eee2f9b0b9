"""Tolerance intervals against printed factors, an independent integral, and simulated coverage."""

from __future__ import annotations

import json
import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from scipy.integrate import quad
from scipy.optimize import brentq

from rules.tolerance import (
    distribution_free_interval,
    k_howe,
    k_one_sided,
    k_two_sided,
    normal_interval,
    smallest_sample,
)
from tests import outside

# Berthouex and Brown, Statistics for Environmental Engineers, table 21.1 (two-sided, confidence 95 %): rows
# of n with the factors for coverage 90, 95 and 99 %.
PRINTED = {
    5: (4.29, 5.08, 6.60),
    10: (2.86, 3.39, 4.44),
    20: (2.32, 2.76, 3.62),
    30: (2.15, 2.55, 3.35),
    40: (2.06, 2.45, 3.22),
    60: (1.96, 2.34, 3.07),
}
# Wilks (1941) and ISO 16269-6, annex G: least samples, keyed by (confidence, coverage).
WILKS_ONE = {(0.9, 0.9): 22, (0.95, 0.9): 29, (0.95, 0.95): 59, (0.95, 0.99): 299, (0.99, 0.99): 459}
WILKS_TWO = {(0.9, 0.9): 38, (0.95, 0.9): 46, (0.95, 0.95): 93, (0.95, 0.99): 473, (0.99, 0.99): 662}


@pytest.mark.parametrize("n", PRINTED)
def test_two_sided_factors_are_those_printed_by_berthouex_and_brown(n: int) -> None:
    ours = [k_two_sided(n, coverage, 0.95) for coverage in (0.90, 0.95, 0.99)]

    assert ours == pytest.approx(PRINTED[n], abs=0.005 + 1e-9)


def test_factors_of_the_nist_handbook() -> None:
    """NIST/SEMATECH e-Handbook 7.2.6.3: n 43, confidence 99 %, coverage 90 %; Howe 2.217, one-sided 1.874
    (prints from memory); the further digits by a second computation (tol.nist.7.2.6.3)."""
    assert k_howe(43, 0.90, 0.99) == pytest.approx(2.21731589665, rel=1e-8)
    assert k_one_sided(43, 0.90, 0.99) == pytest.approx(1.87395360585, rel=1e-8)
    assert k_two_sided(43, 0.90, 0.99) == pytest.approx(2.22282517379, rel=1e-8)


def test_a_table_of_126_factors_of_iso_16269_6() -> None:
    """tol.k.normal: exact two-sided by integration, one-sided by noncentral t, Howe's approximation."""
    functions = {"two": k_two_sided, "one": k_one_sided, "howe": k_howe}
    entry = outside.entry("tol.k.normal")
    seen = 0
    for n, row in entry["expected"].items():
        for key, value in row.items():
            name, confidence, coverage = key.split("_")
            share = float(confidence) / 100 if float(confidence) > 1 else float(confidence)
            ours = functions[name](int(n), float(coverage), share)
            assert ours == pytest.approx(value, rel=entry["tolerance"]["rel"]), (n, key)
            seen += 1

    assert seen == 126


@pytest.mark.parametrize(("n", "coverage", "confidence", "freedom"), [
    (2, 0.9, 0.9, 1), (7, 0.9973, 0.5, 24.5), (300, 0.99, 0.95, 299), (12, 0.3, 0.1, 11),
])  # fmt: skip
def test_two_sided_factors_solve_the_integral_of_wald_and_wolfowitz(
    n: int, coverage: float, confidence: float, freedom: float
) -> None:
    k = k_two_sided(n, coverage, confidence, freedom=freedom)

    def held(z: float) -> float:
        at = z / math.sqrt(n)
        r = brentq(lambda r: stats.norm.cdf(at + r) - stats.norm.cdf(at - r) - coverage, 0, 40)
        return stats.norm.pdf(z) * stats.chi2.sf(freedom * r * r / (k * k), freedom)

    assert quad(held, -8, 8, epsabs=1e-11, limit=200)[0] == pytest.approx(confidence, abs=1e-8)


@pytest.mark.parametrize("n", [2, 5, 50, 2000])
@pytest.mark.parametrize("coverage", [0.1, 0.9, 0.99865])
def test_one_sided_factors_are_scipys_noncentral_t_quantiles(n: int, coverage: float) -> None:
    k = k_one_sided(n, coverage, 0.95)

    assert stats.nct.cdf(k * math.sqrt(n), n - 1, stats.norm.ppf(coverage) * math.sqrt(n)) == pytest.approx(
        0.95, abs=1e-9
    )


def test_least_samples_are_those_of_wilks() -> None:
    """Wilks (1941); ISO 16269-6, annex G (tol.wilks)."""
    for (confidence, coverage), n in WILKS_ONE.items():
        assert smallest_sample(coverage, confidence, side="upper") == n
        assert smallest_sample(coverage, confidence, side="lower") == n
    for (confidence, coverage), n in WILKS_TWO.items():
        assert smallest_sample(coverage, confidence) == n


def test_a_least_sample_meets_the_formula_and_one_less_does_not() -> None:
    """One-sided: 1 - p^n; two-sided: 1 - n p^(n-1) + (n-1) p^n (Wilks 1941)."""
    p, wanted = 0.9973, 0.9
    n, m = smallest_sample(p, wanted, side="upper"), smallest_sample(p, wanted)

    assert 1 - p**n >= wanted > 1 - p ** (n - 1)
    assert 1 - m * p ** (m - 1) + (m - 1) * p**m >= wanted
    m -= 1
    assert 1 - m * p ** (m - 1) + (m - 1) * p**m < wanted


@pytest.mark.parametrize("side", ["both", "lower", "upper"])
def test_normal_limits_hold_their_share_as_often_as_they_say(side: str) -> None:
    rng = np.random.default_rng(1)
    held = 0
    for _ in range(2000):
        found = normal_interval(rng.normal(7.0, 2.0, 12), coverage=0.9, confidence=0.8, side=side)
        low = 0.0 if found.low is None else stats.norm.cdf(found.low, 7.0, 2.0)
        high = 1.0 if found.high is None else stats.norm.cdf(found.high, 7.0, 2.0)
        held += high - low >= 0.9

    assert stats.binomtest(held, 2000, 0.8).pvalue > 0.001


@pytest.mark.parametrize("side", ["both", "lower", "upper"])
def test_ordered_limits_hold_their_share_of_a_skewed_distribution(side: str) -> None:
    rng = np.random.default_rng(2)
    found = [distribution_free_interval(rng.lognormal(0, 1, 60), coverage=0.85, confidence=0.9, side=side)
             for _ in range(1500)]  # fmt: skip
    ends = [(0.0 if f.low is None else f.low, math.inf if f.high is None else f.high) for f in found]
    held = sum(stats.lognorm.cdf(high, 1) - stats.lognorm.cdf(low, 1) >= 0.85 for low, high in ends)

    assert found[0].confidence >= 0.9
    assert stats.binomtest(held, 1500, found[0].confidence).pvalue > 0.001


def test_ordered_limits_of_the_least_sample_are_least_and_greatest() -> None:
    x = np.random.default_rng(3).standard_normal(93)
    found = distribution_free_interval(x, coverage=0.95, confidence=0.95)

    assert (found.low, found.high) == (x.min(), x.max())
    assert 0.95 <= found.confidence < 0.955


@given(
    shift=st.floats(-1e5, 1e5), scale=st.floats(1e-3, 1e3), seed=st.integers(0, 2**32 - 1),
    missing=st.integers(0, 3),
)  # fmt: skip
@settings(max_examples=50, deadline=None)
def test_limits_move_with_zero_and_unit(shift: float, scale: float, seed: int, missing: int) -> None:
    x = np.random.default_rng(seed).standard_normal(60)
    x[:missing] = math.nan
    for method in (normal_interval, distribution_free_interval):
        plain = method(x, coverage=0.9, confidence=0.9)
        moved = method(shift + scale * x, coverage=0.9, confidence=0.9)
        expected = (shift + scale * plain.low, shift + scale * plain.high)
        assert (moved.low, moved.high) == pytest.approx(expected, rel=1e-6, abs=1e-7 * scale)
        assert plain.n == 60 - missing


def test_the_record_is_plain() -> None:
    found = normal_interval([1.0, 2.0, 4.0], side="upper")

    assert json.loads(json.dumps(found.to_dict()))["low"] is None
    assert found.to_dict()["method"] == "normal"


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: normal_interval([1.0]), "1 values give no tolerance interval; give 2"),
        (lambda: normal_interval([math.nan] * 5), "0 values give"),
        (
            lambda: normal_interval([3.0] * 5),
            "All 5 values are 3; a tolerance interval needs values that vary",
        ),
        (lambda: normal_interval([1.0, math.inf]), "Value 1 is infinite"),
        (lambda: normal_interval([[1.0, 2.0]]), "2 dimensions"),
        (lambda: normal_interval([1.0, 2.0], coverage=1.0), "coverage is 1.0"),
        (lambda: normal_interval([1.0, 2.0], confidence=0.0), "confidence is 0.0"),
        (lambda: normal_interval([1.0, 2.0], side="left"), "side is 'left'"),
        (lambda: distribution_free_interval([1.0, 2.0, 3.0]), "3 values are too few .* 473 are needed"),
        (lambda: k_two_sided(1, 0.9, 0.9), "for 1 values does not exist"),
        (lambda: k_one_sided(5, 0.9, 0.9, freedom=0.0), "degrees of freedom are 0.0"),
    ],
)
def test_bad_input_is_refused_with_a_sentence(call: Callable[[], object], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        call()
