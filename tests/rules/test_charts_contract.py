"""What every chart promises, checked on every chart in the registry."""

import json
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.charts import CHARTS, make
from rules.charts.clamped_sums import BLOCK
from rules.run_rules import BLOCK as RULES_BLOCK
from rules.run_rules import RULES
from tests.rules.chart_suite import eighths, fold, forms_agree, missing, unlisted, whole

EIGHT = [rule.name for rule in RULES]

# Center 20 and sigma 0.5: all values below lie on eighths, so that scaling by 4 and moving by 16 is exact.
CASES = [
    ("individuals", {"center": 20.0, "sigma": 0.5}),
    ("individuals", {"center": 20.0, "sigma": 0.5, "width": 2.5, "rules": EIGHT}),
    ("individuals", {"center": 20.0, "sigma": 0.5, "rules": EIGHT, "minimum_shift": 2.0}),
    ("moving_range", {"sigma": 0.5}),
    ("moving_range", {"sigma": 0.5, "width": 1.0}),
    ("cusum", {"center": 20.0, "sigma": 0.5}),
    ("cusum", {"center": 20.0, "sigma": 0.5, "k": 0.25, "h": 4.0, "head_start": 2.0, "cap": 4.25}),
    ("cusum", {"center": 20.0, "sigma": 0.5, "cap": 1e300, "minimum_shift": 0.5}),
    ("cusum", {"center": 20.0, "sigma": 0.5, "reach": 2.25}),
    ("ewma", {"center": 20.0, "sigma": 0.5}),
    ("ewma", {"center": 20.0, "sigma": 0.5, "lam": 0.4, "width": 2.0, "asymptotic": False}),
    ("ewma", {"center": 20.0, "sigma": 0.5, "lam": 1.0}),
    ("setting", {"setpoint": 20.0, "tolerance": 0.25}),
    ("residual", {"center": 20.0, "sigma": 0.5, "phi": 0.5, "chart": "cusum"}),
    ("residual", {"center": 20.0, "sigma": 0.5, "phi": 0.75, "chart": "individuals", "minimum_shift": 1.0}),
    (
        "residual",
        {"center": 20.0, "sigma": 0.5, "phi": -0.25, "chart": "ewma", "chart_parameters": {"lam": 0.4}},
    ),
    (
        "residual",
        {"center": 20.0, "sigma": 0.5, "phi": 0.5, "chart": "spread", "chart_parameters": {"limit": 1.25}},
    ),
    ("engineering_limits", {"lower": 19.0, "upper": 22.0}),
    ("engineering_limits", {"lower": 16.5, "upper": 21.0, "center": 20.0}),
    ("spread", {"sigma": 0.5}),
    ("spread", {"sigma": 0.5, "lam": 0.25, "limit": 2.0, "minimum_scatter": 1.5}),
    ("c", {"center": 20.0}),
    ("c", {"center": 12.5, "tail": 0.01}),
    ("np", {"center": 20.0, "size": 60, "width": 2.0}),
    ("np", {"center": 2.5, "size": 50, "tail": 0.00135}),
]

few = settings(max_examples=20, deadline=None)  # all charts share the time
LONG = {"individuals": RULES_BLOCK + 10_000, "cusum": BLOCK + 10_000}  # others have no blocks
COUNTS = {"c", "np"}  # have no unit to change and take whole numbers only
every_case = pytest.mark.parametrize(("name", "parameters"), CASES, ids=str)
every_measured = pytest.mark.parametrize(
    ("name", "parameters"), [case for case in CASES if case[0] not in COUNTS], ids=str
)


def series(name):
    value = whole if name in COUNTS else eighths
    return st.lists(st.one_of(value, value, value, missing), max_size=80)


@every_case
@few
@given(data=st.data())
def test_the_whole_array_equals_one_value_at_a_time(name, parameters, data):
    forms_agree(make(name, parameters), np.array(data.draw(series(name)), dtype=float))


@every_case
@few
@given(data=st.data())
def test_a_series_cut_anywhere_equals_the_series_whole(name, parameters, data):
    x = data.draw(series(name))
    chart, cut = make(name, parameters), data.draw(st.integers(0, len(x)))
    _, uncut = chart.run(x)
    middle, first = chart.run(x[:cut])
    _, second = chart.run(x[cut:], chart.load_state(json.loads(json.dumps(chart.dump_state(middle)))))
    np.testing.assert_array_equal(np.concatenate([first.statistic, second.statistic]), uncut.statistic)
    np.testing.assert_array_equal(np.concatenate([first.share, second.share]), uncut.share)
    assert first.signals + tuple((cut + i, rule) for i, rule in second.signals) == uncut.signals


@every_case
def test_long_series_keep_the_same_answer_in_both_forms(name, parameters):
    # Longer than the blocks of the array forms that have some; a stretch out of control, one missing, one
    # constant.
    rng = np.random.default_rng(11)
    x = 20 + 0.5 * rng.standard_normal(LONG.get(parameters.get("chart", name), 12_000))
    x[3_000:4_000] += 0.75
    x[6_000:6_300] = np.nan
    x[-5_000:-2_000] = 20.25
    x[rng.random(x.size) < 0.002] = np.nan
    x = np.round(x) if name in COUNTS else x
    forms_agree(make(name, parameters), x)


@every_case
@few
@given(data=st.data())
def test_the_state_survives_a_trip_through_json(name, parameters, data):
    x = data.draw(series(name))
    chart = make(name, parameters)
    state, _ = fold(chart, x)
    dumped = json.dumps(chart.dump_state(state), allow_nan=False)
    assert chart.load_state(json.loads(dumped)) == state


@every_case
def test_the_parameters_survive_a_trip_through_json(name, parameters):
    chart = make(name, parameters)
    assert make(name, json.loads(json.dumps(chart.parameters(), allow_nan=False))) == chart


@every_case
def test_the_same_value_twice_from_one_state_gives_the_same_answer(name, parameters):
    chart = make(name, parameters)
    state, _ = fold(chart, [20.0, 21.0, 19.0])
    assert chart.step(state, 22.0) == chart.step(state, 22.0)


@every_case
@few
@given(data=st.data())
def test_a_missing_value_gives_nothing_and_meets_no_rule(name, parameters, data):
    x = data.draw(series(name))
    chart = make(name, parameters)
    _, track = chart.run(x)
    gone = ~np.isfinite(np.array(x, dtype=float))
    assert np.isnan(track.statistic[gone]).all()
    assert np.isnan(track.share[gone]).all()
    assert not track.direction[gone].any()
    assert not [i for i, _ in track.signals if gone[i]]


@pytest.mark.parametrize("name", ["cusum", "ewma"])
def test_a_missing_value_leaves_what_has_accumulated(name):
    chart = make(name, {"center": 20.0, "sigma": 0.5})
    state, _ = fold(chart, [21.0, 21.0])
    assert chart.step(state, math.nan)[0] == state


def test_a_missing_value_breaks_a_run_and_a_moving_range():
    runs = make("individuals", {"center": 0.0, "sigma": 1.0, "rules": ["same_side"]})
    assert runs.run([0.5] * 8 + [math.nan] + [0.5] * 8)[1].signals == ()
    ranges = make("moving_range", {"sigma": 0.5})
    np.testing.assert_array_equal(
        ranges.run([1, 2, math.nan, 9, 8])[1].statistic, [np.nan, 1, np.nan, np.nan, 1]
    )


PLACES = {"center", "setpoint", "lower", "upper"}
LENGTHS = {"sigma", "minimum_shift", "minimum_scatter", "tolerance"} | PLACES


@every_measured
@few
@given(data=st.data())
def test_signals_do_not_depend_on_the_unit_of_the_values(name, parameters, data):
    x = data.draw(series(name))
    # Factor and offset are exact in binary, so that no value moves over a limit by rounding. The EWMA alone
    # rounds its average, so only values clearly off its limit are compared.
    moved = {k: 4 * v + 16 * (k in PLACES) if k in LENGTHS else v for k, v in parameters.items()}
    _, here = make(name, parameters).run(x)
    _, there = make(name, moved).run(4 * np.array(x, dtype=float) + 16)
    np.testing.assert_allclose(there.share, here.share, rtol=1e-9, atol=1e-9)
    clear = {i for i, share in enumerate(here.share.tolist()) if abs(share - 1) > 1e-9}
    assert [s for s in there.signals if s[0] in clear] == [s for s in here.signals if s[0] in clear]


@every_measured
@few
@given(data=st.data())
def test_a_mirrored_series_signals_at_the_same_values_on_the_other_side(name, parameters, data):
    x = data.draw(series(name))
    values = np.array(x, dtype=float)
    other_side = {"lower": "upper", "upper": "lower"}
    mirrored = {other_side.get(k, k): -v if k in PLACES else v for k, v in parameters.items()}
    _, here = make(name, parameters).run(values)
    _, there = make(name, mirrored).run(-values)
    assert there.signals == here.signals
    if parameters.get("chart", name) not in ("moving_range", "spread", "cusum"):
        assert there.direction.tolist() == (-here.direction).tolist()


@every_case
@few
@given(data=st.data())
def test_a_share_above_one_is_a_signal_and_nothing_else_is(name, parameters, data):
    x = data.draw(series(name))
    _, track = make(name, parameters).run(x)
    beyond = [i for i, rule in track.signals if rule == "beyond_limit"]
    assert beyond == np.flatnonzero(track.share > 1).tolist()


@every_case
def test_an_empty_series_changes_nothing(name, parameters):
    chart = make(name, parameters)
    state, _ = fold(chart, [20.0, 21.0])
    end, track = chart.run([], state)
    assert end == state
    assert track.statistic.size == track.share.size == track.direction.size == len(track.signals) == 0


@every_case
def test_the_values_given_are_not_changed(name, parameters):
    values = np.repeat(np.arange(15.0, 26.0), 40)
    kept = values.copy()
    _, track = make(name, parameters).run(values)
    np.testing.assert_array_equal(values, kept)
    assert not np.shares_memory(track.statistic, values)


@every_case
def test_limits_are_in_order(name, parameters):
    limits = make(name, parameters).limits()
    assert limits.lower <= limits.center < limits.upper


@pytest.mark.parametrize(
    ("name", "wrong", "said"),
    [
        ("individuals", {"center": math.nan, "sigma": 1.0}, "center .* finite number"),
        ("individuals", {"center": 0.0, "sigma": 0.0}, "sigma .* above zero"),
        ("individuals", {"center": 0.0, "sigma": 1.0, "width": -3.0}, "width .* above zero"),
        ("individuals", {"center": 0.0, "sigma": 1.0, "minimum_shift": -1.0}, "minimum shift .* 0 or more"),
        (
            "individuals",
            {"center": 0.0, "sigma": 1.0, "rules": ["nelson9"]},
            "'nelson9' is unknown; the rules are",
        ),
        ("individuals", {"center": 0.0, "sigma": 1.0, "rules": []}, "needs a rule"),
        ("moving_range", {"sigma": math.inf}, "sigma .* above zero"),
        ("moving_range", {"sigma": 1.0, "width": 0.0}, "width .* above zero"),
        ("cusum", {"center": 0.0, "sigma": 1.0, "k": -0.1}, "k .* 0 or more"),
        ("cusum", {"center": 0.0, "sigma": 1.0, "h": 0.0}, "h .* above zero"),
        ("cusum", {"center": 0.0, "sigma": 1.0, "h": 4.0, "cap": 4.0}, "cap .* above h = 4"),
        ("cusum", {"center": 0.0, "sigma": 1.0, "cap": math.inf}, "cap .* above h"),
        ("cusum", {"center": 0.0, "sigma": 1.0, "reach": 0.5}, "reach .* above its reference value of 0.5"),
        ("cusum", {"center": 0.0, "sigma": 1.0, "head_start": 5.0}, "head start .* below h"),
        ("cusum", {"center": 0.0, "sigma": 1.0, "minimum_shift": math.nan}, "minimum_shift .* 0 or more"),
        ("ewma", {"center": 0.0, "sigma": 1.0, "lam": 0.0}, "lam .* above 0, at most 1"),
        ("ewma", {"center": 0.0, "sigma": 1.0, "lam": 1.1}, "lam .* above 0, at most 1"),
        ("ewma", {"center": 0.0, "sigma": 1.0, "width": math.nan}, "width .* above zero"),
        ("setting", {"setpoint": 1.0, "tolerance": 0.0}, "tolerance .* above zero"),
        ("setting", {"setpoint": math.nan, "tolerance": 1.0}, "setpoint .* finite"),
        ("setting", {"setpoint": 1.0}, "cannot be built from setpoint"),
        ("setting", {"setpoint": 1.0, "width": 3.0}, "no parameter 'width'; it has setpoint, tolerance"),
        (
            "shewhart",
            {},
            "no chart 'shewhart'; the charts are individuals, moving_range, cusum, ewma",
        ),
    ],
)
def test_parameters_that_make_no_chart_are_refused_in_a_sentence(name, wrong, said):
    with pytest.raises(ValueError, match=said):
        make(name, wrong)


@every_case
@pytest.mark.parametrize("version", [2, None])
def test_a_state_of_another_version_is_refused(name, parameters, version):
    chart = make(name, parameters)
    with pytest.raises(ValueError, match="update the release or start the chart anew"):
        chart.load_state(chart.dump_state(chart.start()) | {"version": version})


@every_case
def test_a_state_of_another_chart_is_refused(name, parameters):
    with pytest.raises(ValueError, match="no state of"):
        make(name, parameters).load_state({"version": 1, "somebody_elses": 2.0})


def test_a_table_of_values_is_refused():
    with pytest.raises(ValueError, match="one series of values; this array has 2 dimensions"):
        make("setting", {"setpoint": 1.0, "tolerance": 0.5}).run(np.ones((3, 2)))


def test_no_chart_is_left_out_of_the_registry():
    assert unlisted() == set()
    assert unlisted(without="ewma") == {"EwmaChart"}
    assert all(name == chart.name for name, chart in CHARTS.items())


def test_every_chart_of_the_registry_is_in_this_suite():
    assert {name for name, _ in CASES} == set(CHARTS)
