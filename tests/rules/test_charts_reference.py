"""Every published or recomputed reference value on charts, to its full precision, from the stored table.

The short ones are retyped with their sources in the other test files of charts; here the whole rows are held
against the charts. Where a book rounds d2 or a factor, the chart is given the sigma that follows from the
rounded one, since ours are exact.
"""

import math
import sys

import numpy as np
import pytest
from scipy import stats

from rules.charts import (
    CChart,
    CusumChart,
    EwmaChart,
    IndividualsChart,
    MovingRangeChart,
    PChart,
    SubgroupMeanChart,
    SubgroupRangeChart,
)
from rules.charts.attribute_baseline import c_chart, p_chart, u_chart
from rules.charts.attribute_limits import poisson_allowed
from rules.charts.moving_range import sigma_from_moving_ranges
from rules.charts.subgroup_baseline import mean_and_range_charts, mean_and_sd_charts, subgroup_baseline
from rules.constants import c4, d2, d3, factors
from tests import outside
from tests.rules.chart_suite import sums


def entry(name):
    found = outside.entry(name)
    return found["inputs"], found["expected"]


def near(expected):
    return pytest.approx(expected, rel=1e-9, abs=1e-9)


def out(chart, values):
    return [i + 1 for i, _ in chart.run(values)[1].signals]


def test_closed_forms():
    _, expected = entry("const.d2d3.closed")
    ours = {"d2_2": d2(2), "d3_2": d3(2), "d2_3": d2(3), "c4_2": c4(2), "E2_2": factors(2).e2}
    ours["D4_2"] = factors(2).upper_d4
    # The median moving range of normal values, which a robust sigma divides by; no chart here uses it.
    ours["median_abs_normal_diff_d4"] = math.sqrt(2) * stats.norm.ppf(0.75)
    assert ours.keys() == expected.keys()
    for name, value in ours.items():
        assert value == pytest.approx(expected[name], rel=1e-11), name


def test_factors_of_subgroups_make_the_limits_of_their_charts():
    _, expected = entry("const.table")
    for n, row in expected.items():
        of_range, mean = (
            SubgroupRangeChart(1.0, int(n)).limits(),
            SubgroupMeanChart(0.0, 1.0, int(n)).limits(),
        )
        assert (of_range.lower, of_range.center, of_range.upper) == (
            pytest.approx(row["D1"], abs=1e-9),
            near(row["d2"]),
            near(row["D2"]),
        )
        assert mean.upper == near(row["A"])


@pytest.mark.parametrize("name", ["nist.6.3.2.2.flow", "mont.visc.imr", "mont.loan.imr"])
def test_individuals_and_moving_range(name):
    inputs, expected = entry(name)
    x = inputs["x"]
    sigma = sigma_from_moving_ranges(x)
    book = sigma * d2(2) / inputs["d2"]
    assert (np.mean(x), sigma * d2(2)) == (near(expected["mean"]), near(expected["MRbar"]))
    _, ranges = MovingRangeChart(sigma).run(x)
    np.testing.assert_allclose(ranges.statistic[1:], expected["MR"], atol=1e-9)
    limits = IndividualsChart(float(np.mean(x)), book).limits()
    assert (limits.lower, limits.upper, book) == (
        near(expected["LCL"]),
        near(expected["UCL"]),
        near(expected["sigma_hat"]),
    )
    assert out(IndividualsChart(float(np.mean(x)), book), x) == expected["signals"]
    if "exact_d2_UCL" in expected:
        exact = IndividualsChart(float(np.mean(x)), sigma).limits()
        assert (exact.lower, exact.upper) == (near(expected["exact_d2_LCL"]), near(expected["exact_d2_UCL"]))
        assert MovingRangeChart(sigma).limits().upper == near(expected["exact_MR_UCL"])


def test_cusum_of_the_handbook():
    inputs, expected = entry("nist.6.3.2.3.cusum")
    sigma, x = 2 * inputs["k"], inputs["x"]
    chart = CusumChart(inputs["target"], sigma, k=0.5, h=inputs["h"] / sigma, cap=sys.float_info.max)
    ours = sigma * sums(chart, x)
    rows = expected["rows"]
    np.testing.assert_allclose(ours, [(row["S_hi"], row["S_lo"]) for row in rows], atol=1e-6)
    assert out(chart, x) == expected["signal_rows"] == [row["i"] for row in rows if row["signal"]]


def test_cusum_of_the_textbook_dates_and_sizes_the_shift():
    # Montgomery: the shift began after the sum was last zero, and its size is K + C / N.
    inputs, expected = entry("mont.cusum.tab")
    chart = CusumChart(inputs["mu0"], inputs["sigma"], k=inputs["K"], h=inputs["H"])
    ours = sums(chart, inputs["x"])
    np.testing.assert_allclose(ours, [(row["Cp"], row["Cm"]) for row in expected["rows"]], atol=1e-8)
    first = out(chart, inputs["x"])[0]
    last_zero = int(np.flatnonzero(ours[:first, 0] == 0)[-1]) + 1
    assert (first, last_zero) == (expected["first_signal"], expected["last_in_control"])
    estimate = inputs["mu0"] + inputs["K"] + ours[first - 1, 0] / (first - last_zero)
    assert estimate == near(expected["new_mean_estimate"])


def test_ewma_of_the_handbook_and_of_the_textbook():
    inputs, expected = entry("nist.6.3.2.4.ewma")
    chart = EwmaChart(inputs["start"], inputs["s"], lam=inputs["lambda"], width=inputs["L"])
    _, track = chart.run(inputs["x"])
    np.testing.assert_allclose(track.statistic, expected["ewma"], atol=1e-8)
    assert (chart.limits().lower, chart.limits().upper) == (near(expected["LCL"]), near(expected["UCL"]))
    assert out(chart, inputs["x"]) == expected["signals"]
    inputs, expected = entry("mont.ewma.tab")
    chart = EwmaChart(10, 1, lam=inputs["lambda"], width=inputs["L"], asymptotic=False)
    _, track = chart.run(inputs["x"])
    np.testing.assert_allclose(track.statistic, expected["z"], atol=1e-9)
    np.testing.assert_allclose(10 + np.abs(track.statistic - 10) / track.share, expected["UCL"], atol=1e-9)
    assert chart.limits().upper == near(expected["asymptotic_UCL"])
    assert out(chart, inputs["x"]) == expected["signals"]


def test_flow_width():
    inputs, expected = entry("mont.floww.xbarr")
    found = subgroup_baseline(inputs["x"])
    means, ranges = mean_and_range_charts(inputs["x"])
    _, mean = means.run(inputs["x"])
    _, spread = ranges.run(inputs["x"])
    np.testing.assert_allclose(mean.statistic, expected["xbar"], atol=1e-9)
    np.testing.assert_allclose(spread.statistic, expected["R"], atol=1e-9)
    assert (found.grand_mean, found.mean_range) == (near(expected["grand_mean"]), near(expected["Rbar"]))
    book = SubgroupMeanChart(found.grand_mean, inputs["A2"] * found.mean_range * math.sqrt(5) / 3, 5).limits()
    assert (book.lower, book.upper) == (near(expected["Xbar_LCL"]), near(expected["Xbar_UCL"]))
    assert found.sigma_from_ranges * d2(5) / inputs["d2"] == near(expected["sigma_hat"])
    assert ranges.limits().upper * inputs["D4"] / factors(5).upper_d4 == near(expected["R_UCL"])
    assert mean.signals == spread.signals == ()
    inputs, expected = entry("mont.floww.xbars")
    found = subgroup_baseline(inputs["x"])
    means, spreads = mean_and_sd_charts(inputs["x"])
    assert (found.mean_sd, found.sigma_from_sds, found.pooled_sd) == (
        near(expected["sbar"]),
        near(expected["sigma_hat"]),
        near(expected["pooled_sd"]),
    )
    assert (means.limits().lower, means.limits().upper) == (
        near(expected["Xbar_LCL"]),
        near(expected["Xbar_UCL"]),
    )
    assert (spreads.limits().lower, spreads.limits().upper) == (
        near(expected["S_LCL"]),
        near(expected["S_UCL"]),
    )


def test_piston_rings():
    inputs, expected = entry("mont.piston")
    x, f = inputs["x"], factors(5)
    found = subgroup_baseline(x)
    assert (found.grand_mean, found.mean_range, found.mean_sd) == (
        near(expected["grand_mean"]),
        near(expected["Rbar"]),
        near(expected["sbar"]),
    )
    by_range, ranges = mean_and_range_charts(x)
    by_sd, spreads = mean_and_sd_charts(x)
    above = expected["XbarR_UCL"] - expected["grand_mean"]
    assert (by_range.limits().upper - found.grand_mean) * inputs["A2"] / f.a2 == near(above)
    above = expected["XbarS_UCL"] - expected["grand_mean"]
    assert (by_sd.limits().upper - found.grand_mean) * inputs["A3"] / f.a3 == near(above)
    assert ranges.limits().upper * inputs["D4"] / f.upper_d4 == near(expected["R_UCL"])
    assert spreads.limits().upper * inputs["B4"] / f.b4 == near(expected["S_UCL"])
    assert found.sigma_from_ranges * f.d2 / inputs["d2"] == near(expected["sigma_R"])
    assert found.sigma_from_sds * f.c4 / inputs["c4"] == near(expected["sigma_S"])
    for chart in (by_range, ranges, by_sd, spreads):
        assert out(chart, x) == expected["signals"]


@pytest.mark.parametrize("name", ["nist.6.3.3.1.c", "mont.pcb.c"])
def test_c_charts(name):
    inputs, expected = entry(name)
    counts = np.array(inputs["c"])
    chart = c_chart(counts)
    limits = chart.limits()
    assert (limits.lower, limits.center, limits.upper) == (
        near(expected["LCL"]),
        near(expected["cbar"]),
        near(expected["UCL"]),
    )
    if name == "nist.6.3.3.1.c":
        assert out(chart, counts) == expected["signals_below"] + expected["signals_above"]
        return
    assert out(chart, counts) == expected["signals"]
    revised = c_chart(np.delete(counts, np.array(expected["signals"]) - 1)).limits()
    assert (revised.lower, revised.center, revised.upper) == (
        near(expected["revised_LCL"]),
        near(expected["revised_cbar"]),
        near(expected["revised_UCL"]),
    )


def test_p_charts_of_equal_samples():
    inputs, expected = entry("nist.6.3.3.2.p")
    revised, after = entry("mont.7.1.p.revised")
    for counts, result in ((expected["counts"], expected), (revised["counts"], after)):
        rows = np.column_stack([counts, np.full(len(counts), inputs["n"])])
        chart = p_chart(rows)
        limits = chart.limits_of(inputs["n"])
        assert (limits.lower, limits.center, limits.upper) == (
            near(result["LCL"]),
            near(result["pbar"]),
            near(result["UCL"]),
        )
        assert out(chart, rows) == result["signals"]
    np.testing.assert_allclose(np.array(expected["counts"]) / inputs["n"], inputs["p"])


def test_p_chart_of_unequal_samples_and_laneys():
    inputs, expected = entry("attr.p.varn.laney")
    rows = np.column_stack([inputs["defective"], inputs["n"]])
    plain, ours = p_chart(rows), p_chart(rows, laney=True)
    assert plain.center == near(expected["pbar"])
    assert ours.dispersion * d2(2) / inputs["d2"] == near(expected["sigma_z"])
    book = PChart(plain.center, dispersion=expected["sigma_z"])
    for chart, prime in ((plain, ""), (book, "_prime")):
        limits = [chart.limits_of(size) for size in inputs["n"]]
        np.testing.assert_allclose([each.upper for each in limits], expected[f"UCL{prime}"], rtol=1e-9)
        np.testing.assert_allclose(
            [each.lower for each in limits], expected[f"LCL{prime}"], rtol=1e-9, atol=1e-12
        )
        assert out(chart, rows) == expected[f"signals{prime or '_p'}"]
    assert out(ours, rows) == expected["signals_prime"]


def test_c_and_u_charts_of_ishikawa():
    inputs, expected = entry("attr.c.u.ishikawa")
    chart = c_chart(inputs["c"])
    assert (chart.limits().lower, chart.limits().upper) == (near(expected["c_LCL"]), near(expected["c_UCL"]))
    assert out(chart, inputs["c"]) == expected["c_signals"]
    rows = np.column_stack([inputs["u_defects"], inputs["u_size"]])
    rates = u_chart(rows)
    limits = [rates.limits_of(size) for size in inputs["u_size"]]
    assert rates.center == near(expected["ubar"])
    np.testing.assert_allclose(rates.run(rows)[1].statistic, expected["u"], rtol=1e-9)
    np.testing.assert_allclose([each.upper for each in limits], expected["u_UCL"], rtol=1e-9)
    assert [each.lower for each in limits] == expected["u_LCL"]
    assert out(rates, rows) == expected["u_signals"]


def test_probability_limits_of_counts():
    inputs, expected = entry("attr.c.problimits")
    for mean in inputs["c"]:
        row, counts = expected[f"{mean:g}"], np.arange(200.0)
        low, high = poisson_allowed([mean], 0.00135)
        assert (low[0], high[0]) == (row["prob_lower"], row["prob_upper"])
        probability = stats.poisson(mean).pmf(counts)
        for chart, rate in ((CChart(mean), row["FAR3"]), (CChart(mean, tail=0.00135), row["FAR_prob"])):
            beyond = [i for i, _ in chart.run(counts)[1].signals]
            assert probability[beyond].sum() == pytest.approx(rate, rel=1e-8)
        assert CChart(mean).limits().upper == near(row["UCL3"])
        assert CChart(mean).limits().lower == near(max(0.0, row["LCL3"]))
