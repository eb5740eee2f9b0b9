"""Fill against published flow formulas, numerical integration, and what the trade knows of limits.

Sources: radial and tube flow of a power-law fluid, Bird, Armstrong and Hassager, Dynamics of Polymeric
Liquids, volume 1 (1987), chapter 4; Newtonian limits: Hagen and Poiseuille in a tube, and
6 mu Q ln(R/r) / (pi h^3) between discs.
"""

import math

import pytest
from scipy.integrate import quad

from simulator.filling import (
    Fill,
    FlowPath,
    Melt,
    air_pa,
    disc_drop_pa,
    fill,
    resistance,
    skin_m,
    slot_drop_pa,
    tube_drop_pa,
    warmed_pa,
)

PATH = FlowPath(
    tube_radius_m=0.0018,
    tube_length_m=0.070,
    gate_radius_m=0.004,
    plate_radius_m=0.085,
    plate_gap_m=0.0022,
    rim_side_m=0.0128,
    volume_m3=150e-6,
)
FREE_PA = 1e12


def filled(
    *,
    speed: float = 80e-6,
    cap_pa: float = FREE_PA,
    stiffer: float = 1.0,
    n: float = 0.38,
    skin: float = 0.3,
    heating: float = 0.0,
    vent: float = 1.0,
) -> Fill:
    melt = Melt(
        consistency_pa_sn=9_000.0 * stiffer,
        flow_index=n,
        diffusivity_m2_s=0.087e-6,
        slope_per_k=-0.025,
        heating_k_per_pa=heating,
        skin_constant=skin,
    )
    return fill(PATH, melt, speed_flow_m3_s=speed, pressure_cap_pa=cap_pa, volume_m3=150e-6, vent_share=vent)


@pytest.mark.parametrize("n", [0.28, 0.38, 0.45, 0.7])
def test_radial_pressure_drop_is_the_integral_of_its_gradient(n: float) -> None:
    k, h, q = 7_500.0, 0.0018, 90e-6

    def gradient(r: float) -> float:
        return 2 * k / h * ((2 * n + 1) / n * q / (math.pi * r * h * h)) ** n

    expected, _ = quad(gradient, 0.004, 0.085)
    drop = disc_drop_pa(consistency_pa_sn=k, flow_index=n, gap_m=h, flow_m3_s=q, inner_m=0.004, outer_m=0.085)
    assert drop == pytest.approx(expected, rel=1e-8)


def test_a_newtonian_fluid_between_discs_is_the_textbook_case() -> None:
    mu, h, q = 120.0, 0.002, 50e-6
    drop = disc_drop_pa(
        consistency_pa_sn=mu, flow_index=1 - 1e-7, gap_m=h, flow_m3_s=q, inner_m=0.004, outer_m=0.085
    )
    assert drop == pytest.approx(6 * mu * q / (math.pi * h**3) * math.log(0.085 / 0.004), rel=1e-5)


def test_a_newtonian_fluid_in_a_tube_follows_hagen_and_poiseuille() -> None:
    mu, r, length, q = 120.0, 0.002, 0.07, 50e-6
    drop = tube_drop_pa(consistency_pa_sn=mu, flow_index=1.0, radius_m=r, length_m=length, flow_m3_s=q)
    assert drop == pytest.approx(8 * mu * length * q / (math.pi * r**4), rel=1e-12)


def test_frozen_skin_grows_with_the_square_root_of_time() -> None:
    one, four = (skin_m(diffusivity_m2_s=0.087e-6, time_s=t) for t in (1.0, 4.0))
    assert four == pytest.approx(2 * one)


def test_a_speed_controlled_fill_ignores_the_pressure_limit() -> None:
    """Common practice, no source: with room below the limit, moving it changes nothing."""
    needed = filled().peak_pa
    assert filled(cap_pa=1.1 * needed) == filled(cap_pa=1.5 * needed)


def test_a_speed_controlled_fill_follows_the_speed() -> None:
    slow, fast = filled(speed=60e-6), filled(speed=90e-6)
    assert fast.time_s == pytest.approx(slow.time_s / 1.5)
    assert fast.peak_pa > slow.peak_pa


def test_at_the_pressure_limit_more_pressure_fills_faster_and_more_speed_does_nothing() -> None:
    """Common practice, no source."""
    low, high = filled(cap_pa=20e6), filled(cap_pa=24e6)
    assert low.limited_share == high.limited_share == 1.0
    assert low.peak_pa == 20e6
    assert high.time_s < low.time_s
    assert filled(cap_pa=20e6, speed=100e-6) == low


def test_just_over_the_limit_only_the_end_of_fill_is_held() -> None:
    needed = filled()
    held = filled(cap_pa=0.97 * needed.peak_pa)
    assert 0.0 < held.limited_share < 1.0
    assert held.time_s > needed.time_s


@pytest.mark.parametrize(("n", "percent"), [(0.30, 18), (0.38, 14), (0.45, 11)])
def test_five_percent_stiffer_melt_shows_in_pressure_or_amplified_in_time(n: float, percent: int) -> None:
    """t goes with (K/P)**(1/n): follows from the power law."""
    free = filled(n=n, stiffer=1.05, skin=0.0).peak_pa / filled(n=n, skin=0.0).peak_pa
    held = filled(n=n, cap_pa=1e6, stiffer=1.05, skin=0.0).time_s / filled(n=n, cap_pa=1e6, skin=0.0).time_s
    assert free == pytest.approx(1.05)
    assert held == pytest.approx(1.05 ** (1 / n))
    assert round(100 * (held - 1)) == percent


def test_newtonian_flow_in_a_slot_is_the_textbook_case() -> None:
    """12 mu L Q / (W h^3), plane Poiseuille flow."""
    mu, h, w, length, q = 120.0, 0.002, 0.5, 0.012, 50e-6
    drop = slot_drop_pa(
        consistency_pa_sn=mu, flow_index=1.0, gap_m=h, width_m=w, length_m=length, flow_m3_s=q
    )
    assert drop == pytest.approx(12 * mu * length * q / (w * h**3), rel=1e-12)


@pytest.mark.parametrize("n", [0.3, 0.42, 0.7])
def test_the_drop_carries_the_flow_of_its_own_velocity_profile(n: float) -> None:
    """From first principles: shear stress falls linearly to the middle of the gap, the power law gives the
    rate there, and the rate integrated twice is the flow. Holds the factor (2n + 1) / n."""
    k, h, q = 9_000.0, 0.0022, 80e-6
    gradient = slot_drop_pa(
        consistency_pa_sn=k, flow_index=n, gap_m=h, width_m=0.4, length_m=1.0, flow_m3_s=q
    )
    half, _ = quad(lambda z: z * (gradient * z / k) ** (1 / n), 0.0, h / 2)
    assert 2 * 0.4 * half == pytest.approx(q, rel=1e-6)

    near = disc_drop_pa(
        consistency_pa_sn=k,
        flow_index=n,
        gap_m=h,
        flow_m3_s=q,
        inner_m=0.4 / (2 * math.pi),
        outer_m=0.4 / (2 * math.pi) + 1e-6,
    )
    assert near == pytest.approx(gradient * 1e-6, rel=1e-4)


def test_the_thick_rim_resists_little_but_not_nothing() -> None:
    melt = Melt(consistency_pa_sn=9_000.0, flow_index=0.38, diffusivity_m2_s=0.087e-6)
    plate, whole = (
        resistance(PATH, melt, skin_on_wall_m=0.0, filled_m3=v) for v in (PATH.plate_volume_m3, 150e-6)
    )
    assert plate < whole < 1.02 * plate


def test_shear_heating_lowers_the_pressure_as_its_balance_says() -> None:
    """P exp(b P) = P0: solved here by bisection, with b from the energy balance dT = P / (rho cp)."""
    softening, cold = 0.025 / (1190 * 1850) / 2, 80e6
    low, high = 0.0, cold
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if middle * math.exp(softening * middle) < cold else (low, middle)
    assert warmed_pa(cold, softening) == pytest.approx(low, rel=1e-9)
    assert filled(heating=1 / (1190 * 1850)).peak_pa < 0.9 * filled().peak_pa


def test_trapped_air_is_compressed_as_a_gas() -> None:
    """p V^k constant: with a quarter of the cavity left, 4^1.3 times the pressure of the hall."""
    share = 0.75 / 0.96
    assert air_pa(filled_share=share, vent_share=0.0) == pytest.approx(1.013e5 * (4**1.3 - 1), rel=1e-9)
    assert air_pa(filled_share=share, vent_share=1.0) == 0.0
    assert filled(vent=0.0).peak_pa > filled().peak_pa + 2e6
    needed = filled().peak_pa
    assert filled(vent=0.0, cap_pa=1.05 * needed).time_s > filled(cap_pa=1.05 * needed).time_s


def test_a_plate_of_two_millimeters_does_not_freeze_shut_in_six_seconds() -> None:
    slow = filled(speed=150e-6 / 6)
    assert slow.time_s == pytest.approx(6.0)
    assert slow.limited_share == 0.0
    assert 2 * skin_m(diffusivity_m2_s=0.087e-6, time_s=6.0) < 0.5 * PATH.plate_gap_m


def test_a_fill_that_takes_too_long_is_switched_over_where_it_is() -> None:
    whole = filled(cap_pa=12e6)
    assert whole.time_s > 20.0
    assert whole.filled_share == 1.0
    melt = Melt(consistency_pa_sn=9_000.0, flow_index=0.38, diffusivity_m2_s=0.087e-6)
    ended = fill(PATH, melt, speed_flow_m3_s=80e-6, pressure_cap_pa=12e6, volume_m3=150e-6, longest_s=10.0)
    assert ended.time_s == 10.0
    assert 0.1 < ended.filled_share < 0.95
