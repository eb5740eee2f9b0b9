"""Cooling against a finite-difference solution of the heat equation and the handbook formulas.

Sources: Carslaw and Jaeger, Conduction of Heat in Solids (1959), section 3.3; short-time form
1 - 4 sqrt(Fo/pi): Crank, The Mathematics of Diffusion (1975), section 4.3, from memory.
"""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from simulator.cooling import cooling_time_s, middle_time_s, plate_share, rim_share, slab_mean


def numerically(fourier: float, cells: int = 200) -> float:
    """Mean of a slab of thickness 1 and diffusivity 1, faces at 0, started at 1."""
    width = 1.0 / cells

    def change(_t: float, u: np.ndarray) -> np.ndarray:
        padded = np.concatenate(([-u[0]], u, [-u[-1]]))  # mirrored: the face itself is 0
        return np.diff(padded, 2) / width**2

    solution = solve_ivp(change, (0.0, fourier), np.ones(cells), method="BDF", rtol=1e-7, atol=1e-9)
    return float(solution.y[:, -1].mean())


@pytest.mark.parametrize("fourier", [0.01, 0.03, 0.1, 0.3])
def test_the_series_is_the_solution_of_the_heat_equation(fourier: float) -> None:
    assert slab_mean(fourier) == pytest.approx(numerically(fourier), abs=2e-4)


@pytest.mark.parametrize("fourier", [1e-4, 1e-3, 0.01])
def test_short_times_follow_the_square_root(fourier: float) -> None:
    assert slab_mean(fourier) == pytest.approx(1 - 4 * math.sqrt(fourier / math.pi), abs=2e-3)


def test_nothing_has_cooled_at_once_and_all_in_the_end() -> None:
    assert slab_mean(0.0) == 1.0
    assert slab_mean(20.0) == 0.0


@pytest.mark.parametrize("thickness_mm", [1.8, 2.2, 2.6])
def test_the_handbook_cooling_time_is_the_series_turned_round(thickness_mm: float) -> None:
    """The handbook keeps the first term only; at half the way down that is within a percent."""
    thickness_m = thickness_mm / 1000
    time_s = cooling_time_s(
        thickness_m=thickness_m, diffusivity_m2_s=0.087e-6, melt_c=205, wall_c=30, mean_c=80
    )
    share = plate_share(thickness_m=thickness_m, diffusivity_m2_s=0.087e-6, time_s=time_s)
    assert 30 + 175 * share == pytest.approx(80, abs=0.5)


def test_the_plate_is_done_in_seconds_and_the_rim_still_hot_after_a_minute() -> None:
    plate = plate_share(thickness_m=0.0022, diffusivity_m2_s=0.087e-6, time_s=20.0)
    rim = rim_share(side_m=0.0128, diffusivity_m2_s=0.087e-6, time_s=60.0)
    assert plate < 0.03
    assert 85 < 30 + 175 * rim < 100


@pytest.mark.parametrize(("thickness_mm", "seconds"), [(1.8, 5.6), (2.2, 8.4), (2.6, 11.8)])
def test_the_time_to_cool_the_middle_is_the_handbook_value(thickness_mm: float, seconds: float) -> None:
    """s^2 / (pi^2 a) ln(4/pi (Tm - Tw) / (Te - Tw)) worked by hand for a = 0.087 mm2/s, 205 to 80 degC on a
    wall of 30 degC; 8, 10 and 12 mm give 111, 174 and 251 s."""
    by_hand = (thickness_mm**2 / (9.8696 * 0.087)) * math.log(1.27324 * 175 / 50)
    time_s = middle_time_s(
        thickness_m=thickness_mm / 1000, diffusivity_m2_s=0.087e-6, melt_c=205, wall_c=30, middle_c=80
    )
    assert time_s == pytest.approx(by_hand, rel=1e-4)
    assert time_s == pytest.approx(seconds, abs=0.05)


def test_the_middle_of_a_plate_is_there_when_the_formula_says() -> None:
    """Against the heat equation by finite differences; the formula keeps one term of the series."""
    a, s = 0.087e-6, 0.0022
    time_s = middle_time_s(thickness_m=s, diffusivity_m2_s=a, melt_c=205, wall_c=30, middle_c=80)
    cells = 61
    width = 1.0 / cells

    def change(_t: float, u: np.ndarray) -> np.ndarray:
        return np.diff(np.concatenate(([-u[0]], u, [-u[-1]])), 2) / width**2

    solution = solve_ivp(change, (0.0, a * time_s / s**2), np.ones(cells), method="BDF", rtol=1e-7, atol=1e-9)
    assert 30 + 175 * solution.y[cells // 2, -1] == pytest.approx(80.0, abs=0.5)
