"""Charts against worked examples of the NIST/SEMATECH handbook and a textbook.

Handbook: NIST/SEMATECH e-Handbook of Statistical Methods. Textbook: Montgomery, Introduction to Statistical
Quality Control (Wiley). Data and printed results of both were recalled from memory; recomputing gives the
recalled print in every digit quoted, which ties the data down. The print rounds d2(2) to 1.128; we do not.
"""

import math
import sys

import numpy as np
import pytest

from rules.charts import CusumChart, EwmaChart, IndividualsChart, MovingRangeChart
from rules.charts.moving_range import sigma_from_moving_ranges
from tests.rules.chart_suite import sums

FLOW_RATE = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
VISCOSITY = [
    *(33.75, 33.05, 34.00, 33.81, 33.46, 34.02, 33.68, 33.27),
    *(33.49, 33.20, 33.62, 33.00, 33.54, 33.12, 33.84),
]
LOAN_COST = [
    310,
    288,
    297,
    298,
    307,
    303,
    294,
    297,
    308,
    306,
    294,
    299,
    297,
    299,
    314,
    295,
    293,
    306,
    301,
    304,
]

# Handbook 6.3.2.2 (flow rate), textbook examples on paint viscosity and loan cost: values, then mean, lower
# and upper limit, upper limit of the moving range as printed, and half a unit of the last digit printed.
IMR = {
    "flow rate": (FLOW_RATE, (50.81, 45.8159, 55.8041, 6.1347), 0.00005),
    "viscosity": (VISCOSITY, (33.52, 32.24, 34.80, 1.57), 0.005),
    "loan cost": (LOAN_COST, (300.5, 279.78, 321.22, 25.45), 0.005),
}


@pytest.mark.parametrize(("x", "printed", "half_unit"), IMR.values(), ids=IMR)
def test_individuals_and_moving_range_limits_are_the_printed_ones(x, printed, half_unit):
    sigma = sigma_from_moving_ranges(x)
    chart, ranges = IndividualsChart(float(np.mean(x)), sigma), MovingRangeChart(sigma)
    single = chart.limits()
    ours = (single.center, single.lower, single.upper, ranges.limits().upper)
    rounding_of_d2 = 3 * sigma * (2 / math.sqrt(math.pi) / 1.128 - 1)
    np.testing.assert_allclose(ours, printed, rtol=0, atol=half_unit + rounding_of_d2)
    assert chart.run(x)[1].signals == ()
    assert ranges.run(x)[1].signals == ()


def test_with_the_rounded_d2_the_handbook_limits_come_out_to_the_last_digit():
    sigma = sigma_from_moving_ranges(FLOW_RATE) * 2 / math.sqrt(math.pi) / 1.128
    limits = IndividualsChart(50.81, sigma).limits()
    assert (round(limits.lower, 4), round(limits.upper, 4)) == (45.8159, 55.8041)


# Handbook 6.3.2.3: target 325, sigma 0.635, k = 0.3175 and h = 4.1959 in the unit of the values; sums to two
# decimals. Signals from value 14 on; the sums are not reset.
CUSUM_X = [
    *(324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600),
    *(324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350),
]
CUSUM_UPPER = [0, 0, 0, 0, 0.03, 0, 0, 0, 0, 0, 0, 0, 3.01, 4.94, 7.45, 10.63, 11.99, 14.45, 16.00, 19.04]
CUSUM_LOWER = [0, 0.01, 0, 0.33, 0, 0, 0.56, 0.72, 0.17, 0.26, 0.31, *[0] * 9]


def test_tabular_cusum_of_the_handbook():
    chart = CusumChart(325, 0.635, k=0.5, h=4.1959 / 0.635, cap=sys.float_info.max)
    ours = 0.635 * sums(chart, CUSUM_X)
    np.testing.assert_allclose(ours[:, 0], CUSUM_UPPER, rtol=0, atol=0.00501)
    np.testing.assert_allclose(ours[:, 1], CUSUM_LOWER, rtol=0, atol=0.00501)
    _, track = chart.run(CUSUM_X)
    assert track.signals == tuple((i, "beyond_limit") for i in range(13, 20))
    np.testing.assert_allclose(np.abs(track.statistic) * 0.635, ours.max(axis=1))


# Textbook, chapter on CUSUM and EWMA: 20 values from N(10, 1), then 10 from N(11, 1).
TEXTBOOK_X = [
    *(9.45, 7.99, 9.29, 11.66, 12.16, 10.18, 8.04, 11.46, 9.20, 10.34),
    *(9.03, 11.47, 10.51, 9.40, 10.08, 9.37, 10.62, 10.31, 8.52, 10.84),
    *(10.90, 9.33, 12.29, 11.50, 10.60, 11.08, 10.38, 11.62, 11.31, 10.52),
]
TEXTBOOK_UPPER = [
    *(0, 0, 0, 1.16, 2.82, 2.50, 0.04, 1.00, 0, 0, 0, 0.97, 0.98, 0, 0, 0, 0.12, 0, 0, 0.34),
    *(0.74, 0, 1.79, 2.79, 2.89, 3.47, 3.35, 4.47, 5.28, 5.30),
]
TEXTBOOK_LOWER = [
    *(0.05, 1.56, 1.77, 0, 0, 0, 1.46, 0, 0.30, 0, 0.47, 0, 0, 0.10, 0, 0.13, 0, 0, 0.98, 0),
    *(0, 0.17, 0, 0, 0, 0, 0, 0, 0, 0),
]


def test_tabular_cusum_of_the_textbook():
    chart = CusumChart(10, 1, k=0.5, h=5)
    ours = sums(chart, TEXTBOOK_X)
    np.testing.assert_allclose(ours[:, 0], TEXTBOOK_UPPER, rtol=0, atol=0.00501)
    np.testing.assert_allclose(ours[:, 1], TEXTBOOK_LOWER, rtol=0, atol=0.00501)
    assert [i for i, _ in chart.run(TEXTBOOK_X)[1].signals] == [28, 29]


def test_ewma_of_the_textbook():
    # lambda 0.10, L = 2.7. Averages at 1, 2, 15, 28, 29, 30 and limits at 1, 2 and in the long run,
    # recomputed; the first signal is value 29, since 28 (10.5731) is inside its limit.
    chart = EwmaChart(10, 1, lam=0.1, width=2.7, asymptotic=False)
    _, track = chart.run(TEXTBOOK_X)
    seen = [track.statistic[i - 1] for i in (1, 2, 15, 28, 29, 30)]
    np.testing.assert_allclose(seen, [9.945, 9.7495, 10.05251, 10.57314, 10.64682, 10.63414], atol=5e-6)
    reach = np.abs(track.statistic - 10) / track.share
    np.testing.assert_allclose(reach[:2], [0.27, 0.36325], atol=5e-6)
    assert chart.limits().upper == pytest.approx(10.61942, abs=5e-6)
    assert [i for i, _ in track.signals] == [28, 29]


def test_ewma_of_the_handbook():
    # Handbook 6.3.2.4: lambda 0.3, start 50, s = 2.0539; averages to two decimals, limits to four (the lower
    # one is printed cut off, not rounded).
    x = [
        *(52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5),
        *(49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1),
    ]
    printed = [
        *(50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33),
        *(50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99),
    ]
    chart = EwmaChart(50, 2.0539, lam=0.3)
    _, track = chart.run(x)
    np.testing.assert_allclose(track.statistic, printed, rtol=0, atol=0.00501)
    np.testing.assert_allclose(
        (chart.limits().lower, chart.limits().upper), (47.4115, 52.5884), rtol=0, atol=1e-4
    )
    assert track.signals == ()


def test_an_ewma_with_full_weight_is_an_individuals_chart():
    x = np.random.default_rng(3).normal(size=500)
    _, average = EwmaChart(0, 1, lam=1).run(x)
    _, single = IndividualsChart(0, 1).run(x)
    np.testing.assert_array_equal(average.statistic, single.statistic)
    assert average.signals == single.signals


def test_a_cap_brings_the_cusum_back_soon():
    # By arithmetic: 30 values 3 sigma high leave 30 (3 - k) = 75; from there it takes (75 - h) / k = 140
    # good values to come back inside, from the cap 7 it takes 4.
    x = [3.0] * 30 + [0.0] * 200
    for cap, needed in ((sys.float_info.max, 140), (None, 4)):
        last, _ = CusumChart(0, 1, cap=cap).run(x)[1].signals[-1]
        assert last - 29 == needed - 1


def test_a_head_start_finds_an_early_shift_sooner():
    # Lucas and Crosier (1982), h = 4, k = 0.5, a shift of 1 sigma from the first value on: a mean of 8.38
    # shots without and 5.29 with a head start of h / 2.
    x = np.random.default_rng(5).normal(loc=1, size=(4000, 60))
    for head_start, published in ((0.0, 8.38), (2.0, 5.29)):
        chart = CusumChart(0, 1, h=4, head_start=head_start)
        first = np.array([chart.run(row)[1].signals[0][0] + 1 for row in x])
        assert first.mean() == pytest.approx(published, abs=4 * first.std() / math.sqrt(len(first)))


def test_a_minimum_shift_silences_what_is_too_small_to_matter():
    # A shift of 2 sigma that engineering calls too small (below 3) never builds up; one of 4 does at once.
    small, large = [2.0] * 500, [4.0] * 20
    cusum = CusumChart(0, 1, minimum_shift=3.0)
    assert cusum.run(small)[1].signals == ()
    assert cusum.run(large)[1].signals[0] == (5, "beyond_limit")
    single = IndividualsChart(0, 0.5, minimum_shift=3.0)
    assert single.run(small)[1].signals == ()
    assert single.run([3.0, 3.25])[1].signals == ((1, "beyond_limit"),)


def test_no_sigma_without_two_neighboring_values():
    with pytest.raises(ValueError, match="two values next to each other"):
        sigma_from_moving_ranges([1.0, math.nan, 3.0])
