"""Change points against published cases, a real run, and series whose truth is known."""

from __future__ import annotations

import csv
import math
import time
from collections.abc import Callable

import numpy as np
import pytest
from statsmodels.datasets import nile

from rules.change_point import lag_one_of_differences, many, penalty_of, step
from tests import outside
from tests.rules.series import autoregressive

# Montgomery, Introduction to Statistical Quality Control, Table 9.1, to the signal at 29 (from memory).
TEXTBOOK = [
    9.45, 7.99, 9.29, 11.66, 12.16, 10.18, 8.04, 11.46, 9.2, 10.34, 9.03, 11.47, 10.51, 9.4, 10.08,
    9.37, 10.62, 10.31, 8.52, 10.84, 10.9, 9.33, 12.29, 11.5, 10.6, 11.08, 10.38, 11.62, 11.31,
]  # fmt: skip


def _nile() -> np.ndarray:
    return nile.load_pandas().data["volume"].to_numpy(dtype=float)


def test_the_nile_changes_after_1898() -> None:
    """Cobb (1978), Biometrika 65, 243-251; Zeileis et al. (2003) give the interval 1895 to 1902
    (cp.nile)."""
    found = step(_nile(), confidence=0.95)

    assert 1871 + found.index == 1899
    assert (found.before, found.after) == (pytest.approx(1097.75), pytest.approx(849.9722222222))
    assert found.statistic == pytest.approx(75.9297694275, rel=1e-9)  # the F statistic of the two levels
    assert 1895 < 1871 + found.low <= 1899 <= 1871 + found.high <= 1903


def test_the_search_for_many_finds_the_one_change_of_the_nile() -> None:
    (found,) = many(_nile())

    assert found.index == 28


def test_a_known_level_gives_the_published_estimator() -> None:
    """Samuel, Pignatiello and Calvin (1998): greatest (T - t) (mean after t - mu0)^2, here at t = 22
    (cp.stepmle)."""
    found = step(TEXTBOOK, center=10.0, sigma=1.0)

    assert found.index == 22
    assert found.after == pytest.approx(11.2542857143)
    assert found.statistic == pytest.approx(11.0126285714)
    assert found.low <= 20 <= found.high  # the book drew the first 20 values from the old level


def test_the_real_run_changes_where_its_switch_over_was_set() -> None:
    """The steps of about six sigma show in the pressure from cycles 338 and 352 on; the run starts at 251."""
    path = outside.folder() / "data" / "real-cap-run" / "shots.csv"
    with path.open(encoding="utf-8", newline="") as file:
        pressure = [float(row["calc_peak_p_inj_bar"]) for row in csv.DictReader(file)]

    cycles = [251 + found.index for found in many(pressure)]

    assert any(abs(cycle - 338) <= 2 for cycle in cycles)
    assert any(abs(cycle - 352) <= 2 for cycle in cycles)
    assert len(cycles) <= 6


@pytest.mark.parametrize("center", [None, 0.0])
@pytest.mark.parametrize("shift", [1.0, 2.0])
def test_the_set_holds_the_true_shot_as_often_as_it_says(center: float | None, shift: float) -> None:
    rng = np.random.default_rng(1)
    held = 0
    for _ in range(400):
        x = rng.standard_normal(120)
        x[70:] += shift
        found = step(x, center=center)
        held += found.low <= 70 <= found.high
        assert found.low <= found.index <= found.high

    assert held / 400 >= 0.9 - 3 * math.sqrt(0.09 / 400)


def test_a_higher_confidence_never_shrinks_the_set() -> None:
    rng = np.random.default_rng(2)
    x = rng.standard_normal(60)
    x[40:] += 1.0
    sets = [step(x, confidence=confidence) for confidence in (0.5, 0.9, 0.99)]

    assert sets[0].low >= sets[1].low >= sets[2].low
    assert sets[0].high <= sets[1].high <= sets[2].high


def test_correlated_values_widen_the_set() -> None:
    x = autoregressive(np.random.default_rng(3), 0.6, 150)
    x[90:] += 2.0

    plain, widened = step(x), step(x, phi=0.6)

    assert widened.low <= plain.low
    assert widened.high >= plain.high
    assert (widened.high - widened.low) > (plain.high - plain.low)


def test_the_least_squares_place_is_the_one_a_plain_search_finds() -> None:
    rng = np.random.default_rng(4)
    for _ in range(20):
        x = rng.standard_normal(40) + np.where(np.arange(40) >= rng.integers(3, 37), 1.5, 0.0)
        squares = [
            ((x[:t] - x[:t].mean()) ** 2).sum() + ((x[t:] - x[t:].mean()) ** 2).sum() for t in range(1, 40)
        ]
        assert step(x).index == 1 + int(np.argmin(squares))


def test_a_single_bad_shot_after_a_known_level_is_its_own_change() -> None:
    found = step([7.0], center=0.0, sigma=1.0)

    assert (found.index, found.low, found.high, found.after) == (0, 0, 0, 7.0)
    assert found.statistic == 49.0


def test_a_clean_step_leaves_no_doubt() -> None:
    found = step([5.0] * 10 + [6.0] * 10)

    assert (found.index, found.low, found.high) == (10, 10, 10)
    assert (found.before, found.after) == (5.0, 6.0)


def test_missing_values_keep_their_place() -> None:
    x = np.array([0.1, -0.1] * 10 + [5.1, 4.9] * 10)
    x[[2, 3, 25]] = math.nan

    assert step(x).index == 20
    assert [found.index for found in many(x)] == [20]


def test_a_large_level_costs_no_digits() -> None:
    x = np.array([0.0, 1.0] * 20 + [8.0, 9.0] * 20)

    assert step(x + 1e9).statistic == pytest.approx(step(x).statistic, rel=1e-6)


@pytest.mark.parametrize("phi", [0.0, 0.5, 0.8])
def test_a_steady_run_seldom_seems_to_change(phi: float) -> None:
    rng = np.random.default_rng(5)
    seen = sum(bool(many(autoregressive(rng, phi, 300))) for _ in range(200))

    assert seen / 200 <= 0.10


def test_phi_from_differences_is_not_fooled_by_shifts() -> None:
    x = autoregressive(np.random.default_rng(6), 0.5, 2000)
    shifted = x + np.repeat([0.0, 6.0, -4.0, 3.0], 500)

    assert lag_one_of_differences(shifted) == pytest.approx(0.5, abs=0.12)
    assert lag_one_of_differences(x[:10]) == 0.0


def test_three_shifts_are_found_where_they_are() -> None:
    x = np.random.default_rng(7).standard_normal(400) + np.repeat([0.0, 3.0, -1.0, 2.0], 100)

    found = many(x)

    assert [abs(one.index - truth) <= 2 for one, truth in zip(found, (100, 200, 300), strict=True)] == [
        True
    ] * 3
    assert all(one.low <= truth <= one.high for one, truth in zip(found, (100, 200, 300), strict=True))
    assert [round(one.after) for one in found] == [3, -1, 2]


def test_a_hundred_thousand_shots_are_searched_in_seconds() -> None:
    x = np.random.default_rng(8).standard_normal(100_003)
    x[60_001:] += 2.0
    started = time.perf_counter()

    (found,) = many(x)

    assert abs(found.index - 60_001) <= 3
    assert time.perf_counter() - started < 10  # 0.1 s on a quiet machine


def test_the_penalty_grows_with_the_long_run_variance() -> None:
    assert penalty_of(100, 2.0, 0.5) == pytest.approx(3 * math.log(100) * 4 * 3)


@pytest.mark.parametrize("x", [[], [1.0] * 5, [4.0] * 100, [math.nan] * 50])
def test_too_little_to_see_is_no_change(x: list[float]) -> None:
    assert many(x) == []


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: step([1.0, 2.0]), "2 values cannot show"),
        (lambda: step([1.0, 2.0, 3.0], sigma=0.0), "sigma is 0.0"),
        (lambda: step([1.0, 2.0, 3.0], confidence=1.0), "confidence is 1.0"),
        (lambda: step([1.0, 2.0, 3.0], phi=1.0), "phi is 1.0"),
        (lambda: many([1.0] * 10, sigma=-2.0), "sigma is -2.0"),
    ],
)
def test_bad_input_is_refused_with_a_sentence(call: Callable[[], object], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        call()
