"""The chance of a noncentral t value, also where the library gives no answer, and what is solved with it."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.polynomial.legendre import leggauss
from scipy.special import nctdtr, ndtr, ndtri
from scipy.stats import chi, chi2

from rules.capability import Specification, capability
from rules.capability.intervals import nearest
from rules.noncentral_t import chance_at_most
from rules.tolerance import k_one_sided


def _by_sum(t: float, freedom: float, noncentrality: float) -> float:
    """The definition, summed over 4,000 equally likely values of the standard deviation."""
    spread = chi.ppf((np.arange(4000) + 0.5) / 4000, freedom) / math.sqrt(freedom)
    return float(ndtr(t * spread - noncentrality).mean())


@pytest.mark.parametrize("freedom", [1.0, 4.0, 79.0, 1e4, 1e5])
@pytest.mark.parametrize("t", [-(10**5.5), -1e5, -31.6, 31.6, 1e5, 10**5.5])
def test_the_chance_is_that_of_the_definition(t: float, freedom: float) -> None:
    spread = math.hypot(1.0, t / math.sqrt(2.0 * freedom))
    for away in (-4.0, -2.0, 0.0, 2.0, 4.0):
        found = chance_at_most(t, freedom, t + away * spread)

        assert found == pytest.approx(_by_sum(t, freedom, t + away * spread), abs=4e-4)


def test_the_library_alone_would_leave_these_without_an_answer() -> None:
    assert math.isnan(nctdtr(79.0, 1.2e5, 1e5))
    assert chance_at_most(1e5, 79.0, 1.2e5) == pytest.approx(chi2.sf(79.0 * 1.2**2, 79), rel=1e-4)


@pytest.mark.parametrize("noncentrality", [-1e6, -5.0, 0.0, 5.0, 1e6])
def test_at_zero_only_the_numerator_counts(noncentrality: float) -> None:
    assert chance_at_most(0.0, 9.0, noncentrality) == pytest.approx(ndtr(-noncentrality), abs=1e-12)


@pytest.mark.parametrize("offset", [1e3, 1e9, -1e9])
def test_a_process_far_out_of_tolerance_has_an_interval_too(offset: float) -> None:
    values = offset + np.random.default_rng(1).normal(size=80)
    found = capability(values, Specification(low=-3.0, high=3.0)).ppk

    # So far out only sigma is uncertain: its chi-square interval.
    ratios = (found.high / found.estimate, found.low / found.estimate)
    assert ratios == pytest.approx(np.sqrt(chi2.ppf([0.025, 0.975], 79) / 79), rel=1e-4)


@pytest.mark.parametrize("index", [-1e150, -20.0, 1e150])
def test_few_values_have_bounds_however_large_the_index(index: float) -> None:
    found = nearest(index, 3, 2, 0.999)

    assert found.low < index < found.high
    assert math.isfinite(found.low)
    assert math.isfinite(found.high)


def test_a_one_sided_factor_at_a_far_end_is_that_of_its_definition() -> None:
    k, n, coverage = k_one_sided(3, 0.999999, 0.01), 3, 0.999999
    nodes, weights = leggauss(400)
    z = 9.0 * nodes
    density = 9.0 * weights * np.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi)
    # mean + k s reaches the quantile
    reached = density @ chi2.sf(2.0 * np.maximum((ndtri(coverage) - z / math.sqrt(n)) / k, 0.0) ** 2, 2)

    assert reached == pytest.approx(0.01, rel=1e-6)
