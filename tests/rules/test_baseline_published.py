"""The estimators of a phase I study against certified values and against scipy and statsmodels."""

from __future__ import annotations

import math
import warnings

import numpy as np
import pytest
from scipy import stats
from statsmodels.sandbox.stats.runs import runstest_1samp
from statsmodels.stats.diagnostic import acorr_ljungbox
from statsmodels.tsa.stattools import adfuller

from rules.baseline.autocorrelation import lag_one
from rules.baseline.contexts import compare
from rules.baseline.memory import integrated_time, memory_of, residuals
from rules.baseline.normality import shape_of
from rules.baseline.spread import moving_range_sigma, total_sigma
from rules.baseline.stability import runs_score, stability_of
from rules.baseline.tails import heavy_quantile, skewed_interval, skewed_quantiles
from rules.run_length import cusum_arl
from tests import outside
from tests.rules.series import autoregressive

# NIST StRD, Univariate Summary Statistics (public domain): data and certified mean, standard deviation and
# autocorrelation at lag 1, certified to 15 digits.
MAVRO = [
    2.0018, 2.0017, 2.0018, 2.0019, 2.0018, 2.0017, 2.0015, 2.0014, 2.0015, 2.0015, 2.0017, 2.0018, 2.0018,
    2.0019, 2.0019, 2.0021, 2.0020, 2.0016, 2.0014, 2.0013, 2.0013, 2.0015, 2.0015, 2.0016, 2.0015, 2.0014,
    2.0013, 2.0014, 2.0015, 2.0014, 2.0015, 2.0016, 2.0015, 2.0016, 2.0019, 2.0020, 2.0020, 2.0021, 2.0022,
    2.0023, 2.0024, 2.0025, 2.0027, 2.0026, 2.0026, 2.0026, 2.0027, 2.0026, 2.0025, 2.0024,
]  # fmt: skip
MICHELSO = [
    299.85, 299.74, 299.90, 300.07, 299.93, 299.85, 299.95, 299.98, 299.98, 299.88, 300.00, 299.98, 299.93,
    299.65, 299.76, 299.81, 300.00, 300.00, 299.96, 299.96, 299.96, 299.94, 299.96, 299.94, 299.88, 299.80,
    299.85, 299.88, 299.90, 299.84, 299.83, 299.79, 299.81, 299.88, 299.88, 299.83, 299.80, 299.79, 299.76,
    299.80, 299.88, 299.88, 299.88, 299.86, 299.72, 299.72, 299.62, 299.86, 299.97, 299.95, 299.88, 299.91,
    299.85, 299.87, 299.84, 299.84, 299.85, 299.84, 299.84, 299.84, 299.89, 299.81, 299.81, 299.82, 299.80,
    299.77, 299.76, 299.74, 299.75, 299.76, 299.91, 299.92, 299.89, 299.86, 299.88, 299.72, 299.84, 299.85,
    299.85, 299.78, 299.89, 299.84, 299.78, 299.81, 299.76, 299.81, 299.79, 299.81, 299.82, 299.85, 299.87,
    299.87, 299.81, 299.74, 299.81, 299.94, 299.95, 299.80, 299.81, 299.87,
]  # fmt: skip


def _accuracy(level: float) -> list[float]:
    return [level + 0.2, *[level + 0.1, level + 0.3] * 500]


CERTIFIED = {
    "Mavro": (MAVRO, 2.001856, 0.000429123454003053, 0.937989183438248, 1e-11),
    "Michelso": (MICHELSO, 299.8524, 0.0790105478190518, 0.535199668621283, 1e-11),
    "NumAcc1": ([10000001.0, 10000003.0, 10000002.0], 10000002.0, 1.0, -0.5, 1e-14),
    "NumAcc2": (_accuracy(1.0), 1.2, 0.1, -0.999, 1e-11),
    # Reading 1000000.2 into binary already costs the digits that are missing here.
    "NumAcc3": (_accuracy(1e6), 1000000.2, 0.1, -0.999, 1e-8),
    "NumAcc4": (_accuracy(1e7), 10000000.2, 0.1, -0.999, 1e-7),
}


def _pi_digits(count: int) -> list[int]:
    """Digits of pi by Machin's formula in whole numbers, the leading 3 first."""
    unit = 10 ** (count + 10)

    def arctangent_of_inverse(x: int) -> int:
        total = term = unit // x
        divisor, sign = 1, 1
        while term:
            term //= x * x
            divisor, sign = divisor + 2, -sign
            total += sign * (term // divisor)
        return total

    pi = 4 * (4 * arctangent_of_inverse(5) - arctangent_of_inverse(239))
    pi //= 10**11
    digits = []
    while pi:
        pi, digit = divmod(pi, 10)
        digits.append(digit)
    return digits[::-1]


@pytest.mark.parametrize("name", CERTIFIED)
def test_mean_sigma_and_lag_one_match_the_certified_values(name: str) -> None:
    """NIST StRD univariate; the ids of the reference values are strd.univ.NAME."""
    values, mean, sigma, r, rel = CERTIFIED[name]

    assert float(np.mean(values)) == pytest.approx(mean, rel=1e-14)
    assert total_sigma(values) == pytest.approx(sigma, rel=rel)
    assert lag_one(values).r == pytest.approx(r, rel=rel)


@pytest.mark.parametrize("name", ["strd.univ.Lew", "strd.univ.Lottery"])
def test_longer_series_match_their_certified_values_too(name: str) -> None:
    """NIST StRD, data sets Lew and Lottery."""
    entry = outside.entry(name)
    values, expected = entry["inputs"]["data"], entry["published"]

    assert float(np.mean(values)) == pytest.approx(expected["mean"], rel=1e-11)
    assert total_sigma(values) == pytest.approx(expected["sd"], rel=1e-11)
    assert lag_one(values).r == pytest.approx(expected["r1"], rel=1e-11)


def test_the_certified_digits_of_pi_hold_for_the_file_as_it_is() -> None:
    """NIST StRD, PiDigits (strd.univ.PiDigits): the file has a 3 for the true 8 at value 957."""
    digits = _pi_digits(5000)
    assert digits[956] == 8
    digits[956] = 3

    assert float(np.mean(digits)) == pytest.approx(4.5348, rel=1e-11)
    assert total_sigma(digits) == pytest.approx(2.86733906028871, rel=1e-11)
    assert lag_one(digits).r == pytest.approx(-0.00355099287237972, rel=1e-11)


def test_the_check_standard_of_the_handbook_is_independent() -> None:
    """NIST/SEMATECH e-Handbook 2.6.2, check standard 137 (nist.2.6.2.checkstd); mean and sd are printed."""
    y = [
        97.070, 97.049, 97.048, 97.084, 97.106, 97.014, 97.047, 97.078, 97.065, 97.061, 97.060, 97.102,
        97.096, 97.035, 97.114, 97.069, 97.095, 97.088, 97.079, 97.016, 97.051, 97.070, 97.065, 97.111,
        97.073,
    ]  # fmt: skip
    within = [
        0.085, 0.052, 0.038, 0.036, 0.049, 0.036, 0.052, 0.117, 0.085, 0.052, 0.060, 0.048, 0.026, 0.088,
        0.031, 0.037, 0.032, 0.056, 0.067, 0.116, 0.046, 0.078, 0.040, 0.038, 0.039,
    ]  # fmt: skip
    found = lag_one(y)

    assert float(np.mean(y)) == pytest.approx(97.0698, abs=5e-5)
    assert total_sigma(y) == pytest.approx(0.0267981342634, rel=1e-9)
    assert found.r == pytest.approx(-0.0636566686162, rel=1e-9)
    assert not found.is_positive
    assert not found.is_negative
    assert math.sqrt(np.mean(np.square(within))) == pytest.approx(0.0613879466997, rel=1e-9)


def test_the_test_of_what_lag_one_leaves_over_is_that_of_statsmodels() -> None:
    x = autoregressive(np.random.default_rng(1), 0.5, 300)
    found = lag_one(x)

    left = residuals(x, found.phi)[1:]
    expected = acorr_ljungbox(left, lags=[10], model_df=1)["lb_pvalue"].iloc[0]
    assert memory_of(x, found).p == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("phi", [0.0, 0.5, 0.9])
def test_the_integrated_time_of_a_known_process_is_known(phi: float) -> None:
    """(1 + phi) / (1 - phi) for an autoregressive process of order one (Bayley and Hammersley 1946)."""
    time, error = integrated_time(autoregressive(np.random.default_rng(2), phi, 40_000))

    assert time == pytest.approx((1 + phi) / (1 - phi), abs=3 * error)
    assert error < 0.1 * time


def test_the_unit_root_test_is_that_of_statsmodels() -> None:
    x = autoregressive(np.random.default_rng(3), 0.95, 500)

    found = stability_of(x, memory_of(x, lag_one(x)))
    with warnings.catch_warnings():
        warnings.simplefilter(
            "ignore", FutureWarning
        )  # the next version returns a record in place of a tuple
        expected = adfuller(x, maxlag=7, autolag=None)[1]
    assert found.unit_root_p == pytest.approx(expected, rel=1e-9)


def test_the_score_of_runs_is_that_of_statsmodels() -> None:
    x = np.random.default_rng(4).standard_normal(201)

    expected = runstest_1samp(x[x != np.median(x)], cutoff=float(np.median(x)), correction=False)[0]
    assert runs_score(x) == pytest.approx(expected, rel=1e-12)


def test_without_correlation_two_contexts_are_compared_by_welch_and_by_the_ratio_of_variances() -> None:
    rng = np.random.default_rng(5)
    before, after = rng.normal(10.0, 1.0, 60), rng.normal(10.4, 2.0, 40)

    (found,) = compare(np.concatenate([before, after]), [60], confidence=0.95)
    interval = stats.ttest_ind(after, before, equal_var=False).confidence_interval(0.95)
    assert (found.low, found.high) == pytest.approx((interval.low, interval.high), rel=1e-9)
    ratio = float(after.var(ddof=1) / before.var(ddof=1))
    assert found.spread_p == pytest.approx(2 * stats.f.sf(ratio, 39, 59), rel=1e-9)


def test_skewed_limits_are_quantiles_of_the_gamma_distribution() -> None:
    """Pearson type III with skewness 2 / sqrt(a) is a gamma curve of shape a, standardized."""
    lower, upper = skewed_quantiles(3.0, 1.0)

    gamma = stats.gamma(4.0)
    assert lower == pytest.approx((gamma.ppf(stats.norm.sf(3.0)) - 4.0) / 2.0, rel=1e-9)
    assert upper == pytest.approx((gamma.isf(stats.norm.sf(3.0)) - 4.0) / 2.0, rel=1e-9)


def test_a_heavy_tailed_limit_is_a_quantile_of_t() -> None:
    """Excess kurtosis 6 / (v - 4) of Student's t with v degrees of freedom."""
    exact = stats.t(10).isf(stats.norm.sf(4.0)) / stats.t(10).std()

    assert heavy_quantile(4.0, 1.0) == pytest.approx(exact, rel=1e-9)
    assert heavy_quantile(4.0, -1.0) == 4.0


def test_the_interval_of_a_cusum_of_skewed_values_is_held_against_simulation() -> None:
    """Gamma values of skewness 1, by 1,000 streams; the normal run length is exact."""
    k, h, rng = 0.5, 5.0, np.random.default_rng(10)
    normal = cusum_arl(k=k, h=h)

    def run_length(interval: float, steps: int = 3000, streams: int = 1000) -> float:
        high, low, signals = np.zeros(streams), np.zeros(streams), 0
        for _ in range(steps):
            z = (rng.gamma(4.0, 1.0, streams) - 4.0) / 2.0
            high, low = np.maximum(high + z - k, 0.0), np.maximum(low - z - k, 0.0)
            met = (high > interval) | (low > interval)
            signals += int(met.sum())
            high[met] = low[met] = 0.0
        return steps * streams / signals

    assert run_length(h) < 0.75 * normal
    assert 1.0 <= run_length(skewed_interval(k, h, skewness=1.0)) / normal <= 1.4
    assert skewed_interval(k, h, skewness=0.0) == pytest.approx(h)
    assert skewed_interval(k, h, skewness=-1.0) == pytest.approx(skewed_interval(k, h, skewness=1.0))


def test_an_interval_of_very_skewed_values_rests_on_the_side_that_can_grow() -> None:
    """Pearson type III values of skewness g never fall more than 2 / g sigma below their mean."""
    intervals = [skewed_interval(0.5, 8.5, skewness=g) for g in (1.0, 2.0, 3.9, 4.0, 4.1, 6.0)]
    assert stats.pearson3.ppf(1e-9, 6.0) == pytest.approx(-2.0 / 6.0)
    assert np.all(np.diff(intervals) > 0.0)
    assert intervals[3] - intervals[2] == pytest.approx(intervals[4] - intervals[3], rel=0.05)
    assert skewed_interval(0.5, 8.5, skewness=-6.0) == pytest.approx(intervals[-1])


def test_normal_values_are_seldom_called_anything_else() -> None:
    """Anderson-Darling at 1 % and three standard errors of skewness or kurtosis besides."""
    rng = np.random.default_rng(6)
    odd = sum(shape_of(rng.standard_normal(200)).kind != "normal" for _ in range(300))

    assert odd <= 6


def test_an_autoregressive_sum_keeps_the_stated_part_of_the_skewness() -> None:
    phi, rng = 0.6, np.random.default_rng(7)
    noise, x = rng.gamma(1.0, 1.0, 200_000) - 1.0, np.empty(200_000)
    x[0] = 0.0
    for i in range(1, len(x)):
        x[i] = phi * x[i - 1] + noise[i]

    found = shape_of(noise, phi=phi)
    assert found.value_skewness == pytest.approx(float(stats.skew(x)), abs=0.05)


def test_tails_and_skewness_are_named_by_what_they_do_to_limits() -> None:
    rng = np.random.default_rng(8)

    assert shape_of(rng.standard_t(4, 500)).kind == "heavy_tailed"
    assert shape_of(rng.uniform(size=500)).kind == "light_tailed"
    skewed = shape_of(rng.gamma(4.0, 1.0, 2000))
    assert skewed.kind == "skewed"
    # A gamma curve of shape 4 beyond 3.5 sigma, on both sides, against the normal one.
    gamma = stats.gamma(4.0)
    exact = (gamma.sf(4.0 + 7.0) + gamma.cdf(4.0 - 7.0)) / (2 * stats.norm.sf(3.5))
    assert skewed.tail_factor == pytest.approx(exact, rel=0.25)


def test_moving_ranges_and_all_values_agree_on_independent_values() -> None:
    x = np.random.default_rng(9).normal(5.0, 2.0, 20_000)

    assert moving_range_sigma(x) == pytest.approx(total_sigma(x), rel=0.02)
