"""Residual charts against a Kalman filter of statsmodels, and published formulas and run lengths."""

import json
import math

import numpy as np
import pytest
from scipy.signal import lfilter
from statsmodels.tsa.arima.model import ARIMA

from rules.charts import CusumChart, IndividualsChart, ResidualChart, make
from rules.charts.whitening import Predecessor, Whitening


def autoregression(rng, phi, shape):
    """Stationary AR(1) with total standard deviation 1, along the last axis."""
    noise = rng.standard_normal(shape)
    noise[..., 1:] *= math.sqrt(1 - phi**2)
    return lfilter([1.0], [1.0, -phi], noise, axis=-1)


@pytest.mark.parametrize("phi", [-0.4, 0.0, 0.3, 0.8, 0.99])
def test_whitened_values_are_the_standardised_forecast_errors_of_a_kalman_filter(phi):
    # statsmodels' state space form carries missing values by itself: nothing of ours is in it.
    x = 40 + 2 * autoregression(np.random.default_rng(8), phi, 300)
    x[[17, 18, 19, 60, 99, 101, 298]] = np.nan
    x[:3] = np.nan
    model = ARIMA(x, order=(1, 0, 0), trend="c")
    filtered = model.filter([40.0, phi, 4.0 * (1 - phi**2)])
    expected = filtered.filter_results.standardized_forecasts_error[0]
    _, ours = Whitening(40.0, 2.0, phi).run(x, Predecessor())
    known = ~np.isnan(x)
    np.testing.assert_allclose(ours[known], expected[known], rtol=0, atol=1e-9)
    assert np.isnan(ours[~known]).all()


def test_whitened_values_are_independent_with_spread_one_even_over_gaps():
    x = autoregression(np.random.default_rng(9), 0.8, 200_000)
    x[np.random.default_rng(10).random(x.size) < 0.3] = np.nan
    _, white = Whitening(0.0, 1.0, 0.8).run(x, Predecessor())
    white = white[~np.isnan(white)]
    error = 1 / math.sqrt(white.size)
    assert abs(white.mean()) < 4 * error
    assert white.std() == pytest.approx(1, abs=4 * error / math.sqrt(2))
    assert abs(np.mean(white[1:] * white[:-1])) < 4 * error


def test_a_lasting_shift_leaves_only_part_of_itself_in_the_residuals():
    # Wardell, Moskowitz and Plante (1994): the first residual after a step is delta / sqrt(1 - phi^2), all
    # later ones (1 - phi) of that.
    model = Whitening(10.0, 2.0, 0.75)
    _, white = model.run(10.0 + np.array([0, 0, 3, 3, 3, 3.0]), Predecessor())
    first = 3 / (2 * math.sqrt(1 - 0.75**2))
    np.testing.assert_allclose(white, [0, 0, first, first / 4, first / 4, first / 4], atol=1e-12)
    assert model.lasting_mean(3.0) == pytest.approx(first / 4)


def test_without_autocorrelation_it_is_the_inner_chart():
    x = 5 + 3 * np.random.default_rng(2).standard_normal(400)
    _, plain = CusumChart(5, 3, k=0.4, h=4).run(x)
    _, whitened = ResidualChart(5, 3, 0.0, "cusum", {"k": 0.4, "h": 4}).run(x)
    np.testing.assert_allclose(whitened.statistic, plain.statistic, atol=1e-9)
    assert whitened.signals == plain.signals


@pytest.mark.parametrize("phi", [0.5, 0.8])
def test_false_alarms_of_residuals_are_those_of_independent_values(phi):
    # Alwan and Roberts (1988). The run length of a 2 sigma individuals chart of independent values is
    # geometric: mean 1 / (2 Phi(-2)) = 21.98, whatever phi was.
    x = autoregression(np.random.default_rng(4), phi, (1500, 400))
    chart = ResidualChart(0, 1, phi, "individuals", {"width": 2.0})
    first = np.array([chart.run(row)[1].signals[0][0] + 1 for row in x])
    assert first.mean() == pytest.approx(21.978, abs=4 * first.std() / math.sqrt(first.size))


def test_an_individuals_chart_of_residuals_forgets_what_a_cusum_of_them_adds_up():
    # phi 0.8, a step of 2 sigma: a lasting residual mean of 2 (1 - 0.8) / 0.6 = 0.667, which is within any
    # limit; the CUSUM with k = half of it gathers 1/3 a shot and reaches 5 within 15 shots.
    step = [0.0] * 10 + [2.0] * 40
    assert ResidualChart(0, 1, 0.8, "individuals", {"width": 3.5}).run(step)[1].signals == ()
    cusum = ResidualChart(0, 1, 0.8, "cusum", {"k": 1 / 3, "h": 5.0}).run(step)[1].signals
    first = 2 / 0.6 - 1 / 3
    assert cusum[0] == (10 + math.floor((5 - first) * 3) + 1, "beyond_limit")


def test_a_minimum_shift_reaches_the_inner_chart_in_its_own_unit():
    # By the two formulas of Wardell et al.: a CUSUM gathers the lasting mean, an individuals chart meets the
    # first residual, which is larger unless phi is negative.
    cusum = ResidualChart(0, 2, 0.6, "cusum", minimum_shift=4.0)
    assert cusum.inner.minimum_shift == pytest.approx(4 * 0.4 / (2 * 0.8))
    single = ResidualChart(0, 2, 0.6, "individuals", minimum_shift=6.4)
    assert single.inner.limits().upper == pytest.approx(6.4 / (2 * 0.8))
    assert single.run([0.0, 6.3, 6.3, 6.3])[1].signals == ()
    other = ResidualChart(0, 2, -0.6, "individuals", minimum_shift=6.4)
    assert other.inner.limits().upper == pytest.approx(6.4 * 1.6 / (2 * 0.8))


def test_parameters_and_state_are_nested_json():
    chart = make("residual", {"center": 1.0, "sigma": 2.0, "phi": 0.5, "chart_parameters": {"h": 8.0}})
    assert chart.parameters() == {
        "center": 1.0,
        "sigma": 2.0,
        "phi": 0.5,
        "chart": "cusum",
        "chart_parameters": {"k": 0.5, "h": 8.0, "head_start": 0.0, "cap": None, "reach": None},
        "minimum_shift": 0.0,
    }
    rules = make("residual", chart.parameters() | {"chart": "individuals", "chart_parameters": {}})
    again = make("residual", json.loads(json.dumps(rules.parameters())))
    assert again == rules
    assert isinstance(again.inner, IndividualsChart)
    assert hash(again) == hash(rules)
    state, _ = chart.run([1.0, 3.0, math.nan])
    assert chart.dump_state(state) == {
        "version": 1,
        "deviation": 2.0,
        "shots_back": 2,
        "inner": {"version": 1, "upper": state.inner.upper, "lower": state.inner.lower},
    }


def test_a_state_without_that_of_the_inner_chart_is_refused():
    chart = make("residual", {"center": 1.0, "sigma": 2.0, "phi": 0.5})
    dumped = chart.dump_state(chart.start())
    with pytest.raises(ValueError, match="lacks the inner chart's"):
        chart.load_state(dumped | {"inner": None})
    with pytest.raises(ValueError, match="state of the cusum chart has version 7"):
        chart.load_state(dumped | {"inner": {"version": 7}})


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"sigma": 0.0}, "sigma of the residual chart is 0.0; give a number above zero"),
        ({"center": math.inf}, "center of the residual chart is inf; give a finite number"),
        ({"phi": 1.0}, "phi of the residual chart is 1.0; give a number above -1 and below 1"),
        ({"phi": -1.0}, "phi of the residual chart"),
        ({"phi": math.nan}, "phi of the residual chart"),
        ({"minimum_shift": -1.0}, "minimum_shift of the residual chart is -1.0; give 0 or more"),
        ({"chart": "residual"}, "cannot hold a chart 'residual'; use individuals, moving_range, cusum"),
        ({"chart": "setting"}, "cannot hold a chart 'setting'"),
        ({"chart_parameters": {"sigma": 2.0}}, "sigma of the inner chart follows from"),
        ({"chart_parameters": {"h": 0.0}}, "h of the cusum chart is 0.0"),
        ({"inner": 3}, "no parameter .inner.; it has center, sigma, phi, chart, chart_parameters, minimum"),
        (
            {"chart": "ewma", "minimum_shift": 1.0},
            "ewma chart inside of a residual chart takes no minimum_shift",
        ),
    ],
)
def test_parameters_that_make_no_residual_chart_are_refused(wrong, said):
    with pytest.raises(ValueError, match=said):
        make("residual", {"center": 0.0, "sigma": 1.0, "phi": 0.5} | wrong)
