"""Phase I studies against published examples, real shots, and series whose truth is known."""

from __future__ import annotations

import csv
import math
from collections.abc import Callable

import numpy as np
import pytest

from rules.baseline import (
    first_steady_index,
    lag_one,
    moving_range_sigma,
    propose,
    provisional,
    sigma_floor,
    step_of,
    study,
)
from tests import outside
from tests.rules.series import autoregressive

# Rosner (1983), Technometrics 25, 165-172: vitamin E data; also NIST/SEMATECH e-Handbook 1.3.5.17.3 (retyped
# from memory; the handbook's answer, three outliers at up to ten, is reproduced).
ROSNER = [
    -0.25, 0.68, 0.94, 1.15, 1.20, 1.26, 1.26, 1.34, 1.38, 1.43, 1.49, 1.49, 1.55, 1.56,
    1.58, 1.65, 1.69, 1.70, 1.76, 1.77, 1.81, 1.91, 1.94, 1.96, 1.99, 2.06, 2.09, 2.10,
    2.14, 2.15, 2.23, 2.24, 2.26, 2.35, 2.37, 2.40, 2.47, 2.54, 2.62, 2.64, 2.90, 2.92,
    2.92, 2.93, 3.21, 3.26, 3.30, 3.59, 3.68, 4.30, 4.64, 5.34, 5.42, 6.01,
]  # fmt: skip
# Montgomery, Introduction to Statistical Quality Control: primer paint viscosity (retyped from memory).
VISCOSITY = [
    33.75,
    33.05,
    34.0,
    33.81,
    33.46,
    34.02,
    33.68,
    33.27,
    33.49,
    33.2,
    33.62,
    33.0,
    33.54,
    33.12,
    33.84,
]


def _cap_column(name: str) -> np.ndarray:
    path = outside.folder() / "data" / "real-cap-run" / "shots.csv"
    with path.open(encoding="utf-8", newline="") as file:
        return np.array([float(row[name]) for row in csv.DictReader(file)])


def test_sigma_from_moving_ranges_matches_the_textbook() -> None:
    """Mean moving range 0.480714 (Montgomery); the print divides by the rounded d2 of 1.128."""
    assert moving_range_sigma(VISCOSITY) == pytest.approx(0.480714285714 * math.sqrt(math.pi) / 2, rel=1e-10)
    assert moving_range_sigma(VISCOSITY) == pytest.approx(0.42616514691, rel=4e-4)


def test_a_range_next_to_a_missing_value_is_left_out() -> None:
    assert moving_range_sigma([1.0, 2.0, math.nan, 50.0, 51.0]) == pytest.approx(math.sqrt(math.pi) / 2)


def test_three_outliers_are_proposed_for_the_published_data() -> None:
    found = propose(ROSNER, most=10)

    assert [outlier.value for outlier in found] == [5.34, 5.42, 6.01]
    assert all("above the mean of the others" in outlier.reason for outlier in found)


def test_a_steady_process_seldom_gets_an_outlier_proposed() -> None:
    rng = np.random.default_rng(8)
    found = sum(bool(propose(rng.standard_normal(80))) for _ in range(400))

    assert 0.02 * 400 < found < 0.09 * 400  # made for 5 %


def test_an_outlier_keeps_its_place_beside_missing_values() -> None:
    x = np.random.default_rng(9).standard_normal(60)
    x[[3, 10]] = math.nan
    x[40] = -12.0

    (found,) = propose(x)

    assert (found.index, found.value) == (40, -12.0)
    assert found.distance < -8


def test_one_odd_value_among_equal_ones_is_named() -> None:
    (found,) = propose([5.0] * 29 + [5.1])

    assert found.index == 29


def test_lag_one_matches_the_certified_autocorrelation() -> None:
    """NIST StRD, data set Lew: -0.307304800605679, certified to 15 digits."""
    lines = (outside.folder() / "data" / "nist-handbook" / "LEW.DAT").read_text().splitlines()[25:]
    values = [float(line) for line in lines if line.strip()]

    assert len(values) == 200
    products = lag_one(values)
    # The certified value sums 199 products over 200 squares around the mean of all.
    assert products.r == pytest.approx(-0.307304800605679, rel=1e-10)
    assert products.is_negative


@pytest.mark.parametrize("phi", [0.0, 0.5, 0.8])
def test_the_interval_of_phi_holds_the_truth_as_often_as_it_says(phi: float) -> None:
    rng = np.random.default_rng(10)
    inside = 0
    for _ in range(400):
        found = lag_one(autoregressive(rng, phi, 150))
        inside += found.low <= phi <= found.high

    assert 0.90 <= inside / 400 <= 0.99


def test_too_few_or_equal_values_tell_nothing_about_phi() -> None:
    for values in ([1.0, 2.0, 3.0], [4.0] * 50, [math.nan] * 20):
        found = lag_one(values)
        assert (found.r, found.low, found.high) == (0.0, -1.0, 1.0)


@pytest.mark.parametrize(
    ("values", "step"),
    [
        ([742.0, 743.0, 745.0], 1.0),
        ([10.2, 10.4, 10.7, 11.3], 0.1),
        (np.round(np.random.default_rng(1).standard_normal(500) / 0.02) * 0.02 + 273.15, 0.02),
        (np.round(np.random.default_rng(2).standard_normal(200) * 3) * 0.0689476, 0.0689476),  # psi -> bar
    ],
)
def test_the_step_of_rounded_values_is_found(values: list[float], step: float) -> None:
    assert step_of(values) == pytest.approx(step, rel=1e-6)


@pytest.mark.parametrize(
    "values", [np.random.default_rng(3).standard_normal(300), [1.0, 1.0, 2.0], [0.0, 13.5, 13.5489, 13.4977]]
)
def test_continuous_values_or_too_few_have_no_coarse_step(values: list[float]) -> None:
    step = step_of(values)

    assert step is None or step < 0.002


def test_a_process_standing_between_two_steps_has_the_floor_as_its_sigma() -> None:
    """Rounding a value that sits on the border gives a fair coin: standard deviation of half a step."""
    coin = np.where(np.random.default_rng(4).random(20_000) < 0.5, 20.0, 20.5)

    assert coin.std() == pytest.approx(sigma_floor(0.5), rel=0.01)


def test_warming_up_is_left_out_and_little_else() -> None:
    rng = np.random.default_rng(5)
    shots = np.arange(300)
    found = [first_steady_index(rng.standard_normal(300) + 20 * np.exp(-shots / 6)) for _ in range(200)]

    # 20 sigma falling by 1/e every 6 shots is down to one sigma at shot 18.
    assert 11 <= np.median(found) <= 20
    assert max(found) <= 45


@pytest.mark.parametrize("phi", [0.0, 0.8])
def test_a_steady_run_seldom_loses_its_first_shots(phi: float) -> None:
    rng = np.random.default_rng(6)
    lost = sum(first_steady_index(autoregressive(rng, phi, 200)) > 0 for _ in range(300))

    assert lost <= 0.05 * 300


def test_single_bad_shots_early_are_no_startup() -> None:
    x = np.random.default_rng(7).standard_normal(150)
    x[[1, 12, 30]] += 15.0

    assert first_steady_index(x) == 0


def test_a_short_series_is_taken_as_it_is() -> None:
    assert first_steady_index([9.0, 5.0, 1.0]) == 0


def test_mold_warming_of_the_real_cap_run_is_seen_as_startup() -> None:
    """The mold climbs for some 15 to 30 shots there; the pressure does not care."""
    assert 12 <= first_steady_index(_cap_column("calc_mould_T_peak")) <= 30
    assert first_steady_index(_cap_column("calc_peak_p_inj_bar")) <= 5


def test_a_study_of_independent_values_takes_moving_ranges() -> None:
    x = 50 + 2 * np.random.default_rng(11).standard_normal(200)

    found = study(x)

    assert found.baseline.sigma_method == "moving_range"
    assert found.baseline.sigma == pytest.approx(moving_range_sigma(x))
    assert found.baseline.phi == max(lag_one(x).phi, 0.0)
    assert (found.startup, found.outliers) == (0, ())
    assert any("moving ranges" in note for note in found.notes)


def test_a_study_of_correlated_values_takes_all_of_their_spread_and_says_so() -> None:
    """Moving ranges see sqrt(1 - phi) of sigma (Maragah and Woodall 1992): 0.55 at phi = 0.7."""
    x = autoregressive(np.random.default_rng(12), 0.7, 600)

    found = study(x)

    assert found.baseline.sigma_method == "total"
    assert found.baseline.sigma == pytest.approx(1.0, abs=0.15)
    assert moving_range_sigma(x) == pytest.approx(math.sqrt(0.3), abs=0.06)
    assert found.phi_interval[0] < 0.7 < found.phi_interval[1]
    assert any("alike" in note for note in found.notes)


def test_a_study_counts_startup_and_outliers_in_the_values_handed_in() -> None:
    x = np.random.default_rng(13).standard_normal(150)
    x[:10] += 12.0
    x[100] = 9.0

    found = study(x)

    assert 8 <= found.startup <= 14
    assert found.outliers == (100,)
    assert found.baseline.n == 150 - found.startup
    assert any("shot 100" in note for note in found.notes)
    assert study(x, exclude_startup=False).startup == 0


def test_an_outlier_stays_in_the_baseline_unless_no_process_gives_such_a_value() -> None:
    x = np.random.default_rng(14).standard_normal(100)
    x[50] = 9.0
    assert study(x).baseline.center == pytest.approx(float(x.mean()))

    x[50] = 25.0
    found = study(x)
    assert found.baseline.center == pytest.approx(float(np.delete(x, 50).mean()))
    assert found.outliers == (50,)
    assert any("shots 50" in note and "without them" in note for note in found.notes)


def test_sigma_never_falls_below_half_a_step() -> None:
    x = np.array([20.0] * 60 + [20.1, 20.2] + [20.0] * 38)

    found = study(x)

    assert found.resolution == pytest.approx(0.1)
    assert found.baseline.sigma == pytest.approx(0.05)
    assert found.baseline.sigma_method == "floor"


def test_equal_values_need_a_resolution() -> None:
    with pytest.raises(ValueError, match="give the resolution"):
        study([7.0] * 40)

    assert provisional([7.0] * 40, resolution=0.5).sigma == 0.25


def test_provisional_limits_need_25_values() -> None:
    x = np.random.default_rng(15).standard_normal(26)
    assert provisional(x).n == 26
    assert provisional(x).standing() == "provisional"

    x[0] = x[5] = math.nan
    with pytest.raises(ValueError, match="24 steady values are too few"):
        provisional(x)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: study([1.0] * 10 + [math.inf] + [2.0] * 30), "Value 10 .* infinite"),
        (lambda: study(np.ones((5, 5))), "2 dimensions"),
        (lambda: propose([1.0] * 20, alpha=2.0), "alpha is 2.0"),
        (lambda: lag_one([1.0] * 20, confidence=1.0), "confidence is 1.0"),
        (lambda: sigma_floor(-1.0), "resolution of -1.0"),
        (lambda: first_steady_index([1.0] * 40, longest=-1), "at most -1 shots"),
    ],
)
def test_bad_input_is_refused_with_a_sentence(call: Callable[[], object], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        call()
