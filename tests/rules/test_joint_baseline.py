"""Mean vector, covariance, T2 limits and phase I study of several characteristics, against print and draw."""

import itertools
import json
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from rules.baseline.joint import (
    JointBaseline,
    autocorrelations,
    joint_baseline,
    subgroup_baseline,
)
from rules.baseline.joint_limits import (
    known_limit,
    phase_one_limit,
    phase_one_means_limit,
    phase_two_limit,
)
from rules.baseline.joint_study import joint_study, subgroup_study
from rules.baseline.refusals import ConstantValues, InfiniteValue, TooFewValues
from rules.charts import MewmaChart, T2Chart
from rules.charts.joint_rows import SingularCovariance
from tests import outside

# NIST/SEMATECH e-Handbook of Statistical Methods, 6.5.4.1: five rows of length, width and height.
NIST = [[4.0, 2.0, 0.60], [4.2, 2.1, 0.59], [3.9, 2.0, 0.58], [4.3, 2.1, 0.62], [4.1, 2.2, 0.63]]
# Tracy, Young and Mason (1992), J. Quality Technology 24, 88-95: fourteen rows of a chemical process.
TRACY_YOUNG_MASON = [
    [14.92, 85.77, 42.26],
    [16.90, 83.77, 43.44],
    [17.38, 84.46, 42.74],
    [16.90, 86.27, 43.60],
    [16.92, 85.23, 43.18],
    [16.71, 83.81, 43.72],
    [17.07, 86.08, 43.33],
    [16.93, 85.85, 43.41],
    [16.71, 85.73, 43.28],
    [16.88, 86.27, 42.59],
    [16.73, 83.46, 44.00],
    [17.07, 85.81, 42.78],
    [17.60, 85.92, 43.11],
    [16.90, 84.23, 43.48],
]
IMPURITIES = ("first", "second", "third")


@pytest.fixture(scope="session")
def reference():
    return outside.entries()


def drawn(n, p=3, seed=1):
    """Invented rows with some relation between the columns."""
    rng = np.random.default_rng(seed)
    return rng.standard_normal((n, p)) @ (np.eye(p) + 0.5 * np.tri(p, k=-1)) + 10.0


# Mean and covariance


def test_the_mean_vector_and_covariance_of_the_nist_handbook():
    found = joint_baseline(NIST, ("length", "width", "height"))
    np.testing.assert_allclose(found.center, [4.10, 2.08, 0.604], atol=1e-12)
    covariance = [[0.025, 0.0075, 0.00175], [0.0075, 0.0070, 0.00135], [0.00175, 0.00135, 0.00043]]
    np.testing.assert_allclose(found.covariance, covariance, atol=1e-12)
    assert (found.n, found.freedom) == (5, 4.0)


def test_the_nist_covariance_as_kept_outside(reference):
    entry = reference["nist.6.5.4.1.meancov"]  # NIST/SEMATECH e-Handbook 6.5.4.1
    found = joint_baseline(entry["inputs"]["X"], ("length", "width", "height"))
    np.testing.assert_allclose(found.center, entry["expected"]["mean"], atol=entry["tolerance"]["abs"])
    np.testing.assert_allclose(found.covariance, entry["expected"]["cov"], atol=entry["tolerance"]["abs"])


def test_successive_differences_by_their_definition():
    # Holmes and Mergen (1993): half the mean of v v', v the difference of neighbors. By hand: differences
    # (2, 1), (-1, 1), (1, 0), (0, 2), (3, -1) have squares 15 and 7, products 2 - 1 + 0 + 0 - 3.
    rows = np.cumsum([[0, 0], [2, 1], [-1, 1], [1, 0], [0, 2], [3, -1]], axis=0)
    found = joint_baseline(rows, ("a", "b"), method="successive_differences")
    np.testing.assert_allclose(found.covariance, [[1.5, -0.2], [-0.2, 0.7]])
    assert found.freedom == pytest.approx(2 * 25 / 14)  # Scholz and Tosch (1994)


def test_a_step_hides_from_the_sample_covariance_but_not_from_successive_differences():
    # Sullivan and Woodall (1996), J. Quality Technology 28, 398-408, found so; data drawn here.
    rows = np.random.default_rng(8).standard_normal((200, 2))
    rows[100:] += 3.0
    sample = joint_baseline(rows, ("a", "b"))
    steps = joint_baseline(rows, ("a", "b"), method="successive_differences")
    assert sample.covariance[0][0] > 3.0
    assert sample.covariance[0][1] > 2.0
    assert steps.covariance[0][0] == pytest.approx(1.0, abs=0.25)
    assert steps.covariance[0][1] == pytest.approx(0.0, abs=0.2)


def test_degrees_of_freedom_of_successive_differences_by_drawing():
    # A variance with f degrees of freedom has twice the squared mean over f as its variance.
    rng = np.random.default_rng(4)
    found = [
        joint_baseline(rng.standard_normal((30, 1)), ("a",), method="successive_differences")
        for _ in range(4000)
    ]
    variances = np.array([one.covariance[0][0] for one in found])
    freedom = 2.0 * variances.mean() ** 2 / variances.var(ddof=1)
    assert variances.mean() == pytest.approx(1.0, abs=0.02)
    assert found[0].freedom == pytest.approx(freedom, rel=0.1)


def test_rows_that_miss_a_value_are_left_out_with_the_pairs_they_break():
    rows = drawn(40)
    gappy = np.insert(rows, [10, 25], np.nan, axis=0)
    gappy[26, :2] = 5.0  # one value missing is enough
    whole, found = joint_baseline(rows, "abc"), joint_baseline(gappy, "abc")
    assert found == whole
    broken = joint_baseline(gappy, "abc", method="successive_differences")
    steps = np.delete(np.diff(rows, axis=0), [9, 24], axis=0)
    np.testing.assert_allclose(broken.covariance, steps.T @ steps / (2 * len(steps)))


def test_innovations_have_the_covariance_that_was_put_in():
    # AR(1) by its definition; the shocks are known, so their covariance is what innovations must have.
    rng = np.random.default_rng(5)
    phi = np.array([0.8, 0.3, 0.0])
    shocks = rng.multivariate_normal(np.zeros(3), [[1, 0.7, 0.2], [0.7, 1, 0], [0.2, 0, 1]], size=20_000)
    rows = np.zeros_like(shocks)
    for i in range(1, len(rows)):
        rows[i] = phi * rows[i - 1] + shocks[i]
    expected = np.cov(shocks.T) / np.sqrt(np.outer(1 - phi**2, 1 - phi**2))
    found = joint_baseline(rows, "abc", phi=phi)
    np.testing.assert_allclose(found.covariance, expected, rtol=0.01, atol=0.01)
    np.testing.assert_allclose(autocorrelations(rows), phi, atol=0.02)
    assert autocorrelations(rows)[2] == 0.0


# Limits


@pytest.mark.parametrize(
    ("p", "m", "one", "two", "known"),
    [
        (2, 25, 9.58232333594, 16.7849796513, 11.8290070119),
        (3, 50, 12.6073280552, 17.3600180541, 14.1562525005),
        (6, 100, 18.6668508908, 23.2525583305, 20.0619019724),
    ],
)
def test_limits_of_tracy_young_and_mason(p, m, one, two, known):
    # Their formulas (J. Quality Technology 24, 88-95) at alpha 0.0027; NIST e-Handbook 6.3.4 has the same.
    assert phase_one_limit(alpha=0.0027, columns=p, rows=m) == pytest.approx(one, rel=1e-9)
    assert phase_two_limit(alpha=0.0027, columns=p, rows=m) == pytest.approx(two, rel=1e-9)
    assert known_limit(alpha=0.0027, columns=p) == pytest.approx(known, rel=1e-9)


def test_limits_as_kept_outside(reference):
    entry = reference["t2.limits"]  # Tracy, Young and Mason (1992); NIST e-Handbook 6.3.4
    alpha, expected = entry["inputs"]["alpha"], entry["expected"]
    for p, m in itertools.product((2, 3, 4, 5, 6), (25, 50, 100)):
        size = {"alpha": alpha, "columns": p, "rows": m}
        assert phase_one_limit(**size) == pytest.approx(expected["phase1_beta"][f"p{p}_m{m}"], rel=1e-9)
        assert phase_two_limit(**size) == pytest.approx(expected["phase2_F"][f"p{p}_m{m}"], rel=1e-9)
        assert known_limit(alpha=alpha, columns=p) == pytest.approx(expected["chi2"][f"p{p}"], rel=1e-9)


def test_limits_meet_where_the_baseline_is_long():
    long = {"alpha": 0.001, "columns": 4, "rows": 10**7}
    known = stats.chi2.isf(0.001, 4)
    assert phase_one_limit(**long) == pytest.approx(known, rel=1e-5)
    assert phase_two_limit(**long) == pytest.approx(known, rel=1e-5)
    assert phase_one_means_limit(**long, freedom=4e7) == pytest.approx(known, rel=1e-5)


@pytest.mark.parametrize(("method", "m"), [("sample", 20), ("successive_differences", 40)])
def test_new_rows_of_a_steady_process_are_beyond_as_often_as_was_asked(method, m):
    rng = np.random.default_rng(9)
    beyond = []
    for _ in range(300):
        baseline = joint_baseline(rng.standard_normal((m, 3)), "abc", method=method)
        chart = T2Chart(**baseline.chart_parameters(), limit=baseline.limit(0.02))
        beyond.append(len(chart.run(rng.standard_normal((100, 3)))[1].signals) / 100)
    assert np.mean(beyond) == pytest.approx(0.02, abs=3.5 * np.std(beyond) / math.sqrt(len(beyond)))


# Phase I study


def test_the_worked_example_of_tracy_young_and_mason():
    # T2 of the first row is 10.93 (from memory of the print) and beyond their limit at 0.001.
    study = joint_study(TRACY_YOUNG_MASON, IMPURITIES, overall=0.05)
    assert study.t2[0] == pytest.approx(10.93, abs=0.005)
    assert math.fsum(study.t2) == pytest.approx(3 * 13, rel=1e-12)  # p (m - 1), whatever the rows
    assert [row.index for row in study.rows] == [0]
    assert study.rows[0].t2 > phase_one_limit(alpha=0.001, columns=3, rows=14)
    assert study.rows[0].contributions.leading.name == "first"
    assert study.rows[0].contributions.direction == -1
    assert "first is -1.91 from its center" in study.rows[0].reason
    assert study.baseline.n == 14  # proposed, not dropped


def test_the_worked_example_as_kept_outside(reference):
    entry = reference["t2.tym"]  # Tracy, Young and Mason (1992)
    expected = entry["expected"]
    study = joint_study(entry["inputs"]["X"], IMPURITIES)
    np.testing.assert_allclose(study.t2, expected["T2"], rtol=1e-9)
    np.testing.assert_allclose(study.baseline.center, expected["mean"], rtol=1e-9)
    np.testing.assert_allclose(study.baseline.covariance, expected["cov"], rtol=1e-9)
    for alpha in (0.01, 0.001, 0.0027, 0.05):
        key = f"UCL_alpha_{alpha}".replace(".", "_")
        assert phase_one_limit(alpha=alpha, columns=3, rows=14) == pytest.approx(expected[key], rel=1e-9)
    beyond = np.flatnonzero(np.array(study.t2) > expected["UCL_alpha_0_001"]) + 1
    assert beyond.tolist() == expected["signals_0_001"]


def test_the_subgroups_of_ryan(reference):
    # Ryan, Statistical Methods for Quality Improvement, p. 220 (NIST public data file T2CC.DAT).
    entry = reference["t2.ryan.subgroups"]
    groups, expected = entry["inputs"]["groups"], entry["expected"]
    baseline = subgroup_baseline(groups, ("one", "two"))
    np.testing.assert_allclose(baseline.center, expected["grand_mean"], rtol=1e-9)
    np.testing.assert_allclose(np.array(baseline.covariance) * 4, expected["pooled_cov"], rtol=1e-9)
    size = {"columns": 2, "rows": 20, "freedom": 60.0}
    assert phase_one_means_limit(alpha=0.0027, **size) == pytest.approx(
        expected["UCL_phase1_0_0027"], rel=1e-9
    )
    assert phase_one_means_limit(alpha=0.0054, **size) == pytest.approx(
        expected["UCL_phase1_0_0054"], rel=1e-9
    )
    assert baseline.limit(0.0027) == pytest.approx(expected["UCL_phase2_0_0027"], rel=1e-9)
    study = subgroup_study(groups, ("one", "two"), overall=0.05)
    np.testing.assert_allclose(study.t2, expected["T2"], rtol=1e-9)
    assert [row.index for row in study.rows] == [9, 19]  # 63.76 and 13.04, as the book finds
    assert study.rows[0].contributions.kind == "relation"


def test_a_short_subgroup_example_by_the_definition():
    # Three subgroups of two; within-sums worked by hand, T2 = n d' S^-1 d.
    groups = [[[1, 2], [3, 2]], [[2, 4], [2, 6]], [[4, 1], [6, 3]]]
    baseline = subgroup_baseline(groups, ("a", "b"))
    pooled = np.array([[4.0, 2.0], [2.0, 4.0]]) / 3  # (2,0), (0,2), (2,2) halved and squared, over 3
    np.testing.assert_allclose(np.array(baseline.covariance) * 2, pooled)
    off = np.array([2.0, 2.0]) - [3.0, 3.0]
    study = subgroup_study(groups, ("a", "b"))
    assert study.t2[0] == pytest.approx(2 * off @ np.linalg.solve(pooled, off))


@pytest.mark.parametrize(("method", "m"), [("sample", 25), ("successive_differences", 60)])
def test_a_steady_baseline_has_a_row_to_look_at_as_often_as_was_asked(method, m):
    rng = np.random.default_rng(10)
    found = [
        bool(joint_study(rng.standard_normal((m, 2)), "ab", overall=0.2, method=method).rows)
        for _ in range(300)
    ]
    assert np.mean(found) == pytest.approx(0.2, abs=3.5 * math.sqrt(0.16 / 300))


def test_a_broken_relation_is_named_though_no_value_is_unusual():
    rng = np.random.default_rng(11)
    pressure = rng.standard_normal(100)
    rows = np.column_stack((pressure, 0.95 * pressure + 0.2 * rng.standard_normal(100)))
    rows[40] = [1.4, -1.4]
    study = joint_study(rows, ("pressure", "time"))
    assert [row.index for row in study.rows] == [40]
    assert study.rows[0].contributions.kind == "relation"
    assert "from what the others lead one to expect" in study.rows[0].reason
    assert study.notes == (f"Look at row 40: {study.rows[0].reason}",)


def test_notes_say_what_was_left_out_and_where_neighbors_are_alike():
    rng = np.random.default_rng(13)
    rows = rng.standard_normal((300, 2))
    for i in range(1, 300):
        rows[i, 1] += 0.8 * rows[i - 1, 1]
    rows[7, 0] = np.nan
    study = joint_study(rows, ("fast", "slow"))
    assert study.notes[0] == "1 of 300 rows miss a value and are left out."
    assert study.notes[1].startswith("Neighboring values of slow are alike")
    assert math.isnan(study.t2[7])
    freed = joint_study(rows, ("fast", "slow"), phi=autocorrelations(rows))
    assert not [note for note in freed.notes if "alike" in note]


# What a baseline hands on


@pytest.mark.parametrize("method", ["sample", "successive_differences"])
def test_a_baseline_survives_a_trip_through_json(method):
    baseline = joint_baseline(drawn(50), "abc", method=method, phi=(0.5, 0.0, 0.25))
    assert JointBaseline.from_dict(json.loads(json.dumps(baseline.to_dict(), allow_nan=False))) == baseline


def test_a_given_baseline_is_taken_as_known():
    given = JointBaseline(
        names=("a", "b"),
        center=(0.0, 0.0),
        covariance=((1.0, 0.0), (0.0, 1.0)),
        n=0,
        freedom=0,
        method="given",
    )
    assert given.limit(0.0027) == known_limit(alpha=0.0027, columns=2)
    assert MewmaChart(**given.chart_parameters(), limit=8.63, r=0.1).columns == 2


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32 - 1), st.sampled_from(["sample", "successive_differences"]))
def test_t2_does_not_change_under_an_invertible_linear_map(seed, method):
    rng = np.random.default_rng(seed)
    rows, new = rng.standard_normal((30, 3)), rng.standard_normal((10, 3))
    mixed = rng.standard_normal((3, 3)) + 3.0 * np.diag(rng.choice([-1.0, 1.0], 3))
    if np.linalg.cond(mixed) > 100:
        mixed = np.diag([1.0, -2.0, 1e4])
    shift = rng.standard_normal(3) * 100
    first, second = (joint_baseline(x, "abc", method=method) for x in (rows, rows @ mixed + shift))
    here = T2Chart(**first.chart_parameters(), limit=10.0).run(new)[1]
    there = T2Chart(**second.chart_parameters(), limit=10.0).run(new @ mixed + shift)[1]
    np.testing.assert_allclose(there.statistic, here.statistic, rtol=1e-6)
    average = MewmaChart(**first.chart_parameters(), limit=10.0).run(new)[1]
    averaged = MewmaChart(**second.chart_parameters(), limit=10.0).run(new @ mixed + shift)[1]
    np.testing.assert_allclose(averaged.statistic, average.statistic, rtol=1e-6)


# What cannot be done


def spoiled(place, value, n=30):
    rows = drawn(n)
    rows[place] = value
    return rows


TIED = np.column_stack((drawn(30), drawn(30)[:, 0] * 2 - drawn(30)[:, 2]))


@pytest.mark.parametrize(
    ("call", "kind", "said"),
    [
        (lambda: joint_baseline(drawn(4), "abc"), TooFewValues, "^4 of 4 rows are complete, and 3 .* need 5"),
        (
            lambda: joint_baseline(spoiled((slice(3, None), 1), np.nan), "abc"),
            TooFewValues,
            "^3 of 30 rows are complete .'b' is missing most often, in 27 rows.",
        ),
        (lambda: joint_baseline(np.full((9, 3), np.nan), "abc"), TooFewValues, "^0 of 9 rows are complete"),
        (
            lambda: joint_baseline(spoiled((slice(None, None, 2), 0), np.nan), "abc", phi=(0.5, 0, 0)),
            TooFewValues,
            "neighboring rows are complete",
        ),
        (
            lambda: joint_baseline(spoiled((slice(None), 2), 7.0), "abc"),
            ConstantValues,
            "^'c' is the same in all rows; leave it out",
        ),
        (
            lambda: joint_baseline(spoiled((3, 1), np.inf), "abc"),
            InfiniteValue,
            "^Row 3 of 'b' is infinite; leave it out",
        ),
        (
            lambda: joint_baseline(TIED, ("a", "b", "c", "d")),
            SingularCovariance,
            "^'d' follows from 'a' and 'c': leave out 'd'",
        ),
        (
            lambda: joint_baseline(TIED + 1e-5 * drawn(30, 4, seed=2), ("a", "b", "c", "d")),
            SingularCovariance,
            "^'d' follows from 'a' and 'c': leave out 'd'",
        ),
        (lambda: joint_baseline(drawn(30), "ab"), ValueError, "^2 names need rows of as many values"),
        (lambda: joint_baseline(drawn(30), ("a", "b", "a")), ValueError, "do not name different"),
        (lambda: joint_baseline(drawn(30), "abc", phi=(0.5,)), ValueError, "1 autocorrelations do not fit"),
        (lambda: joint_baseline(drawn(30), "abc", phi=(0.5, 1, 0)), ValueError, "phi of 'b' is 1; give"),
        (lambda: joint_baseline(drawn(30), "abc", method="robust"), ValueError, "use sample or successive"),
        (lambda: subgroup_baseline(drawn(30), "abc"), ValueError, "^Subgroups come as"),
        (
            lambda: subgroup_baseline(spoiled((8, 0), np.nan).reshape(10, 3, 3), "abc"),
            ValueError,
            "^Subgroup 2 has a missing value",
        ),
        (
            lambda: joint_study(drawn(18), "abc", method="successive_differences"),
            TooFewValues,
            "need more than 18 rows, not 18",
        ),
        (lambda: joint_study(drawn(30), "abc", overall=0.0), ValueError, "overall chance is 0.0"),
        (lambda: phase_one_limit(alpha=0.01, columns=3, rows=4), ValueError, "4 rows of 3 characteristics"),
        (lambda: phase_two_limit(alpha=0.01, columns=3, rows=3), ValueError, "2 degrees of freedom cannot"),
        (lambda: known_limit(alpha=1.0, columns=3), ValueError, "alpha is 1.0; give a chance"),
        (lambda: known_limit(alpha=0.1, columns=0), ValueError, "joint chart of 0 characteristics"),
        (
            lambda: JointBaseline(
                names=("a",), center=(0.0,), covariance=((1.0,),), n=9, freedom=8, method="robust"
            ),
            ValueError,
            "'robust' is unknown; use one of sample",
        ),
        (
            lambda: JointBaseline(names=("a",), center=(0.0,), covariance=((1.0,),), n=9, freedom=0.5),
            ValueError,
            "with 0.5 degrees of freedom from 9 rows is impossible",
        ),
    ],
)
def test_rows_that_make_no_baseline_are_refused_in_a_sentence(call, kind, said):
    with pytest.raises(kind, match=said):
        call()
