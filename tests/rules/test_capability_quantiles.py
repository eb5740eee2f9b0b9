"""Indices of skewed values against known distributions, scipy, and simulated coverage."""

from __future__ import annotations

import json
import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from rules.capability import FAMILIES, Specification, by_family, by_order, capability, quantile_bounds
from rules.capability.families import Fitted, best, tail_distance
from rules.capability.quantiles import SHARES, indices_of

TRUE = {
    "normal": stats.norm(20.0, 1.5),
    "largest value": stats.gumbel_r(5.0, 1.0),
    "smallest value": stats.gumbel_l(5.0, 1.0),
    "lognormal": stats.lognorm(0.5),
    "gamma": stats.gamma(4.0),
    "weibull": stats.weibull_min(2.0),
    "half normal": stats.halfnorm(scale=2.0),
}


def _specification(name: str) -> Specification:
    low, median, high = TRUE[name].ppf(SHARES)
    return Specification(low=low - 0.2 * (median - low), high=high + 0.3 * (high - median))


def test_quantiles_of_a_normal_distribution_give_the_classic_indices() -> None:
    """ISO 22514-2: 0.135 % and 99.865 % are what a normal process has at three sigma."""
    found = indices_of(Specification(low=8.0, high=20.0), *(16.0 + 2.0 * z for z in (-3.0, 0.0, 3.0)))

    assert (found.pp, found.ppl, found.ppu, found.ppk) == pytest.approx((1.0, 4 / 3, 2 / 3, 2 / 3))
    assert stats.norm.ppf(SHARES) == pytest.approx([-3.0, 0.0, 3.0], abs=2e-4)


def test_a_fitted_normal_agrees_with_the_classic_indices() -> None:
    x = np.random.default_rng(1).normal(10.0, 1.0, 400)
    specification = Specification(low=5.0, high=16.0)
    ours = by_family(x, specification, np.random.default_rng(2), family="normal", draws=2000)
    classic = capability(x, specification, phi=0.0)

    assert ours.pp is not None
    assert classic.pp is not None
    assert ours.pp.estimate == pytest.approx(classic.pp.estimate * math.sqrt(400 / 399), rel=1e-4)
    assert ours.ppk.estimate == pytest.approx(classic.ppk.estimate * math.sqrt(400 / 399), rel=1e-4)
    assert (ours.pp.low, ours.pp.high) == pytest.approx((classic.pp.low, classic.pp.high), rel=0.015)
    assert (ours.ppk.low, ours.ppk.high) == pytest.approx((classic.ppk.low, classic.ppk.high), rel=0.015)
    assert ours.rejects_ppm.estimate == pytest.approx(classic.rejects.total.estimate, rel=0.05)


@pytest.mark.parametrize("name", FAMILIES)
def test_each_family_fits_as_well_as_scipys_general_search(name: str) -> None:
    x = TRUE[name].rvs(150, random_state=np.random.default_rng(3))
    fitted = FAMILIES[name].fit(x)
    fixed = {"floc": 0.0} if FAMILIES[name].positive else {}
    theirs = fitted.distribution(*fitted.distribution.fit(x, **fixed))

    assert fitted.call("logpdf", x).sum() >= theirs.logpdf(x).sum() - 1e-4
    assert fitted.call("ppf", SHARES) == pytest.approx(theirs.ppf(SHARES), rel=1e-3)


@pytest.mark.parametrize("name", ["lognormal", "gamma", "largest value", "half normal"])
def test_indices_of_many_values_approach_those_of_the_distribution(name: str) -> None:
    rng = np.random.default_rng(4)
    specification = _specification(name)
    truth = indices_of(specification, *TRUE[name].ppf(SHARES))
    found = by_family(TRUE[name].rvs(4000, random_state=rng), specification, rng, family=name, draws=100)

    assert found.pp is not None
    assert (found.pp.estimate, found.ppk.estimate) == pytest.approx((truth.pp, truth.ppk), rel=0.06)
    assert found.pp.low <= truth.pp <= found.pp.high


@pytest.mark.parametrize(
    "name", ["normal", "lognormal", pytest.param("smallest value", marks=pytest.mark.slow)]
)
def test_intervals_of_a_family_cover_as_often_as_they_say(name: str) -> None:
    rng = np.random.default_rng(5)
    specification = _specification(name)
    truth = indices_of(specification, *TRUE[name].ppf(SHARES))
    pp = ppk = doubted = 0
    for _ in range(60):
        x = TRUE[name].rvs(80, random_state=rng)
        found = by_family(x, specification, rng, family=name, confidence=0.9, draws=100)
        assert found.pp is not None
        pp += found.pp.low <= truth.pp <= found.pp.high
        ppk += found.ppk.low <= truth.ppk <= found.ppk.high
        doubted += found.fit_p is not None and found.fit_p < 0.05

    assert stats.binomtest(pp, 60, 0.88, alternative="less").pvalue > 0.001
    assert stats.binomtest(ppk, 60, 0.88, alternative="less").pvalue > 0.001
    assert stats.binomtest(doubted, 60, 0.05, alternative="greater").pvalue > 0.001


def test_classic_indices_of_skewed_values_mislead_where_quantiles_do_not() -> None:
    """A lognormal process whose upper tail just reaches the limit at 99.865 %: Ppk is 1 by definition."""
    rng = np.random.default_rng(6)
    limit = float(TRUE["lognormal"].ppf(SHARES[2]))
    x = TRUE["lognormal"].rvs(2000, random_state=rng)

    assert by_family(x, Specification(high=limit), rng, draws=100).ppk.estimate == pytest.approx(
        1.0, abs=0.06
    )
    assert capability(x, Specification(high=limit), phi=0.0).ppk.estimate > 1.3


@pytest.mark.parametrize("name", ["normal", "lognormal", "half normal", "smallest value"])
def test_the_likeliest_family_is_the_one_the_values_come_from(name: str) -> None:
    x = TRUE[name].rvs(3000, random_state=np.random.default_rng(7))

    assert best(x).name == name


def test_the_distance_is_scipys_anderson_darling() -> None:
    x = np.random.default_rng(8).normal(3.0, 2.0, 60)
    fitted = Fitted(stats.norm, (x.mean(), x.std(ddof=1)))

    assert tail_distance(x, fitted) == pytest.approx(
        stats.goodness_of_fit(
            stats.norm, x, known_params={"loc": x.mean(), "scale": x.std(ddof=1)}, statistic="ad",
            n_mc_samples=1,
        ).statistic, rel=1e-9,
    )  # fmt: skip


def test_a_mixture_is_doubted() -> None:
    rng = np.random.default_rng(9)
    x = rng.permutation(np.concatenate([rng.normal(10, 0.3, 60), rng.normal(14, 0.3, 60)]))
    found = by_family(x, Specification(low=5.0, high=20.0), rng, draws=100)

    assert found.fit_p is not None
    assert found.fit_p < 0.02
    assert "does not describe these values" in found.notes[0]


def test_alike_values_have_wider_intervals() -> None:
    rng = np.random.default_rng(10)
    x, noise = np.empty(200), rng.standard_normal(200)
    x[0] = noise[0]
    for i in range(1, 200):
        x[i] = 0.8 * x[i - 1] + 0.6 * noise[i]
    specification = Specification(low=-6.0, high=6.0)
    alike = by_family(x, specification, rng, family="normal", draws=200)
    mixed = by_family(rng.permutation(x), specification, rng, family="normal", draws=200)

    assert alike.phi > 0.6
    assert alike.ppk.high - alike.ppk.low > 1.3 * (mixed.ppk.high - mixed.ppk.low)
    assert "widened" in alike.notes[-1]


def test_the_same_source_of_chance_gives_the_same_figures() -> None:
    x = TRUE["gamma"].rvs(60, random_state=np.random.default_rng(11))
    first, second = (
        by_family(x, Specification(high=20.0), np.random.default_rng(12), draws=100) for _ in range(2)
    )

    assert first == second


def test_a_bound_other_than_zero_moves_everything_with_it() -> None:
    x = TRUE["lognormal"].rvs(100, random_state=np.random.default_rng(13))
    plain = by_family(
        x, Specification(low=0.05, high=9.0), np.random.default_rng(1), family="lognormal", draws=100
    )
    moved = by_family(
        x + 40.0, Specification(low=40.05, high=49.0), np.random.default_rng(1), family="lognormal",
        bound=40.0, draws=100,
    )  # fmt: skip

    assert moved.ppk.low == pytest.approx(plain.ppk.low, rel=1e-9)
    assert moved.lower_quantile.low == pytest.approx(40.0 + plain.lower_quantile.low, rel=1e-9)


@pytest.mark.parametrize("n", [9, 40, 900, 5000])
@pytest.mark.parametrize("share", [0.00135, 0.1, 0.5, 0.99865])
def test_bounds_of_a_quantile_are_those_of_scipys_quantile_test(n: int, share: float) -> None:
    x = np.sort(np.random.default_rng(14).standard_normal(n))
    ours = quantile_bounds(x, share, 0.95)
    theirs = stats.quantile_test(x, p=share).confidence_interval(0.95)

    for bound, other in zip(ours, theirs, strict=True):
        assert (math.isinf(bound) and math.isnan(other)) or bound == other


def test_ordered_values_cover_for_any_shape() -> None:
    rng = np.random.default_rng(15)
    truth = indices_of(_specification("gamma"), *TRUE["gamma"].ppf(SHARES))
    held = 0
    for _ in range(100):
        found = by_order(TRUE["gamma"].rvs(4000, random_state=rng), _specification("gamma"), confidence=0.9)
        assert found.pp is not None
        held += (found.pp.low <= truth.pp <= found.pp.high) and (found.ppk.low <= truth.ppk <= found.ppk.high)

    assert held / 100 >= 0.9  # both quantiles at half the risk each, so oftener than asked for
    assert found.notes == ()


def test_too_few_ordered_values_say_how_many_are_needed() -> None:
    x = np.random.default_rng(16).standard_normal(740)

    with pytest.raises(ValueError, match=r"740 values are too few for .* 741 are needed"):
        by_order(x, Specification(high=5.0))
    found = by_order([*x, 0.1], Specification(high=5.0))
    assert found.ppk.low == 0.0
    assert found.upper_quantile.high == math.inf
    assert "no bound beyond an outer quantile" in found.notes[0]
    assert json.loads(json.dumps(found.to_dict()))["upper_quantile"]["high"] is None


@given(shift=st.floats(-1e3, 1e3), scale=st.floats(0.1, 10.0))
@settings(max_examples=20, deadline=None)
def test_another_zero_or_unit_moves_no_index_of_ordered_values(shift: float, scale: float) -> None:
    x = np.random.default_rng(17).gamma(4.0, 1.0, 3000)
    plain = by_order(x, Specification(low=0.0, high=18.0))
    moved = by_order(shift + scale * x, Specification(low=shift, high=shift + 18.0 * scale))

    assert (moved.ppk.low, moved.ppk.estimate, moved.ppk.high) == pytest.approx(
        (plain.ppk.low, plain.ppk.estimate, plain.ppk.high), rel=1e-6
    )


RNG = np.random.default_rng(18)
FEW = RNG.gamma(4.0, 1.0, 30)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: by_family(FEW[:19], Specification(high=9.0), RNG), "19 values tell no capability; give 20"),
        (lambda: by_family(np.full(30, 2.0), Specification(high=9.0), RNG), "All 30 values are 2"),
        (lambda: by_family(FEW, Specification(high=9.0), RNG, draws=9), "9 redrawn samples give no interval"),
        (
            lambda: by_family(FEW, Specification(high=9.0), RNG, family="cauchy"),
            "no family 'cauchy'; the families",
        ),
        (
            lambda: by_family(FEW - 3.0, Specification(high=9.0), RNG, family="gamma"),
            "needs values above 0; one is -",
        ),
        (lambda: by_family(FEW, Specification(high=9.0), RNG, confidence=1.0), "confidence is 1.0"),
        (lambda: by_order(FEW, Specification(high=9.0)), "30 values are too few"),
        (lambda: by_order([1.0, math.inf], Specification(high=9.0)), "Value 1 is infinite"),
    ],
)
def test_bad_input_is_refused_with_a_sentence(call: Callable[[], object], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        call()
