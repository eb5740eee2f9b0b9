"""The plan of a characteristic: charts that survive being stored, a budget kept, solutions shared."""

from __future__ import annotations

import json
import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.plan import Budget, charts_from_json, coarse_shift, plan_key
from rules.budget import coarse
from rules.charts import Chart, CusumChart, IndividualsChart
from rules.limits import Baseline
from rules.run_length import combined_ar1_arl

FLOOR = Budget(false_alarms_per_day=1.0, characteristics=10, cycle_time_s=60.0)


def baseline(phi: float = 0.0, n: int = 1000, sigma: float = 2.0) -> Baseline:
    return Baseline(center=50.0, sigma=sigma, n=n, phi=phi, sigma_method="total" if phi else "moving_range")


def charts(found: Baseline, **kwargs: float) -> tuple[IndividualsChart, CusumChart]:
    single, cusum = plan_key("cushion", found, FLOOR, version=1, **kwargs).charts
    assert isinstance(single, IndividualsChart)
    assert isinstance(cusum, CusumChart)
    return single, cusum


@pytest.mark.parametrize("phi", [0.0, 0.5])
def test_charts_come_back_from_the_store_as_they_were(phi: float) -> None:
    made = plan_key("cushion", baseline(phi), FLOOR, version=1, minimum_shift=1.5)

    assert charts_from_json(json.loads(json.dumps(made.charts_json()))) == made.charts


def test_given_parameters_spend_the_share_of_the_characteristic_exactly() -> None:
    known = Baseline(center=50.0, sigma=2.0, n=0, phi=0.5, sigma_method="given")

    single, cusum = charts(known)

    arl = combined_ar1_arl(width=single.width, k=cusum.k, h=cusum.h, phi=0.5)
    assert arl == pytest.approx(14_400, rel=5e-3)


def test_a_shorter_or_more_correlated_baseline_makes_wider_charts() -> None:
    usual, short, alike = (charts(each) for each in (baseline(), baseline(n=300), baseline(phi=0.5)))

    assert usual[0].width < short[0].width
    assert usual[1].h < short[1].h
    assert usual[1].h < alike[1].h


def test_the_minimum_shift_is_held_by_both_charts_and_known_to_the_solver() -> None:
    """Three units are 1.5 sigma: the CUSUM looks for no less and decides on fewer shots."""
    plain, held = charts(baseline()), charts(baseline(), minimum_shift=3.0)

    assert held[0].minimum_shift == held[1].minimum_shift == 3.0
    assert held[1].k == pytest.approx(1.5)
    assert held[1].h < plain[1].h


def test_a_minimum_shift_is_never_rounded_up() -> None:
    for sigmas in (0.51, 0.6, 0.6999, 1.0, 2.34):
        assert sigmas - 0.1 < coarse_shift(sigmas) <= sigmas + 1e-9
    assert coarse_shift(0.4) == 0.0


def test_the_autocorrelation_is_rounded_finer_than_the_baseline_tells_it() -> None:
    """Its standard error is the root of (1 - phi^2) / n: 0.19 for 25 shots, 0.019 for 1,000 at 0.8."""
    assert coarse(0.33, 25) == pytest.approx(0.35)
    assert coarse(0.798, 1000) == pytest.approx(0.8)
    assert coarse(0.999, 1000) <= 0.99


def test_nearly_equal_characteristics_share_one_solution() -> None:
    plan_key("cushion", baseline(phi=0.402, n=1004), FLOOR, version=1)
    began = time.process_time()
    again = plan_key("recovery_time", baseline(phi=0.399, n=996), FLOOR, version=2)
    took = time.process_time() - began

    assert took < 0.05
    assert again.charts[1].parameters()["h"] == charts(baseline(phi=0.4))[1].h


def test_the_cost_that_is_stored_is_that_of_the_floor() -> None:
    made = plan_key("cushion", baseline(phi=0.3), FLOOR, version=1)

    assert made.cost["false_alarms_per_day"] == pytest.approx(1.0, rel=5e-3)
    assert made.cost["false_alarms_per_shift"] == pytest.approx(1 / 3, rel=5e-3)


@settings(max_examples=200, deadline=None)
@given(
    z=st.lists(st.floats(-9, 9), max_size=60),
    minimum_shift=st.sampled_from([0.0, 0.3, 5.0]),
)
def test_how_far_one_shot_counts_leaves_the_first_signal_where_it_was(
    z: list[float], minimum_shift: float
) -> None:
    """Only a shot that signals by itself is cut short in the sums, so run lengths hold as computed."""
    baseline = Baseline(center=31.0, sigma=0.1, n=400)
    single, sums = plan_key("cushion", baseline, FLOOR, version=1, minimum_shift=minimum_shift).charts
    plain = CusumChart.from_parameters({**sums.parameters(), "reach": None})
    x = [31.0 + 0.1 * each for each in z]

    def first(*charts: Chart) -> int | None:
        return min((index for chart in charts for index, _ in chart.run(x)[1].signals), default=None)

    assert first(single, sums) == first(single, plain)


def test_one_bad_shot_signals_once_and_not_for_a_dozen_good_ones_after_it() -> None:
    baseline = Baseline(center=31.0, sigma=0.1, n=400)
    charts = plan_key("cushion", baseline, FLOOR, version=1).charts
    x = [31.0] * 5 + [34.0] + [31.0] * 20
    assert [index for chart in charts for index, _ in chart.run(x)[1].signals] == [5]


def test_limits_that_rest_on_enough_shots_keep_to_the_budget_before_anybody_approves_them() -> None:
    few, many = baseline(phi=0.0, n=25), baseline(phi=0.0, n=300)

    assert FLOOR.provisional(few).false_alarms_per_day == 5.0 * FLOOR.false_alarms_per_day
    assert FLOOR.provisional(many) == FLOOR
