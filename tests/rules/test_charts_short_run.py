"""Charts for short runs and engineering limits against a real press whose setpoint steps, scipy, pandas."""

import csv
import math

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from rules.charts import (
    CusumChart,
    DeviationChart,
    EngineeringLimitsChart,
    IndividualsChart,
    StandardizedChart,
    make,
    make_row,
)
from rules.charts.moving_range import sigma_from_moving_ranges
from rules.charts.short_run_deviation import deviation_chart
from rules.constants import d2
from tests import outside


def real_switchover():
    """Cycle, actual and set switchover volume in cm3 of 159 shots of a real press; 0 was not written."""
    with (outside.folder() / "data" / "real-cap-run" / "shots.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    columns = ("cycle", "V_um_ist", "rec_Umschaltpunkt")
    cycle, actual, setpoint = (np.array([float(row[name]) for row in rows]) for name in columns)
    return cycle.astype(int), np.where(actual == 0, np.nan, actual), setpoint


def test_a_new_setpoint_of_a_real_press_moves_the_values_but_not_the_deviations():
    # The press repeats its switchover to 0.005 cm3. The setpoint was stepped seven times and is recorded one
    # shot before the screw obeys, so that shot is off by the step.
    cycle, actual, setpoint = real_switchover()
    chart = DeviationChart(-0.005, 0.005)
    _, as_recorded = chart.run(np.column_stack([actual, setpoint]))
    assert [cycle[i] for i, _ in as_recorded.signals] == [281, 293, 305, 320, 335, 351, 366]
    obeyed = np.r_[setpoint[0], setpoint[:-1]]
    assert chart.run(np.column_stack([actual, obeyed]))[1].signals == ()
    # A chart of the values from the first 30 shots, all at 13.5, is out on every shot at another setting.
    first, known = actual[:30], ~np.isnan(actual)
    plain = IndividualsChart(float(np.nanmean(first)), sigma_from_moving_ranges(first))
    signals = {i for i, _ in plain.run(actual)[1].signals}
    assert signals >= set(np.flatnonzero(known & (np.abs(obeyed - 13.5) > 0.009)).tolist())


def test_deviations_from_a_common_sigma_have_exact_false_alarms():
    rng = np.random.default_rng(8)
    nominal = np.repeat(rng.uniform(20, 200, 2_000), 100)
    rows = np.column_stack([nominal + 0.25 + 1.5 * rng.standard_normal(nominal.size), nominal])
    _, track = DeviationChart.from_sigma(1.5, center=0.25, width=2.5).run(rows)
    exact = 2 * stats.norm.sf(2.5)
    share = len(track.signals) / len(rows)
    assert share == pytest.approx(exact, abs=4 * math.sqrt(exact / len(rows)))


def test_the_chart_of_deviations_from_short_runs():
    # By hand: deviations 1, 3, 2, 2, 4; ranges 2, 1, 0, 2 with mean 1.25, sigma 1.25 / d2(2).
    rows = [[11, 10], [13, 10], [22, 20], [22, 20], [34, 30]]
    limits = deviation_chart(rows).limits()
    reach = 3 * 1.25 / d2(2)
    assert (limits.lower, limits.center, limits.upper) == pytest.approx((2.4 - reach, 2.4, 2.4 + reach))
    with_gap = deviation_chart([*rows, [math.nan, 30], [5, math.nan]])
    assert with_gap.limits() == limits


def test_deviations_may_have_limits_that_a_person_gives():
    chart = DeviationChart(-6.0, 2.0)
    _, track = chart.run(
        [[214.0, 220.0], [213.9, 220.0], [232.1, 230.0], [math.nan, 220.0], [222.0, math.nan]]
    )
    assert track.signals == ((1, "beyond_limit"), (2, "beyond_limit"))
    np.testing.assert_allclose(track.share[:3], [1, 6.1 / 6, 2.1 / 2])
    np.testing.assert_array_equal(np.isnan(track.statistic), [False] * 3 + [True] * 2)
    assert track.direction.tolist() == [-1, -1, 1, 0, 0]


def test_engineering_limits_bear_wandering_that_no_chart_of_sigma_bears():
    # A random walk, phi = 1: from its first 500 values neither sigma nor center holds for the rest. By
    # pandas' own comparison the wide limits signal where the walk is outside and nowhere else.
    walk = 80 + np.cumsum(0.4 * np.random.default_rng(14).standard_normal(20_000))
    sigma = float(np.abs(np.diff(walk[:500])).mean()) / d2(2)
    plain = IndividualsChart(float(walk[:500].mean()), sigma).run(walk)[1].signals
    assert len(plain) > 15_000
    lower, upper = np.quantile(walk, [0.02, 0.99])
    chart = EngineeringLimitsChart(float(lower), float(upper))
    outside = np.flatnonzero(~pd.Series(walk).between(lower, upper))
    assert [i for i, _ in chart.run(walk)[1].signals] == outside.tolist()
    assert 0.02 < outside.size / walk.size < 0.04


def test_engineering_limits_need_not_be_alike_on_both_sides():
    chart = EngineeringLimitsChart(60.0, 100.0, center=90.0)
    _, track = chart.run([90.0, 60.0, 75.0, 95.0, 59.0])
    np.testing.assert_allclose(track.share, [0, 1, 0.5, 0.5, 31 / 30])
    assert track.signals == ((4, "beyond_limit"),)
    assert EngineeringLimitsChart(60.0, 100.0).limits().center == 80.0


def test_standardized_values_of_kinds_that_scatter_differently():
    # scipy standardises each kind by itself; a chart of them is that of independent N(0, 1) values.
    rng = np.random.default_rng(15)
    kinds = [(12.0, 0.2), (55.0, 3.0), (7.0, 0.05)]
    values = [center + sigma * rng.standard_normal(400) for center, sigma in kinds]
    rows = np.concatenate(
        [np.column_stack([x, np.full(400, x.mean()), np.full(400, x.std())]) for x in values]
    )
    rng.shuffle(rows)
    z = np.concatenate([stats.zscore(x) for x in values])
    _, track = StandardizedChart().run(rows)
    np.testing.assert_allclose(np.sort(track.statistic), np.sort(z), atol=1e-9)
    assert len(track.signals) == (np.abs(z) > 3).sum()


def test_standardized_values_can_feed_a_cusum():
    rng = np.random.default_rng(16)
    sigma, nominal = rng.uniform(0.5, 4, 500), rng.uniform(10, 90, 500)
    z = rng.standard_normal(500) + 0.7
    _, ours = StandardizedChart("cusum", {"k": 0.4, "h": 4.5}).run(
        np.column_stack([nominal + sigma * z, nominal, sigma])
    )
    _, plain = CusumChart(0, 1, k=0.4, h=4.5).run(z)
    np.testing.assert_allclose(ours.statistic, plain.statistic, atol=1e-9)
    assert ours.signals == plain.signals != ()


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"lower": 2.0, "upper": 1.0}, "has limits 2.0 and 1.0 and a center of 0.0; give a center between"),
        ({"lower": 0.0, "upper": 1.0}, "center of 0.0; give a center between a lower and an upper limit"),
        ({"lower": -math.inf, "upper": 1.0}, "lower of the deviation chart is -inf; give a finite number"),
        ({"lower": -1.0}, "cannot be built from lower"),
    ],
)
def test_parameters_that_make_no_deviation_chart_are_refused(wrong, said):
    with pytest.raises(ValueError, match=said):
        make_row("deviation", wrong)


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"lower": 2.0, "upper": 1.0}, "engineering_limits chart has limits 2.0 and 1.0"),
        ({"lower": 0.0, "upper": 1.0, "center": 1.0}, "and a center of 1.0"),
        ({"lower": 0.0, "upper": math.nan}, "center of the engineering_limits chart is nan"),
    ],
)
def test_parameters_that_make_no_engineering_limits_are_refused(wrong, said):
    with pytest.raises(ValueError, match=said):
        make("engineering_limits", wrong)


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (lambda: DeviationChart.from_sigma(0.0), "sigma of the deviation chart is 0.0"),
        (lambda: DeviationChart.from_sigma(1.0, width=0.0), "width of the deviation chart is 0.0"),
        (lambda: DeviationChart.from_sigma(1.0, center=math.inf), "center of the deviation chart is inf"),
        (lambda: deviation_chart([[1.0, 1.0]]), "two values next to each other"),
        (lambda: deviation_chart([[1.0, 1.0], [2.0, 2.0]]), "All values deviate alike"),
        (lambda: StandardizedChart("setting"), "standardized chart cannot hold a chart 'setting'"),
        (lambda: StandardizedChart("cusum", {"sigma": 2.0}), "sigma of the inner chart follows from the"),
        (lambda: StandardizedChart("cusum", {"h": -1.0}), "h of the cusum chart is -1.0"),
        (lambda: StandardizedChart().run([[1.0, 1.0, 0.0]]), "given a sigma of 0; give numbers above zero"),
        (
            lambda: StandardizedChart().load_state({"version": 1, "inner": 3}),
            "no state of the standardized chart: it lacks the inner chart's",
        ),
    ],
)
def test_what_makes_no_short_run_chart_is_refused(asked, said):
    with pytest.raises(ValueError, match=said):
        asked()
