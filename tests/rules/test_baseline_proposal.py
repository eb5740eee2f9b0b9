"""What is proposed for each kind of characteristic, that it can be built, and that it keeps its promise."""

from __future__ import annotations

import json
import math
from collections.abc import Callable

import numpy as np
import pytest
from scipy import stats

from rules.baseline import (
    ConstantValues,
    Floor,
    Proposal,
    TooFewValues,
    propose_charts,
    propose_counts,
    propose_setting,
    study,
    widening,
)
from rules.baseline.band import band_of
from rules.baseline.planned import KINDS
from rules.limits import Baseline
from tests.rules.series import autoregressive

FLOOR = Floor()


def _names(made: Proposal) -> list[str]:
    return [planned.name for planned in made.charts]


def _sound(made: Proposal) -> None:
    """Kind known, charts buildable from what JSON carries, one sentence why."""
    assert made.kind in KINDS
    for planned in made.charts:
        stored = json.loads(json.dumps(planned.parameters))
        assert planned.make() == type(planned)(planned.name, stored).make()
    assert made.why.endswith(".")
    assert "\n" not in made.why


def test_independent_values_get_a_wide_limit_and_a_cusum_within_the_budget() -> None:
    made = propose_charts(np.random.default_rng(1).normal(50.0, 2.0, 400), FLOOR, minimum_shift=0.5)

    _sound(made)
    assert (made.kind, _names(made), made.standing) == ("values", ["individuals", "cusum"], "firm")
    assert "independent" in made.why
    # One false alarm a day, ten characteristics, three shifts.
    assert made.false_alarms_per_shift == pytest.approx(1 / 30, rel=0.02)
    assert set(made.delay) == {0.5, 1.0, 2.0, 3.0}
    assert all(planned.parameters["minimum_shift"] == 0.5 for planned in made.charts)


def test_shots_that_are_alike_get_limits_computed_for_that() -> None:
    x = autoregressive(np.random.default_rng(2), 0.5, 600)

    made = propose_charts(x, FLOOR)
    _sound(made)
    assert made.kind == "values"
    assert "autocorrelation" in made.why
    assert made.study is not None
    assert made.study.baseline.sigma_method == "total"
    assert made.delay[1.0] > propose_charts(np.random.default_rng(2).standard_normal(600), FLOOR).delay[1.0]


def test_skewed_values_get_single_limits_from_their_own_curve() -> None:
    x = np.random.default_rng(3).gamma(4.0, 1.0, 3000)

    made = propose_charts(x, FLOOR)
    _sound(made)
    assert "Pearson type III" in made.why
    limit = made.charts[0].make().limits()
    assert limit is not None
    # Gamma values beyond it against the share of the budget that single limits have: a quarter, one side.
    normal = stats.norm.isf(0.5 * 0.25 / FLOOR.shots_between())
    expected = stats.gamma(4.0).isf(stats.norm.sf(normal))
    assert limit.upper == pytest.approx(expected, rel=0.12)
    assert stats.gamma(4.0).sf(4.0 + 2.0 * normal) > 30 * stats.norm.sf(normal)
    assert (
        made.charts[1].parameters["h"]
        > 1.1
        * propose_charts(np.random.default_rng(3).standard_normal(3000), FLOOR).charts[1].parameters["h"]
    )


def test_far_values_that_are_frequent_widen_the_limit_of_single_shots() -> None:
    made = propose_charts(np.random.default_rng(13).standard_t(6, 3000), FLOOR)

    _sound(made)
    assert "heavy tails" in made.why
    assert made.charts[0].parameters["width"] > 5.5


def test_values_that_come_in_steps_get_the_floor_of_their_steps() -> None:
    x = np.array([20.0] * 60 + [20.1, 20.2] + [20.0] * 38)

    made = propose_charts(x, FLOOR)
    _sound(made)
    assert "half a step" in made.why
    assert made.charts[0].parameters["sigma"] == pytest.approx(0.05)


def test_what_never_moves_is_watched_for_change() -> None:
    made = propose_charts([7.5] * 40, FLOOR)

    _sound(made)
    assert (made.kind, _names(made)) == ("setting", ["setting"])
    assert made.charts[0].make().run([7.5, 7.6])[1].signals == ((1, "beyond_limit"),)
    _sound(propose_setting(12.0, 0.05))


def test_counts_get_exact_limits_for_their_budget() -> None:
    """Poisson tail by scipy: the limits are passed at most once in the shots that the floor allows."""
    x = np.random.default_rng(4).poisson(0.4, 400).astype(float)
    x[7] = math.nan

    made = propose_counts(x, FLOOR)
    _sound(made)
    assert _names(made) == ["c"]
    upper = made.charts[0].make().limits().upper
    assert stats.poisson.sf(math.floor(upper), float(np.nanmean(x))) <= 0.5 / FLOOR.shots_between()


def test_steps_ask_for_their_cause_and_limits_rest_on_one_level() -> None:
    x = np.random.default_rng(5).standard_normal(400)
    x[250:] += 5.0

    made = propose_charts(x, FLOOR)
    _sound(made)
    assert made.standing == "provisional"
    assert "steps at shot 250" in made.confirm
    assert made.charts[0].parameters["center"] == pytest.approx(0.0, abs=0.2)


def test_a_drift_gets_no_limits() -> None:
    made = propose_charts(np.random.default_rng(6).standard_normal(300) + np.linspace(0, 8, 300), FLOOR)

    _sound(made)
    assert (made.kind, made.charts) == ("none", ())
    assert "drifts" in made.confirm


def test_a_wander_around_a_setpoint_is_held_against_it() -> None:
    x = 190.0 + autoregressive(np.random.default_rng(7), 0.96, 2000)

    made = propose_charts(x, FLOOR, setpoint=190.5)
    _sound(made)
    assert made.kind == "deviation"
    assert "plain chart is refused" in made.why
    assert made.charts[0].parameters["center"] == 190.5
    assert made.band is not None
    assert made.band.allowed > abs(190.5 - float(x.mean()))
    assert "Confirm" in made.confirm

    stated = propose_charts(x, FLOOR, setpoint=190.5, allowed_deviation=5.0)
    _sound(stated)
    assert _names(stated) == ["engineering_limits"]
    assert stated.charts[0].parameters == {"lower": 185.5, "upper": 195.5, "center": 190.5}
    assert stated.confirm == ""
    with pytest.raises(ValueError, match=r"allowed deviation of 0\.0"):
        propose_charts(x, FLOOR, setpoint=190.5, allowed_deviation=0.0)


def test_the_band_moves_and_stretches_with_the_values() -> None:
    x = autoregressive(np.random.default_rng(8), 0.95, 1500)

    one, other = band_of(x, run=5000.0), band_of(40.0 - 3.0 * x, run=5000.0)
    assert other.nominal == pytest.approx(40.0 - 3.0 * one.nominal)
    assert other.allowed == pytest.approx(3.0 * one.allowed)
    assert one.step is not None
    assert other.step is not None
    assert other.step.limit == pytest.approx(3.0 * one.step.limit)


def test_the_wander_leaves_its_band_about_as_often_as_the_budget_says() -> None:
    """On the average over baselines, each followed by two hundred budgets of shots of the same process."""
    rng, run = np.random.default_rng(9), 1000.0
    left, shots = 0, 0
    for _ in range(20):
        band = band_of(autoregressive(rng, 0.95, 2000), run=run)
        later = autoregressive(rng, 0.95, 20_000)
        out = np.flatnonzero((later < band.lower) | (later > band.upper))
        left += len(out) and 1 + int((np.diff(out) > 20).sum())
        shots += len(later)

    # The band has half of the budget, the step limit the other half.
    assert 0.5 <= left / (shots / (2 * run)) <= 1.6


def test_a_step_limit_is_left_away_where_its_rate_is_unknown() -> None:
    rng = np.random.default_rng(10)
    level = autoregressive(rng, 0.97, 2000)

    assert band_of(level, run=5000.0).step is not None
    assert band_of(level + 0.1 * rng.standard_t(2, 2000), run=5000.0).step is None


def test_a_longer_baseline_earns_a_narrower_band() -> None:
    x = autoregressive(np.random.default_rng(11), 0.95, 8000)

    assert band_of(x, run=5000.0).width < band_of(x[:600], run=5000.0).width


def test_estimated_limits_cost_delay_and_a_long_baseline_costs_next_to_none() -> None:
    """Jensen et al. (2006): the loss shrinks with the size of the baseline."""
    short = widening(Baseline(center=0.0, sigma=1.0, n=50), FLOOR)
    long = widening(Baseline(center=0.0, sigma=1.0, n=5000), FLOOR)

    assert short.estimated > 1.2 * short.known
    assert long.estimated < 1.05 * long.known
    assert long.known == short.known
    assert "50 shots" in short.sentence


def test_a_given_baseline_costs_nothing() -> None:
    given = widening(Baseline(center=0.0, sigma=1.0, n=0, sigma_method="given"), FLOOR)

    assert given.estimated == given.known


@pytest.mark.parametrize(
    ("call", "error", "words"),
    [
        (lambda: propose_charts([1.0], FLOOR), TooFewValues, "1 steady values are too few"),
        (lambda: propose_counts([1.0] * 5, FLOOR), TooFewValues, "5 counts are too few"),
        (lambda: propose_counts([0.0] * 50, FLOOR), ConstantValues, "None of 50 shots shows an event"),
        (lambda: propose_setting(1.0, 0.0), ValueError, "tolerance"),
        (lambda: band_of([5.0] * 50, run=100.0), ConstantValues, "do not vary"),
        (lambda: band_of([math.nan] * 50, run=100.0), ConstantValues, "do not vary"),
        (lambda: band_of(range(50), run=5.0), ValueError, "every 5 shots is too often"),
        (
            lambda: band_of(np.cumsum(np.random.default_rng(1).standard_normal(100)), run=100.0),
            TooFewValues,
            "collect about",
        ),
    ],
)
def test_bad_input_is_refused_with_a_remedy(
    call: Callable[[], object], error: type[Exception], words: str
) -> None:
    with pytest.raises(error, match=words):
        call()


def test_a_proposal_rests_on_the_study_that_a_person_would_see() -> None:
    x = np.random.default_rng(12).standard_normal(200)
    x[50] = 12.0

    made = propose_charts(x, FLOOR, left_out=[50])
    assert made.study == study(x, left_out=[50])
