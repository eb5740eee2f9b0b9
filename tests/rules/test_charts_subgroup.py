"""Subgroup charts against printed textbook examples, NIST data and scipy.

Textbook: Montgomery, Introduction to Statistical Quality Control (Wiley), flow width of a hard-bake process
(Tables 6.1 and Example 6.1) and inside diameter of piston rings (Table 6.3). The data were partly recalled;
their printed row means, ranges and standard deviations come out to the last digit. The prints use factors
rounded to three decimals; ours are exact.
"""

import math

import numpy as np
import pytest
from scipy import stats

from rules.charts import IndividualsChart, SubgroupMeanChart, SubgroupRangeChart, SubgroupSdChart, make_row
from rules.charts.subgroup_baseline import mean_and_range_charts, mean_and_sd_charts, subgroup_baseline
from rules.constants import c4, factors
from tests import outside

FLOW_WIDTH = [
    (1.3235, 1.4128, 1.6744, 1.4573, 1.6914),
    (1.4314, 1.3592, 1.6075, 1.4666, 1.6109),
    (1.4284, 1.4871, 1.4932, 1.4324, 1.5674),
    (1.5028, 1.6352, 1.3841, 1.2831, 1.5507),
    (1.5604, 1.2735, 1.5265, 1.4363, 1.6441),
    (1.5955, 1.5451, 1.3574, 1.3281, 1.4198),
    (1.6274, 1.5064, 1.8366, 1.4177, 1.5144),
    (1.4190, 1.4303, 1.6637, 1.6067, 1.5519),
    (1.3884, 1.7277, 1.5355, 1.5176, 1.3688),
    (1.4039, 1.6697, 1.5089, 1.4627, 1.5220),
    (1.4158, 1.7667, 1.4278, 1.5928, 1.4181),
    (1.5821, 1.3355, 1.5777, 1.3908, 1.7559),
    (1.2856, 1.4106, 1.4447, 1.6398, 1.1928),
    (1.4951, 1.4036, 1.5893, 1.6458, 1.4969),
    (1.3589, 1.2863, 1.5996, 1.2497, 1.5471),
    (1.5747, 1.5301, 1.5171, 1.1839, 1.8662),
    (1.3680, 1.7269, 1.3957, 1.5014, 1.4449),
    (1.4163, 1.3864, 1.3057, 1.6210, 1.5573),
    (1.5796, 1.4185, 1.6541, 1.5116, 1.7247),
    (1.7106, 1.4412, 1.2361, 1.3820, 1.7601),
    (1.4371, 1.5051, 1.3485, 1.5670, 1.4880),
    (1.4738, 1.5936, 1.6583, 1.4973, 1.4720),
    (1.5917, 1.4333, 1.5551, 1.5295, 1.6866),
    (1.6399, 1.5243, 1.5705, 1.5563, 1.5530),
    (1.5797, 1.3663, 1.6240, 1.3732, 1.6887),
]

PISTON_RINGS = [
    (74.030, 74.002, 74.019, 73.992, 74.008),
    (73.995, 73.992, 74.001, 74.011, 74.004),
    (73.988, 74.024, 74.021, 74.005, 74.002),
    (74.002, 73.996, 73.993, 74.015, 74.009),
    (73.992, 74.007, 74.015, 73.989, 74.014),
    (74.009, 73.994, 73.997, 73.985, 73.993),
    (73.995, 74.006, 73.994, 74.000, 74.005),
    (73.985, 74.003, 73.993, 74.015, 73.988),
    (74.008, 73.995, 74.009, 74.005, 74.004),
    (73.998, 74.000, 73.990, 74.007, 73.995),
    (73.994, 73.998, 73.994, 73.995, 73.990),
    (74.004, 74.000, 74.007, 74.000, 73.996),
    (73.983, 74.002, 73.998, 73.997, 74.012),
    (74.006, 73.967, 73.994, 74.000, 73.984),
    (74.012, 74.014, 73.998, 73.999, 74.007),
    (74.000, 73.984, 74.005, 73.998, 73.996),
    (73.994, 74.012, 73.986, 74.005, 74.007),
    (74.006, 74.010, 74.018, 74.003, 74.000),
    (73.984, 74.002, 74.003, 74.005, 73.997),
    (74.000, 74.010, 74.013, 74.020, 74.003),
    (73.982, 74.001, 74.015, 74.005, 73.996),
    (74.004, 73.999, 73.990, 74.006, 74.009),
    (74.010, 73.989, 73.990, 74.009, 74.014),
    (74.015, 74.008, 73.993, 74.000, 74.010),
    (73.982, 73.984, 73.995, 74.017, 74.013),
]


def near(expected, rounding=0.0):
    return pytest.approx(expected, rel=1e-9, abs=rounding + 1e-9)


def test_flow_width_has_the_printed_means_and_ranges():
    means, ranges = mean_and_range_charts(FLOW_WIDTH)
    _, mean = means.run(FLOW_WIDTH)
    _, spread = ranges.run(FLOW_WIDTH)
    first_and_last = (mean.statistic[0], mean.statistic[12], mean.statistic[24])
    assert tuple(round(value, 4) for value in first_and_last) == (1.5119, 1.3947, 1.5264)
    assert (mean.statistic.sum(), spread.statistic.sum()) == (near(37.64026), near(8.1302))
    assert mean.signals == spread.signals == ()


def test_flow_width_has_the_printed_limits_from_ranges():
    # Printed: mean range 0.32521, limits 1.31795 and 1.69325 with A2 = 0.577, 0.68749 with D4 = 2.114. The
    # print rounds the factors, ours may differ by what that rounding moves.
    found, f = subgroup_baseline(FLOW_WIDTH), factors(5)
    means, ranges = mean_and_range_charts(FLOW_WIDTH)
    assert (found.grand_mean, found.mean_range) == (near(1.5056104), near(0.325208))
    limits, width = means.limits(), 0.325208 * abs(f.a2 - 0.577)
    assert (limits.lower, limits.upper) == (near(1.317965384, width), near(1.693255416, width))
    assert ranges.limits().lower == 0
    assert ranges.limits().upper == near(0.687489712, 0.325208 * abs(f.upper_d4 - 2.114))
    assert found.sigma_from_ranges == near(0.139814273431, 0.325208 * abs(1 / f.d2 - 1 / 2.326))


def test_with_the_rounded_factor_the_printed_limits_come_out_to_the_last_digit():
    limits = SubgroupMeanChart(1.5056104, 0.577 * 0.325208 * math.sqrt(5) / 3, 5).limits()
    assert (limits.lower, limits.upper) == (near(1.317965384), near(1.693255416))
    assert (round(limits.lower, 4), round(limits.upper, 4)) == (1.3180, 1.6933)


def test_flow_width_limits_from_standard_deviations():
    # NIST/SEMATECH e-Handbook 6.3.2.1, exact factors, recomputed.
    found = subgroup_baseline(FLOW_WIDTH)
    means, spreads = mean_and_sd_charts(FLOW_WIDTH)
    assert (found.mean_sd, found.sigma_from_sds) == (near(0.131554635165), near(0.139953883067))
    assert found.pooled_sd == near(0.139076897003)
    assert (means.limits().lower, means.limits().upper) == (near(1.31784256225), near(1.69337823775))
    assert (spreads.limits().lower, spreads.limits().upper) == (0, near(0.274817352469))
    assert means.run(FLOW_WIDTH)[1].signals == spreads.run(FLOW_WIDTH)[1].signals == ()


def test_piston_rings_have_the_printed_limits_both_ways():
    # Printed: mean 74.001, mean range 0.023, mean standard deviation 0.0094; limits 73.988 and 74.014 either
    # way, range 0.049, standard deviation 0.0196.
    found, f = subgroup_baseline(PISTON_RINGS), factors(5)
    assert (found.grand_mean, found.mean_range) == (near(74.001176), near(0.02324))
    assert found.mean_sd == near(0.00939948388574)
    by_range, ranges = mean_and_range_charts(PISTON_RINGS)
    by_sd, spreads = mean_and_sd_charts(PISTON_RINGS)
    assert by_range.limits().upper == near(74.01458548, 0.02324 * abs(f.a2 - 0.577))
    assert by_sd.limits().upper == near(74.0145890635, 0.0094 * abs(f.a3 - 1.427))
    for chart in (by_range, by_sd):
        assert (round(chart.limits().lower, 3), round(chart.limits().upper, 3)) == (73.988, 74.015)
    assert (round(ranges.limits().upper, 3), round(spreads.limits().upper, 4)) == (0.049, 0.0196)
    for chart in (by_range, by_sd, ranges, spreads):
        assert chart.run(PISTON_RINGS)[1].signals == ()


def test_piston_rings_have_the_printed_standard_deviations():
    _, track = SubgroupSdChart(0.01, 5).run(PISTON_RINGS)
    printed = [
        *(0.0148, 0.0075, 0.0147, 0.0091, 0.0122, 0.0087, 0.0055, 0.0123, 0.0055, 0.0063, 0.0029, 0.0042),
        *(0.0105, 0.0153, 0.0073, 0.0078, 0.0106, 0.0070, 0.0085, 0.0080, 0.0122, 0.0074, 0.0119, 0.0087),
        0.0162,
    ]
    np.testing.assert_allclose(track.statistic, printed, rtol=0, atol=0.000051)


def nist(name):
    lines = (outside.folder() / "data" / "nist-handbook" / name).read_text().splitlines()[25:]
    return np.array([line.split()[0] for line in lines if line.strip()], dtype=float).reshape(-1, 5)


def test_silicon_wafers_of_nist_are_out_on_the_last_day_on_both_charts():
    # SILICON.DAT, 20 days of 5; results recomputed from the public file with A2 = 0.577 and D4 = 2.114.
    rows = nist("SILICON.DAT")
    means, ranges = mean_and_range_charts(rows)
    assert (means.limits().lower, means.limits().upper) == (near(22.5432, 1e-3), near(24.9088, 1e-3))
    assert ranges.limits().upper == near(4.3337, 2e-3)
    for chart in (means, ranges):
        assert chart.run(rows)[1].signals == ((19, "beyond_limit"),)


def test_water_content_of_ishikawa_is_in_control():
    # ISHIKA66.DAT, Ishikawa, Guide to Quality Control: mean 12.94, mean range 1.35, nothing out.
    rows = nist("ISHIKA66.DAT")
    found = subgroup_baseline(rows)
    assert (round(found.grand_mean, 2), round(found.mean_range, 2)) == (12.94, 1.35)
    for charts in (mean_and_range_charts(rows), mean_and_sd_charts(rows)):
        assert [chart.run(rows)[1].signals for chart in charts] == [(), ()]


def test_a_subgroup_of_rings_is_judged_by_its_own_scatter_not_by_its_setting():
    # 120 groups of 10 ground rings, each made at another setting: the means move by far, the scatter within
    # does not. Factors as printed by Walpole et al., Table A.22: A3(10) = 0.975, B3 = 0.284, B4 = 1.716.
    file = outside.folder() / "data" / "piston-rings" / "grinding.csv"
    rows = np.loadtxt(file, delimiter=",", skiprows=1, usecols=8).reshape(120, 10)
    spread, level = rows.std(axis=1, ddof=1), rows.mean(axis=1)
    means, spreads = mean_and_sd_charts(rows)
    beyond = np.flatnonzero((spread > 1.716 * spread.mean()) | (spread < 0.284 * spread.mean()))
    assert [i for i, _ in spreads.run(rows)[1].signals] == beyond.tolist()
    assert beyond.size == 3
    off = np.flatnonzero(np.abs(level - level.mean()) > 0.975 * spread.mean())
    assert [i for i, _ in means.run(rows)[1].signals] == off.tolist()
    assert off.size == 27


def test_false_alarms_of_means_and_standard_deviations_are_the_exact_ones():
    # Means are normal: 2 Phi(-3). Of 5 values (n - 1) s^2 / sigma^2 is chi-squared with 4 degrees of freedom.
    rows = 7 + 2 * np.random.default_rng(21).standard_normal((400_000, 5))
    for chart, exact in (
        (SubgroupMeanChart(7, 2, 5), 2 * stats.norm.sf(3)),
        (SubgroupSdChart(2, 5), stats.chi2(4).sf(4 * factors(5).b6 ** 2)),
        (SubgroupRangeChart(2, 5), stats.studentized_range(5, np.inf).sf(factors(5).upper_d2)),
    ):
        share = len(chart.run(rows)[1].signals) / len(rows)
        assert share == pytest.approx(exact, abs=4 * math.sqrt(exact / len(rows)))


def test_a_missing_value_leaves_a_subgroup_with_the_limits_of_the_others():
    # Factors of 4 values as printed by Walpole et al., Table A.22: A3 = 1.628, B4 = 2.266, D4 = 2.282.
    sd_of_four, range_of_four = c4(4), factors(4).d2
    means, spreads, ranges = SubgroupMeanChart(0, 1, 5), SubgroupSdChart(1, 5), SubgroupRangeChart(1, 5)
    limit = 1.628 * sd_of_four
    for off, signals in ((0.999, ()), (1.001, ("beyond_limit",))):
        assert means.step(means.start(), [off * limit] * 4 + [math.nan])[1].signals == signals
    reach = 2.266 * sd_of_four / math.sqrt(4 / 3)  # two at each end: s is half the distance times sqrt(4/3)
    for off, signals in ((0.999, ()), (1.001, ("beyond_limit",))):
        row = [off * reach, math.nan, -off * reach, off * reach, -off * reach]
        assert spreads.step(spreads.start(), row)[1].signals == signals
    for off, signals in ((0.999, ()), (1.001, ("beyond_limit",))):
        row = [0.0, off * 2.282 * range_of_four, math.inf, 1.0, 1.0]
        assert ranges.step(ranges.start(), row)[1].signals == signals


def test_one_value_has_a_mean_but_no_scatter():
    row = [math.nan, 3.5, math.nan]
    chart = SubgroupMeanChart(0, 1, 3)
    _, point = chart.step(chart.start(), row)
    assert (point.statistic, point.share) == (3.5, pytest.approx(3.5 / 3))
    for chart in (SubgroupSdChart(1, 3), SubgroupRangeChart(1, 3)):
        assert math.isnan(chart.step(chart.start(), row)[1].statistic)


def test_a_baseline_of_uneven_subgroups_takes_each_with_its_own_factor():
    # Unbiased for either: mean range / d2(n) and s / c4(n) of each subgroup.
    rng = np.random.default_rng(3)
    rows = 50 + 4 * rng.standard_normal((20_000, 6))
    rows[rng.random(rows.shape) < 0.3] = np.nan
    found = subgroup_baseline(rows)
    assert found.sigma_from_ranges == pytest.approx(4, rel=0.01)
    assert found.sigma_from_sds == pytest.approx(4, rel=0.01)
    assert found.pooled_sd == pytest.approx(4, rel=0.01)
    assert found.grand_mean == pytest.approx(np.nanmean(rows))
    assert found.groups == (np.isfinite(rows).sum(axis=1) >= 2).sum()


def test_run_rules_of_means_are_those_of_single_values():
    rows = np.random.default_rng(6).normal(10, 2, size=(3000, 4))
    rules = ("beyond_limit", "same_side", "two_of_three")
    _, means = SubgroupMeanChart(10, 2, 4, rules=rules).run(rows)
    _, single = IndividualsChart(10, 1, rules=rules).run(rows.mean(axis=1))
    assert means.signals == single.signals
    assert {rule for _, rule in means.signals} == set(rules)


def test_a_mean_has_an_engineering_minimum():
    chart = SubgroupMeanChart(0, 1, 4, minimum_shift=5.0)
    assert chart.run([[4.9] * 4, [5.1] * 4])[1].signals == ((1, "beyond_limit"),)


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        ([1.0, 2.0], "rows of 2 to 25 values; this array has shape"),
        ([[1.0], [2.0]], "rows of 2 to 25 values"),
        (np.ones((3, 26)), "rows of 2 to 25 values"),
        ([[1.0, math.nan], [math.nan, 2.0]], "No subgroup has two values"),
        ([[1.0, 1.0], [2.0, 2.0]], "All values within each subgroup are the same"),
    ],
)
def test_a_baseline_without_scatter_is_refused(rows, said):
    with pytest.raises(ValueError, match=said):
        subgroup_baseline(rows)


@pytest.mark.parametrize("name", ["subgroup_mean", "subgroup_range", "subgroup_sd"])
@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"sigma": 0.0}, "sigma of the {name} chart is 0.0; give a number above zero"),
        ({"sigma": -1.0}, "sigma of the {name} chart is -1.0"),
        ({"n": 1}, "n of the {name} chart is 1; give a whole number of values from 2 to 25"),
        ({"n": 26}, "n of the {name} chart is 26"),
        ({"n": 4.5}, "n of the {name} chart is 4.5"),
        ({"width": 0.0}, "width of the {name} chart is 0.0"),
    ],
)
def test_parameters_that_make_no_subgroup_chart_are_refused(name, wrong, said):
    parameters = {"sigma": 1.0, "n": 5} | ({"center": 0.0} if name == "subgroup_mean" else {}) | wrong
    with pytest.raises(ValueError, match=said.format(name=name)):
        make_row(name, parameters)


def test_a_mean_chart_with_an_unknown_rule_or_no_center_is_refused():
    with pytest.raises(ValueError, match="'nelson9' is unknown"):
        SubgroupMeanChart(0, 1, 5, rules=("nelson9",))
    with pytest.raises(ValueError, match="center of the subgroup_mean chart is nan; give a finite number"):
        SubgroupMeanChart(math.nan, 1, 5)
