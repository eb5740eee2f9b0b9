"""Stretches, excursions and drifts of one characteristic, on series whose truth is put in."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pandas as pd
import pytest

from dashboard.audit.facts import InForce
from dashboard.audit.shifts import history
from dashboard.audit.shot_list import ShotList, stretches

CENTER, SIGMA = 50.0, 1.0


def shot_list(n, startup=0):
    return ShotList(pd.DataFrame({
        "id": range(100, 100 + n), "counter": range(1, n + 1), "tray": [f"T{i // 10}" for i in range(n)],
        "phase": ["startup"] * startup + ["charted"] * (n - startup), "signaled": [False] * n,
    }))  # fmt: skip


def limits(last, *, n=400, chart="individuals"):
    return InForce(
        limits_id=1, key="cushion", version=1, standing="firm", own=False, approved_by="technician 1",
        made_at=datetime(2026, 1, 1, tzinfo=UTC), reason=None,
        baseline={"center": CENTER, "sigma": SIGMA, "n": n, "phi": 0.0}, effective_n=float(n),
        charts=[{"chart": chart, "parameters": {}}], cost={}, lines=None, superseded=False, first=0,
        last=last,
    )  # fmt: skip


def noise(n, seed=2):
    return CENTER + SIGMA * np.random.default_rng(seed).standard_normal(n)


def test_a_step_is_one_excursion_with_its_first_and_last_shot():
    x = noise(300)
    x[100:180] += 4
    found = history("cushion", x, shot_list(300), [limits(299)], signaled=[105, 106])
    (only,) = found.excursions
    assert abs(only.first - 100) <= 1
    assert abs(only.last - 179) <= 1
    assert only.low <= 100 <= only.high
    assert only.signaled == 2
    assert only.steps == 1
    assert not only.drift
    assert only.level == pytest.approx(x[only.first : only.last + 1].mean())


def test_steps_that_go_one_way_are_called_a_drift():
    x = noise(400)
    x[100:] += np.minimum(np.arange(300) // 60 * 3.0, 9.0)
    x[340:] -= 9
    (only,) = history("cushion", x, shot_list(400), [limits(399)], signaled=[]).excursions
    assert only.drift
    assert only.steps >= 3


def test_startup_shots_take_no_part():
    x = noise(200)
    x[:30] -= 20
    assert history("cushion", x, shot_list(200, startup=30), [limits(199)], signaled=[]).shifts == ()


def test_a_baseline_of_few_shots_lets_a_level_lie_farther_off():
    x = noise(400) + 1.4
    sure = history("cushion", x, shot_list(400), [limits(399, n=400)], signaled=[])
    unsure = history("cushion", x, shot_list(400), [limits(399, n=9)], signaled=[])
    assert len(sure.excursions) == 1
    assert unsure.excursions == ()


def test_without_a_baseline_levels_are_given_and_nothing_is_away():
    x = noise(200)
    x[100:] += 5
    found = history("cushion", x, shot_list(200), [], signaled=[])
    assert len(found.shifts) == 1
    assert found.excursions == ()
    assert all(each.sigmas is None for each in found.stretches)


def test_a_timer_that_was_set_anew_is_found_though_it_has_no_noise():
    x = np.full(100, 39.0)
    x[60:] = 36.0
    watched = limits(99, chart="setting")
    watched.baseline["center"], watched.baseline["sigma"] = 39.0, 0.005
    (only,) = history("cooling_time", x, shot_list(100), [watched], signaled=[60]).shifts
    assert (only.place, only.before, only.after) == (60, 39.0, 36.0)


def test_missing_values_do_not_move_a_shift():
    x = noise(200)
    x[120:] += 6
    x[::3] = np.nan
    (only,) = history("cushion", x, shot_list(200), [limits(199)], signaled=[]).shifts
    assert 119 <= only.place <= 122


def test_places_become_stretches_and_shots_without_counters_their_order():
    assert stretches([3, 1, 2, 7, 9, 8]) == [(1, 3), (7, 9)]
    bare = ShotList(shot_list(5).frame.assign(counter=pd.array([None] * 5, dtype="Int64")))
    assert bare.span(0, 3) == "shots #1 to #4"


def paced_by_hand():
    x = CENTER + 0.05 * np.random.default_rng(2).standard_normal(700)
    x[300:550] += -8 + 3 * np.random.default_rng(4).standard_normal(250)
    tight = limits(699)
    tight.baseline["sigma"] = 0.05
    return x, tight


def test_shots_that_a_hand_paces_are_one_level_and_not_eighty():
    x, tight = paced_by_hand()
    found = history("cycle_time", x, shot_list(700), [tight], signaled=[310])
    assert len(found.shifts) == 2
    (only,) = found.excursions
    assert only.level == pytest.approx(x[only.first : only.last + 1].mean())
    assert only.level - CENTER == pytest.approx(-8, abs=0.5)  # what was put in, scatter / sqrt(250) = 0.2


def test_an_excursion_says_its_mean_and_beside_it_its_farthest_level():
    x = noise(400)
    x[100:280] += 4
    x[160:220] += 4  # 60 shots at 8, 120 at 4
    (only,) = history("cushion", x, shot_list(400), [limits(399)], signaled=[105]).excursions
    assert only.steps == 3
    assert only.level == pytest.approx(x[only.first : only.last + 1].mean())
    assert only.level - only.center == pytest.approx(16 / 3, abs=0.3)
    assert only.farthest == pytest.approx(8, abs=0.5)
    assert abs(only.farthest_shots - 60) <= 3
    assert only.sigmas == pytest.approx(only.level - CENTER)


def test_a_mean_is_taken_from_the_center_that_was_in_force_at_each_shot():
    x = noise(400)
    x[100:300] += 6
    x[200:300] += 10
    moved = {**limits(399).baseline, "center": CENTER + 10}
    newer = replace(limits(399), version=2, first=200, baseline=moved)
    found = history("cushion", x, shot_list(400), [replace(limits(399), last=199), newer], signaled=[105])
    first = found.excursions[0]
    assert first.last == 299
    assert first.level - first.center == pytest.approx(6, abs=0.3)
    assert first.farthest == pytest.approx(6, abs=0.5)


def test_a_few_far_shots_of_a_timer_are_no_level():
    x = np.full(500, 38.0)
    x[100:104] = 30.0
    watched = limits(499, chart="setting")
    watched.baseline["center"], watched.baseline["sigma"] = 38.0, 0.005
    found = history("cooling_time", x, shot_list(500), [watched], signaled=[100])
    assert all(each.last - each.first < 10 for each in found.excursions)
