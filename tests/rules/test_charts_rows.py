"""What every chart of rows promises, checked on every one in the registry."""

import json
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.charts import ROW_CHARTS, make_row
from rules.run_rules import RULES
from tests.rules.chart_suite import eighths, forms_agree, missing, unlisted

EIGHT = [rule.name for rule in RULES]
measured = st.one_of(eighths, eighths, eighths, eighths, missing)


@dataclass(frozen=True)
class Case:
    """A chart, the rows it is fed, and how both look in another unit (None where there is no unit)."""

    name: str
    parameters: dict[str, Any]
    row: st.SearchStrategy
    moved: Callable[[dict[str, Any], np.ndarray], tuple[dict[str, Any], np.ndarray]] | None = None

    def make(self):
        return make_row(self.name, self.parameters)

    def __str__(self):
        return f"{self.name}-{self.parameters}"


def values_moved(parameters, rows):
    """All of a row are values: four times as large and 16 up, exact in binary."""
    lengths = {k: 4 * v for k, v in parameters.items() if k in ("sigma", "minimum_shift")}
    places = {"center": 4 * parameters["center"] + 16} if "center" in parameters else {}
    return parameters | lengths | places, 4 * rows + 16


def joint_moved(parameters, rows):
    """As above, for several characteristics with a covariance."""
    center = [4 * value + 16 for value in parameters["center"]]
    covariance = (16 * np.array(parameters["covariance"])).tolist()
    return parameters | {"center": center, "covariance": covariance}, 4 * rows + 16


def joint(name, limit, **parameters):
    known = {
        "names": ["a", "b", "c"],
        "center": [20.0, 21.0, 19.0],
        "covariance": [[4.0, 3.0, 1.0], [3.0, 4.0, 0.0], [1.0, 0.0, 1.0]],
        "limit": limit,
    }
    return Case(name, known | parameters, st.tuples(*[measured] * 3), joint_moved)


def subgroup(name, n, **parameters):
    return Case(name, {"sigma": 1.0, "n": n} | parameters, st.tuples(*[measured] * n), values_moved)


def deviations_moved(parameters, rows):
    """Value and nominal are places, limits are distances."""
    return {k: 4 * v for k, v in parameters.items()}, 4 * rows + 16


def kinds_moved(parameters, rows):
    """Value, nominal and sigma in another unit leave their ratio."""
    return parameters, np.column_stack([4 * rows[:, :2] + 16, 4 * rows[:, 2]])


sigmas = st.sampled_from([0.25, 0.5, 1.0, 2.0, 4.0, math.nan])
sampled = st.one_of(st.integers(1, 40).map(float), missing)
pieces = st.one_of(
    st.integers(1, 40).flatmap(lambda n: st.tuples(st.integers(0, n).map(float), st.just(float(n)))),
    st.tuples(missing, sampled),
    st.tuples(st.just(0.0), missing),
)
events = st.tuples(
    st.one_of(st.integers(0, 30).map(float), missing), st.one_of(eighths.map(lambda x: x / 8), missing)
)

CASES = [
    subgroup("subgroup_mean", 4, center=20.0),
    subgroup("subgroup_mean", 2, center=20.0, width=2.0, rules=EIGHT, minimum_shift=1.0),
    subgroup("subgroup_range", 2),
    subgroup("subgroup_range", 7, width=2.0),
    subgroup("subgroup_sd", 3),
    subgroup("subgroup_sd", 6, width=1.5),
    Case("deviation", {"lower": -2.0, "upper": 1.0}, st.tuples(measured, measured), deviations_moved),
    Case(
        "deviation",
        {"lower": 0.5, "upper": 3.0, "center": 1.0},
        st.tuples(measured, eighths),
        deviations_moved,
    ),
    Case("standardized", {}, st.tuples(measured, measured, sigmas), kinds_moved),
    Case(
        "standardized",
        {"chart": "cusum", "chart_parameters": {"k": 0.5, "h": 4.0}},
        st.tuples(measured, eighths, sigmas),
        kinds_moved,
    ),
    Case("p", {"center": 0.25}, pieces),
    Case("p", {"center": 0.25, "dispersion": 1.5, "width": 2.0}, pieces),
    Case("p", {"center": 0.25, "tail": 0.00135}, pieces),
    Case("u", {"center": 4.0}, events),
    Case("u", {"center": 4.0, "tail": 0.01}, events),
    joint("t2", 14.0),
    joint("t2", 3.0, phi=[0.5, 0.0, -0.25]),
    joint("mewma", 10.0),
    joint("mewma", 2.0, r=0.25, phi=[0.5, 0.75, 0.0], asymptotic=False),
    joint("mewma", 14.0, r=1.0, asymptotic=False),
]
few = settings(max_examples=20, deadline=None)
every_case = pytest.mark.parametrize("case", CASES, ids=str)
every_case_with_a_unit = pytest.mark.parametrize("case", [case for case in CASES if case.moved], ids=str)


def rows_of(case, data, *, most=30):
    drawn = data.draw(st.lists(case.row, max_size=most))
    return np.array(drawn, dtype=float).reshape(-1, case.make().columns)


@every_case
@few
@given(data=st.data())
def test_the_whole_array_equals_one_row_at_a_time(case, data):
    forms_agree(case.make(), rows_of(case, data))


@every_case
@few
@given(data=st.data())
def test_rows_cut_anywhere_equal_the_rows_whole_over_a_trip_through_json(case, data):
    rows, chart = rows_of(case, data), case.make()
    cut = data.draw(st.integers(0, len(rows)))
    end, whole = chart.run(rows)
    middle, first = chart.run(rows[:cut])
    again = chart.load_state(json.loads(json.dumps(chart.dump_state(middle), allow_nan=False)))
    assert again == middle
    after, second = chart.run(rows[cut:], again)
    assert after == end
    np.testing.assert_array_equal(np.concatenate([first.statistic, second.statistic]), whole.statistic)
    np.testing.assert_array_equal(np.concatenate([first.share, second.share]), whole.share)
    assert first.signals + tuple((cut + i, rule) for i, rule in second.signals) == whole.signals


@every_case_with_a_unit
@few
@given(data=st.data())
def test_signals_do_not_depend_on_the_unit_of_the_rows(case, data):
    rows = rows_of(case, data)
    _, here = case.make().run(rows)
    parameters, moved = case.moved(case.parameters, rows)
    _, there = make_row(case.name, parameters).run(moved)
    np.testing.assert_allclose(there.share, here.share, rtol=1e-9, atol=1e-9)
    clear = {i for i, share in enumerate(here.share.tolist()) if abs(share - 1) > 1e-9}
    assert [s for s in there.signals if s[0] in clear] == [s for s in here.signals if s[0] in clear]


@every_case
@few
@given(data=st.data())
def test_a_share_above_one_is_a_signal_and_nothing_else_is(case, data):
    _, track = case.make().run(rows_of(case, data))
    beyond = [i for i, rule in track.signals if rule == "beyond_limit"]
    assert beyond == np.flatnonzero(track.share > 1).tolist()
    unknown = np.isnan(track.statistic)
    assert (np.isnan(track.share) == unknown).all()
    assert not track.direction[unknown].any()
    assert not [i for i, _ in track.signals if unknown[i]]


@every_case
def test_a_row_of_nothing_gives_nothing(case):
    chart = case.make()
    state, point = chart.step(chart.start(), [math.nan] * chart.columns)
    assert math.isnan(point.statistic)
    assert (point.signals, point.direction) == ((), 0)
    assert state == chart.start()


@every_case
def test_the_parameters_survive_a_trip_through_json(case):
    chart = case.make()
    assert make_row(case.name, json.loads(json.dumps(chart.parameters(), allow_nan=False))) == chart


@every_case
def test_no_rows_change_nothing(case):
    chart = case.make()
    end, track = chart.run([], chart.start())
    assert end == chart.start()
    assert track.statistic.size == track.share.size == track.direction.size == len(track.signals) == 0


@every_case
def test_a_row_of_another_length_is_refused(case):
    chart = case.make()
    with pytest.raises(ValueError, match=f"takes rows of {chart.columns} numbers"):
        chart.step(chart.start(), [1.0] * (chart.columns + 1))
    with pytest.raises(ValueError, match=f"takes rows of {chart.columns} numbers"):
        chart.run([1.0] * chart.columns)


@every_case
@given(data=st.data())
@settings(max_examples=5, deadline=None)
def test_the_rows_given_are_not_changed(case, data):
    rows = rows_of(case, data)
    kept = rows.copy()
    _, track = case.make().run(rows)
    np.testing.assert_array_equal(rows, kept)
    assert not np.shares_memory(track.statistic, rows)


@every_case
def test_limits_are_in_order_where_they_are_horizontal(case):
    limits = case.make().limits()
    assert limits is None or limits.lower <= limits.center < limits.upper


@every_case
@pytest.mark.parametrize("version", [2, None])
def test_a_state_of_another_version_is_refused(case, version):
    chart = case.make()
    with pytest.raises(ValueError, match="update the release or start the chart anew"):
        chart.load_state(chart.dump_state(chart.start()) | {"version": version})


@every_case
def test_a_state_of_another_chart_is_refused(case):
    with pytest.raises(ValueError, match="no state of"):
        case.make().load_state({"version": 1, "somebody_elses": 2.0})


def test_an_unknown_chart_of_rows_is_refused():
    with pytest.raises(
        ValueError, match=f"no chart of rows 'shewhart'; the charts are {', '.join(ROW_CHARTS)}"
    ):
        make_row("shewhart", {})


def test_no_chart_of_rows_is_left_out_of_the_registry():
    assert unlisted(without="p") == {"PChart"}
    assert all(name == chart.name for name, chart in ROW_CHARTS.items())


def test_every_chart_of_rows_is_in_this_suite():
    assert {case.name for case in CASES} == set(ROW_CHARTS)
