"""Intervals and standard errors of the score, held against statsmodels, scipy and published limits."""

import math

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

from simulator.score_sums import over_stories, proportion, quantile, rate


@pytest.mark.parametrize(("hits", "n"), [(0, 7), (3, 7), (19, 20), (40, 40), (412, 1000)])
def test_a_share_has_wilsons_interval_as_statsmodels_computes_it(hits: int, n: int) -> None:
    found = proportion(hits, n)

    assert (found.low, found.high) == pytest.approx(proportion_confint(hits, n, method="wilson"), abs=1e-6)
    assert found.se == pytest.approx(math.sqrt(hits / n * (1 - hits / n) / n))


# Exact 95 % limits of a Poisson mean, printed in many handbooks (Garwood 1936); retyped from memory.
@pytest.mark.parametrize(
    ("count", "low", "high"), [(0, 0.0, 3.689), (1, 0.0253, 5.572), (5, 1.623, 11.668), (10, 4.795, 18.390)]
)
def test_a_count_has_garwoods_limits(count: int, low: float, high: float) -> None:
    found = rate(count, 2.0)

    assert found.value == count / 2
    assert (2 * found.low, 2 * found.high) == pytest.approx((low, high), abs=6e-4)


def test_the_limits_of_a_count_leave_a_fortieth_in_each_tail() -> None:
    found = rate(7, 1.0)

    assert stats.poisson.sf(6, found.low) == pytest.approx(0.025)
    assert stats.poisson.cdf(7, found.high) == pytest.approx(0.025)


def test_the_bootstrap_of_stories_gives_the_standard_error_of_a_mean() -> None:
    values = list(np.random.default_rng(3).normal(size=300))

    found = over_stories(values, lambda drawn: (float(np.mean(drawn)), len(drawn)))

    assert found.se == pytest.approx(stats.sem(values), rel=0.15)
    assert found.low < found.value < found.high


def test_things_from_one_story_are_not_counted_as_independent() -> None:
    """Ten copies of each value tell no more than one; the standard error must not shrink."""
    alone = [[x] for x in np.random.default_rng(4).normal(size=100)]
    copied = [each * 10 for each in alone]

    def mean(stories: object) -> tuple[float, int]:
        pooled = np.concatenate(list(stories))  # type: ignore[call-overload]
        return float(pooled.mean()), len(pooled)

    assert over_stories(copied, mean).se == pytest.approx(over_stories(alone, mean).se)


def test_what_never_came_is_later_than_anything() -> None:
    assert quantile([3.0, 1.0, math.inf, 2.0], 0.5) == 2.0
    assert quantile([3.0, 1.0, math.inf, 2.0], 0.9) == math.inf
    assert math.isnan(quantile([], 0.5))


def test_nothing_to_judge_is_said_so_in_json() -> None:
    assert proportion(0, 0).to_json() == {"n": 0, "value": None, "se": None, "low": None, "high": None}
    assert rate(0, 0.0).to_json()["value"] is None
    assert over_stories([math.inf], lambda drawn: (drawn[0], 1)).to_json()["value"] == "never"
