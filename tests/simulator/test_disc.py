"""Dome, diameter and age. Facts of the trade are common practice, no source, unless a test says more."""

import math
from dataclasses import replace

import pytest
from scipy.integrate import quad, solve_ivp

from simulator.disc import (
    CALIBRATION,
    Molding,
    bend_mm,
    bulge_mm,
    diameter_at_mm,
    dome_24h_mm,
    dome_at_mm,
    rim_temperature_c,
    stored_strain,
)
from simulator.materials import BLENDS
from simulator.plant import MOLDS

MOLD, BLEND = MOLDS["Alder 9"], BLENDS["B"]
USUAL = Molding(
    melt_c=218.0,
    core_c=29.0,
    cavity_c=29.0,
    time_in_mold_s=48.0,
    fill_s=2.0,
    pack_mpa=26.0,
    weight_g=174.0,
    shrink_factor=1.0,
)


def dome(**changes: float) -> float:
    return dome_24h_mm(replace(USUAL, **changes), MOLD, BLEND)


def test_the_bulge_is_the_arc_that_the_surplus_strain_needs() -> None:
    """Length of the parabola w (1 - (r/a)^2) by numerical integration, against its radius."""
    radius, height = 85.0, 3.0
    arc, _ = quad(lambda r: math.hypot(1.0, 2 * height * r / radius**2), 0.0, radius)
    strain = arc / radius - 1
    assert bulge_mm(crown_mm=0.0, strain=strain, radius_mm=radius) == pytest.approx(height, rel=1e-3)


def test_a_kelvin_between_the_halves_bends_a_free_plate_by_a_quarter_millimeter() -> None:
    """Plate of 85 mm radius and 2.2 mm, expansion 150e-6 (Timoshenko: curvature alpha dT / h)."""
    bend = bend_mm(expansion_per_k=150e-6, difference_k=1.0, radius_mm=85.0, thickness_mm=2.2)
    assert bend == pytest.approx(0.25, abs=0.005)


def test_a_hot_core_raises_dome_and_a_hot_cavity_lowers_it() -> None:
    assert dome(core_c=31.0) > dome() + 0.2
    assert dome(cavity_c=31.0) < dome() - 0.2


def test_stored_strain_is_the_solution_of_its_equation() -> None:
    """The stepwise form against scipy's integration of the same differential equation.

    From 30 s on, at 130 degC: what was stored before has relaxed within microseconds.
    """
    molding = replace(USUAL, time_in_mold_s=300.0)
    by = CALIBRATION

    def rate(t: float, strain: list[float]) -> list[float]:
        temperature = rim_temperature_c(molding, MOLD, BLEND, time_s=t)
        ahead = rim_temperature_c(molding, MOLD, BLEND, time_s=t + 0.01)
        tau = by.relax_s * math.exp((by.relax_at_c - temperature) / by.relax_per_k)
        gain = by.held_share * BLEND.expansion_per_k * (temperature - ahead) / 0.01
        return [gain - strain[0] / tau]

    exact = solve_ivp(rate, (30.0, 300.0), [0.0], method="Radau", rtol=1e-7, atol=1e-12)
    assert stored_strain(molding, MOLD, BLEND) == pytest.approx(float(exact.y[0, -1]), rel=0.01)


def test_a_disc_left_closed_for_half_an_hour_still_has_dome() -> None:
    assert 0.6 * dome() < dome(time_in_mold_s=1800.0) < dome()
    assert stored_strain(replace(USUAL, time_in_mold_s=1800.0), MOLD, BLEND) > 1e-4


def test_a_disc_looks_nearly_flat_at_the_press() -> None:
    final = dome()
    early = dome_at_mm(fresh_mm=MOLD.crown_mm, final_24h_mm=final, age_h=0.1)
    assert early < 0.4 * final
    assert dome_at_mm(fresh_mm=MOLD.crown_mm, final_24h_mm=final, age_h=0.0) == MOLD.crown_mm


def test_a_day_is_a_convention_not_the_end() -> None:
    """Parts go on shrinking for days; from one to three days dome moves a little, not a lot."""
    one, two, three = (dome_at_mm(fresh_mm=0.6, final_24h_mm=3.2, age_h=age) for age in (24, 48, 72))
    assert one == pytest.approx(3.2)
    assert one < two < three < 1.1 * one


def test_the_warm_disc_is_larger_and_shrinks_to_its_gauged_diameter() -> None:
    fresh, early, late = (
        diameter_at_mm(fresh_mm=213.5, final_24h_mm=211.4, age_h=age) for age in (0.0, 1.0, 24.0)
    )
    assert 213.5 > fresh > early > late
    assert late == pytest.approx(211.4)


def test_dome_is_of_the_size_that_discs_have() -> None:
    """A few millimeters."""
    assert 2.0 < dome() < 4.5
