"""Capability indices against published examples, a second computation, and simulated coverage."""

from __future__ import annotations

import json
import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from rules.capability import (
    Specification,
    around_target,
    capability,
    nearest,
    nearest_bissell,
    potential,
    reject_ppm,
)
from rules.constants import d2
from tests import outside

# NIST/SEMATECH e-Handbook 3.5.1, FURNACE.DAT: oxide film thickness of 168 wafers, limits 460 and 660.
FURNACE = [
    546, 540, 566, 564, 577, 546, 543, 529, 561, 556, 577, 553, 563, 577, 556, 540, 515, 520, 548, 542, 505,
    487, 506, 514, 568, 584, 570, 545, 589, 562, 569, 571, 550, 550, 562, 580, 560, 554, 545, 546, 584, 581,
    567, 558, 556, 560, 591, 599, 593, 626, 584, 559, 634, 598, 569, 592, 522, 535, 535, 581, 527, 520, 532,
    539, 562, 568, 548, 548, 533, 553, 533, 521, 555, 545, 584, 572, 546, 552, 586, 584, 565, 557, 583, 585,
    582, 567, 549, 533, 548, 528, 563, 588, 543, 540, 585, 586, 580, 570, 556, 569, 609, 625, 570, 595, 564,
    555, 585, 588, 564, 583, 563, 558, 550, 557, 538, 525, 556, 547, 534, 542, 552, 547, 563, 578, 571, 572,
    575, 584, 549, 546, 584, 593, 567, 548, 606, 607, 539, 554, 533, 535, 522, 521, 547, 550, 610, 592, 587,
    587, 572, 612, 566, 563, 569, 609, 558, 555, 577, 579, 552, 558, 595, 583, 599, 602, 598, 616, 580, 575,
]  # fmt: skip
# ISO 22514-2 formulas by Bissell (1990) and chi-square, 95 %, by n: Cpk 1.00, 1.33, 1.67, and factors of Cp.
TABLE = {
    20: ((0.6501, 1.3499), (0.8826, 1.7774), (1.1193, 2.2207), (0.6847, 1.3149)),
    50: ((0.7815, 1.2185), (1.0509, 1.6091), (1.3267, 2.0133), (0.8025, 1.1971)),
    125: ((0.8625, 1.1375), (1.1545, 1.5055), (1.4541, 1.8859), (0.8756, 1.1242)),
}


def _with(mean: float, sd: float, n: int) -> np.ndarray:
    """Numbers whose mean and standard deviation are exactly those asked for, without trend."""
    x = np.resize([1.0, -1.0], n)
    return mean + sd * (x - x.mean()) / x.std(ddof=1)


def test_the_worked_example_of_the_nist_handbook() -> None:
    """NIST/SEMATECH e-Handbook 6.1.6: limits 8 and 20, mean 16, sigma 2: Cp 1, Cpu .6667, Cpl 1.3333, Cpk
    .6667 (from memory; nist.6.1.6.capability); with target 14 Cpm is 1/sqrt(2)."""
    found = capability(_with(16.0, 2.0, 50), Specification(low=8.0, high=20.0, target=14.0), phi=0.0)

    assert found.pp is not None
    assert found.cpm is not None
    assert found.pp.estimate == pytest.approx(1.0, abs=1e-9)
    assert (found.overall.upper, found.overall.lower) == pytest.approx((0.666666666667, 1.33333333333))
    assert found.ppk.estimate == pytest.approx(0.666666666667, abs=1e-9)
    off_center = 2 * abs(14.0 - 16.0) / 12.0  # k of the handbook
    assert found.ppk.estimate == pytest.approx((1 - off_center) * found.pp.estimate, abs=1e-9)
    assert found.cpm.estimate == pytest.approx(0.707106781187, abs=1e-9)


def test_rejects_of_a_centered_process_are_those_of_the_handbook() -> None:
    """NIST/SEMATECH e-Handbook 6.1.6: 0.27 %, 64 ppm, 0.6 ppm, 2 ppb (from memory; 63.3 ppm exactly,
    nist.6.1.6.rejects)."""
    expected = {1.0: 2699.79606326, 4 / 3: 63.3424836662, 5 / 3: 0.573303143758, 2.0: 0.00197317529008}

    for cp, ppm in expected.items():
        assert reject_ppm(cp, cp) == pytest.approx(ppm, rel=1e-8)
        assert reject_ppm(cp, None) == pytest.approx(ppm / 2, rel=1e-8)


def test_film_thickness_of_168_wafers() -> None:
    """NIST/SEMATECH e-Handbook 3.5.1: mean 563.0357, sd 25.38468, 1.313, 1.353, 1.273 (from memory;
    nist.3.5.1.furnace). The handbook says Cp and Cpk but takes the overall sigma: Pp, Ppk of ISO 22514-2."""
    found = capability(FURNACE, Specification(low=460.0, high=660.0), phi=0.0)

    assert found.pp is not None
    assert (found.n, found.overall.spread.freedom) == (168, 167)
    assert (found.mean, found.overall.spread.sigma) == pytest.approx(
        (563.035714286, 25.3846794422), rel=1e-10
    )
    assert found.pp.estimate == pytest.approx(1.31312799948, rel=1e-10)
    assert (found.overall.lower, found.overall.upper) == pytest.approx(
        (1.35299081375, 1.27326518521), rel=1e-10
    )
    assert found.ppk.estimate == pytest.approx(1.27326518521, rel=1e-10)


def test_the_retyped_wafers_are_those_of_the_reference() -> None:
    assert outside.entry("nist.3.5.1.furnace")["inputs"]["thickness"] == FURNACE


def test_alike_wafers_are_worth_fewer() -> None:
    """The same wafers come in lots; what the lots share is no independent evidence."""
    found = capability(FURNACE, Specification(low=460.0, high=660.0))
    independent = capability(FURNACE, Specification(low=460.0, high=660.0), phi=0.0)

    assert found.phi > 0.4
    assert found.effective_n < 70
    assert found.ppk.low < independent.ppk.low < independent.ppk.high < found.ppk.high
    assert found.ppk.estimate == independent.ppk.estimate
    assert found.cpk is not None
    assert found.cpk.estimate > found.ppk.estimate
    assert "Cp and Cpk flatter" in found.notes[0]


def test_flow_width_of_125_wafers_in_subgroups() -> None:
    """Montgomery, Introduction to Statistical Quality Control, table 6.1, limits 1.50 +- 0.50 (cap.floww)."""
    entry = outside.entry("cap.floww")
    x, expected = outside.entry("mont.floww.xbarr")["inputs"]["x"], entry["expected"]
    found = capability(x, Specification(low=1.0, high=2.0, target=1.5), within="ranges")
    printed_d2 = 2.326 / d2(5)  # the table's rounded constant

    assert found.within is not None
    assert found.cp is not None
    assert found.cpk is not None
    assert found.pp is not None
    assert found.cpm is not None
    assert found.within.spread.sigma == pytest.approx(expected["sigma_within"] * printed_d2, rel=1e-9)
    assert found.cp.estimate == pytest.approx(expected["Cp"] / printed_d2, rel=1e-9)
    assert found.cp.estimate == pytest.approx(1.192, abs=5e-4)  # as printed
    assert found.cpk.estimate == pytest.approx(expected["Cpk"] / printed_d2, rel=1e-9)
    for ours, theirs in ((found.pp.estimate, "Pp"), (found.ppk.estimate, "Ppk"), (found.cpm.estimate, "Cpm"),
                         (found.overall.spread.sigma, "sd_overall"), (found.mean, "mean"),
                         (found.rejects.total.estimate, "ppm_overall")):  # fmt: skip
        assert ours == pytest.approx(expected[theirs], rel=1e-9), theirs
    assert (found.pp.low, found.pp.high) == pytest.approx(expected["Pp_CI95"], rel=1e-9)
    assert (found.cpm.low, found.cpm.high) == pytest.approx(expected["Cpm_CI95"], rel=1e-9)
    bissell = nearest_bissell(found.ppk.estimate, 125, 124, 0.95)
    assert (bissell.low, bissell.high) == pytest.approx(expected["Ppk_CI95_bissell"], rel=1e-9)
    assert found.notes == ()


def test_the_interval_of_cp_from_twenty_parts() -> None:
    """Montgomery, example 8.4: n 20, limits 38 and 62, s 1.75: 2.29 with 1.57 to 3.01 (from memory).
    The further digits are those of cap.cp.ci20."""
    found = capability(_with(50.0, 1.75, 20), Specification(low=38.0, high=62.0), phi=0.0).pp

    assert found is not None
    assert found.estimate == pytest.approx(2.28571428571, rel=1e-9)
    assert (found.low, found.high) == pytest.approx((1.56494500454, 3.00557942974), rel=1e-9)
    assert (found.low, found.high) == pytest.approx((1.57, 3.01), abs=0.006)  # from the rounded 2.29


def test_the_interval_of_cpk_from_twenty_parts() -> None:
    """Bissell (1990) for Cpk 1.33 and n 20, and the noncentral t by a second computation (cap.cpk.ci20)."""
    normal, exact = nearest_bissell(1.33, 20, 19, 0.95), nearest(1.33, 20, 19, 0.95)

    assert (normal.low, normal.high) == pytest.approx((0.882606050559, 1.77739394944), rel=1e-7)
    assert (exact.low, exact.high) == pytest.approx((0.883853505771, 1.77191533281), rel=1e-7)


@pytest.mark.parametrize("n", TABLE)
def test_a_table_of_intervals(n: int) -> None:
    for index, expected in zip((1.0, 1.33, 1.67), TABLE[n][:3], strict=True):
        found = nearest_bissell(index, n, n - 1, 0.95)
        assert (found.low, found.high) == pytest.approx(expected, abs=5.1e-5)
    factor = potential(1.0, n - 1, 0.95)
    assert (factor.low, factor.high) == pytest.approx(TABLE[n][3], abs=5.1e-5)


def test_the_whole_table_of_intervals() -> None:
    """cap.ci.table: Bissell's intervals and chi-square factors for n 20 to 200."""
    entry = outside.entry("cap.ci.table")
    for n, row in entry["expected"].items():
        for key, expected in row.items():
            size = int(n)
            found = (
                potential(1.0, size - 1, 0.95) if key == "Cp_factor"
                else nearest_bissell(float(key), size, size - 1, 0.95)
            )  # fmt: skip
            assert (found.low, found.high) == pytest.approx(expected, rel=entry["tolerance"]["rel"]), (n, key)


@pytest.mark.parametrize(
    ("index", "n"), [(1.33, 20), (0.2, 7), (-0.8, 12), (2.5, 4000), (0.0, 3), (1.0, 31.4)]
)
def test_bounds_of_the_nearest_index_are_scipys_noncentral_t(index: float, n: float) -> None:
    found, root = nearest(index, n, n - 1, 0.9), 3 * math.sqrt(n)

    assert stats.nct.sf(root * index, n - 1, root * found.low) == pytest.approx(0.05, abs=1e-8)
    assert stats.nct.cdf(root * index, n - 1, root * found.high) == pytest.approx(0.05, abs=1e-8)


def test_bissells_formula_is_near_the_exact_interval_from_fifty_values_on() -> None:
    exact, normal = nearest(1.33, 200, 199, 0.95), nearest_bissell(1.33, 200, 199, 0.95)

    assert (exact.low, exact.high) == pytest.approx((normal.low, normal.high), abs=0.005)


@pytest.mark.parametrize(
    "specification", [Specification(high=4.0), Specification(low=-4.0, high=4.0, target=0.5)]
)
def test_intervals_cover_as_often_as_they_say(specification: Specification) -> None:
    rng = np.random.default_rng(1)
    held = dict.fromkeys(("ppk", "low", "pp", "cpm", "total"), 0)
    for _ in range(600):
        found = capability(rng.normal(0.5, 1.0, 40), specification, phi=0.0, confidence=0.9)
        truth = 3.5 / 3  # the nearer limit is the upper one
        held["ppk"] += found.ppk.low <= truth <= found.ppk.high
        held["low"] += found.ppk.low <= truth
        held["pp"] += found.pp is None or found.pp.low <= 8 / 6 <= found.pp.high
        held["cpm"] += found.cpm is None or found.cpm.low <= 8 / 6 <= found.cpm.high
        ppm = 1e6 * (stats.norm.sf(3.5) + (0 if found.pp is None else stats.norm.sf(4.5)))
        held["total"] += found.rejects.total.low <= ppm <= found.rejects.total.high

    for name, count in held.items():
        wanted = 0.95 if name == "low" else 0.9
        assert stats.binomtest(count, 600, wanted, alternative="less").pvalue > 0.001, name
    assert held["ppk"] < 0.95 * 600


def test_intervals_of_alike_values_cover_too() -> None:
    rng = np.random.default_rng(2)
    held = blind = 0
    for _ in range(300):
        noise, x = rng.standard_normal(300), np.empty(300)
        x[0] = noise[0]
        for i in range(1, 300):
            x[i] = 0.7 * x[i - 1] + math.sqrt(0.51) * noise[i]
        found = capability(x, Specification(high=4.0), confidence=0.9).ppk
        blindly = capability(x, Specification(high=4.0), phi=0.0, confidence=0.9).ppk
        held += found.low <= 4 / 3 <= found.high
        blind += blindly.low <= 4 / 3 <= blindly.high

    # phi is itself estimated, which costs a little.
    assert stats.binomtest(held, 300, 0.86, alternative="less").pvalue > 0.001
    assert blind / 300 < 0.75


def test_cpm_intervals_are_those_of_boyles_formula() -> None:
    found = around_target(10.4, 0.8, 60, width=6.0, target=10.0, confidence=0.9)
    a2 = (0.4 / 0.8) ** 2
    nu = 60 * (1 + a2) ** 2 / (1 + 2 * a2)

    assert found.estimate == pytest.approx(1.0 / math.sqrt(0.64 + 0.16))
    assert found.low == pytest.approx(found.estimate * math.sqrt(stats.chi2.ppf(0.05, nu) / nu), rel=1e-10)


def test_a_process_that_wanders_has_a_better_index_within_than_overall() -> None:
    rng = np.random.default_rng(3)
    groups = rng.normal(0, 1, (30, 1)) + rng.normal(0, 0.3, (30, 5))
    found = capability(groups, Specification(low=-4.0, high=4.0))

    assert found.cp is not None
    assert found.pp is not None
    assert found.within is not None
    assert found.within.spread.freedom == 120
    assert found.cp.estimate == pytest.approx(8 / 6 / 0.3, rel=0.15)
    assert found.pp.estimate == pytest.approx(8 / 6 / math.hypot(1, 0.3), rel=0.25)


def test_one_limit_leaves_out_what_needs_two() -> None:
    found = capability(_with(5.0, 1.0, 40), Specification(high=8.0), phi=0.0)

    assert (found.pp, found.cp, found.cpm, found.overall.lower) == (None, None, None, None)
    assert found.rejects.below is None
    assert found.rejects.total == found.rejects.above
    assert found.ppk.estimate == pytest.approx(1.0)


def test_a_gauge_is_taken_out_of_the_spread() -> None:
    """ISO 22514-7: variances add, so sigma 0.5 read with a gauge of 0.3 is a process of 0.4."""
    found = capability(_with(5.0, 0.5, 200), Specification(low=2.0, high=8.0), phi=0.0, gauge_sigma=0.3)

    assert found.pp is not None
    assert found.gauge is not None
    assert found.gauge.pp is not None
    assert found.gauge.ppk is not None
    assert (found.gauge.share, found.gauge.process_sigma) == pytest.approx((0.36, 0.4))
    assert found.gauge.pp.estimate == pytest.approx(6 / 6 / 0.4)
    assert found.gauge.pp.low == pytest.approx(1 / math.sqrt(found.pp.low**-2 - 0.09), rel=1e-9)
    assert found.gauge.pp.high == pytest.approx(1 / math.sqrt(found.pp.high**-2 - 0.09), rel=1e-9)
    assert found.gauge.ppk.low > found.ppk.low
    assert "36 % of the variance" in found.notes[-1]


def test_a_gauge_as_wide_as_the_values_leaves_nothing_to_say() -> None:
    found = capability(_with(5.0, 0.5, 200), Specification(low=2.0, high=8.0), phi=0.0, gauge_sigma=0.51)
    barely = capability(_with(5.0, 0.5, 20), Specification(low=2.0, high=8.0), phi=0.0, gauge_sigma=0.49)

    assert found.gauge is not None
    assert (found.gauge.process_sigma, found.gauge.ppk) == (None, None)
    assert "say nothing about the process" in found.notes[-1]
    assert barely.gauge is not None
    assert barely.gauge.ppk is not None
    assert barely.gauge.ppk.high == math.inf
    assert json.loads(json.dumps(barely.to_dict()))["gauge"]["ppk"]["high"] is None


def test_a_shift_and_a_skew_are_told() -> None:
    rng = np.random.default_rng(4)
    shifted = rng.standard_normal(200)
    shifted[120:] += 4.0
    skewed = capability(rng.lognormal(0, 0.8, 300), Specification(high=30.0))

    notes = " ".join(capability(shifted, Specification(low=-9.0, high=9.0)).notes)
    assert "The level shifted (at value 1" in notes
    assert any("do not look normal" in note for note in skewed.notes)


def test_values_out_of_tolerance_are_counted_and_a_limit_is_within() -> None:
    found = capability([1.0, 2.0, 3.0, 4.0, math.nan, 5.0], Specification(low=2.0, high=4.0))

    assert found.n == 5
    assert found.rejects.seen.estimate == pytest.approx(400_000.0)


def test_the_record_names_the_indices() -> None:
    held = json.loads(json.dumps(capability(FURNACE, Specification(low=460.0, high=660.0)).to_dict()))

    assert set(held) >= {"cp", "cpk", "pp", "ppk", "cpm", "rejects", "specification", "notes", "effective_n"}
    assert held["ppk"]["estimate"] == pytest.approx(1.27326518521)
    assert held["cpm"] is None
    assert held["overall"]["spread"]["method"] == "all values"


@given(
    shift=st.floats(-1e4, 1e4), scale=st.floats(1e-2, 1e2), seed=st.integers(0, 2**32 - 1),
    groups=st.booleans(),
)  # fmt: skip
@settings(max_examples=40, deadline=None)
def test_another_zero_or_unit_moves_no_index(shift: float, scale: float, seed: int, groups: bool) -> None:
    x = np.random.default_rng(seed).standard_normal(60)
    x = x.reshape(12, 5) if groups else x
    plain = capability(x, Specification(low=-3.0, high=4.0, target=0.0), gauge_sigma=0.1)
    moved = capability(
        shift + scale * x,
        Specification(low=shift - 3.0 * scale, high=shift + 4.0 * scale, target=shift),
        gauge_sigma=0.1 * scale,
    )  # fmt: skip
    for name in ("cp", "cpk", "pp", "ppk", "cpm"):
        ours, theirs = getattr(plain, name), getattr(moved, name)
        assert (theirs.low, theirs.estimate, theirs.high) == pytest.approx(
            (ours.low, ours.estimate, ours.high), rel=1e-5
        )


@given(seed=st.integers(0, 2**32 - 1))
@settings(max_examples=25, deadline=None)
def test_a_mirrored_process_has_the_mirrored_indices(seed: int) -> None:
    x = np.random.default_rng(seed).standard_normal(50)
    plain = capability(x, Specification(low=-3.0, high=4.0))
    mirrored = capability(-x, Specification(low=-4.0, high=3.0))

    assert (mirrored.overall.lower, mirrored.overall.upper) == pytest.approx(
        (plain.overall.upper, plain.overall.lower)
    )
    assert mirrored.ppk.low == pytest.approx(plain.ppk.low, rel=1e-9)


BOTH = Specification(low=0.0, high=9.0)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: Specification(low=2.0, high=2.0), "low limit 2 is not below the high limit 2; swap them"),
        (lambda: Specification(low=3.0, high=2.0), "not below"),
        (Specification, "without a limit holds everything"),
        (lambda: Specification(high=math.inf), "high of the specification is inf"),
        (lambda: capability([1.0], BOTH), "1 values tell no capability; give 2 or more"),
        (lambda: capability([math.nan] * 4, BOTH), "0 values tell no capability"),
        (lambda: capability([3.0] * 9, BOTH), "All 9 values are 3; measure with finer steps"),
        (lambda: capability([1.0, math.inf], BOTH), "Value 1 is infinite"),
        (lambda: capability([[1.0, 2.0], [3.0]], BOTH), "subgroups differ in size"),
        (lambda: capability([[1.0, 2.0], [3.0, math.nan]], BOTH), "2 or more values each, none missing"),
        (lambda: capability([[1.0], [3.0]], BOTH), "2 or more values each"),
        (lambda: capability(np.zeros((2, 2, 2)), BOTH), "not 3 dimensions"),
        (lambda: capability([1.0, 2.0], BOTH, phi=1.0), "phi is 1.0"),
        (lambda: capability([1.0, 2.0], BOTH, confidence=1.0), "confidence is 1.0"),
        (lambda: capability([1.0, 2.0], BOTH, gauge_sigma=-1.0), "gauge sigma is -1.0"),
        (lambda: capability([1.0, 2.0], BOTH, within="best"), "no spread within by 'best'"),
        (lambda: potential(1.0, 0.0, 0.9), "0 degrees of freedom has no interval"),
        (lambda: nearest(1.0, 5, 4, 0.0), "confidence is 0.0"),
    ],
)
def test_bad_input_is_refused_with_a_sentence(call: Callable[[], object], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        call()


def test_no_more_than_all_are_expected_out_of_tolerance() -> None:
    """Where few values scatter wider than the tolerance either bound may reach most of them."""
    found = capability([0.0, 3.0, 0.1, 2.9, 1.4], Specification(low=1.2, high=1.8))
    assert found.rejects.total.high == pytest.approx(1e6)
    assert found.rejects.total.estimate <= 1e6
