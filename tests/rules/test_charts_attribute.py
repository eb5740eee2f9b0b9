"""Charts of counts against the NIST/SEMATECH handbook, textbooks, NIST data and exact arithmetic.

Handbook: NIST/SEMATECH e-Handbook of Statistical Methods. Textbook: Montgomery, Introduction to Statistical
Quality Control (Wiley), chapter 7; printed results recalled from memory, reproduced by recomputing. Ishikawa,
Guide to Quality Control, pp. 77-84, in public data files of NIST.
"""

import math
from fractions import Fraction

import numpy as np
import pytest
from scipy import stats

from rules.charts import CChart, NpChart, PChart, UChart, make, make_row
from rules.charts.attribute_baseline import c_chart, dispersion, np_chart, p_chart, u_chart
from rules.charts.attribute_limits import binomial_allowed, poisson_allowed
from rules.constants import d2
from tests import outside

# Handbook 6.3.3.1 (defects on 25 wafers) and 6.3.3.2 (nonconforming chips of 50 on 30 wafers; the textbook
# has the same numbers as orange juice cans, Table 7.1); textbook Example 7.3 (26 samples of printed circuit
# boards); Ishikawa's motors, and his c and u charts.
WAFERS = [
    *(16, 14, 28, 16, 12, 20, 10, 12, 10, 17, 19, 17, 14, 16, 15, 13, 14, 16, 11, 20, 11, 19, 16, 31, 13),
]
CHIPS = [
    *(12, 15, 8, 10, 4, 7, 16, 9, 14, 10, 5, 6, 17, 12, 22),
    *(8, 10, 5, 13, 11, 20, 18, 24, 15, 9, 12, 7, 13, 9, 6),
]
BOARDS = [
    *(21, 24, 16, 12, 15, 5, 28, 20, 31, 25, 20, 24, 16),
    *(19, 10, 17, 13, 22, 18, 39, 30, 24, 16, 19, 17, 15),
]
MOTORS = np.column_stack(
    [
        [14, 19, 19, 24, 15, 16, 38, 40, 21, 32, 40, 25, 39, 36, 17, 19, 4, 9, 12, 26],
        [125, 200, 188, 200, 200, 250, 390, 360, 250, 250, 395, 300, 310, 200, 300, 185, 55, 90, 130, 300],
    ]
)
ISHIKAWA_C = [6, 5, 3, 5, 3, 8, 3, 5, 4, 3, 6, 4, 6, 6, 6, 5, 7, 6, 9, 13]
ISHIKAWA_U = np.column_stack(
    [
        [4, 3, 3, 4, 5, 3, 6, 7, 5, 3, 5, 5, 4, 6, 5, 4, 4, 6, 8, 8],
        [2.0] * 6 + [2.5] * 7 + [2.25] * 5 + [2.75] * 2,
    ]
)
BEYOND = "beyond_limit"


def near(expected, rounding=0.0):
    return pytest.approx(expected, rel=1e-9, abs=rounding + 1e-9)


def out(chart, values):
    return [i + 1 for i, _ in chart.run(values)[1].signals]


def test_c_chart_of_the_handbook():
    # Printed: 16, limits 4 and 28. Wafer 3 has 28 exactly, which is inside.
    chart = c_chart(WAFERS)
    limits = chart.limits()
    assert (limits.lower, limits.center, limits.upper) == (4, 16, 28)
    assert out(chart, WAFERS) == [24]


def test_p_chart_of_the_handbook():
    # Printed: 0.2313, limits 0.0524 and 0.4102; wafers 15 and 23 are out.
    rows = np.column_stack([CHIPS, [50] * 30])
    chart = p_chart(rows)
    limits = chart.limits_of(50)
    assert (limits.center, limits.lower, limits.upper) == (
        near(0.231333333333),
        near(0.0524275480719),
        near(0.410239118595),
    )
    assert out(chart, rows) == [15, 23]
    assert chart.limits() is None


def test_p_chart_of_the_textbook_revised():
    # Printed without samples 15 and 23: 0.2150, limits 0.0407 and 0.3893; the former sample 21 is out then.
    counts = np.delete(CHIPS, [14, 22])
    rows = np.column_stack([counts, [50] * 28])
    chart = p_chart(rows)
    limits = chart.limits_of(50)
    assert (limits.center, limits.lower, limits.upper) == (0.215, near(0.0407028399543), near(0.389297160046))
    assert out(chart, rows) == [20]


def test_np_chart_of_the_textbook():
    # Same data, printed with 0.2313: limits 2.620 and 20.510.
    chart = np_chart(CHIPS, 50)
    limits = chart.limits()
    assert limits.center == near(347 / 30)
    assert (limits.lower, limits.upper) == (pytest.approx(2.620, abs=0.002), pytest.approx(20.510, abs=0.002))
    assert out(chart, CHIPS) == [15, 23]


def test_c_chart_of_the_textbook():
    # Printed: 19.85, limits 6.48 and 33.22, samples 6 and 20 out; without them 19.67, 6.36 and 32.97.
    chart = c_chart(BOARDS)
    limits = chart.limits()
    assert (limits.center, limits.lower, limits.upper) == (
        near(19.8461538462),
        near(6.48144716717),
        near(33.2108605251),
    )
    assert out(chart, BOARDS) == [6, 20]
    revised = c_chart(np.delete(BOARDS, [5, 19])).limits()
    assert (revised.center, revised.lower, revised.upper) == (
        near(19.6666666667),
        near(6.36253197102),
        near(32.9708013623),
    )


def test_p_chart_with_unequal_samples():
    # Ishikawa's defective motors, recomputed from the public file: sample 14 is out.
    chart = p_chart(MOTORS)
    assert chart.center == near(0.0994014536127)
    assert (chart.limits_of(125).lower, chart.limits_of(125).upper) == (
        near(0.0191175951259),
        near(0.179685312099),
    )
    assert chart.limits_of(55).lower == 0
    assert out(chart, MOTORS) == [14]


def test_laneys_limits_know_that_large_samples_scatter_more():
    # Laney (2002), Quality Engineering 14, 531-537, with his d2 = 1.128: sigma of z 1.37813663138, limits of
    # the first sample 0 and 0.210043579902, of the seventh 0.0367626843096 and 0.162040222916; none is out.
    chart = p_chart(MOTORS, laney=True)
    assert chart.dispersion == near(1.37813663138 * 1.128 / d2(2))
    rounded = PChart(chart.center, dispersion=1.37813663138)
    assert rounded.limits_of(125).lower == 0
    assert rounded.limits_of(125).upper == near(0.210043579902)
    assert (rounded.limits_of(390).lower, rounded.limits_of(390).upper) == (
        near(0.0367626843096),
        near(0.162040222916),
    )
    assert out(chart, MOTORS) == out(rounded, MOTORS) == []


def test_without_extra_scatter_laneys_dispersion_is_one():
    rng = np.random.default_rng(12)
    sizes = rng.integers(100, 400, 20_000)
    binomial = np.column_stack([rng.binomial(sizes, 0.1), sizes])
    assert dispersion(PChart(0.1), binomial) == pytest.approx(1, abs=0.02)
    poisson = np.column_stack([rng.poisson(0.2 * sizes), sizes])
    assert u_chart(poisson, laney=True).dispersion == pytest.approx(1, abs=0.02)


def test_c_and_u_charts_of_ishikawa():
    # Recomputed from the public files: c 5.65, limits 0 and 12.7809, sample 20 out; u 2.1189, none out.
    chart = c_chart(ISHIKAWA_C)
    limits = chart.limits()
    assert (limits.lower, limits.center, limits.upper) == (0, near(5.65), near(12.7809185944))
    assert out(chart, ISHIKAWA_C) == [20]
    rates = u_chart(ISHIKAWA_U)
    assert rates.center == near(2.11891891892)
    uppers = [rates.limits_of(size).upper for size in (2.0, 2.5, 2.25, 2.75)]
    assert uppers == [near(5.20682033171), near(4.88082190565), near(5.03022029042), near(4.75229009189)]
    assert {rates.limits_of(size).lower for size in (2.0, 2.75)} == {0.0}
    _, track = rates.run(ISHIKAWA_U)
    assert track.signals == ()
    np.testing.assert_allclose(track.statistic[[0, 6, 9, 18]], [2.0, 2.4, 1.2, 8 / 2.75])


@pytest.mark.parametrize(
    ("name", "columns", "typed"),
    [
        ("MONITOR-6_3_3_1.DAT", (1,), np.array(WAFERS)[:, None]),
        ("MONITOR-6_3_3_2.DAT", (1,), np.array(CHIPS)[:, None] / 50),
        ("CCP.DAT", (0, 1), MOTORS),
        ("CCC.DAT", (0,), np.array(ISHIKAWA_C)[:, None]),
        ("CCU.DAT", (0, 1), ISHIKAWA_U),
    ],
)
def test_the_numbers_typed_here_are_those_of_the_public_files(name, columns, typed):
    lines = (outside.folder() / "data" / "nist-handbook" / name).read_text().splitlines()[25:]
    stored = np.array([line.split() for line in lines if line.strip()], dtype=float)[:, list(columns)]
    np.testing.assert_array_equal(stored, typed)


# Exact limits with at most 0.00135 beyond each, of Poisson counts: mean, lowest and highest count allowed,
# and what three standard deviations really cost. From scipy's Poisson distribution, by another program.
PROBABILITY_LIMITS = [
    (0.25, 0, 3, 0.0264990211607),
    (0.5, 0, 4, 0.014387677967),
    (1, 0, 5, 0.00365984682734),
    (2, 0, 7, 0.00453380552625),
    (4, 0, 11, 0.00283976612051),
    (8, 1, 18, 0.00371802128128),
    (16, 5, 29, 0.00228171179576),
]


@pytest.mark.parametrize(("mean", "lowest", "highest", "at_three_sigma"), PROBABILITY_LIMITS)
def test_exact_limits_of_counts(mean, lowest, highest, at_three_sigma):
    low, high = poisson_allowed([mean], 0.00135)
    assert (low[0], high[0]) == (lowest, highest)
    counts = np.arange(100.0)
    probability = stats.poisson(mean).pmf(counts)
    exact, plain = CChart(mean, tail=0.00135), CChart(mean)
    assert out(exact, counts) == [k + 1 for k in range(100) if k < lowest or k > highest]
    beyond = [i for i, _ in plain.run(counts)[1].signals]
    assert probability[beyond].sum() == pytest.approx(at_three_sigma, rel=1e-8)


def binomial_tails(n, p, k):
    """P(X < k) and P(X > k) in rational numbers."""
    terms = [math.comb(n, j) * p**j * (1 - p) ** (n - j) for j in range(n + 1)]
    return sum(terms[:k], Fraction(0)), sum(terms[k + 1 :], Fraction(0))


@pytest.mark.parametrize("n", [1, 4, 20, 50])
@pytest.mark.parametrize("p", [Fraction(1, 100), Fraction(1, 10), Fraction(1, 2), Fraction(15, 16)])
@pytest.mark.parametrize("tail", [Fraction(1, 16), Fraction(1, 740), Fraction(1, 10**9)])
def test_exact_limits_of_nonconforming_pieces_in_rational_arithmetic(n, p, tail):
    # With n = 4, p = 1/2 and a tail of 1/16 the tails are met exactly.
    low, high = (int(side[0]) for side in binomial_allowed([n], float(p), float(tail)))
    assert binomial_tails(n, p, low)[0] <= tail < binomial_tails(n, p, low + 1)[0] or low == n
    assert binomial_tails(n, p, high)[1] <= tail
    assert high == 0 or binomial_tails(n, p, high - 1)[1] > tail
    chart = NpChart(float(n * p), n, tail=float(tail))
    assert out(chart, np.arange(n + 1.0)) == [k + 1 for k in range(n + 1) if k < low or k > high]


def test_exact_limits_follow_the_size_of_the_sample():
    rows = [[k, n] for n in (5, 40, 300) for k in range(n + 1)]
    _, track = PChart(0.04, tail=0.00135).run(rows)
    beyond = {i for i, _ in track.signals}
    for i, (k, n) in enumerate(rows):
        at_most, at_least = stats.binom(n, 0.04).cdf(k), stats.binom(n, 0.04).sf(k - 1)
        assert (i in beyond) == (min(at_most, at_least) <= 0.00135), (k, n)


def test_a_fraction_has_no_limit_above_one():
    # Three standard deviations of 3 in 4 pieces reach to 1.4; all 4 is on the limit, not beyond.
    assert PChart(0.75).limits_of(4).upper == NpChart(3.0, 4).limits().upper / 4 == 1
    assert PChart(0.75).run([[4, 4]])[1].share.tolist() == [1.0]


def test_a_count_so_rare_that_none_is_expected_signals_at_the_first():
    # P(X > 0) = 0.001 is below the tail, so nothing is allowed; three standard deviations say the same.
    for tail in (None, 0.00135):
        assert out(CChart(0.001, tail=tail), [0, 0, 1, 0]) == [3]


def test_a_sample_with_a_missing_number_is_missing():
    _, track = PChart(0.1).run([[math.nan, 50.0], [5.0, math.nan], [5.0, 50.0]])
    np.testing.assert_array_equal(track.statistic, [math.nan, math.nan, 0.1])
    rows = np.vstack([MOTORS, [[math.nan, 100.0], [3.0, math.nan]]])
    assert p_chart(rows) == p_chart(MOTORS)
    assert c_chart([*WAFERS, math.nan]) == c_chart(WAFERS)


@pytest.mark.parametrize(
    ("name", "wrong", "said"),
    [
        ("c", {"center": 0.0}, "center of the c chart is 0.0; give a number above zero"),
        ("c", {"center": 4.0, "width": -3.0}, "width of the c chart is -3.0"),
        (
            "c",
            {"center": 4.0, "tail": 0.0},
            "tail of the c chart is 0.0; give a probability from 1e-09 to 0.1",
        ),
        ("c", {"center": 4.0, "tail": 1e-15}, "tail of the c chart is 1e-15"),
        ("c", {"center": 4.0, "tail": 0.6}, "tail of the c chart is 0.6"),
        ("c", {"center": 4.0, "tail": math.nan}, "tail of the c chart is nan"),
        ("np", {"center": 4.0, "size": 0}, "size of the np chart is 0; give a whole number above 0"),
        ("np", {"center": 4.0, "size": 9.5}, "size of the np chart is 9.5"),
        ("np", {"center": 9.0, "size": 9}, "center of the np chart is 9.0; .* below the size, 9"),
        ("np", {"center": 0.0, "size": 9}, "center of the np chart is 0.0; give a number above 0"),
        ("np", {"center": 4.0, "size": 9, "tail": 1.0}, "tail of the np chart"),
    ],
)
def test_parameters_that_make_no_chart_of_counts_are_refused(name, wrong, said):
    with pytest.raises(ValueError, match=said):
        make(name, wrong)


@pytest.mark.parametrize(
    ("name", "wrong", "said"),
    [
        ("p", {"center": 1.0}, "center of the p chart is 1.0; give a fraction above 0 and below 1"),
        ("p", {"center": -0.1}, "center of the p chart is -0.1"),
        ("p", {"center": 0.1, "dispersion": 0.0}, "dispersion of the p chart is 0.0"),
        ("p", {"center": 0.1, "dispersion": 2.0, "tail": 0.001}, "both a tail and a dispersion of 2.0"),
        ("u", {"center": math.inf}, "center of the u chart is inf"),
        ("u", {"center": 1.0, "width": 0.0}, "width of the u chart is 0.0"),
    ],
)
def test_parameters_that_make_no_chart_of_rates_are_refused(name, wrong, said):
    with pytest.raises(ValueError, match=said):
        make_row(name, wrong)


@pytest.mark.parametrize(
    ("chart", "value", "said"),
    [
        (CChart(4.0), -1.0, "Number 1 given to the c chart is -1; a count is a whole number, 0 or more"),
        (CChart(4.0), 2.5, "given to the c chart is 2.5"),
        (NpChart(4.0, 50), -2.0, "given to the np chart is -2"),
        (NpChart(4.0, 50), 51.0, "np chart was given 51 nonconforming pieces of 50; mend the count or the"),
        (PChart(0.1), [51.0, 50.0], "p chart was given 51 nonconforming pieces of 50"),
        (PChart(0.1), [-1.0, 50.0], "given to the p chart is -1"),
        (PChart(0.1), [1.0, 0.0], "p chart was given a sample of size 0; leave out what was not inspected"),
        (PChart(0.1), [1.0, 2.5], "p chart was given a size that is not whole"),
        (UChart(1.0), [1.5, 2.0], "given to the u chart is 1.5"),
        (UChart(1.0), [1.0, -2.0], "u chart was given a sample of size -2"),
    ],
)
def test_what_is_no_count_is_refused_in_both_forms(chart, value, said):
    with pytest.raises(ValueError, match=said):
        chart.step(chart.start(), value)
    with pytest.raises(ValueError, match=said):
        chart.run([value])


def test_the_message_says_which_count_is_wrong():
    with pytest.raises(ValueError, match="Number 3 given to the c chart is -7"):
        CChart(4.0).run([1, math.nan, -7, -8])


@pytest.mark.parametrize(
    ("build", "said"),
    [
        (lambda: c_chart([]), "The 0 samples for the c chart hold no count above 0"),
        (lambda: c_chart([0, 0, math.nan]), "The 2 samples for the c chart hold no count above 0"),
        (lambda: c_chart([1, -3]), "Number 2 given to the c chart is -3"),
        (lambda: np_chart([50, 50], 50), "center of the np chart is 50.0; .* below the size"),
        (lambda: p_chart([[0, 50], [0, 60]]), "The 2 samples for the p chart hold no count above 0"),
        (lambda: p_chart([[50, 50]]), "center of the p chart is 1.0"),
        (lambda: p_chart([[-5, 50], [1, 50]]), "Number 1 given to the p chart is -5"),
        (lambda: p_chart([[30, 20], [1, 50]]), "p chart was given 30 nonconforming pieces of 20"),
        (lambda: p_chart([[5, 50], [math.nan, 50], [5, 50]], laney=True), "two values next to each other"),
        (lambda: p_chart([[5, 50], [5, 50]], laney=True), "All rates given to the p chart are the same"),
        (lambda: u_chart([[5, 2.0], [4, 3.0]], tail=0.001, laney=True), "both a tail and a dispersion"),
    ],
)
def test_counts_that_make_no_baseline_are_refused(build, said):
    with pytest.raises(ValueError, match=said):
        build()
