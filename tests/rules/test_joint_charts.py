"""T2 and MEWMA: what they say of published rows, which characteristic they name, and autocorrelated rows."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.baseline.joint import joint_baseline
from rules.charts import MewmaChart, T2Chart
from rules.charts.joint_contribution import contributions, sequence
from rules.charts.joint_rows import SingularCovariance, dependent
from rules.run_length import mewma_arl, mewma_limit
from tests.rules.test_joint_baseline import IMPURITIES, TRACY_YOUNG_MASON

PAIR = {"names": ("pressure", "time"), "center": (80.0, 2.0), "covariance": ((4.0, 0.36), (0.36, 0.04))}
# Lowry, Woodall, Champ and Rigdon (1992), Technometrics 34, 46-53, Table 1: ten rows with unit variances and
# correlation 0.5, moved from the sixth on; r = 0.10 and h = 8.79. Rows and their averages are from memory of
# the print, which rounds.
LOWRY = [
    [-1.19, 0.59],
    [0.12, 0.90],
    [-1.69, 0.40],
    [0.30, 0.46],
    [0.89, -0.75],
    [0.82, 0.98],
    [-0.30, 2.28],
    [0.63, 1.75],
    [1.56, 1.58],
    [1.46, 3.05],
]
LOWRY_AVERAGES = [
    [-0.12, 0.06],
    [-0.10, 0.14],
    [-0.26, 0.17],
    [-0.20, 0.20],
    [-0.09, 0.11],
    [0.00, 0.19],
    [-0.03, 0.40],
    [0.04, 0.54],
    [0.19, 0.64],
    [0.32, 0.88],
]
UNIT = {"names": ("a", "b"), "center": (0.0, 0.0), "covariance": ((1.0, 0.5), (0.5, 1.0))}


def whitened_process(rng, phi, shocks, n, start=None):
    """AR(1) rows from their stationary start; shocks of the given covariance."""
    p = len(phi)
    settled = shocks / (1 - np.outer(phi, phi))
    row = rng.multivariate_normal(np.zeros(p), settled) if start is None else start
    noise = rng.multivariate_normal(np.zeros(p), shocks, size=n)
    rows = np.empty((n, p))
    for i in range(n):
        rows[i] = row
        row = phi * row + noise[i]
    return rows


# Published rows


def test_the_example_of_lowry_and_others_by_their_equations():
    # z = r x + (1 - r) z before; then z' S^-1 z with S the covariance times r (1 - (1 - r)^2i) / (2 - r).
    chart = MewmaChart(**UNIT, limit=8.79, r=0.1, asymptotic=False)
    state, inverse = chart.start(), np.linalg.inv(UNIT["covariance"])
    for i, (row, printed) in enumerate(zip(LOWRY, LOWRY_AVERAGES, strict=True), start=1):
        state, point = chart.step(state, row)
        np.testing.assert_allclose(state.average, printed, atol=0.011)
        z = np.array(state.average)
        assert point.statistic == pytest.approx(
            z @ inverse @ z / (0.1 * (1 - 0.9 ** (2 * i)) / 1.9), rel=1e-12
        )
    assert point.signals == ("beyond_limit",)
    t2 = T2Chart(**UNIT, limit=10.6).run(LOWRY)[1]
    assert t2.signals == ()  # which is what their example is for: no single row is unusual


def test_an_ewma_of_one_characteristic_is_a_mewma_of_one():
    x = np.random.default_rng(3).standard_normal(200)
    _, track = MewmaChart(names=("a",), center=(0.0,), covariance=((1.0,),), limit=2.814**2, r=0.1).run(
        x[:, None]
    )
    average = 0.0
    for value, statistic in zip(x, track.statistic, strict=True):
        average = 0.1 * value + 0.9 * average
        assert statistic == pytest.approx(average**2 * 19, rel=1e-10, abs=1e-14)


def test_share_is_a_distance_and_has_no_side():
    chart = T2Chart(names=("a",), center=(5.0,), covariance=((4.0,),), limit=9.0)
    _, point = chart.step(chart.start(), [5.0 - 4.5])
    assert (point.statistic, point.share, point.direction) == (pytest.approx(5.0625), 0.75, 0)


# Which characteristic


def test_terms_of_the_first_row_of_tracy_young_and_mason_add_up_in_every_order():
    # Mason, Tracy and Young (1995), J. Quality Technology 27, 99-108: the terms of any order sum to T2.
    baseline = joint_baseline(TRACY_YOUNG_MASON, IMPURITIES)
    off = np.array(TRACY_YOUNG_MASON[0]) - baseline.center
    covariance = np.array(baseline.covariance)
    whole = contributions(IMPURITIES, off, covariance)
    assert whole.statistic == pytest.approx(10.93, abs=0.005)  # published
    for order in itertools.permutations(range(3)):
        terms = sequence(off, covariance, order)
        assert sum(terms) == pytest.approx(whole.statistic, rel=1e-10)
        assert terms[0] == pytest.approx(whole.parts[order[0]].unconditional, rel=1e-10)
        assert terms[2] == pytest.approx(whole.parts[order[2]].conditional, rel=1e-10)


@settings(max_examples=50, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(2, 6))
def test_a_conditional_term_is_what_t2_loses_and_a_residual_of_a_regression(seed, p):
    # Runger, Alt and Montgomery (1996): d_i = T2 - T2 without i; Mason, Tracy and Young (1995): its
    # square root is a regression residual over its standard deviation.
    rng = np.random.default_rng(seed)
    root = rng.standard_normal((p, p)) + 2 * np.eye(p)
    covariance, off = root @ root.T, 3 * rng.standard_normal(p)
    whole = contributions([str(i) for i in range(p)], off, covariance)
    for i, part in enumerate(whole.parts):
        rest = [j for j in range(p) if j != i]
        inner = covariance[np.ix_(rest, rest)]
        without = off[rest] @ np.linalg.solve(inner, off[rest])
        assert part.conditional == pytest.approx(whole.statistic - without, rel=1e-6, abs=1e-6)
        weights = np.linalg.solve(inner, covariance[rest, i])
        assert part.strayed == pytest.approx(off[i] - weights @ off[rest], rel=1e-6, abs=1e-6)
        assert part.moved == pytest.approx(off[i])
        assert part.unconditional == pytest.approx(off[i] ** 2 / covariance[i, i])


@pytest.mark.parametrize(
    ("row", "kind", "leading", "direction"),
    [
        ([88.0, 2.7], "level", "pressure", 1),  # 4 sigma, and the time went along
        ([80.0, 1.2], "level", "time", -1),
        ([82.4, 1.76], "relation", "pressure", 1),  # each 1.2 sigma, but against each other
        ([83.0, 2.0], "relation", "pressure", 1),
    ],
)
def test_the_characteristic_that_moved_is_named_with_its_direction(row, kind, leading, direction):
    chart = T2Chart(**PAIR, limit=11.83)
    assert chart.step(chart.start(), row)[1].signals == ("beyond_limit",)
    said = chart.explain(chart.start(), row)
    assert (said.kind, said.leading.name, said.direction) == (kind, leading, direction)
    assert said.parts[0].moved == pytest.approx(row[0] - 80.0)  # in its own unit


def test_small_deviations_that_add_up_blame_nobody():
    p = 12
    chart = T2Chart(names=tuple("abcdefghijkl"), center=(0.0,) * p, covariance=np.eye(p).tolist(), limit=30.0)
    said = chart.explain(chart.start(), [1.7, -1.8] * 6)
    assert said.statistic > 30
    assert said.kind == "together"


def test_a_mewma_explains_its_average_with_the_statistic_it_plots():
    chart = MewmaChart(**UNIT, limit=8.66, r=0.1, asymptotic=False)
    state, _ = chart.run(LOWRY[:9])
    said, (_, point) = chart.explain(state, LOWRY[9]), chart.step(state, LOWRY[9])
    assert said.statistic == pytest.approx(point.statistic, rel=1e-12)
    assert (said.kind, said.leading.name, said.direction) == ("level", "b", 1)
    assert chart.explain(state, [math.nan, 1.0]) is None
    assert T2Chart(**UNIT, limit=9.0).explain(T2Chart(**UNIT, limit=9.0).start(), [math.nan, 1.0]) is None


# Autocorrelated rows

PHI = np.array([0.8, 0.4, 0.0])
SHOCKS = np.array([[1.0, 0.8, 0.3], [0.8, 1.0, 0.0], [0.3, 0.0, 1.0]])


def freed(kind, **parameters):
    """A chart whose covariance is that of the scaled innovations, known."""
    spread = np.sqrt(1 - PHI**2)
    covariance = (SHOCKS / np.outer(spread, spread)).tolist()
    known = {"names": ("a", "b", "c"), "center": (0.0,) * 3, "covariance": covariance, "phi": tuple(PHI)}
    return kind(**known, **parameters)


def test_t2_of_autocorrelated_rows_is_beyond_as_often_as_chi_square_says_after_a_gap_too():
    rows = whitened_process(np.random.default_rng(21), PHI, SHOCKS, 60_000)
    gappy = rows.copy()
    gappy[::3, 1] = np.nan  # so every third row has no row before it
    for x, share in ((rows, 1.0), (gappy, 2 / 3)):
        _, track = freed(T2Chart, limit=7.815).run(x)  # chi-square, 3 degrees of freedom, 0.05
        expected = 0.05 * share * len(x)
        assert len(track.signals) == pytest.approx(expected, abs=4 * math.sqrt(expected))
    first = track.statistic[1::3]
    assert first.mean() == pytest.approx(3.0, abs=4 * math.sqrt(6 / len(first)))  # chi-square again


def test_a_mewma_of_freed_rows_runs_as_long_as_one_of_independent_rows():
    limit = mewma_limit(columns=3, r=0.2, arl=40.0)
    rows = whitened_process(np.random.default_rng(22), PHI, SHOCKS, 80_000).tolist()
    chart, lengths, state, last = freed(MewmaChart, limit=limit, r=0.2), [], None, -1
    state = chart.start()
    for i, row in enumerate(rows):
        state, point = chart.step(state, row)
        if point.signals:
            lengths.append(i - last)
            last, state = i, type(state)((0.0,) * 3, 1.0, state.before)
    error = np.std(lengths) / math.sqrt(len(lengths))
    assert np.mean(lengths) == pytest.approx(mewma_arl(columns=3, r=0.2, limit=limit), abs=3.5 * error)


def test_a_lasting_shift_shows_in_freed_rows_as_the_documentation_says():
    chart = freed(MewmaChart, limit=1e9, r=0.01)
    shifted = np.tile([2.0, 1.0, 1.0], (2000, 1))
    state, _ = chart.run(shifted)
    np.testing.assert_allclose(state.average, [2.0, 1.0, 1.0] * np.sqrt((1 - PHI) / (1 + PHI)), rtol=1e-4)


@settings(max_examples=40, deadline=None)
@given(st.data())
def test_long_rows_cut_anywhere_equal_the_rows_whole(data):
    # Beyond the blocks of the array form, with gaps at and beside the cut.
    rng = np.random.default_rng(31)
    rows = rng.standard_normal((9000, 3))
    rows[rng.random(9000) < 0.01, 1] = np.nan
    cut = data.draw(st.integers(4000, 4300))
    rows[data.draw(st.integers(cut - 2, cut + 2)), 0] = np.nan
    for chart in (
        freed(T2Chart, limit=12.0),
        freed(MewmaChart, limit=9.0, asymptotic=False),
        freed(MewmaChart, limit=9.0),
    ):
        end, whole = chart.run(rows)
        middle, first = chart.run(rows[:cut])
        after, second = chart.run(rows[cut:], middle)
        assert after == end
        np.testing.assert_array_equal(np.concatenate([first.statistic, second.statistic]), whole.statistic)


@pytest.mark.parametrize("kind", [T2Chart, MewmaChart])
def test_many_rows_give_the_bits_of_one_row_at_a_time(kind):
    rows = np.random.default_rng(32).standard_normal((300, 3)) * 2
    rows[100:103, 2] = np.nan
    chart = freed(kind, limit=9.0)
    state, statistics = chart.start(), []
    for row in rows.tolist():
        state, point = chart.step(state, row)
        statistics.append(point.statistic)
    end, track = chart.run(rows)
    np.testing.assert_array_equal(track.statistic, statistics)
    assert end == state


# What makes no chart


def changed(**parts):
    return lambda: T2Chart(**(PAIR | {"limit": 11.83} | parts))


@pytest.mark.parametrize(
    ("call", "kind", "said"),
    [
        (changed(limit=0.0), ValueError, "limit of the joint chart is 0.0; give a number above zero"),
        (changed(center=(math.nan, 2.0)), ValueError, "center of 'pressure' of the joint chart is nan"),
        (changed(center=(80.0,)), ValueError, "2 names, 1 centers, a covariance of shape .2, 2."),
        (changed(covariance=((4.0,), (0.04,))), ValueError, "a covariance of shape .2, 1."),
        (changed(names=("time", "time")), ValueError, "do not name different characteristics"),
        (changed(phi=(0.5, 1.0)), ValueError, "phi of 'time' is 1.0; give a number between -1 and 1"),
        (changed(covariance=((4.0, 0.36), (0.3, 0.04))), ValueError, "covariance is not symmetric"),
        (changed(covariance=((4.0, math.inf), (math.inf, 0.04))), ValueError, "not finite"),
        (changed(covariance=((4.0, 0.0), (0.0, 0.0))), SingularCovariance, "'time' does not vary; leave"),
        (
            changed(covariance=((4.0, 0.4), (0.4, 0.04))),
            SingularCovariance,
            "'time' follows from 'pressure': leave out 'time'",
        ),
        (
            lambda: MewmaChart(**PAIR, limit=9.0, r=0.0),
            ValueError,
            "r of the mewma chart is 0.0; give a weight",
        ),
        (lambda: contributions(("a",), [1.0], [[1.0]], alpha=1.0), ValueError, "alpha is 1.0; give a chance"),
    ],
)
def test_parameters_that_make_no_chart_are_refused_in_a_sentence(call, kind, said):
    with pytest.raises(kind, match=said):
        call()


def test_without_the_dependent_columns_the_rest_is_sound():
    rng = np.random.default_rng(41)
    free = rng.standard_normal((50, 3))
    rows = np.column_stack((free[:, 0], free[:, 0] + free[:, 1], free[:, 1], free[:, 2], free.sum(axis=1)))
    found = dependent(np.corrcoef(rows.T))
    assert found == {2: [0, 1], 4: [1, 3]}
    kept = [i for i in range(5) if i not in found]
    assert dependent(np.corrcoef(rows[:, kept].T)) == {}
