"""Control chart constants against printed tables, scipy's own distributions, and closed forms."""

import math

import numpy as np
import pytest
from scipy import integrate, stats

from rules.constants import c4, d2, d3, factors
from tests import outside

# Walpole, Myers, Myers and Ye, Probability and Statistics for Engineers and Scientists, Table A.22,
# as printed: n, A2, A3, c4, B3, B4, d2, d3, D3, D4.
PRINTED = [
    (2, 1.880, 2.659, 0.7979, 0, 3.267, 1.128, 0.853, 0, 3.267),
    (3, 1.023, 1.954, 0.8862, 0, 2.568, 1.693, 0.888, 0, 2.574),
    (4, 0.729, 1.628, 0.9213, 0, 2.266, 2.059, 0.880, 0, 2.282),
    (5, 0.577, 1.427, 0.9400, 0, 2.089, 2.326, 0.864, 0, 2.114),
    (6, 0.483, 1.287, 0.9515, 0.030, 1.970, 2.534, 0.848, 0, 2.004),
    (7, 0.419, 1.182, 0.9594, 0.118, 1.882, 2.704, 0.833, 0.076, 1.924),
    (10, 0.308, 0.975, 0.9727, 0.284, 1.716, 3.078, 0.797, 0.223, 1.777),
    (20, 0.180, 0.680, 0.9869, 0.510, 1.490, 3.735, 0.729, 0.415, 1.585),
]


@pytest.mark.parametrize("row", PRINTED, ids=lambda row: f"n={row[0]}")
def test_factors_are_those_of_the_printed_table(row):
    f = factors(row[0])
    ours = (f.a2, f.a3, f.c4, f.b3, f.b4, f.d2, f.d3, f.upper_d3, f.upper_d4)
    # 0.0011: the table's last digit slips, D4(3) prints 2.574 for 2.5746.
    np.testing.assert_allclose(ours, row[1:], rtol=0, atol=0.0011)


def test_every_factor_agrees_with_the_recomputed_table():
    table = outside.entry("const.table")["expected"]
    spelled = {"D1": "upper_d1", "D2": "upper_d2", "D3": "upper_d3", "D4": "upper_d4"}
    for n, row in table.items():
        f = factors(int(n))
        for name, expected in row.items():
            ours = getattr(f, spelled.get(name, name.lower()))
            assert ours == pytest.approx(expected, rel=1e-8, abs=1e-10), (n, name)


@pytest.mark.parametrize("n", [3, 5, 12])
def test_mean_and_spread_of_the_range_agree_with_scipy(n):
    # The range of n normal values is scipy's studentized range with infinitely many degrees of freedom.
    beyond = stats.studentized_range(n, np.inf).sf
    mean, _ = integrate.quad(beyond, 0, 12, epsabs=1e-9)
    square, _ = integrate.quad(lambda w: 2 * w * beyond(w), 0, 12, epsabs=1e-9)
    assert d2(n) == pytest.approx(mean, abs=1e-7)
    assert d3(n) == pytest.approx(math.sqrt(square - mean**2), abs=1e-6)


@pytest.mark.parametrize("n", [2, 5, 25, 1000])
def test_c4_is_the_mean_of_scipys_chi_distribution(n):
    assert c4(n) == pytest.approx(stats.chi(n - 1).mean() / math.sqrt(n - 1), rel=1e-11)


def test_closed_forms_of_small_samples():
    # Tippett (1925).
    assert d2(2) == 2 / math.sqrt(math.pi)
    assert d2(3) == pytest.approx(3 / math.sqrt(math.pi), rel=1e-13)
    assert d3(2) == math.sqrt(2 - 4 / math.pi)
    assert c4(2) == pytest.approx(math.sqrt(2 / math.pi), rel=1e-14)


def test_a_narrower_width_narrows_every_limit():
    two, three = factors(8, width=2), factors(8)
    assert two.a2 == pytest.approx(three.a2 * 2 / 3)
    assert two.upper_d3 > three.upper_d3
    assert two.upper_d4 < three.upper_d4


@pytest.mark.parametrize("constant", [d2, d3, c4, factors])
@pytest.mark.parametrize("n", [1, 0, -3, 1001])
def test_a_size_without_constants_is_refused(constant, n):
    with pytest.raises(ValueError, match="from 2 to 1000"):
        constant(n)
