"""When a change began, on series that carry their truth.

The estimate itself is checked against published examples beside the rules; here: what is a single bad shot,
what is a lasting change, and how the known center and the autocorrelation enter.
"""

from __future__ import annotations

import numpy as np
import pytest

from collector.alarms.change import FloatArray, Series, earliest, judge
from rules.limits import Baseline

BASELINE = Baseline(center=6.0, sigma=0.1, n=300)


def noise(count: int, seed: int = 5) -> FloatArray:
    return 6.0 + 0.1 * np.random.default_rng(seed).standard_normal(count)


def series(
    x: FloatArray,
    far_out: set[int] | None = None,
    baseline: Baseline = BASELINE,
    signaled: set[int] | None = None,
) -> Series:
    """Shot ids begin at 1,000; the sets count from 0 like the array; the last value always signals."""
    far_out = far_out or set()
    all_signaled = far_out | (signaled or set()) | {x.size - 1}
    return Series(
        key="cushion",
        shot_ids=np.arange(1_000, 1_000 + x.size),
        x=x,
        baseline=baseline,
        signaled=tuple(1_000 + index for index in sorted(all_signaled)),
        far_out=frozenset(1_000 + index for index in far_out),
    )


def test_one_value_far_out_dates_itself() -> None:
    x = noise(60)
    x[-1] = 4.4
    found = judge(series(x, {59}))
    assert (found.single, found.shot_id, found.low_shot_id, found.high_shot_id) == (True, 1059, 1059, 1059)
    assert found.after == 4.4


def test_it_stays_a_single_bad_shot_while_other_charts_go_on_signaling() -> None:
    x = noise(64)
    x[59] = 4.4
    assert judge(series(x, {59})).single


def test_two_bad_shots_apart_are_two_single_ones_and_the_farther_is_told() -> None:
    x = noise(64)
    x[50], x[63] = 5.2, 4.4
    found = judge(series(x, {50, 63}))
    assert (found.single, found.shot_id, found.after) == (True, 1050, 4.4)


def test_three_bad_shots_in_a_row_are_a_lasting_change() -> None:
    x = noise(63)
    x[60:] -= 1.6
    found = judge(series(x, {60, 61, 62}))
    assert (found.single, found.shot_id) == (False, 1060)
    assert found.after - found.before == pytest.approx(-1.6, abs=0.2)


def test_values_that_stay_away_between_bad_shots_are_a_lasting_change() -> None:
    x = noise(66)
    x[60:] -= 0.3
    x[62] = 5.5
    assert not judge(series(x, {62})).single


@pytest.mark.parametrize("seed", range(20))
def test_a_step_of_two_sigma_is_dated_within_its_set(seed: int) -> None:
    x = noise(140, seed)
    x[120:] += 0.2
    found = judge(series(x))
    assert found.low_shot_id <= found.shot_id <= found.high_shot_id
    assert abs(found.shot_id - 1120) <= 8


def test_a_drift_says_the_recent_level() -> None:
    x = noise(160)
    x[100:] += 0.02 * np.arange(60)
    found = judge(series(x))
    assert found.shot_id >= 1100
    assert found.after == pytest.approx(6.0 + 0.02 * 55, abs=0.1)


def test_a_drift_that_goes_on_is_not_dated_after_its_first_signal() -> None:
    x = noise(300)
    x[100:] += 0.01 * np.arange(200)
    found = judge(series(x, signaled=set(range(125, 300))))
    # The set holds the true start, which a set of steps alone does not; the estimate is that of a step.
    assert 1_085 <= found.low_shot_id <= 1_100 <= found.shot_id <= found.high_shot_id <= 1_125
    assert found.after == pytest.approx(6.0 + 0.01 * 195, abs=0.1)


def test_a_bad_shot_before_a_lasting_change_does_not_date_it() -> None:
    x = noise(160)
    x[100] = 4.4
    x[130:] -= 0.3
    found = judge(series(x, {100}, signaled={101, 102, *range(136, 160)}))
    assert not found.single
    assert abs(found.shot_id - 1_130) <= 3


def test_autocorrelation_widens_the_confidence_set() -> None:
    x = noise(140)
    x[120:] += 0.2
    alone = judge(series(x))
    alike = judge(series(x, baseline=Baseline(center=6.0, sigma=0.1, n=300, phi=0.7)))
    width = alone.high_shot_id - alone.low_shot_id
    assert alike.high_shot_id - alike.low_shot_id > width


def test_the_first_value_of_a_series_can_be_the_change() -> None:
    assert judge(series(np.array([9.0]))).shot_id == 1000


def test_the_change_that_must_have_begun_first_leads() -> None:
    late, early = noise(140), noise(140, 8)
    late[120:] += 0.5
    early[90:] += 0.5
    changes = [judge(series(late)), judge(series(early))]
    assert earliest(changes) is changes[1]
    assert earliest([]) is None
