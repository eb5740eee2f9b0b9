"""The sums of squares behind gauge studies against certified values and scipy."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from scipy import stats

from rules.gauge import one_way
from tests import outside

# NIST StRD, Analysis of Variance, SiRstv (Ehrstein and Croarkin): resistivity of silicon, 5 instruments.
SILICON = [
    [196.3052, 196.1240, 196.1890, 196.2569, 196.3403],
    [196.3042, 196.3825, 196.1669, 196.3257, 196.0422],
    [196.1303, 196.2005, 196.2889, 196.0343, 196.1811],
    [196.2795, 196.1748, 196.1494, 196.1485, 195.9885],
    [196.2119, 196.1051, 196.1850, 196.0052, 196.2090],
]
# NIST/SEMATECH e-Handbook 3.2.3.1: diameters from five machines, one machine a row.
DIAMETERS = [
    [0.125, 0.127, 0.125, 0.126, 0.128],
    [0.118, 0.122, 0.120, 0.124, 0.119],
    [0.123, 0.125, 0.125, 0.124, 0.126],
    [0.126, 0.128, 0.126, 0.127, 0.129],
    [0.118, 0.129, 0.127, 0.120, 0.121],
]
# NIST StRD, SmLs01 to SmLs09 (Simon and Lesage 1989): level, values a group, tolerance that double precision
# allows (values near 1e12 are 1.2e-4 apart, so nine of fifteen digits are gone before any arithmetic).
SIMON_LESAGE = {
    "SmLs01": (1, 21, 1e-12), "SmLs02": (1, 201, 1e-12), "SmLs03": (1, 2001, 1e-12),
    "SmLs04": (10**6, 21, 1e-9), "SmLs05": (10**6, 201, 1e-9), "SmLs06": (10**6, 2001, 1e-9),
    "SmLs07": (10**12, 21, 5e-4), "SmLs08": (10**12, 201, 5e-4), "SmLs09": (10**12, 2001, 5e-4),
}  # fmt: skip


def _simon_lesage(level: int, n: int) -> list[list[float]]:
    """Nine groups around level + 0.4, 0.3, 0.5, 0.3, ...: the center, then 0.1 below and above in turn."""
    tenths = [4, 3, 5, 3, 5, 3, 5, 3, 5]
    turns = [0] + [-1 if i % 2 == 0 else 1 for i in range(n - 1)]
    return [[(10 * level + tenth + turn) / 10 for turn in turns] for tenth in tenths]


@pytest.mark.parametrize("name", SIMON_LESAGE)
def test_simon_and_lesage_keep_the_digits_that_the_values_have(name: str) -> None:
    """Certified: SS between 1.68, 16.08, 160.08; within 1.8, 18, 180; F 21, 201, 2001."""
    level, n, tolerance = SIMON_LESAGE[name]
    found = one_way(_simon_lesage(level, n))
    certified = {21: (1.68, 1.8, 21.0), 201: (16.08, 18.0, 201.0), 2001: (160.08, 180.0, 2001.0)}[n]

    assert (found.between.squares, found.within.squares, found.f) == pytest.approx(certified, rel=tolerance)
    assert (found.between.freedom, found.within.freedom) == (8, 9 * (n - 1))


@pytest.mark.parametrize("name", ["AtmWtAg", "SiRstv", *SIMON_LESAGE])
def test_every_certified_figure_is_met(name: str) -> None:
    entry = outside.entry(f"strd.anova.{name}")
    groups = entry["inputs"].get("groups") or _simon_lesage(*SIMON_LESAGE[name][:2])
    found, expected = one_way(groups), entry["expected"]
    ours = {
        "SS_between": found.between.squares, "SS_within": found.within.squares, "F": found.f,
        "MS_between": found.between.mean_square, "MS_within": found.within.mean_square,
        "R2": found.explained, "resid_sd": math.sqrt(found.within.mean_square),
    }  # fmt: skip

    assert sum(len(group) for group in groups) == expected["n"]
    for key, value in ours.items():
        assert value == pytest.approx(expected[key], rel=entry["tolerance"]["rel"]), key


def test_silicon_resistivity_meets_its_certified_ratio() -> None:
    """NIST StRD, SiRstv: F 1.18046237440255, SS within 0.216636560000000."""
    found = one_way(SILICON)

    assert found.f == pytest.approx(1.18046237440255, rel=1e-11)
    assert found.within.squares == pytest.approx(0.21663656, rel=1e-11)


def test_diameters_of_five_machines() -> None:
    """NIST/SEMATECH e-Handbook 3.2.3.1: SS .000137 and .000132. The handbook's F of 4.86 (from memory) is the
    ratio of its rounded mean squares; unrounded it is 5.206 against a critical 2.87 (nist.3.2.3.1.oneway)."""
    found = one_way(DIAMETERS)

    assert found.between.squares == pytest.approx(0.00013744, rel=1e-7)
    assert found.within.squares == pytest.approx(0.000132, rel=1e-7)
    assert found.f == pytest.approx(5.206060606, rel=1e-7)
    assert stats.f.ppf(0.95, found.between.freedom, found.within.freedom) == pytest.approx(2.866081402)


def test_groups_of_any_length_equal_scipys_result() -> None:
    rng = np.random.default_rng(1)
    groups = [rng.normal(m, 2.0, n) for m, n in ((5, 3), (6, 11), (5.5, 1), (9, 7))]
    theirs = stats.f_oneway(*groups)
    found = one_way(groups)

    assert (found.f, found.p) == pytest.approx((theirs.statistic, theirs.pvalue), rel=1e-11)


def test_groups_without_spread_are_infinitely_far_apart_or_the_same() -> None:
    assert (one_way([[1.0, 1.0], [2.0, 2.0]]).f, one_way([[1.0, 1.0], [2.0, 2.0]]).p) == (math.inf, 0.0)
    assert one_way([[1.0, 1.0], [1.0, 1.0]]).p == 1.0


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: one_way([[1.0, 2.0]]), "2 or more groups with values; 1 given"),
        (lambda: one_way([[1.0, 2.0], []]), "2 or more groups"),
        (lambda: one_way([[1.0], [2.0]]), "single reading; repeat at least one"),
        (lambda: one_way([[1.0, math.nan], [2.0, 3.0]]), "missing or infinite"),
    ],
)
def test_bad_input_is_refused_with_a_sentence(call: Callable[[], object], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        call()
