"""The spread chart against pandas, an integral equation of its own, simulation and exact distributions."""

import math

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from rules.charts import IndividualsChart, ResidualChart, SpreadChart, make
from rules.charts.spread_run_length import spread_arl, spread_limit


def run_lengths(chart, x):
    """First signal of each row, counted from 1; every row must have one."""
    return np.array([chart.run(row)[1].signals[0][0] + 1 for row in x])


def within_error(lengths, expected):
    return lengths.mean() == pytest.approx(expected, abs=4 * lengths.std() / math.sqrt(lengths.size))


def test_the_statistic_is_an_exponential_average_of_squared_differences():
    # pandas averages; MacGregor and Harris (1993) give the recursion, von Neumann et al. (1941) the factor 2.
    x = 30 + 2 * np.random.default_rng(1).standard_normal(300)
    squares = np.diff(x) ** 2 / 2
    expected = pd.Series(np.r_[2.0**2, squares]).ewm(alpha=0.15, adjust=False).mean().to_numpy()[1:]
    _, track = SpreadChart(2.0, lam=0.15).run(x)
    assert math.isnan(track.statistic[0])
    np.testing.assert_allclose(track.statistic[1:], np.sqrt(expected), rtol=1e-12)


def test_with_full_weight_it_is_the_moving_range():
    # A range over sqrt(2), here against the limit of the range, 2 sigma: P(|N(0, 2)| > 2).
    x = np.random.default_rng(2).standard_normal(400_001)
    _, track = SpreadChart(1.0, lam=1.0, limit=math.sqrt(2)).run(x)
    np.testing.assert_allclose(track.statistic[1:], np.abs(np.diff(x)) / math.sqrt(2))
    share, exact = len(track.signals) / 400_000, 2 * stats.norm.sf(2 / math.sqrt(2))
    assert share == pytest.approx(exact, abs=6 * math.sqrt(exact / 400_000))


@pytest.mark.parametrize("limit", [1.8, 2.6065, 3.2])
def test_run_length_of_a_moving_range_by_the_one_dimensional_integral_equation(limit):
    # Crowder (1987): L(x) = 1 + integral of L(y) f(y) over |y - x| <= r; solved here on a plain grid, by the
    # trapezoidal rule with the ends of the interval interpolated. 2.6065 is D4 = 3.267 of the range.
    reach, y = math.sqrt(2) * limit, np.linspace(-8, 8, 1601)
    inside = np.clip((reach - np.abs(y[:, None] - y[None, :])) / (y[1] - y[0]) + 0.5, 0, 1)
    weights = stats.norm.pdf(y) * (y[1] - y[0])
    lengths = np.linalg.solve(np.eye(y.size) - inside * weights, np.ones(y.size))
    assert spread_arl(1.0, limit) == pytest.approx(1 + weights @ lengths, rel=1e-4)


@pytest.mark.parametrize(
    ("lam", "limit", "scatter", "longest"),
    [(0.1, 1.3, 1.0, 2_500), (0.25, 1.4, 1.0, 1_000), (0.1, 1.5, 1.5, 800), (0.05, 1.4, 2.0, 300)],
)
def test_run_length_agrees_with_the_chart_itself(lam, limit, scatter, longest):
    x = scatter * np.random.default_rng(7).standard_normal((3_000, longest))
    lengths = run_lengths(SpreadChart(1.0, lam=lam, limit=limit), x)
    assert within_error(lengths, spread_arl(lam, limit, scatter=scatter))


def test_the_default_limit_has_the_run_length_it_states():
    chart = SpreadChart(1.0)
    assert spread_arl(chart.lam, chart.limit) == pytest.approx(389, abs=0.5)


@pytest.mark.parametrize(
    ("lam", "arl"), [(0.1, 370.0), (0.1, 14_400.0), (0.05, 1_000.0), (1.0, 200.0), (0.2, 25.0)]
)
def test_the_limit_has_the_run_length_asked_for(lam, arl):
    assert spread_arl(lam, spread_limit(lam, arl)) == pytest.approx(arl, rel=1e-6)


def test_residuals_of_an_autocorrelated_characteristic_have_the_same_run_length():
    rng = np.random.default_rng(9)
    noise = rng.standard_normal((2_000, 1_000))
    x = np.empty_like(noise)
    x[:, 0] = noise[:, 0]
    for shot in range(1, noise.shape[1]):
        x[:, shot] = 0.8 * x[:, shot - 1] + 0.6 * noise[:, shot]
    chart = ResidualChart(0.0, 1.0, 0.8, "spread", {"lam": 0.2, "limit": 1.4})
    assert within_error(run_lengths(chart, x), spread_arl(0.2, 1.4))


def test_scatter_that_grows_is_seen_and_a_shift_is_not():
    rng = np.random.default_rng(4)
    noise = rng.standard_normal(1_200)
    chart = SpreadChart(1.0, lam=0.1, limit=spread_limit(0.1, 20_000.0))
    shifted = noise + np.where(np.arange(1_200) >= 600, 1.5, 0.0)
    drifting = noise + np.linspace(0, 6, 1_200)
    assert chart.run(shifted)[1].signals == chart.run(drifting)[1].signals == ()
    restless = noise * np.where(np.arange(1_200) >= 600, 2.0, 1.0)
    first = chart.run(restless)[1].signals[0][0]
    assert 600 <= first < 640
    # The level stays: most of the restless shots are within three sigma of it.
    single = [i for i, _ in IndividualsChart(0, 1).run(restless)[1].signals if i >= 600]
    assert len(single) / 600 == pytest.approx(2 * stats.norm.sf(1.5), abs=0.06)


def test_scatter_that_shrinks_is_no_signal():
    x = 0.1 * np.random.default_rng(5).standard_normal(2_000)
    _, track = SpreadChart(1.0).run(x)
    assert track.signals == ()
    assert track.direction[50:].max() == -1


def test_a_missing_value_breaks_the_chain_and_leaves_the_average():
    chart = SpreadChart(1.0, lam=0.5)
    state, track = chart.run([0.0, 2.0, math.nan, 9.0])
    assert (state.previous, state.average) == (9.0, 0.5 * 2.0 + 0.5)
    np.testing.assert_array_equal(np.isnan(track.statistic), [True, False, True, True])


def test_an_engineering_minimum_holds_the_limit_up():
    x = [0.0, 1.0] * 100  # a local standard deviation of 1 / sqrt(2)
    assert SpreadChart(0.1).run(x)[1].signals != ()
    assert SpreadChart(0.1, minimum_scatter=0.75).run(x)[1].signals == ()
    assert SpreadChart(0.1, minimum_scatter=0.70).run(x)[1].signals != ()


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"sigma": 0.0}, "sigma of the spread chart is 0.0; give a number above zero"),
        ({"lam": 0.0}, "lam of the spread chart is 0.0; give a weight above 0, at most 1"),
        ({"lam": 1.1}, "lam of the spread chart is 1.1"),
        ({"limit": 1.0}, "limit of the spread chart is 1.0; give a number above 1, in sigma"),
        ({"limit": math.nan}, "limit of the spread chart is nan"),
        ({"minimum_scatter": -1.0}, "minimum_scatter of the spread chart is -1.0; give 0 or more"),
    ],
)
def test_parameters_that_make_no_spread_chart_are_refused(wrong, said):
    with pytest.raises(ValueError, match=said):
        make("spread", {"sigma": 1.0} | wrong)


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (lambda: spread_arl(0.0, 1.5), "lam of a spread chart is 0.0"),
        (lambda: spread_arl(0.1, 0.9), "limit of a spread chart is 0.9"),
        (
            lambda: spread_arl(0.1, 1.5, scatter=0.9),
            "scatter to compute a run length for is 0.9; give 1 sigma",
        ),
        (lambda: spread_limit(0.1, 3.0), "run length of 3.0 cannot be made; ask for 20 to"),
        (lambda: spread_limit(0.1, 1e9), "ask for 20 to 1e"),
        (lambda: spread_limit(0.1, math.nan), "run length of nan"),
    ],
)
def test_run_lengths_that_cannot_be_are_refused(asked, said):
    with pytest.raises(ValueError, match=said):
        asked()
